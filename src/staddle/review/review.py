"""The review: every rule looks at the facts, waivers are applied, and what could not look is listed.

Pure. Nothing is printed here; a rule that could not look is never counted as passed.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from staddle.design.waivers import Waived, Waiver, apply_waivers
from staddle.kernel import Finding, Severity, worst_first
from staddle.review.catalogue import all_rules
from staddle.review.facts import Facts, Need
from staddle.review.rule import Rule

__all__ = ["Review", "refuses", "review", "review_with"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """What was found.

    ``kept`` are the findings that stand, worst first, those about waivers among them; ``looked`` are the names of the
    rules that looked; ``not_looked`` holds (rule, why it could not). ``unsent`` are the rules of live probes where none were
    asked for: they did not look either, and are told apart because nothing is amiss with the job.
    """

    kept: tuple[Finding, ...]
    waived: tuple[Waived, ...]
    looked: tuple[str, ...]
    not_looked: tuple[tuple[str, str], ...]
    unsent: tuple[str, ...] = ()

    def blind(self) -> tuple[tuple[str, str], ...]:
        """Every rule that did not look, with its reason; those of live probes among them."""
        return (*self.not_looked, *((name, str(Need.SIGHTS)) for name in self.unsent))

    def count(self, severity: Severity) -> int:
        """How many findings of that severity stand."""
        return sum(finding.severity is severity for finding in self.kept)


def review(facts: Facts, waivers: Iterable[Waiver] = ()) -> Review:
    """Let every rule look. Findings that a waiver accepts today are set apart."""
    return review_with(all_rules(), facts, waivers)


def review_with(rules: Iterable[Rule], facts: Facts, waivers: Iterable[Waiver] = ()) -> Review:
    """The same with these rules."""
    looked: list[str] = []
    not_looked: list[tuple[str, str]] = []
    findings: list[Finding] = []
    own: set[str] = set()
    unsent: list[str] = []
    for one in rules:
        own.add(one.name)
        if Need.SIGHTS in one.needs and facts.sights is None:
            unsent.append(one.name)
            continue
        missing = facts.missing(one.needs)
        if missing:
            not_looked.append((one.name, "; ".join(missing)))
            continue
        looked.append(one.name)
        findings += one.findings(facts)
    result = apply_waivers(
        dict.fromkeys(findings), _judged(waivers, own, not_looked, unsent, facts), today=facts.today
    )
    return Review(
        kept=worst_first(result.kept),
        waived=tuple(sorted(result.waived, key=lambda one: (one.finding.rule, one.finding.where))),
        looked=tuple(looked),
        not_looked=tuple(not_looked),
        unsent=tuple(unsent),
    )


def _judged(
    waivers: Iterable[Waiver],
    own: set[str],
    not_looked: list[tuple[str, str]],
    unsent: list[str],
    facts: Facts,
) -> list[Waiver]:
    """The waivers of which it can be told whether they meet anything.

    A waiver of a rule that could not look is neither used nor idle. A name that is no rule of ours may be a finding
    that another room makes once it can: told of only when everything has looked. Rules of live probes make no finding of
    another room, and mostly do not look: they do not keep a misspelt name from being told.
    """
    blind = {name for name, _ in not_looked}

    def judged(waiver: Waiver) -> bool:
        elsewhere = bool(blind) and waiver.rule not in own
        return waiver.until < facts.today or not (waiver.rule in blind or waiver.rule in unsent or elsewhere)

    return [waiver for waiver in waivers if judged(waiver)]


def refuses(findings: Iterable[Finding], refuse_at: Severity) -> bool:
    """Whether a finding is as bad as ``refuse_at`` or worse; what ``--refuse-at`` asks of those that stand."""
    return any(finding.severity.rank <= refuse_at.rank for finding in findings)
