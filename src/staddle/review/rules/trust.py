"""Rules about join secrets and fingerprints."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Final

from staddle.kernel import Severity, format_duration
from staddle.review.facts import Facts
from staddle.review.rule import Found, rule

_USUAL: Final = timedelta(hours=1)
_LONGEST: Final = timedelta(hours=24)
_SHORTEST: Final = timedelta(minutes=10)


@rule(
    name="long-join-secret",
    severity=Severity.NOTE,
    title="A join secret lives longer than an hour",
    reason="whoever finds it in that time can let a machine of their own join; above a day this is a risk",
    mend="write join_secret_lifetime: 1 h; secrets are issued when they are needed",
    source="common practice, no source; NIST SP 800-63B-4 draft has 10 min for one-use secrets (from memory)",
)
def long_join_secret(facts: Facts) -> Iterator[Found]:
    span = facts.design.trust.join_secret_span
    if span > _USUAL:
        yield Found(
            what=f"join secrets live {format_duration(span)}",
            where=facts.at("trust.join_secret_lifetime"),
            severity=Severity.RISK if span > _LONGEST else None,
        )


@rule(
    name="short-join-secret",
    severity=Severity.NOTE,
    title="A join secret lives less than ten minutes",
    reason="a member that starts slowly finds its secret expired, and a new one must be issued",
    mend="write join_secret_lifetime: 1 h",
)
def short_join_secret(facts: Facts) -> Iterator[Found]:
    span = facts.design.trust.join_secret_span
    if span < _SHORTEST:
        yield Found(
            what=f"join secrets live {format_duration(span)}", where=facts.at("trust.join_secret_lifetime")
        )


@rule(
    name="fingerprint-entered",
    severity=Severity.NOTE,
    title="Fingerprints are entered by a person",
    reason="they count only if read from the member's own console before the wire's value is seen",
    mend="read the console yourself, or take it from someone on the spot by voice; write console where the platform shows it",
)
def fingerprint_entered(facts: Facts) -> Iterator[Found]:
    if facts.design.trust.fingerprint == "entered":
        yield Found(
            what="the expected fingerprint of each member is typed in", where=facts.at("trust.fingerprint")
        )
