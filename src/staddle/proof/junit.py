"""A proof as JUnit XML: a case a check. The form itself is in kernel/junit.py."""

from staddle.kernel.junit import JunitCase, suite_text
from staddle.proof.model import Check, Proof

__all__ = ["junit_text"]


def junit_text(proof: Proof) -> str:
    """The XML document as text, with its declaration and a last newline."""
    return suite_text(f"proof of {proof.cluster}", [_case(check) for check in proof.checks], at=proof.at)


def _case(check: Check) -> JunitCase:
    if check.good:
        return JunitCase(group=check.subject, name=check.name)
    return JunitCase(
        group=check.subject,
        name=check.name,
        failure=f"expected {check.expected}, seen {check.seen}",
        told=f"{check.subject}: {check.name}\nexpected: {check.expected}\nseen: {check.seen}\n",
    )
