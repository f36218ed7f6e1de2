"""Rules of questions.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from tests.review.ousemoor import facts_of

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "answer-not-allowed": [
        (
            lambda: facts_of(
                ("members:", "  answers: [{property: sluicelog.log_level, value: loud}]\nmembers:")
            ),
            (
                Finding(
                    rule="answer-not-allowed",
                    severity=Severity.STOP,
                    what='"loud" does not answer "Log level"',
                    where="package.answers[0] (sluicelog.log_level)",
                    why='the package allows "error", "warning", "info", "debug"',
                    mend="correct the answer",
                    source="DSP0243, Property; DSP0004 for types and qualifiers",
                ),
            ),
        ),
    ],
    "open-question": [
        (
            lambda: facts_of(("servers: [192.0.2.4, 192.0.2.5, 192.0.2.6, 192.0.2.7]", "servers: []")),
            (
                Finding(
                    rule="open-question",
                    severity=Severity.STOP,
                    what='nothing answers "NTP servers" for levels-1, levels-2, levels-3',
                    where="property sluicelog.ntp_servers",
                    why="the profile answers it with ${time_servers}, for which the design says nothing in clock.servers; "
                    'it may ask for the time servers (for an empty one, answer it with "")',
                    mend="answer it with staddle sheets --answer, or in design.yaml: package.answers, or in the member's row",
                    source="DSP0243, Property with userConfigurable",
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "answer-not-allowed": [
        lambda: facts_of(
            ("members:", "  answers: [{property: sluicelog.log_level, value: debug}]\nmembers:")
        ),
    ],
    "open-question": [
        lambda: facts_of(),
    ],
}
