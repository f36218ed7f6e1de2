"""A whole invented report, and small parts of it, for the dossier's tests."""

import hashlib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from demo.ousemoor_estate import demo_estate
from staddle.design.waivers import Waived
from staddle.dossier.gathering import placement_record
from staddle.dossier.model import (
    AnswerSheet,
    JobFacts,
    JournalLine,
    JournalRecord,
    NotLooked,
    PackageFacts,
    Pinned,
    Report,
    SheetSection,
    ShippedFile,
    Signatory,
    SizeFacts,
)
from staddle.estate.bookings import Booking, room_left
from staddle.estate.model import Estate
from staddle.kernel import Finding, Severity
from staddle.placement.model import (
    DiskNeed,
    HostRoom,
    MemberNeed,
    PassedOver,
    Placement,
    PoolRoom,
    Problem,
    Seat,
)
from staddle.proof.model import Check, Exchange, Proof, Sight

GIB = 1024**3
GB = 1000**3
AT = datetime(2026, 12, 5, 20, 41, 7, tzinfo=UTC)
NAMES = ("log-1", "log-2", "log-3")


def digest(text: str) -> str:
    """Any SHA-256."""
    return hashlib.sha256(text.encode()).hexdigest()


def fingerprint(text: str) -> str:
    """Any fingerprint as people read it: 95 characters."""
    return hashlib.sha256(text.encode()).digest().hex(":").upper()


def estate() -> Estate:
    """The demo's estate."""
    return demo_estate(surveyed=date(2026, 11, 20))


def problem(names: tuple[str, ...] = NAMES, bookings: tuple[Booking, ...] = ()) -> Problem:
    """The question of three River members on the demo's estate."""
    rows = estate()
    left = room_left(rows, bookings)
    leads = ("first", "second", *("never" for _ in names))
    return Problem(
        members=tuple(
            MemberNeed(
                name=name,
                memory_bytes=16 * GIB,
                vcpus=4,
                disks=(
                    DiskNeed(disk_id="system", promised_bytes=46 * GB, written_bytes=46 * GB),
                    DiskNeed(disk_id="data", promised_bytes=130 * GB, written_bytes=130 * GB),
                ),
                leads=lead,
            )
            for name, lead in zip(names, leads, strict=False)
        ),
        hosts=tuple(
            HostRoom(
                name=host.name,
                memory_bytes=max(0, left.hosts[host.name].memory_bytes),
                vcpus=max(0, left.hosts[host.name].vcpus),
                memory_total_bytes=host.memory_bytes,
                networks=host.networks,
                pools=host.pools,
                domains=(),
            )
            for host in rows.hosts
        ),
        pools=tuple(
            PoolRoom(
                name=pool.name,
                free_bytes=max(0, left.pools[pool.name].free_bytes),
                promise_bytes=max(0, left.pools[pool.name].promise_bytes),
                capacity_bytes=pool.capacity_bytes,
            )
            for pool in rows.pools
        ),
    )


def placement(names: tuple[str, ...] = NAMES) -> Placement:
    """One member in each rack of Ousemoor."""
    hosts = ("om-h03", "om-h04", "om-h07")
    return Placement(
        seats=tuple(
            Seat(
                member=name,
                host=host,
                disks=(("system", f"om-store-{number}"), ("data", f"om-store-{number}")),
            )
            for number, (name, host) in enumerate(zip(names, hosts, strict=True), 1)
        ),
        reasons=tuple((name, f"the emptiest host of its rack ({name})") for name in names),
        passed_over=(PassedOver(host="om-h05", reason="does not reach om-telemetry", members=names[:1]),),
    )


def proof(names: tuple[str, ...] = NAMES) -> Proof:
    """A good proof of three members."""
    return Proof(
        at=AT,
        cluster="Ousemoor levels",
        good=True,
        rounds=3,
        checks=tuple(
            Check(
                name="certificate as in the journal",
                subject=name,
                good=True,
                expected=fingerprint(name),
                seen=fingerprint(name),
            )
            for name in names
        ),
        sights=tuple(
            Sight(viewer=a, viewed=b, mark="self" if a == b else "hears") for a in names for b in names
        ),
        exchanges=tuple(
            Exchange(
                writer=name,
                value="v",
                written=True,
                reads=tuple((other, "v") for other in names if other != name),
            )
            for name in names
        ),
    )


def bad_proof() -> Proof:
    """log-1 does not hear log-3, and log-3 gave no view."""
    good = proof()
    marks = {("log-1", "log-3"): "lost", ("log-3", "log-1"): "silent", ("log-3", "log-2"): "silent"}
    failed = Check(name="hears log-3", subject="log-1", good=False, expected="True", seen="False")
    return replace(
        good,
        good=False,
        checks=(*good.checks, failed),
        sights=tuple(replace(s, mark=marks.get((s.viewer, s.viewed), s.mark)) for s in good.sights),
    )


def journal(count: int) -> JournalRecord:
    """A journal of that many entries; every second one carries a fingerprint."""
    lines = tuple(
        JournalLine(
            seq=number,
            at=AT + timedelta(seconds=7 * number),
            step=f"{NAMES[number % 3]}: confirm the fingerprint",
            event=("started", "seen done")[number % 2],
            actor="M. Fenwright",
            evidence=() if number % 2 else (("fingerprint", fingerprint(str(number))), ("id", f"m-{number}")),
        )
        for number in range(1, count + 1)
    )
    return JournalRecord(
        rollout_id="ousemoor-levels-1",
        purpose="rollout",
        made_by="M. Fenwright",
        made_at=AT,
        lines=lines,
        root_sha256=digest("root"),
    )


def report(names: tuple[str, ...] = NAMES, entries: int = 12) -> Report:
    """A sealed rollout of the demo's three members."""
    risk = Finding(
        rule="feed-shared",
        severity=Severity.RISK,
        what="the first rack hangs on one feed",
        where="estate/domains.csv:3",
        why="its loss stops one member",
        mend="move the leader to the third rack",
        source="design.yaml: survive",
    )
    return Report(
        job=JobFacts(
            job="ousemoor-levels",
            cluster="Ousemoor levels",
            owner="Water levels",
            engineer="M. Fenwright",
            change="CHG-2026-117",
        ),
        revision="A",
        made_at=AT,
        status="The cluster stands: three members are in, the proof is good, the rollout is sealed.",
        package=PackageFacts(
            product="Sluicelog",
            version="4.2.0",
            vendor="Reedmere Instruments",
            file_name="sluicelog-4.2.0.ova",
            file_bytes=12_345_678,
            sha256=digest("ova"),
            descriptor_name="sluicelog.ovf",
            descriptor_sha256=digest("ovf"),
            files=(ShippedFile(name="system.vmdk", size_bytes=8_000_000, sha256=digest("system")),),
            sizes=(
                SizeFacts(
                    label="River", processors=4, memory_bytes=16 * GIB, disk_bytes=176 * GB, chosen=True
                ),
            ),
            licences=("Licence of use",),
            licence_accepted_by="A. Tollemere",
            licence_accepted_on=date(2026, 11, 30),
        ),
        pinned=tuple(Pinned(what=what, sha256=digest(what)) for what in ("design", "estate", "profile")),
        kept=(
            risk,
            replace(risk, rule="survey-age", severity=Severity.NOTE, what="the survey is 15 days old"),
        ),
        waived=(
            Waived(
                finding=replace(risk, rule="few-time-servers", what="only two time servers"),
                by="A. Tollemere",
                reason="a third one comes in January",
                until=date(2027, 1, 31),
            ),
        ),
        not_looked=(NotLooked(rule="makers-limits", why="there is no table for Sluicelog"),),
        placement=placement_record(
            estate(),
            problem(names),
            placement(names),
            settled_by="M. Fenwright",
            settled_on=date(2026, 12, 1),
        ),
        surveyed=date(2026, 11, 20),
        surveyed_by="the estate team",
        sheets=tuple(
            AnswerSheet(
                title=name,
                sections=(SheetSection(title="machine", rows=(("address", f"192.0.2.{n}"),)),),
            )
            for n, name in enumerate(names, 11)
        ),
        journal=journal(entries),
        proof=proof(names),
        signatories=(
            Signatory(role="carried out", name="M. Fenwright"),
            Signatory(role="checked", name="A. Tollemere"),
            Signatory(role="accepted"),
        ),
    )
