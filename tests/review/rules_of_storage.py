"""Rules of storage.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import GB, facts_of, with_pool

__all__ = ["FIRES", "QUIET"]

# A member's disks by hand: 16 GiB and 160 GiB thick, each with 15 % for snapshots, rounded up.
DISKS_BYTES: Final = 17_179_869_184 + 2_576_980_378 + 171_798_691_840 + 25_769_803_776
# With them on it 1.5 TB of 10 TB are free, the pool's floor of 15 % to the byte.
AT_FLOOR: Final = with_pool("om-store-1", used_bytes=8_500 * GB - DISKS_BYTES)

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "thin-data-disk": [
        (
            lambda: facts_of(("allocation: thick", "allocation: thin")),
            (
                Finding(
                    rule="thin-data-disk",
                    severity=Severity.RISK,
                    what="disks are thin unless a row says otherwise",
                    where="design.yaml:27:15",
                    why="a pool that fills stops every member on it, and first writes are slower",
                    mend="write allocation: thick for it",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(
                (
                    "snapshot_percent: 15",
                    "snapshot_percent: 15\n  disks:\n    - {disk: system}\n    - {disk: data, allocation: thin}",
                )
            ),
            (
                Finding(
                    rule="thin-data-disk",
                    severity=Severity.RISK,
                    what="the disk data is thin",
                    where="design.yaml:31:32",
                    why="a pool that fills stops every member on it, and first writes are slower",
                    mend="write allocation: thick for it",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "small-snapshot-allowance": [
        (
            lambda: facts_of(("snapshot_percent: 15", "snapshot_percent: 5")),
            (
                Finding(
                    rule="small-snapshot-allowance",
                    severity=Severity.RISK,
                    what="the allowance for snapshots is 5 % of the disks",
                    where="design.yaml:28:21",
                    why="a snapshot within a change, or a backup's, grows with what is written and may fill the pool",
                    mend="allow 10 to 20 %, or waive this where the platform takes none",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "pool-below-its-floor": [
        (
            lambda: facts_of(estate=with_pool("om-store-1", used_bytes=8_400 * GB)),
            (
                Finding(
                    rule="pool-below-its-floor",
                    severity=Severity.STOP,
                    what="pool om-store-1 has 1.38 TB free with the members' disks, its floor is 1.5 TB (15 %)",
                    where="pool om-store-1",
                    why="a full pool stops every guest on it, not only the members",
                    mend="place the disks elsewhere, or add storage",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "pool-nearly-full": [
        (
            lambda: facts_of(estate=with_pool("om-store-1", used_bytes=7_900 * GB)),
            (
                Finding(
                    rule="pool-nearly-full",
                    severity=Severity.RISK,
                    what="pool om-store-1 has 1.88 TB of 10 TB free with the members' disks, 18 %",
                    where="pool om-store-1",
                    why="what is there grows, and a rebuild or a snapshot needs room at once",
                    mend="place the disks elsewhere, or add storage",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(estate=AT_FLOOR),
            (
                Finding(
                    rule="pool-nearly-full",
                    severity=Severity.RISK,
                    what="pool om-store-1 has 1.5 TB of 10 TB free with the members' disks, 15 %",
                    where="pool om-store-1",
                    why="what is there grows, and a rebuild or a snapshot needs room at once",
                    mend="place the disks elsewhere, or add storage",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "promise-above-capacity": [
        (
            lambda: facts_of(estate=with_pool("om-store-1", promised_bytes=9_900 * GB, promise_limit=1.5)),
            (
                Finding(
                    rule="promise-above-capacity",
                    severity=Severity.RISK,
                    what="pool om-store-1 has promised 10.12 TB with the members' disks and holds 10 TB",
                    where="pool om-store-1",
                    why="when other guests write what they were promised, the pool is full and every member on it stops",
                    mend="place the disks on a pool whose promises it can keep",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "thin-data-disk": [
        lambda: facts_of(
            ("snapshot_percent: 15", "snapshot_percent: 15\n  disks:\n    - {disk: data, allocation: thick}")
        ),
    ],
    "small-snapshot-allowance": [
        lambda: facts_of(("snapshot_percent: 15", "snapshot_percent: 10")),
    ],
    "pool-below-its-floor": [
        lambda: facts_of(estate=with_pool("om-store-1", used_bytes=8_200 * GB)),
        lambda: facts_of(estate=AT_FLOOR),
        lambda: facts_of(estate=with_pool("om-store-2", used_bytes=8_400 * GB)),
    ],
    "pool-nearly-full": [
        lambda: facts_of(estate=with_pool("om-store-1", used_bytes=7_700 * GB)),
    ],
    "promise-above-capacity": [
        lambda: facts_of(estate=with_pool("om-store-1", promised_bytes=9_700 * GB, promise_limit=1.5)),
        # All of the pool is promised, and no byte more.
        lambda: facts_of(estate=with_pool("om-store-1", promised_bytes=10_000 * GB - DISKS_BYTES)),
    ],
}
