"""A review as JUnit XML: a case a rule. The form itself is in kernel/junit.py.

What did not look, and what a person has accepted, is skipped and never passed.
"""

from collections.abc import Sequence
from datetime import datetime

from staddle.kernel import Finding, Severity
from staddle.kernel.junit import JunitCase, suite_text
from staddle.review.review import Review, refuses

__all__ = ["review_junit"]


def review_junit(review: Review, *, job: str, refuse_at: Severity, at: datetime) -> str:
    """The XML document. A rule fails with a finding as bad as ``refuse_at``; milder ones are told and it passes."""
    kept: dict[str, list[Finding]] = {}
    for finding in review.kept:
        kept.setdefault(finding.rule, []).append(finding)
    waived: dict[str, list[str]] = {}
    for one in review.waived:
        waived.setdefault(one.finding.rule, []).append(
            f"{one.finding.what}: accepted by {one.by} until {one.until}: {one.reason}"
        )
    not_looked = dict(review.blind())
    # Findings of other rooms keep their own names: they are cases of their own, behind the rules.
    names = dict.fromkeys((*review.looked, *not_looked, *kept, *waived))
    cases = [
        _skipped(name, f"not looked: {not_looked[name]}")
        if name in not_looked and name not in kept
        else _case(name, kept.get(name, ()), waived.get(name, ()), refuse_at)
        for name in names
    ]
    return suite_text(f"review of {job}", cases, at=at)


def _skipped(name: str, why: str) -> JunitCase:
    return JunitCase(group="review", name=name, skipped=why)


def _case(name: str, kept: Sequence[Finding], waived: Sequence[str], refuse_at: Severity) -> JunitCase:
    told = "".join(_lines(finding) for finding in kept)
    if refuses(kept, refuse_at):
        return JunitCase(group="review", name=name, failure="; ".join(f.what for f in kept), told=told)
    if waived and not kept:
        return _skipped(name, "; ".join(waived))
    return JunitCase(group="review", name=name, told=told)


def _lines(finding: Finding) -> str:
    rest = (("where", finding.where), ("why", finding.why), ("try", finding.mend), ("source", finding.source))
    lines = [f"{finding.severity}: {finding.what}", *(f"  {label}: {text}" for label, text in rest if text)]
    return "\n".join(lines) + "\n"
