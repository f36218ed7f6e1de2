"""What a rule is: a function with its name, severity, title, reason, mend and source. Rules stand in rules/.

A rule yields what it found; the rest of the finding comes from its metadata. It looks at facts only: no files, no
clock, no network. A rule that lacks one of its needs is not called, and is never counted as passed.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

from staddle.kernel import Fault, Finding, OurFault, Severity
from staddle.review.facts import Facts, Need

__all__ = ["PRACTICE", "Found", "Look", "Rule", "found_fault", "rule"]

PRACTICE: Final = "common practice, no source"
_NAME: Final = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One thing that a rule found. ``why``, ``mend`` and ``severity`` are given where this case differs."""

    what: str
    where: str = ""
    why: str = ""
    mend: str = ""
    severity: Severity | None = None


Look = Callable[[Facts], Iterable[Found | Finding]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A rule and its metadata. ``needs`` are the parts without which it cannot look."""

    name: str
    severity: Severity
    title: str
    reason: str
    mend: str
    source: str
    needs: tuple[Need, ...]
    look: Look

    def findings(self, facts: Facts) -> tuple[Finding, ...]:
        """What it found, in the order of looking. A finding of another room is passed on as it is."""
        return tuple(
            found if isinstance(found, Finding) else self._finding(found) for found in self.look(facts)
        )

    def _finding(self, found: Found) -> Finding:
        return Finding(
            rule=self.name,
            severity=found.severity or self.severity,
            what=found.what,
            where=found.where,
            why=found.why or self.reason,
            mend=found.mend or self.mend,
            source=self.source,
        )


def rule(
    *,
    name: str,
    severity: Severity,
    title: str,
    reason: str,
    mend: str,
    source: str = PRACTICE,
    needs: tuple[Need, ...] = (),
) -> Callable[[Look], Rule]:
    """Make a rule of a function.

    Args: name: lower case with hyphens, never used again for anything else, since waivers name it; title: what is
        wrong, as a heading; reason: the consequence; mend: what to do; source: the standard, or PRACTICE.
    Raises: OurFault: a part is missing, or the name is not such a name.
    """
    if _NAME.fullmatch(name) is None or not all((title, reason, mend, source)):
        raise OurFault.one(f'the rule "{name}" lacks a proper name, title, reason, mend or source')

    def made(look: Look) -> Rule:
        return Rule(
            name=name,
            severity=severity,
            title=title,
            reason=reason,
            mend=mend,
            source=source,
            needs=needs,
            look=look,
        )

    return made


def found_fault(fault: Fault) -> Found:
    """An error of another room, as a finding of the rule that tells it."""
    return Found(what=fault.what, where=fault.where, why=fault.why, mend=fault.mend)
