"""Rules of package.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from staddle.kernel import Fault, Finding, Severity
from staddle.package import InstanceCount, ScaleOut
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of, sluicelog

__all__ = ["FIRES", "QUIET"]

OF_ANOTHER_ROOM: Final = Finding(
    rule="of-another-room", severity=Severity.NOTE, what="something", where="a.ovf"
)


def meant(*counts: tuple[str, int, int | None]) -> Facts:
    """The job of three members with a package that states these counts: (size, least, most) of machine, collection, …."""
    scales = tuple(
        ScaleOut(
            content_id=f"content {number}",
            counts=(InstanceCount(size_id=size, least=least, default=least, most=most),),
        )
        for number, (size, least, most) in enumerate(counts)
    )
    return facts_of(package=replace(sluicelog()[0], scale_out=scales))


def not_as_meant(what: str) -> tuple[Finding, ...]:
    return (
        Finding(
            rule="members-not-as-meant",
            severity=Severity.RISK,
            what=f"the package is meant to stand {what} times, the design has 3 members",
            where=facts_of().at("members"),
            why="the maker states how often its machine is meant to stand, and supports what it states",
            mend="have as many members as the maker states, or ask whether it supports this number",
            source="DSP0243 2.x, scale-out section",
        ),
    )


FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "package-reading": [
        (lambda: facts_of(package=replace(sluicelog()[0], findings=(OF_ANOTHER_ROOM,))), (OF_ANOTHER_ROOM,)),
    ],
    "package-verification": [
        (
            lambda: facts_of(verification=replace(sluicelog()[1], findings=(OF_ANOTHER_ROOM,))),
            (OF_ANOTHER_ROOM,),
        ),
    ],
    "digest-not-pinned": [
        (
            lambda: facts_of(('  sha256: "SHA256"\n', "")),
            (
                Finding(
                    rule="digest-not-pinned",
                    severity=Severity.RISK,
                    what="package.sha256 is empty for ../sluicelog-4.2.0.ova",
                    where="design.yaml:12:9",
                    why="another site, or you next week, may use another file of the same name unnoticed",
                    mend=f"compare it with the maker's and write sha256: {sluicelog()[1].package_sha256}",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(('  sha256: "SHA256"\n', ""), verification=None),
            (
                Finding(
                    rule="digest-not-pinned",
                    severity=Severity.RISK,
                    what="package.sha256 is empty for ../sluicelog-4.2.0.ova",
                    where="design.yaml:12:9",
                    why="another site, or you next week, may use another file of the same name unnoticed",
                    mend="write the package's SHA-256 into package.sha256",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "digest-differs": [
        (
            lambda: facts_of(
                ("SHA256", 64 * "0"), verification=replace(sluicelog()[1], package_sha256=64 * "1")
            ),
            (
                Finding(
                    rule="digest-differs",
                    severity=Severity.STOP,
                    what="the design pins 0000000000000000000000000000000000000000000000000000000000000000, the file has 1111111111111111111111111111111111111111111111111111111111111111",
                    where="design.yaml:15:11",
                    why="what was reviewed, rehearsed and approved is another file",
                    mend="fetch the pinned package, or find out why it differs and pin this one",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "package-not-intact": [
        (
            lambda: facts_of(
                package_faults=(
                    Fault(
                        what='the file "a.img" is not the one that the manifest describes',
                        where="a.mf",
                        why="its SHA256 differs",
                    ),
                ),
                verification=None,
            ),
            (
                Finding(
                    rule="package-not-intact",
                    severity=Severity.STOP,
                    what='the file "a.img" is not the one that the manifest describes',
                    where="a.mf",
                    why="its SHA256 differs",
                    mend="fetch the package again from its maker; do not use this copy",
                    source="DSP0243, manifest file",
                ),
            ),
        ),
    ],
    "members-not-as-meant": [
        (lambda: meant(("", 4, None)), not_as_meant("at least 4")),
        (lambda: meant(("", 1, 2)), not_as_meant("1 to 2")),
        (lambda: meant(("river", 2, 2)), not_as_meant("2")),
        (lambda: meant(("", 2, 2), ("", 2, 4)), not_as_meant("4 to 8")),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "package-reading": [
        lambda: facts_of(),
    ],
    "package-verification": [
        lambda: facts_of(),
    ],
    "digest-not-pinned": [
        lambda: facts_of(verification=None),
    ],
    "digest-differs": [
        lambda: facts_of(('  sha256: "SHA256"\n', "")),
    ],
    "package-not-intact": [
        lambda: facts_of(),
    ],
    "members-not-as-meant": [
        lambda: meant(("", 3, None)),
        lambda: meant(("", 1, 3)),
        lambda: meant(("estuary", 5, 5)),
        lambda: meant(("", 3, 3), ("", 1, 1)),
        lambda: facts_of(),
    ],
}
