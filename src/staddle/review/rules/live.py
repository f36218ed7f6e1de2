"""Rules about what live probes saw (review --live). Which probes there are, and sending them, is jobs/live.py's."""

from collections.abc import Iterator
from datetime import timedelta

from staddle.answers.requests import ProbeKind
from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule
from staddle.review.sights import Saw, Sight

_NEEDS = (Need.SIGHTS,)


def _seen(facts: Facts, kind: ProbeKind, *saw: Saw) -> Iterator[Sight]:
    return (one for one in facts.get_sights() if one.probe.kind is kind and one.saw in saw)


def _told_otherwise(facts: Facts, kind: ProbeKind, noun: str) -> Iterator[Found]:
    for sight in _seen(facts, kind, Saw.OTHERWISE):
        target = sight.probe.target
        yield Found(
            what=f"{target} is not {', '.join(sight.probe.expect)} at {sight.asked}: {sight.why}",
            where=f"{noun} {target}",
        )


@rule(
    name="address-in-use",
    severity=Severity.STOP,
    title="Something answers at a member's address before the member is there",
    reason="two machines with one address disturb each other, and the member would be taken for the other one",
    mend="find out whose it is; correct the estate's tables, or give the member another address",
    source="RFC 5227 §1 on what a duplicate address does",
    needs=(Need.SIGHTS, Need.ADDRESSES),
)
def address_in_use(facts: Facts) -> Iterator[Found]:
    owners = {
        one.address: member.name for member in facts.get_addresses().members for one in member.addresses
    }
    for sight in _seen(facts, ProbeKind.SILENT, Saw.OTHERWISE, Saw.ABSENT):
        target = sight.probe.target
        yield Found(
            what=f"{target}, meant for {owners.get(target, 'a member')}, is in use: {sight.why}"
            f" on port {sight.probe.port}",
            where=f"address {target}",
        )


@rule(
    name="name-points-elsewhere",
    severity=Severity.STOP,
    title="A name of the cluster is already in DNS, for other addresses",
    reason="whoever asks for the member reaches another machine, and that machine is lost when the record is replaced",
    mend="have the record corrected by whoever owns the zone, or give the member another name",
    source="RFC 1034 §3.6",
    needs=_NEEDS,
)
def name_points_elsewhere(facts: Facts) -> Iterator[Found]:
    return _told_otherwise(facts, ProbeKind.FORWARD, "name")


@rule(
    name="address-named-otherwise",
    severity=Severity.RISK,
    title="A member's address has another name in DNS",
    reason="records and certificates would carry a name that is not the member's; the address may still be somebody's",
    mend="have the reverse record corrected, and ask whether its old owner still uses the address",
    source="RFC 1912 §2.1",
    needs=_NEEDS,
)
def address_named_otherwise(facts: Facts) -> Iterator[Found]:
    return _told_otherwise(facts, ProbeKind.REVERSE, "address")


@rule(
    name="name-not-in-dns",
    severity=Severity.NOTE,
    title="Names of the cluster are free, and not in DNS yet",
    reason="members and clients find each other by name from the first start on",
    mend="ask for them in time: staddle requests",
    needs=_NEEDS,
)
def name_not_in_dns(facts: Facts) -> Iterator[Found]:
    missing: dict[str, list[str]] = {}
    for kind in (ProbeKind.FORWARD, ProbeKind.REVERSE):
        for sight in _seen(facts, kind, Saw.ABSENT):
            missing.setdefault(sight.asked, []).append(sight.probe.target)
    for server, targets in missing.items():
        yield Found(
            what=f"{server} does not know {', '.join(dict.fromkeys(targets))}", where=f"name server {server}"
        )


@rule(
    name="name-server-useless",
    severity=Severity.RISK,
    title="A name server that members will ask gives no usable answer",
    reason="members that cannot look names up do not find each other, and the names may be taken without our knowing",
    mend="see that it runs, that the way to it is open from here, and that it answers for the zone",
    needs=_NEEDS,
)
def name_server_useless(facts: Facts) -> Iterator[Found]:
    whys: dict[tuple[str, str], int] = {}
    for kind in (ProbeKind.FORWARD, ProbeKind.REVERSE):
        for sight in _seen(facts, kind, Saw.NO_ANSWER):
            whys[sight.asked, sight.why] = whys.get((sight.asked, sight.why), 0) + 1
    for (server, why), count in whys.items():
        questions = "1 question" if count == 1 else f"{count} questions"
        yield Found(what=f"{server} left {questions} open: {why}", where=f"name server {server}")


@rule(
    name="time-server-useless",
    severity=Severity.RISK,
    title="A time server that members will ask gives no usable time",
    reason="with fewer good servers nobody can tell which of those that are left is false",
    mend="see that it runs and is synchronised, and that udp port 123 is open; or name another",
    source="RFC 5905 §7.3, §7.4; RFC 8633 §3.2 (from memory)",
    needs=_NEEDS,
)
def time_server_useless(facts: Facts) -> Iterator[Found]:
    for sight in _seen(facts, ProbeKind.TIME, Saw.NO_ANSWER, Saw.OTHERWISE):
        yield Found(what=f"{sight.probe.target} tells no time: {sight.why}", where=_clock(facts, sight))


@rule(
    name="clock-differs",
    severity=Severity.RISK,
    title="A time server and this machine's clock differ by more than the proof accepts",
    reason="one of them is wrong; if it is ours, the proof finds fault with members that are right",
    mend="where all servers differ alike, set this machine's clock; else ask who keeps the one that stands out",
    source="RFC 5905 §8",
    needs=_NEEDS,
)
def clock_differs(facts: Facts) -> Iterator[Found]:
    most_ms = facts.design.clock.most_offset_span / timedelta(milliseconds=1)
    for sight in _seen(facts, ProbeKind.TIME, Saw.AS_WANTED):
        # Only what is certain: within its bound the true offset may still be one that is accepted.
        if sight.offset_ms is not None and abs(sight.offset_ms) - sight.bound_ms > most_ms:
            yield Found(
                what=f"{sight.probe.target}: {sight.why}; accepted are {most_ms:g} ms",
                where=_clock(facts, sight),
            )


@rule(
    name="place-unreachable",
    severity=Severity.RISK,
    title="A place that must answer on TCP does not, seen from this machine",
    reason="the work is carried out from here: what is not reached now is not reached in the window",
    mend="see that it runs and that the way from here is open: staddle requests asks for the openings",
    source="RFC 7766 §5 for name servers on TCP; common practice for others",
    needs=_NEEDS,
)
def place_unreachable(facts: Facts) -> Iterator[Found]:
    for sight in _seen(facts, ProbeKind.ANSWERS, Saw.ABSENT, Saw.NO_ANSWER):
        yield Found(
            what=f"{sight.probe.target} does not answer on TCP port {sight.probe.port}: {sight.why}",
            where=f"address {sight.probe.target}",
        )


@rule(
    name="probe-not-sent",
    severity=Severity.NOTE,
    title="A live probe was not sent",
    reason="what was not looked at is not known",
    mend="put right what is named, then run it again",
    needs=_NEEDS,
)
def probe_not_sent(facts: Facts) -> Iterator[Found]:
    whys: dict[str, list[str]] = {}
    for sight in facts.get_sights():
        if sight.saw is Saw.NOT_SENT:
            whys.setdefault(sight.why, []).append(sight.probe.target)
    for why, targets in whys.items():
        yield Found(what=f"not asked about {', '.join(dict.fromkeys(targets))}", why=why)


def _clock(facts: Facts, sight: Sight) -> str:
    servers = facts.design.clock.servers
    return (
        facts.at(f"clock.servers[{servers.index(sight.probe.target)}]")
        if sight.probe.target in servers
        else ""
    )
