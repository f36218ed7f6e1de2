"""Findings: one thing wrong or risky, as every room reports it. Rules themselves live in review/."""

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Finding", "Severity", "worst_first"]


class Severity(StrEnum):
    """How much a finding matters. ``STOP`` refuses the rollout, ``RISK`` needs a decision, ``NOTE`` informs."""

    STOP = "stop"
    RISK = "risk"
    NOTE = "note"

    @property
    def rank(self) -> int:
        """0 for the worst. Smaller is worse."""
        return list(Severity).index(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing wrong or risky.

    Args: rule: the rule's stable name, lower case with hyphens; what: one sentence; where: file:line:column or the
        item's name; why: the consequence; mend: what to do; source: the standard, or "common practice, no source".
    """

    rule: str
    severity: Severity
    what: str
    where: str = ""
    why: str = ""
    mend: str = ""
    source: str = ""


def worst_first(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """The findings by severity, then rule, then place; a stable order that does not depend on who found them."""
    return tuple(sorted(findings, key=lambda f: (f.severity.rank, f.rule, f.where, f.what)))
