"""A proof as JUnit XML, the form that build servers read: a test case a check."""

from xml.etree import ElementTree

from staddle.proof.model import Proof

__all__ = ["junit_text"]


def junit_text(proof: Proof) -> str:
    """The XML document as text, with its declaration and a last newline."""
    suite = ElementTree.Element(
        "testsuite",
        name=f"proof of {proof.cluster}",
        tests=str(len(proof.checks)),
        failures=str(len(proof.failed())),
        errors="0",
        skipped="0",
        timestamp=proof.at.replace(microsecond=0, tzinfo=None).isoformat(),
    )
    for check in proof.checks:
        case = ElementTree.SubElement(suite, "testcase", classname=check.subject, name=check.name)
        if not check.good:
            failure = ElementTree.SubElement(
                case, "failure", message=f"expected {check.expected}, seen {check.seen}"
            )
            failure.text = f"{check.subject}: {check.name}\nexpected: {check.expected}\nseen: {check.seen}\n"
    ElementTree.indent(suite)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(suite, encoding="unicode") + "\n"
