"""Rules of appliance.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of, profile

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "below-least-members": [
        (
            lambda: facts_of(profile=profile().model_copy(update={"least_members": 4})),
            (
                Finding(
                    rule="below-least-members",
                    severity=Severity.STOP,
                    what="members that hold data: 3, the maker's least is 4",
                    where="design.yaml:19:3",
                    why="the maker does not support a cluster of this few members",
                    mend="add members that hold data",
                    source="the appliance's profile, least_members",
                ),
            ),
        ),
    ],
    "above-most-members": [
        (
            lambda: facts_of(profile=profile().model_copy(update={"most_members": 2})),
            (
                Finding(
                    rule="above-most-members",
                    severity=Severity.STOP,
                    what="3 members, the maker's most is 2",
                    where="design.yaml:19:3",
                    why="the maker does not support a cluster of this many members",
                    mend="take a larger size and fewer members, or a second cluster",
                    source="the appliance's profile, most_members",
                ),
            ),
        ),
    ],
    "most-members-unknown": [
        (
            lambda: facts_of(profile=profile().model_copy(update={"most_members": None})),
            (
                Finding(
                    rule="most-members-unknown",
                    severity=Severity.NOTE,
                    what="the profile sluicelog names no most_members",
                    where="design.yaml:14:12",
                    why="blank means unknown, not unlimited",
                    mend="look the limit up and write most_members into the profile",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "other-product": [
        (
            lambda: facts_of(profile=profile().model_copy(update={"product": "Tidegate"})),
            (
                Finding(
                    rule="other-product",
                    severity=Severity.STOP,
                    what='the package holds "Sluicelog", the profile sluicelog speaks to "Tidegate"',
                    where="design.yaml:14:12",
                    why="it would ask this appliance for things that it does not know, or knows differently",
                    mend="name the profile of this product, or write one",
                    source="DSP0243, ProductSection/Product",
                ),
            ),
        ),
    ],
    "other-version": [
        (
            lambda: facts_of(profile=profile().model_copy(update={"versions": ("5.", "6.")})),
            (
                Finding(
                    rule="other-version",
                    severity=Severity.RISK,
                    what='the package is version "4.2.0", the profile sluicelog was written for 5.…, 6.…',
                    where="design.yaml:14:12",
                    why="what the appliance answers, and in which order it wants things, may have changed",
                    mend="rehearse and read the maker's notes; then add the version to the profile",
                    source="DSP0243, ProductSection/Version",
                ),
            ),
        ),
    ],
    "profile-missing": [
        (
            lambda: facts_of(("profile: sluicelog", "profile: none")),
            (
                Finding(
                    rule="profile-missing",
                    severity=Severity.RISK,
                    what="the design names no profile",
                    where="design.yaml:14:12",
                    why="nothing tells how it is spoken to, so it can be neither rehearsed nor carried out; "
                    "its ports are not known",
                    mend="write one as docs/profiles.md tells, and name its file in package.profile",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "profile-unproven": [
        (
            lambda: facts_of(profile=profile().model_copy(update={"proven": "unproven"})),
            (
                Finding(
                    rule="profile-unproven",
                    severity=Severity.NOTE,
                    what="the profile sluicelog says of itself: unproven",
                    where="design.yaml:14:12",
                    why="no recorded run shows that it speaks to this appliance as it should",
                    mend="rehearse, watch the first rollout step by step, and record the run in the profile's proven",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(
                profile=profile().model_copy(update={"proven": "stand-ins only: the project's own test runs"})
            ),
            (
                Finding(
                    rule="profile-unproven",
                    severity=Severity.NOTE,
                    what="the profile sluicelog says of itself: stand-ins only: the project's own test runs",
                    where="design.yaml:14:12",
                    why="no recorded run shows that it speaks to this appliance as it should",
                    mend="rehearse, watch the first rollout step by step, and record the run in the profile's proven",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "first-password-not-asked": [
        (
            lambda: facts_of(
                profile=profile().model_copy(update={"password_property": "sluicelog.password"})
            ),
            (
                Finding(
                    rule="first-password-not-asked",
                    severity=Severity.STOP,
                    what='the package asks no question "sluicelog.password"',
                    where="profile sluicelog: password_property",
                    why="the first password could neither be set nor replaced; it would be the maker's",
                    mend="mend password_property in the profile",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(
                profile=profile().model_copy(update={"password_property": "sluicelog.log_level"})
            ),
            (
                Finding(
                    rule="first-password-not-asked",
                    severity=Severity.STOP,
                    what='the question "sluicelog.log_level" is not marked as a password',
                    where="profile sluicelog: password_property",
                    why="the first password could neither be set nor replaced; it would be the maker's",
                    mend="mend password_property in the profile",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "rule-without-question": [
        (
            lambda: facts_of(
                profile=profile().model_copy(
                    update={"answers": {"sluicelog.hostname": "${fqdn}", "depth": "1"}}
                )
            ),
            (
                Finding(
                    rule="rule-without-question",
                    severity=Severity.NOTE,
                    what='the package asks no question "sluicelog.hostname"',
                    where="profile sluicelog: answers",
                    why="the question was renamed or is gone; its new form may have no answer",
                    mend='did you mean "sluicelog.host_name"?',
                    source=PRACTICE,
                ),
                Finding(
                    rule="rule-without-question",
                    severity=Severity.NOTE,
                    what='the package asks no question "depth"',
                    where="profile sluicelog: answers",
                    why="the question was renamed or is gone; its new form may have no answer",
                    mend="compare the profile's answers with the package's questions",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "below-least-members": [
        lambda: facts_of(profile=profile().model_copy(update={"least_members": 3})),
    ],
    "above-most-members": [
        lambda: facts_of(profile=profile().model_copy(update={"most_members": 3})),
    ],
    "most-members-unknown": [
        lambda: facts_of(),
    ],
    "other-product": [
        lambda: facts_of(),
    ],
    "other-version": [
        lambda: facts_of(profile=profile().model_copy(update={"versions": ("3.", "4.2")})),
    ],
    "profile-missing": [
        lambda: facts_of(),
    ],
    "profile-unproven": [
        lambda: facts_of(),
    ],
    "first-password-not-asked": [
        lambda: facts_of(),
    ],
    "rule-without-question": [
        lambda: facts_of(
            profile=profile().model_copy(update={"answers": {"sluicelog.host_name": "${fqdn}"}})
        ),
    ],
}
