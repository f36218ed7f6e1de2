"""availability: what share of a year the cluster serves, from placement, estate and rates; a first rates.yaml."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from staddle.dossier.availability_drawing import availability_sentence, draw_availability
from staddle.dossier.ink import sheet
from staddle.dossier.picture import framed
from staddle.dossier.sections.wording import day
from staddle.failures.domains import Above, domains_above, pool_domains_above
from staddle.jobs.folder import JobFolder, read_text, start_text, write_text
from staddle.jobs.gather import Gathered
from staddle.jobs.place import Kept, PlaceReport, found_placement, place
from staddle.kernel import NotAllowed, digest_of
from staddle.placement.after import least_data
from staddle.placement.model import HostRoom, MemberNeed, Problem, Seat
from staddle.survival.availability import Availability, availability_of
from staddle.survival.cluster import Cluster, DomainKey, Standing
from staddle.survival.rates import Rates, starting_rates
from staddle.survival.ratesfile import rates_starter, read_rates

__all__ = [
    "AvailabilityReport",
    "availability",
    "availability_of_seats",
    "availability_on",
    "draw_availability_sheet",
    "rates_in",
    "start_rates",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class AvailabilityReport:
    """The answer. ``settled``: the members stand where placement.yaml says; else where `place` would put them now.

    ``rates_file`` is the file that rates were read from, "" where all are common practice.
    """

    job: str
    cluster: str
    settled: bool
    surveyed: date
    rates_file: str
    availability: Availability


def availability(folder: JobFolder, now: datetime) -> AvailabilityReport:
    """The availability of the cluster where it stands, or where it would be placed. Changes nothing.

    Raises: InputRefused: the job or rates.yaml cannot be read; NotAllowed: there is no placement.
    """
    return availability_on(folder, place(folder, now))


def availability_on(folder: JobFolder, placed: PlaceReport) -> AvailabilityReport:
    """The same of a job that was read and placed before. Raises: as availability."""
    placement = found_placement(placed.outcome)
    if placement is None:
        raise NotAllowed.one(
            "there is no placement, so nothing stands anywhere",
            mend="staddle place tells which rules are in conflict",
        )
    return AvailabilityReport(
        job=placed.job.design.job.name,
        cluster=placed.job.design.job.cluster,
        surveyed=placed.job.reading.estate.surveyed,
        settled=isinstance(placed.outcome, Kept),
        rates_file="rates.yaml" if folder.rates.is_file() else "",
        availability=availability_of_seats(folder, placed.job, placed.problem, placement.seats),
    )


def availability_of_seats(
    folder: JobFolder, job: Gathered, problem: Problem, seats: tuple[Seat, ...]
) -> Availability:
    """The availability of members at these seats. The same job gives the same answer, simulated or not.

    Raises: InputRefused: every fault of rates.yaml.
    """
    hosts = domains_above(job.reading.estate)
    pools = pool_domains_above(job.reading.estate)
    rates = rates_in(folder, {key for above in (*hosts.values(), *pools.values()) for key in above})
    standings = tuple(_standings(problem, seats, hosts=dict(hosts), pools=dict(pools)))
    needed = max(1, least_data(job.design))
    cluster = Cluster(members=standings, data_needed=needed)
    start = digest_of((job.inputs(), seats, sorted(rates.rows.values(), key=repr)))
    return availability_of(
        cluster, rates, there_are=_there_are(problem, dict(hosts), dict(pools)), random=_Settled(start)
    )


def rates_in(folder: JobFolder, domains: set[DomainKey]) -> Rates:
    """The job's rates. Args: domains: those of the estate. Raises: InputRefused: every fault of rates.yaml."""
    if not folder.rates.is_file():
        return starting_rates()
    return read_rates(read_text(folder.rates), where="rates.yaml", domains=domains)


def start_rates(folder: JobFolder) -> str:
    """Write a rates.yaml with every quantity and no value.

    Returns: the file's name below the job folder. Raises: NotAllowed: there is one already; nothing was changed.
    """
    return start_text(folder.rates, rates_starter())


def draw_availability_sheet(folder: JobFolder, report: AvailabilityReport, now: datetime) -> str:
    """Write records/availability.svg. Returns: its name below the job folder."""
    fields = (
        ("CLUSTER", report.cluster, 0.28),
        ("SHEET TITLE", "Availability", 0.2),
        ("JOB", report.job, 0.2),
        ("SURVEY", day(report.surveyed), 0.16),
        ("DATE", day(now.date()), 0.16),
    )
    drawn = framed(draw_availability(report.availability), fields)
    text = sheet(
        drawn,
        title=f"What takes {report.cluster} down, and what helps",
        description=availability_sentence(report.availability),
    )
    write_text(folder.records / "availability.svg", text)
    return "records/availability.svg"


class _Settled:
    """The Random port with bytes that follow from a digest, so that a simulation can be had again."""

    def __init__(self, digest: str) -> None:
        self._digest = digest.encode()

    def token(self, length_bytes: int) -> bytes:
        return hashlib.shake_256(self._digest).digest(length_bytes)


def _standings(
    problem: Problem, seats: tuple[Seat, ...], *, hosts: dict[str, Above], pools: dict[str, Above]
) -> Iterator[Standing]:
    needs = {need.name: need for need in problem.members}
    for seat in seats:
        need = needs[seat.member]
        on_disks = dict.fromkeys(key for _, pool in seat.disks for key in pools[pool])
        above = dict.fromkeys((*hosts[seat.host], *on_disks))
        yield Standing(
            member=seat.member,
            domains=tuple(above),
            outlives=frozenset(
                key
                for key in hosts[seat.host]
                if key not in on_disks and _restarts_without(problem, seats, need, seat, key, hosts)
            ),
            data=need.data,
            votes=need.votes,
            leads=need.leads,
        )


def _restarts_without(
    problem: Problem,
    seats: tuple[Seat, ...],
    need: MemberNeed,
    seat: Seat,
    failed: DomainKey,
    hosts: dict[str, Above],
) -> bool:
    """Whether some host outside the failed domain reaches the member's pools and networks and has room for it now."""
    used = {pool for _, pool in seat.disks}
    return any(
        failed not in hosts[room.name]
        and _may_stand(need, room.name, hosts[room.name])
        and used <= set(room.pools)
        and set(need.networks) <= set(room.networks)
        and (not need.cpu_levels or room.cpu_level in need.cpu_levels)
        and _has_room(problem, seats, need, room)
        for room in problem.hosts
    )


def _may_stand(need: MemberNeed, host: str, above: Above) -> bool:
    # A pin says where it stands at rest; after a failure it may stand on any host of its site that it is not kept out of.
    names = {host, *(name for _, name in above)}
    return (not need.site or ("site", need.site) in above) and not names & set(need.keep_out)


def _has_room(problem: Problem, seats: tuple[Seat, ...], need: MemberNeed, room: HostRoom) -> bool:
    needs = {one.name: one for one in problem.members}
    there = [needs[seat.member] for seat in seats if seat.host == room.name and seat.member != need.name]
    memory_bytes = room.memory_bytes - sum(room.memory_for(one) for one in there)
    vcpus = room.vcpus - sum(room.vcpus_for(one) for one in there)
    return room.memory_for(need) <= memory_bytes and room.vcpus_for(need) <= vcpus


def _there_are(problem: Problem, hosts: dict[str, Above], pools: dict[str, Above]) -> dict[str, int]:
    """How many domains of each kind there are on hosts where any member may stand, and on the pools that these reach."""
    found: set[DomainKey] = set()
    for room in problem.hosts:
        if any(_may_stand(need, room.name, hosts[room.name]) for need in problem.members):
            found.update(hosts[room.name])
            for pool in room.pools:
                if pool in pools and pool in (problem.clusters[0].allowed_pools or pools):
                    found.update(pools[pool])
    counts: dict[str, int] = {}
    for kind, _ in found:
        counts[kind] = counts.get(kind, 0) + 1
    return counts
