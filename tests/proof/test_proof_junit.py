"""The JUnit XML of a proof, read back by two parsers that know nothing of us."""

from dataclasses import replace
from xml.etree import ElementTree

import lxml.etree
import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.proof.judge import judge
from staddle.proof.junit import junit_text
from staddle.proof.model import Proof
from tests.proof.observations import DEVIATIONS, expected, good_observation


def proof_with(*deviations: tuple[str, str]) -> Proof:
    """The proof of an observation that is bent in these ways."""
    seen = good_observation()
    for name, who in deviations:
        seen = DEVIATIONS[name][0](seen, who)
    return judge(expected(), seen)


PROOFS = {
    "good": proof_with(),
    "one": proof_with(("clock ahead", "levels-2")),
    "several": proof_with(("no leader", "levels-1"), ("a write refused", "levels-3"), ("alone", "levels-2")),
}


@pytest.mark.parametrize("name", PROOFS)
def test_counts_and_cases_in_both_parsers(name: str) -> None:
    proof = PROOFS[name]
    text = junit_text(proof)
    ours = ElementTree.fromstring(text)
    theirs = lxml.etree.fromstring(text.encode())
    for root in (ours, theirs):
        assert root.tag == "testsuite"
        assert root.get("tests") == str(len(proof.checks)) == str(len(root.findall("testcase")))
        assert root.get("failures") == str(len(proof.failed())) == str(len(root.findall("testcase/failure")))
        assert (root.get("errors"), root.get("skipped")) == ("0", "0")
        assert root.get("timestamp") == "2026-12-05T22:10:00"
        cases = [
            (str(case.get("classname")), str(case.get("name")), case.find("failure") is None)
            for case in root.findall("testcase")
        ]
        assert cases == [(check.subject, check.name, check.good) for check in proof.checks]


def test_a_failure_tells_both_values() -> None:
    failure = ElementTree.fromstring(junit_text(PROOFS["one"])).find("testcase/failure")
    assert failure is not None
    assert failure.get("message") == "expected within 100 ms of ours, seen +101 ms"
    assert failure.text == "levels-2: clock\nexpected: within 100 ms of ours\nseen: +101 ms\n"


@given(st.text(st.characters(exclude_categories=())))
def test_whatever_a_member_says_the_document_is_well_formed(said: str) -> None:
    # XML 1.0 §2.2 admits no control characters and no surrogates, not even as references.
    proof = proof_with(("another version", "levels-1"))
    checks = tuple(check if check.good else replace(check, seen=said) for check in proof.checks)
    document = junit_text(replace(proof, checks=checks)).encode("utf-8")
    for root in (ElementTree.fromstring(document), lxml.etree.fromstring(document)):
        failure = root.find("testcase/failure")
        assert failure is not None
        plain = "".join(c if c in "\t\n\r" or c >= " " else "\ufffd" for c in said)
        plain = "".join("\ufffd" if "\ud800" <= c <= "\udfff" or c in "\ufffe\uffff" else c for c in plain)
        assert failure.get("message") == f"expected 4.2.0, seen {plain}"
