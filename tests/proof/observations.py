"""A good observation of three members, made by hand, and every way in which one part of it can be wrong."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from staddle.plan.ports import Health, SeenMember, View
from staddle.proof.model import Check, Exchange, Expected, ExpectedMember, MemberSaw, Observation

__all__ = ["AT", "DEVIATIONS", "NAMES", "OTHER_PRINT", "expected", "good_observation"]

AT = datetime(2026, 12, 5, 22, 10, tzinfo=UTC)
NAMES = ("levels-1", "levels-2", "levels-3")
ZONE = "levels.ousemoor.example"
OTHER_PRINT = ":".join(["EE"] * 32)


def fqdn(name: str) -> str:
    """The member's full name."""
    return f"{name}.{ZONE}"


def fingerprint(name: str) -> str:
    """A made-up fingerprint, another one for each member."""
    return ":".join([f"A{name[-1]}"] * 32)


def expected() -> Expected:
    """The cluster as design and journal have it; the deputy is the second."""
    members = [
        ExpectedMember(
            member=name,
            fqdn=fqdn(name),
            address=f"192.0.2.{60 + number}",
            port=8443,
            fingerprint=fingerprint(name),
            processors=4,
            memory_mib=16384,
            leads=("first", "second", "never")[number - 1],
        )
        for number, name in enumerate(NAMES, 1)
    ]
    return Expected(cluster="Ousemoor levels", version="4.2.0", most_offset_ms=100, members=tuple(members))


def _view(me: str) -> View:
    rows = [
        SeenMember(name=m.fqdn, address=m.address, fingerprint=m.fingerprint, heard=True)
        for m in expected().members
    ]
    return View(
        cluster_id="c" * 32,
        cluster="Ousemoor levels",
        leader=fqdn("levels-1"),
        deputy=fqdn("levels-2"),
        members=tuple(rows),
    )


def good_observation() -> Observation:
    """What a cluster in order shows."""
    saws = [
        MemberSaw(
            member=m.member,
            health=Health(
                healthy=True,
                in_cluster=True,
                name=m.fqdn,
                version="4.2.0",
                processors=4,
                memory_mib=16384,
                clock_offset_ms=-3.5,
            ),
            view=_view(m.member),
            wire_fingerprint=m.fingerprint,
            covers_name=True,
        )
        for m in expected().members
    ]
    exchanges = [
        Exchange(
            writer=writer,
            value=f"{writer} 7f",
            written=True,
            reads=tuple((reader, f"{writer} 7f") for reader in NAMES if reader != writer),
        )
        for writer in NAMES
    ]
    return Observation(at=AT, members=tuple(saws), exchanges=tuple(exchanges))


Bend = Callable[[Observation, str], Observation]


def _member(**changes: Any) -> Bend:  # noqa: ANN401  any field of MemberSaw
    def bend(seen: Observation, who: str) -> Observation:
        rows = [replace(saw, **changes) if saw.member == who else saw for saw in seen.members]
        return replace(seen, members=tuple(rows))

    return bend


def _health(**changes: Any) -> Bend:  # noqa: ANN401  any field of Health
    def bend(seen: Observation, who: str) -> Observation:
        health = next(saw.health for saw in seen.members if saw.member == who)
        assert health is not None
        return _member(health=replace(health, **changes))(seen, who)

    return bend


def _in_view(change: Callable[[View, str], View]) -> Bend:
    def bend(seen: Observation, who: str) -> Observation:
        view = next(saw.view for saw in seen.members if saw.member == who)
        assert view is not None
        return _member(view=change(view, who))(seen, who)

    return bend


def _row(**changes: Any) -> Bend:  # noqa: ANN401  any field of SeenMember
    """Bends how the member sees the one that stands before it in the table (the first sees the last)."""

    def change(view: View, who: str) -> View:
        rows = [replace(r, **changes) if r.name == fqdn(before(who)) else r for r in view.members]
        return replace(view, members=tuple(rows))

    return _in_view(change)


def _exchange(**changes: Any) -> Bend:  # noqa: ANN401  any field of Exchange
    def bend(seen: Observation, who: str) -> Observation:
        rows = [replace(e, **changes) if e.writer == who else e for e in seen.exchanges]
        return replace(seen, exchanges=tuple(rows))

    return bend


def _read(value: str | None) -> Bend:
    """Bends what the member reads of what the one before it wrote."""

    def bend(seen: Observation, who: str) -> Observation:
        rows = [
            replace(e, reads=tuple((r, value if r == who else v) for r, v in e.reads))
            if e.writer == before(who)
            else e
            for e in seen.exchanges
        ]
        return replace(seen, exchanges=tuple(rows))

    return bend


def _no_read(seen: Observation, who: str) -> Observation:
    rows = [
        replace(e, reads=tuple(read for read in e.reads if read[0] != who)) if e.writer == before(who) else e
        for e in seen.exchanges
    ]
    return replace(seen, exchanges=tuple(rows))


def before(who: str) -> str:
    """The member that stands before this one; before the first stands the last."""
    return NAMES[NAMES.index(who) - 1]


def _bad(name: str, subject: str, wanted: str, seen: str) -> Check:
    return Check(name=name, subject=subject, good=False, expected=wanted, seen=seen)


def _one(name: str, wanted: str, seen: str) -> Callable[[str], tuple[Check, ...]]:
    """One bad check; PREV, WHO and FQDN in the texts are filled in for the member that was bent."""

    def checks(who: str) -> tuple[Check, ...]:
        def filled(text: str) -> str:
            names = {"PREV": before(who), "WHO": who, "FQDN": fqdn(who), "FPREV": fingerprint(before(who))}
            names |= {"FWHO": fingerprint(who), "APREV": f"192.0.2.{60 + int(before(who)[-1])}"}
            for mark in sorted(names, key=len, reverse=True):
                text = text.replace(mark, names[mark])
            return text

        return (_bad(filled(name), who, filled(wanted), filled(seen)),)

    return checks


def _missing(who: str) -> tuple[Check, ...]:
    return (
        _bad("certificate as in the journal", who, fingerprint(who), "not looked at"),
        _bad("certificate's names", who, f"names {fqdn(who)}", f"does not name {fqdn(who)}"),
        _bad("answers", who, "its health", "not looked at"),
        _bad("view", who, "its view", "not looked at"),
    )


def _split(who: str) -> tuple[Check, ...]:
    leader = fqdn("levels-1")
    return (
        _bad("same cluster as the others", who, "c" * 32, "0" * 32),
        _bad("same leader as the others", who, leader, fqdn("levels-3")),
    )


_ALL = ", ".join(fqdn(name) for name in NAMES)

DEVIATIONS: dict[str, tuple[Bend, Callable[[str], tuple[Check, ...]]]] = {
    "another certificate": (
        _member(wire_fingerprint=OTHER_PRINT),
        _one("certificate as in the journal", "FWHO", OTHER_PRINT),
    ),
    "a certificate for another name": (
        _member(covers_name=False),
        _one("certificate's names", "names FQDN", "does not name FQDN"),
    ),
    "no health": (
        _member(health=None, why="connection refused"),
        _one("answers", "its health", "connection refused"),
    ),
    "no view": (_member(view=None, why="alone"), _one("view", "its view", "alone")),
    "not looked at": (
        lambda seen, who: replace(seen, members=tuple(s for s in seen.members if s.member != who)),
        _missing,
    ),
    "unhealthy": (_health(healthy=False), _one("healthy", "True", "False")),
    "alone": (_health(in_cluster=False), _one("in the cluster", "True", "False")),
    "another name": (_health(name="x.example"), _one("name", "FQDN", "x.example")),
    "another version": (_health(version="4.1.9"), _one("version", "4.2.0", "4.1.9")),
    "fewer processors": (
        _health(processors=2),
        _one("size", "4 processors, 16384 MiB", "2 processors, 16384 MiB"),
    ),
    "less memory": (
        _health(memory_mib=8192),
        _one("size", "4 processors, 16384 MiB", "4 processors, 8192 MiB"),
    ),
    "clock ahead": (_health(clock_offset_ms=100.6), _one("clock", "within 100 ms of ours", "+101 ms")),
    "clock behind": (_health(clock_offset_ms=-3000.0), _one("clock", "within 100 ms of ours", "-3000 ms")),
    "another cluster's name": (
        _in_view(lambda view, _: replace(view, cluster="Tollgate levels")),
        _one("cluster's name", "Ousemoor levels", "Tollgate levels"),
    ),
    "another cluster with another leader": (
        _in_view(lambda view, _: replace(view, cluster_id="0" * 32, leader=fqdn("levels-3"))),
        _split,
    ),
    "no leader": (
        _in_view(lambda view, _: replace(view, leader="")),
        lambda who: (
            _bad("same leader as the others", who, fqdn("levels-1"), "none"),
            _bad("has a leader", who, "one of the members", "none"),
        ),
    ),
    "no deputy": (
        _in_view(lambda view, _: replace(view, deputy="")),
        _one("deputy", fqdn("levels-2"), "none"),
    ),
    "a stranger in the view": (
        _in_view(
            lambda view, _: replace(
                view, members=(*view.members, replace(view.members[0], name="zz.example"))
            )
        ),
        _one("lists the members of the design", _ALL, _ALL + ", zz.example"),
    ),
    "a member listed twice": (
        _in_view(lambda view, _: replace(view, members=(*view.members, view.members[2]))),
        _one("lists the members of the design", _ALL, _ALL + f", {fqdn('levels-3')}"),
    ),
    "a member not listed": (
        _in_view(
            lambda view, who: replace(
                view, members=tuple(r for r in view.members if r.name != fqdn(before(who)))
            )
        ),
        lambda who: (
            _bad(
                "lists the members of the design",
                who,
                _ALL,
                ", ".join(fqdn(name) for name in NAMES if name != before(who)),
            ),
        ),
    ),
    "another address in the view": (
        _row(address="192.0.2.99"),
        _one("address of PREV", "APREV", "192.0.2.99"),
    ),
    "another certificate in the view": (
        _row(fingerprint=OTHER_PRINT),
        _one("certificate of PREV", "FPREV", OTHER_PRINT),
    ),
    "a member not heard": (_row(heard=False), _one("hears PREV", "True", "False")),
    "a write refused": (
        _exchange(written=False, reads=(), why="the disk is full"),
        _one("a write through it", "acknowledged", "the disk is full"),
    ),
    "a write not tried": (
        lambda seen, who: replace(seen, exchanges=tuple(e for e in seen.exchanges if e.writer != who)),
        _one("a write through it", "acknowledged", "not tried"),
    ),
    "a write lost": (_read(None), _one("a read of what PREV wrote", "PREV 7f", "nothing")),
    "an old value read": (_read("6e"), _one("a read of what PREV wrote", "PREV 7f", "6e")),
    "a read not tried": (_no_read, _one("a read of what PREV wrote", "PREV 7f", "not tried")),
}
"""By name: how the observation is bent at one member, and the checks that must then fail, all of them and no others."""
