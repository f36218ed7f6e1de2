"""survive: what each failure takes, whether the cluster serves then, and where everything restarts; emptying hosts."""

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from math import comb
from typing import Final

from staddle.design.sentences import AnyOf, parse_survive
from staddle.dossier.survive_drawing import failures_svg
from staddle.estate.bookings import standing
from staddle.estate.model import Estate
from staddle.failures.restart import RestartTest
from staddle.failures.running import Running
from staddle.failures.scenario import any_of, named, singles
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.gather import Gathered
from staddle.jobs.place import Kept, found_placement, place
from staddle.kernel import pretty_json
from staddle.placement.model import MemberNeed, Problem, Seat
from staddle.stores.bookings_sqlite import bookings_in
from staddle.survival.evacuate import Evacuation, evacuate
from staddle.survival.failuretable import Ask, FailureTable, failure_table
from staddle.survival.judge import Judge, Judgement
from staddle.survival.machines import running_guests, stands_of
from staddle.survival.serving import Ours
from staddle.survival.times import COMMON_PRACTICE

__all__ = ["Basis", "EvacuationReport", "NamedReport", "SurviveReport", "empty_hosts", "fail", "survive"]

_MANY_HOSTS: Final = 2_000
"""From so many hosts on the pairs may be worth starting processes for: below, one takes seconds (measured)."""
_MEMBER_RESTART_ORDER: Final = 50
"""After what everything else needs, before front ends. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """On what an answer rests. ``placement``: settled, found, or none: then the estate is judged alone.

    ``least_data`` is how many data members the cluster needs; ``times`` says where the ranges of time come from.
    """

    job: str
    cluster: str
    surveyed: date
    placement: str
    members: int
    least_data: int
    hosts: int
    guests: int
    times: str = COMMON_PRACTICE.origin


@dataclass(frozen=True, slots=True, kw_only=True)
class SurviveReport:
    """The failure table and its basis; ``files`` were written, below the job folder."""

    basis: Basis
    table: FailureTable
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedReport:
    """One failure that a person named, in full."""

    basis: Basis
    judgement: Judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class EvacuationReport:
    """Whether hosts may be emptied."""

    basis: Basis
    evacuation: Evacuation


def survive(
    folder: JobFolder,
    now: datetime,
    *,
    doubles: bool = True,
    executor: Executor | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> SurviveReport:
    """Judge every single failure, every two hosts, and what the design names; write records/survive.json and .svg.

    Args: executor: takes chunks of the pairs; without one, a large estate starts processes on this machine.
    Raises: InputRefused: the job cannot be read, or names what the estate does not have.
    """
    ground = _ground(folder, now, progress)
    estate = ground.job.reading.estate
    with _processes(len(estate.hosts), executor) as workers:
        table = failure_table(
            ground.judge(),
            tuple(singles(estate)),
            asked=tuple(_asked(ground.job, estate)),
            with_doubles=doubles,
            executor=workers,
            progress=progress,
        )
    write_text(folder.records / "survive.json", pretty_json({"basis": ground.basis, "table": table}))
    basis = ground.basis
    drawing = failures_svg(
        table.singles,
        [member.name for member in ground.members],
        cluster=basis.cluster,
        note=f"job {basis.job}; surveyed {basis.surveyed}; placement {basis.placement}; computed {now.date()}",
    )
    write_text(folder.records / "survive.svg", drawing)
    return SurviveReport(basis=basis, table=table, files=("records/survive.json", "records/survive.svg"))


def fail(folder: JobFolder, now: datetime, names: Sequence[str]) -> NamedReport:
    """Judge hosts, pools or domains of these names failed together. Writes nothing.

    Raises: InputRefused: the job cannot be read, or a name is unknown.
    """
    ground = _ground(folder, now, lambda _: None)
    scenario = named(ground.job.reading.estate, names)
    return NamedReport(basis=ground.basis, judgement=ground.judge().judge(scenario))


def empty_hosts(folder: JobFolder, now: datetime, hosts: Sequence[str]) -> EvacuationReport:
    """Whether these hosts may be emptied now, and what the next failure would do then. Writes nothing.

    Raises: InputRefused: the job cannot be read, or a host is unknown.
    """
    ground = _ground(folder, now, lambda _: None)
    estate = ground.job.reading.estate
    return EvacuationReport(
        basis=ground.basis,
        evacuation=evacuate(
            ground.machines,
            stands_of(estate),
            hosts,
            members=ground.members,
            least_data=ground.basis.least_data,
            next_failures=tuple(singles(estate)),
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ground:
    """A job with everything that stands on its estate."""

    job: Gathered
    basis: Basis
    machines: tuple[Running, ...]
    members: tuple[Ours, ...]

    def judge(self) -> Judge:
        test = RestartTest(self.machines, stands_of(self.job.reading.estate))
        return Judge(test, self.members, least_data=self.basis.least_data)


def _ground(folder: JobFolder, now: datetime, progress: Callable[[str], None]) -> _Ground:
    placed = place(folder, now, progress=progress)
    job, placement = placed.job, found_placement(placed.outcome)
    seats = () if placement is None else placement.seats
    design, estate = job.design, job.reading.estate
    names = {seat.member for seat in seats}
    bookings = [b for b in standing(bookings_in(job.estate_folder, estate), now) if b.job != design.job.name]
    guests = running_guests(estate, bookings, leave_out=names)
    members = tuple(_members(placed.problem, seats, apart=design.job.name if "host" in design.apart else ""))
    ours = tuple(
        Ours(name=m.name, data=m.data, votes=m.votes, leads=m.leads)
        for m in design.members
        if m.name in names
    )
    settled = "settled" if isinstance(placed.outcome, Kept) else "found, not settled"
    return _Ground(
        job=job,
        basis=Basis(
            job=design.job.name,
            cluster=design.job.cluster,
            surveyed=estate.surveyed,
            placement=settled if seats else "none",
            members=len(members),
            least_data=_least_data(ours),
            hosts=len(estate.hosts),
            guests=len(guests),
        ),
        machines=(*guests, *members),
        members=ours,
    )


def _members(problem: Problem, seats: Sequence[Seat], *, apart: str) -> Iterator[Running]:
    needs: dict[str, MemberNeed] = {need.name: need for need in problem.members}
    for seat in seats:
        need = needs[seat.member]
        yield Running(
            name=need.name,
            host=seat.host,
            memory_bytes=need.memory_bytes,
            vcpus=need.vcpus,
            pools=tuple(dict.fromkeys(pool for _, pool in seat.disks)),
            networks=need.networks,
            cpu_level=need.cpu_level,
            sites=(need.site,) if need.site else (),
            restart_order=_MEMBER_RESTART_ORDER,
            apart=apart and f"members of {apart}",
            ours=True,
        )


def _least_data(members: Sequence[Ours]) -> int:
    """More than half of three or more data members; one of one or two."""
    data = sum(member.data for member in members)
    return data // 2 + 1 if data > 2 else min(data, 1)


def _asked(job: Gathered, estate: Estate) -> Iterator[Ask]:
    for text in job.design.survive:
        meant = parse_survive(text)
        if isinstance(meant, AnyOf):
            there = sum(1 for _ in any_of(estate, count=1, kind=meant.kind))
            yield Ask(
                sentence=text,
                count=comb(there, meant.count),
                scenarios=any_of(estate, count=meant.count, kind=meant.kind),
                two_hosts=(meant.count, meant.kind) == (2, "host"),
            )
        else:
            yield Ask(sentence=text, count=1, scenarios=iter([named(estate, meant.names)]))


@contextmanager
def _processes(hosts: int, executor: Executor | None) -> Iterator[Executor | None]:
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if executor is not None or hosts < _MANY_HOSTS or count < 2:
        yield executor
        return
    # Not forked: threads of the terminal's progress may hold locks.
    with ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn")) as workers:
        yield workers
