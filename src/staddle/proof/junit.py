"""A proof as JUnit XML, the form that build servers read: a test case a check."""

import re
from typing import Final
from xml.etree import ElementTree

from staddle.proof.model import Proof

__all__ = ["junit_text"]

# XML 1.0 §2.2: what is no Char stands in no document, not even as a reference. A member may have sent it.
_NO_CHAR: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def junit_text(proof: Proof) -> str:
    """The XML document as text, with its declaration and a last newline."""
    suite = ElementTree.Element(
        "testsuite",
        name=_plain(f"proof of {proof.cluster}"),
        tests=str(len(proof.checks)),
        failures=str(len(proof.failed())),
        errors="0",
        skipped="0",
        timestamp=proof.at.replace(microsecond=0, tzinfo=None).isoformat(),
    )
    for check in proof.checks:
        case = ElementTree.SubElement(
            suite, "testcase", classname=_plain(check.subject), name=_plain(check.name)
        )
        if not check.good:
            failure = ElementTree.SubElement(
                case, "failure", message=_plain(f"expected {check.expected}, seen {check.seen}")
            )
            failure.text = _plain(
                f"{check.subject}: {check.name}\nexpected: {check.expected}\nseen: {check.seen}\n"
            )
    ElementTree.indent(suite)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(suite, encoding="unicode") + "\n"


def _plain(text: str) -> str:
    return _NO_CHAR.sub("\N{REPLACEMENT CHARACTER}", text)
