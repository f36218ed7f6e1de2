"""Rules of limits.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import L3, facts_of, facts_without, limits, sluicelog, with_host

__all__ = ["FIRES", "QUIET"]

_SOURCE: Final = "the maker's limits, limits.yaml"
_ASK: Final = "look it up, or ask the maker with staddle limits --form"
_BEYOND: Final = "the plan may be beyond it without anybody noticing"
_GROWN: Final = (
    "  allocation: thick\n",
    "  allocation: thick\n  disks: [{disk: data, capacity: 400 GB}]\n",
)
_TIE_BREAKER: Final = (L3, "  - {name: levels-3, site: Lode, data: false, size: brook}")
_NO_HELP: Final = "the maker has not tried it there and does not help when it fails"


def _typed(*types: str) -> Callable[[], Facts]:
    """The sound job, its package asking for these types of virtual hardware, the maker naming river-board."""

    def make() -> Facts:
        package = sluicelog()[0]
        hardware = tuple(replace(one, system_types=types) for one in package.hardware)
        return facts_of(
            package=replace(package, hardware=hardware),
            limits=limits(("system-type, value: no limit", "system-type, value: river-board")),
        )

    return make


def _platform(name: str, version: str) -> Callable[[], Facts]:
    return lambda: facts_of(estate=with_host("om-h1", platform=name, platform_version=version))


def _level(level: str) -> Callable[[], Facts]:
    return lambda: facts_of(estate=with_host("om-h1", cpu_level=level))


def _unsupported(what: str, severity: Severity = Severity.RISK, mend: str = "") -> tuple[Finding, ...]:
    return (
        Finding(
            rule="platform-against-limits",
            severity=severity,
            what=what,
            where="host om-h1",
            why=_NO_HELP,
            mend=mend or "settle the member on a supported host, or have the maker agree in writing",
            source=_SOURCE,
        ),
    )


def _members(what: str) -> tuple[Finding, ...]:
    return (
        Finding(
            rule="members-against-limits",
            severity=Severity.STOP,
            what=what,
            where="design.yaml:19:3",
            why="the maker has not tried such a cluster and does not support it",
            mend="change the number of members, or have the maker agree in writing",
            source=_SOURCE,
        ),
    )


def _size(what: str, where: str) -> tuple[Finding, ...]:
    return (
        Finding(
            rule="size-against-limits",
            severity=Severity.RISK,
            what=what,
            where=where,
            why="the maker has not tried such a member and does not support it",
            mend="choose one of the allowed sizes, or have the maker agree in writing",
            source=_SOURCE,
        ),
    )


def _licences(what: str, where: str) -> tuple[Finding, ...]:
    return (
        Finding(
            rule="licences-too-few",
            severity=Severity.RISK,
            what=what,
            where=where,
            why="the last member may refuse to join, in the middle of the window",
            mend="ask for the missing licences before the window",
            source=_SOURCE,
        ),
    )


def _old(what: str, where: str) -> tuple[Finding, ...]:
    return (
        Finding(
            rule="limit-paper-old",
            severity=Severity.NOTE,
            what=what,
            where=where,
            why="versions and limits change; the newest paper decides what is supported",
            mend="look the value up in the newest paper, and write its date",
            source=PRACTICE,
        ),
    )


_UPGRADE: Final = "- {what: upgrade, value: 4.1 to 4.2, source: notes, dated: 2026-09-14}\n"
_HELD: Final = "- {what: licences-held, value: 1, source: order, dated: 2026-09-14}\n"
_MOST: Final = "- {what: members-most, value: 9, source: guide, dated: 2026-09-14}\n"

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "limits-not-written": [
        (
            lambda: facts_without("limits"),
            (
                Finding(
                    rule="limits-not-written",
                    severity=Severity.RISK,
                    what="there is no limits.yaml beside design.yaml",
                    where="limits.yaml",
                    why="nobody can say that the maker helps when this cluster fails",
                    mend="fill limits.yaml from the maker's papers; staddle limits --start begins it, --form asks the "
                    "maker",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "limit-unknown": [
        # A blank value stands at its row, and is a note; no row at all stands in the file, and this one is weighty.
        (
            lambda: facts_of(
                limits=limits(("upgrade, value: 4.1 to 4.2", "upgrade, value: null"), (_MOST, ""))
            ),
            (
                Finding(
                    rule="limit-unknown",
                    severity=Severity.RISK,
                    what="members-most is unknown: How many members may a cluster have at most?",
                    where="limits.yaml",
                    why=_BEYOND,
                    mend=_ASK,
                    source=PRACTICE,
                ),
                Finding(
                    rule="limit-unknown",
                    severity=Severity.NOTE,
                    what="upgrade is unknown: From which versions to which can a running cluster be upgraded?",
                    where="limits.yaml:8:3",
                    why=_BEYOND,
                    mend=_ASK,
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "limit-paper-old": [
        # 25 May 2025 to 25 May 2026 are 365 days; May to November 31+30+31+31+30+31 = 184 more.
        (
            lambda: facts_of(limits=limits((_UPGRADE, _UPGRADE.replace("2026-09-14", "2025-05-25")))),
            _old("the paper of upgrade 4.1 to 4.2 (notes, 2025-05-25) is 549 days old", "limits.yaml:9:26"),
        ),
        (
            lambda: facts_of(limits=limits((_UPGRADE, _UPGRADE.replace("2026-09-14", "2026-11-26")))),
            _old("the paper of upgrade 4.1 to 4.2 (notes, 2026-11-26) is dated ahead", "limits.yaml:9:26"),
        ),
    ],
    "members-against-limits": [
        (
            lambda: facts_of(limits=limits(("members-fewest, value: 3", "members-fewest, value: 4"))),
            _members("3 members; the maker supports at least 4 (guide, 2026-09-14)"),
        ),
        (
            lambda: facts_of(
                limits=limits(
                    ("members-fewest, value: 3", "members-fewest, value: 1"),
                    (
                        "members-most, value: 9,",
                        "members-most, value: 2, applies_to: data,",
                    ),
                )
            ),
            _members("3 members (data); the maker supports at most 2 (guide, 2026-09-14)"),
        ),
    ],
    "size-against-limits": [
        (
            lambda: facts_of(limits=limits(("size, value: river", "size, value: estuary"))),
            _size("levels-1 (data) is river; the maker allows estuary", "design.yaml:13:9")
            + _size("levels-2 (data) is river; the maker allows estuary", "design.yaml:13:9")
            + _size("levels-3 (data) is river; the maker allows estuary", "design.yaml:13:9"),
        ),
        (
            lambda: facts_of(_TIE_BREAKER),
            _size(
                "levels-3 (without data) is brook; which sizes such a member may have is unknown",
                "design.yaml:21:53",
            ),
        ),
    ],
    "system-type-against-limits": [
        (
            _typed("harbour-board-9"),
            (
                Finding(
                    rule="system-type-against-limits",
                    severity=Severity.RISK,
                    what="size river is for harbour-board-9; the maker's papers name river-board",
                    where="limits.yaml:2:30",
                    why="paper and package disagree: one of them is not of this version",
                    mend="compare the versions of paper and package, or ask the maker",
                    source="DSP0243, VirtualSystemType; the maker's limits, limits.yaml",
                ),
            ),
        ),
    ],
    "platform-against-limits": [
        (
            _platform("kvm", "9.0"),
            _unsupported("levels-1 stands on om-h1: kvm 9.0; the maker supports kvm 7 to 8.2"),
        ),
        (
            _platform("bhyve", "8.2"),
            _unsupported("levels-1 stands on om-h1: bhyve 8.2; the maker supports kvm 7 to 8.2"),
        ),
        (
            _platform("", ""),
            _unsupported(
                "levels-1 stands on om-h1, whose platform is not in the tables; the maker supports kvm 7 to 8.2",
                Severity.NOTE,
                "write platform and platform_version into hosts.csv",
            ),
        ),
        (
            _platform("kvm", "8"),
            _unsupported(
                "levels-1 stands on om-h1: kvm 8; the maker supports kvm 7 to 8.2, which cannot be compared with that "
                "version",
                Severity.NOTE,
                "write the whole platform_version into hosts.csv, in numbers",
            ),
        ),
    ],
    "processor-against-limits": [
        (
            _level("x86-64"),
            (
                Finding(
                    rule="processor-against-limits",
                    severity=Severity.RISK,
                    what="levels-1 stands on om-h1, which offers x86-64; the maker asks for x86-64-v2 (list, "
                    "2026-09-14)",
                    where="host om-h1",
                    why="the member's program may stop at an instruction that the processor does not have",
                    mend="settle the member on a host of at least that level",
                    source="the maker's limits, limits.yaml; levels in the order of the x86-64 psABI (from memory)",
                ),
            ),
        ),
        (
            _level(""),
            (
                Finding(
                    rule="processor-against-limits",
                    severity=Severity.NOTE,
                    what='levels-1 stands on om-h1, whose level "" cannot be compared with processor-level x86-64-v2 '
                    "(list, 2026-09-14)",
                    where="host om-h1",
                    why="the member's program may stop at an instruction that the processor does not have",
                    mend="write both as levels of the x86-64 psABI, such as x86-64-v3, or compare them by hand",
                    source="the maker's limits, limits.yaml; levels in the order of the x86-64 psABI (from memory)",
                ),
            ),
        ),
    ],
    "disk-growth-against-limits": [
        (
            lambda: facts_of(_GROWN, limits=limits(("value: only at creation", 'value: "not"'))),
            (
                Finding(
                    rule="disk-growth-against-limits",
                    severity=Severity.RISK,
                    what="disk data is to have 400 GB; the maker says: not (guide, 2026-09-14)",
                    where="design.yaml:28:34",
                    why="the maker does not support it; an upgrade may expect the package's own capacity",
                    mend="remove the capacity from storage.disks, or have the maker agree in writing",
                    source=_SOURCE,
                ),
            ),
        ),
    ],
    "licences-too-few": [
        (
            lambda: facts_of(limits=limits(("licence-members, value: 3", "licence-members, value: 2"))),
            _licences(
                "one licence covers 2 (order, 2026-09-14), so 3 members need 2; 1 held (order, 2026-09-14)",
                "limits.yaml:11:32",
            ),
        ),
        (
            lambda: facts_of(
                limits=limits(("licence-members, value: 3", "licence-members, value: 1"), (_HELD, ""))
            ),
            _licences(
                "one licence covers 1 (order, 2026-09-14), so 3 members need 3; how many are held is unknown",
                "limits.yaml:10:34",
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "limits-not-written": [facts_of],
    "limit-unknown": [
        lambda: facts_of(limits=limits(("upgrade, value: 4.1 to 4.2", "upgrade, value: no limit"))),
    ],
    "limit-paper-old": [
        lambda: facts_of(limits=limits((_UPGRADE, _UPGRADE.replace("2026-09-14", "2025-05-26")))),
        lambda: facts_of(limits=limits((_UPGRADE, _UPGRADE.replace("2026-09-14", "2026-11-25")))),
    ],
    "members-against-limits": [
        lambda: facts_of(limits=limits(("members-most, value: 9", "members-most, value: 3"))),
        # The maker wants two such members where there are any; this cluster has none.
        lambda: facts_of(
            limits=limits(
                ("members-fewest, value: 3,", "members-fewest, value: 2, applies_to: without data,")
            )
        ),
    ],
    "size-against-limits": [
        lambda: facts_of(limits=limits(("applies_to: data, ", ""))),
        lambda: facts_of(limits=limits(("size, value: river", "size, value: no limit"))),
    ],
    "system-type-against-limits": [
        _typed(),
        _typed("RIVER-board"),
        _typed("harbour-board-9", "river-board"),
    ],
    "platform-against-limits": [
        _platform("KVM", "7.0"),
        _platform("kvm", "8.2.9"),
        # Nobody stands on this host.
        lambda: facts_of(estate=with_host("om-h2", platform="bhyve")),
    ],
    "processor-against-limits": [
        _level("x86-64-v2"),
        _level("x86-64-v4"),
        lambda: facts_of(
            estate=with_host("om-h1", cpu_level="x86-64"),
            limits=limits(("value: x86-64-v2,", "value: x86-64-v2, applies_to: without data,")),
        ),
    ],
    "disk-growth-against-limits": [
        lambda: facts_of(_GROWN),
        lambda: facts_of(limits=limits(("value: only at creation", 'value: "not"'))),
    ],
    "licences-too-few": [
        lambda: facts_of(
            limits=limits(
                ("licence-members, value: 3", "licence-members, value: 1"),
                ("licences-held, value: 1", "licences-held, value: 3"),
            )
        ),
        lambda: facts_of(limits=limits((_HELD, ""))),
    ],
}
