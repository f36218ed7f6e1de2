"""Rules of live.py: what each says of sights, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.answers.requests import Probe, ProbeKind
from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from staddle.review.sights import Saw, Sight
from tests.review.ousemoor import facts_of

__all__ = ["FIRES", "QUIET"]

SILENT: Final = Probe(kind=ProbeKind.SILENT, target="192.0.2.61", port=8443)
NAME: Final = Probe(
    kind=ProbeKind.FORWARD,
    target="levels-1.ousemoor.example",
    expect=("192.0.2.61",),
    ask=("192.0.2.2", "192.0.2.3"),
)
REVERSE: Final = Probe(
    kind=ProbeKind.REVERSE,
    target="192.0.2.61",
    expect=("levels-1.ousemoor.example",),
    ask=("192.0.2.2",),
)
TIME: Final = Probe(kind=ProbeKind.TIME, target="192.0.2.5", port=123)
REACH: Final = Probe(kind=ProbeKind.ANSWERS, target="192.0.2.1", port=22)


def sight(
    probe: Probe, saw: Saw, why: str, asked: str = "", offset_ms: float | None = None, bound_ms: float = 0.0
) -> Sight:
    return Sight(
        probe=probe,
        asked=asked or probe.target,
        saw=saw,
        why=why,
        offset_ms=offset_ms,
        bound_ms=bound_ms,
    )


def seeing(*sights: Sight) -> Callable[[], Facts]:
    return lambda: facts_of(sights=sights)


def told(offset_ms: float, bound_ms: float) -> Sight:
    return sight(TIME, Saw.AS_WANTED, "its time less ours is told", offset_ms=offset_ms, bound_ms=bound_ms)


FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "address-in-use": [
        (
            seeing(sight(SILENT, Saw.OTHERWISE, "something answers")),
            (
                Finding(
                    rule="address-in-use",
                    severity=Severity.STOP,
                    what="192.0.2.61, meant for levels-1, is in use: something answers on port 8443",
                    where="address 192.0.2.61",
                    why="two machines with one address disturb each other, and the member would be taken for the other one",
                    mend="find out whose it is; correct the estate's tables, or give the member another address",
                    source="RFC 5227 §1 on what a duplicate address does",
                ),
            ),
        ),
    ],
    "name-points-elsewhere": [
        (
            seeing(
                sight(NAME, Saw.OTHERWISE, "it is 192.0.2.90", "192.0.2.2"),
                sight(NAME, Saw.AS_WANTED, "it is 192.0.2.61", "192.0.2.3"),
            ),
            (
                Finding(
                    rule="name-points-elsewhere",
                    severity=Severity.STOP,
                    what="levels-1.ousemoor.example is not 192.0.2.61 at 192.0.2.2: it is 192.0.2.90",
                    where="name levels-1.ousemoor.example",
                    why="whoever asks for the member reaches another machine, and that machine is lost when the record is replaced",
                    mend="have the record corrected by whoever owns the zone, or give the member another name",
                    source="RFC 1034 §3.6",
                ),
            ),
        ),
    ],
    "address-named-otherwise": [
        (
            seeing(sight(REVERSE, Saw.OTHERWISE, "it is old.ousemoor.example", "192.0.2.2")),
            (
                Finding(
                    rule="address-named-otherwise",
                    severity=Severity.RISK,
                    what="192.0.2.61 is not levels-1.ousemoor.example at 192.0.2.2: it is old.ousemoor.example",
                    where="address 192.0.2.61",
                    why="records and certificates would carry a name that is not the member's; the address may still be somebody's",
                    mend="have the reverse record corrected, and ask whether its old owner still uses the address",
                    source="RFC 1912 §2.1",
                ),
            ),
        ),
    ],
    "name-not-in-dns": [
        (
            seeing(
                sight(NAME, Saw.ABSENT, "there is no such name", "192.0.2.2"),
                sight(REVERSE, Saw.ABSENT, "there is no such name", "192.0.2.2"),
                sight(NAME, Saw.ABSENT, "there is no such name", "192.0.2.3"),
            ),
            tuple(
                Finding(
                    rule="name-not-in-dns",
                    severity=Severity.NOTE,
                    what=f"{server} does not know {what}",
                    where=f"name server {server}",
                    why="members and clients find each other by name from the first start on",
                    mend="ask for them in time: staddle requests",
                    source=PRACTICE,
                )
                for server, what in (
                    ("192.0.2.2", "levels-1.ousemoor.example, 192.0.2.61"),
                    ("192.0.2.3", "levels-1.ousemoor.example"),
                )
            ),
        ),
    ],
    "name-server-useless": [
        (
            seeing(
                sight(NAME, Saw.NO_ANSWER, "no answer within 3 s", "192.0.2.2"),
                sight(REVERSE, Saw.NO_ANSWER, "no answer within 3 s", "192.0.2.2"),
                sight(NAME, Saw.NO_ANSWER, "the server answered REFUSED", "192.0.2.3"),
            ),
            tuple(
                Finding(
                    rule="name-server-useless",
                    severity=Severity.RISK,
                    what=what,
                    where=f"name server {server}",
                    why="members that cannot look names up do not find each other, and the names may be taken without our knowing",
                    mend="see that it runs, that the way to it is open from here, and that it answers for the zone",
                    source=PRACTICE,
                )
                for server, what in (
                    ("192.0.2.2", "192.0.2.2 left 2 questions open: no answer within 3 s"),
                    ("192.0.2.3", "192.0.2.3 left 1 question open: the server answered REFUSED"),
                )
            ),
        ),
    ],
    "time-server-useless": [
        (
            seeing(
                sight(TIME, Saw.OTHERWISE, "the server says that it is not synchronised itself"),
                sight(TIME, Saw.NO_ANSWER, "no answer within 3 s"),
            ),
            tuple(
                Finding(
                    rule="time-server-useless",
                    severity=Severity.RISK,
                    what=f"192.0.2.5 tells no time: {why}",
                    where="design.yaml:37:24",
                    why="with fewer good servers nobody can tell which of those that are left is false",
                    mend="see that it runs and is synchronised, and that udp port 123 is open; or name another",
                    source="RFC 5905 §7.3, §7.4; RFC 8633 §3.2 (from memory)",
                )
                for why in ("the server says that it is not synchronised itself", "no answer within 3 s")
            ),
        ),
    ],
    "clock-differs": [
        (
            seeing(told(-161.0, 60.0)),  # 101 ms at least; the design accepts 100
            (
                Finding(
                    rule="clock-differs",
                    severity=Severity.RISK,
                    what="192.0.2.5: its time less ours is told; accepted are 100 ms",
                    where="design.yaml:37:24",
                    why="one of them is wrong; if it is ours, the proof finds fault with members that are right",
                    mend="where all servers differ alike, set this machine's clock; else ask who keeps the one that stands out",
                    source="RFC 5905 §8",
                ),
            ),
        ),
    ],
    "place-unreachable": [
        (
            seeing(sight(REACH, Saw.NO_ANSWER, "no answer within 3 s")),
            (
                Finding(
                    rule="place-unreachable",
                    severity=Severity.RISK,
                    what="192.0.2.1 does not answer on TCP port 22: no answer within 3 s",
                    where="address 192.0.2.1",
                    why="the work is carried out from here: what is not reached now is not reached in the window",
                    mend="see that it runs and that the way from here is open: staddle requests asks for the openings",
                    source="RFC 7766 §5 for name servers on TCP; common practice for others",
                ),
            ),
        ),
    ],
    "probe-not-sent": [
        (
            seeing(
                sight(SILENT, Saw.NOT_SENT, "rollout-1 has made the members"),
                sight(NAME, Saw.NOT_SENT, "no name server is known"),
            ),
            tuple(
                Finding(
                    rule="probe-not-sent",
                    severity=Severity.NOTE,
                    what=f"not asked about {target}",
                    why=why,
                    mend="put right what is named, then run it again",
                    source=PRACTICE,
                )
                for target, why in (
                    ("192.0.2.61", "rollout-1 has made the members"),
                    ("levels-1.ousemoor.example", "no name server is known"),
                )
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "address-in-use": [seeing(sight(SILENT, Saw.AS_WANTED, "no answer within 3 s"))],
    "name-points-elsewhere": [
        seeing(sight(NAME, Saw.ABSENT, "there is no such name", "192.0.2.2")),
        seeing(sight(REVERSE, Saw.OTHERWISE, "it is old.ousemoor.example", "192.0.2.2")),
    ],
    "address-named-otherwise": [seeing(sight(NAME, Saw.OTHERWISE, "it is 192.0.2.90", "192.0.2.2"))],
    "name-not-in-dns": [seeing(sight(NAME, Saw.AS_WANTED, "it is 192.0.2.61", "192.0.2.2"))],
    "name-server-useless": [seeing(sight(NAME, Saw.ABSENT, "there is no such name", "192.0.2.2"))],
    "time-server-useless": [seeing(told(0.2, 0.1))],
    "clock-differs": [seeing(told(-159.0, 60.0)), seeing(told(100.0, 0.0))],
    "place-unreachable": [
        seeing(sight(REACH, Saw.AS_WANTED, "something answers")),
        seeing(sight(SILENT, Saw.AS_WANTED, "no answer within 3 s")),
    ],
    "probe-not-sent": [seeing(sight(REACH, Saw.NO_ANSWER, "no answer within 3 s"))],
}
