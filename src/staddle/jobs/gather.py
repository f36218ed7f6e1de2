"""Everything that a job is made of, read and put together once: what every later verb starts from."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from staddle.addressing.allocation import AddressPlan, plan_addresses
from staddle.design.limits import Limits
from staddle.design.model import Design
from staddle.design.places import Places
from staddle.design.profile import Profile
from staddle.estate.bookings import Booking, standing
from staddle.estate.model import Estate
from staddle.estate.survey import SurveyStanding
from staddle.estate.tables import EstateReading, survey_estate
from staddle.jobs.design import design_of, design_with_places
from staddle.jobs.folder import JobFolder, read_text
from staddle.jobs.limits import limits_in
from staddle.jobs.profiles import load_profile
from staddle.jobs.surveyage import survey_of
from staddle.kernel import Fault, InputRefused, NotAllowed, StaddleError, digest_of
from staddle.package import Package, read_package
from staddle.placement.model import Problem, Seat
from staddle.placement.paper import SettledPlacement, read_placement
from staddle.placement.problem import problem_from
from staddle.placement.verify import broken_rules
from staddle.stores.bookings import bookings_in

__all__ = ["Gathered", "bookings_of_others", "design_of", "gather", "gather_together", "read_settled"]

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Gathered:
    """One job, read. ``addresses`` and ``problem`` are None where their faults stand in ``open_faults``.

    ``problem`` is None too where the job was read together with others: then the question is theirs.
    """

    folder: JobFolder
    design: Design
    places: Places
    estate_folder: Path
    reading: EstateReading
    package_path: Path
    package: Package
    profile: Profile | None
    size_id: str
    addresses: AddressPlan | None
    problem: Problem | None
    settled: SettledPlacement | None
    limits: Limits | None
    open_faults: tuple[Fault, ...]

    def get_addresses(self) -> AddressPlan:
        """The addresses. Raises: InputRefused: with the faults that keep them from being planned."""
        if self.addresses is None:
            raise InputRefused(*self.open_faults)
        return self.addresses

    def get_problem(self) -> Problem:
        """The placement question. Raises: InputRefused: with the faults that keep it from being asked."""
        if self.problem is None:
            raise InputRefused(*self.open_faults)
        return self.problem

    def get_profile(self) -> Profile:
        """The profile. Raises: NotAllowed: there is none yet, so nobody knows how to speak to the appliance."""
        if self.profile is None:
            raise NotAllowed.one(
                "there is no profile of this appliance yet",
                where=self.places.find("package.profile"),
                why="nothing tells how it is spoken to, so it can be neither rehearsed nor carried out",
                mend="write one as docs/profiles.md tells, and name its file there",
            )
        return self.profile

    def valid_seats(self) -> tuple[Seat, ...] | None:
        """The settled seats while every member has one and every rule holds; None otherwise."""
        if self.settled is None or self.problem is None or broken_rules(self.problem, self.settled.seats):
            return None
        return self.settled.seats

    def survey(self, now: datetime) -> SurveyStanding:
        """How old the estate's survey is, and how old it may be: as the design says, else as the estate does."""
        return survey_of(self.reading, now, limit_days=self.design.job.survey_limit_days)

    def inputs(self) -> dict[str, str]:
        """The digest of every input, as the journal pins it."""
        return {
            "design": digest_of(self.design.model_dump(mode="json")),
            "estate": digest_of(self.reading.estate),
            "package descriptor": self.package.descriptor_sha256,
            "profile": digest_of(None if self.profile is None else self.profile.model_dump(mode="json")),
            "placement": digest_of(self.settled.seats if self.settled is not None else ()),
        }


def gather(folder: JobFolder, now: datetime) -> Gathered:
    """Read the whole job. Changes nothing, and makes no register where there is none.

    Raises: InputRefused: every fault of design; or of estate, package and profile together.
    """
    return _gather(folder, now, survey=survey_estate, is_alone=True)


def gather_together(folders: Sequence[JobFolder], now: datetime) -> tuple[Gathered, ...]:
    """Read several jobs; an estate that they share is read once. None of them has a question of its own.

    Raises: InputRefused: as gather, for the first job that cannot be read.
    """
    read: dict[Path, EstateReading] = {}

    def survey(folder: Path) -> EstateReading:
        place = folder.resolve()
        if place not in read:
            read[place] = survey_estate(folder)
        return read[place]

    return tuple(_gather(folder, now, survey=survey, is_alone=False) for folder in folders)


def _gather(
    folder: JobFolder, now: datetime, *, survey: Callable[[Path], EstateReading], is_alone: bool
) -> Gathered:
    read = design_with_places(folder)
    design = read.design
    estate_folder = folder.beside_design(design.job.estate)
    package_path = folder.beside_design(design.package.file)
    faults = list(_missing(design, read.places, estate_folder, package_path))
    absent = {fault.where for fault in faults}
    reading = package = None
    if read.places.find("job.estate") not in absent:
        reading = _collect(faults, lambda: survey(estate_folder))
    if read.places.find("package.file") not in absent:
        package = _collect(faults, lambda: read_package(package_path, machine=design.package.machine))
    profile = _collect(faults, lambda: load_profile(design.package.profile, folder))
    settled = _collect(faults, lambda: read_settled(folder))
    limits = _collect(faults, lambda: limits_in(folder))
    if reading is None or package is None or faults:
        raise InputRefused(*(_located(fault, read.places) for fault in faults))
    later: list[Fault] = []
    addresses = _collect(
        later, lambda: plan_addresses(design, reading.estate.networks, place=read.places.find)
    )
    problem = None
    if is_alone:
        bookings = bookings_of_others(estate_folder, reading.estate, [design.job.name], now)
        problem = _collect(
            later,
            lambda: problem_from(
                design=design,
                estate=reading.estate,
                package=package,
                bookings=bookings,
                settled=() if settled is None else settled.seats,
                limits=limits,
            ),
        )
    return Gathered(
        folder=folder,
        design=design,
        places=read.places,
        estate_folder=estate_folder,
        reading=reading,
        package_path=package_path,
        package=package,
        profile=profile,
        size_id=design.package.size or package.default_size(),
        addresses=addresses,
        problem=problem,
        settled=settled,
        limits=limits,
        open_faults=tuple(_located(fault, read.places) for fault in later),
    )


def _missing(design: Design, places: Places, estate_folder: Path, package_path: Path) -> Iterator[Fault]:
    """What the design names and is not there, told where it is named: that line is what must change, or what lies elsewhere."""
    if not estate_folder.is_dir():
        yield Fault(
            what=f'there is no folder "{design.job.estate}" with the estate\'s tables',
            where=places.find("job.estate"),
            why=f"seen from design.yaml it would be {estate_folder}",
            mend="mend the path, or make the tables: staddle estate FOLDER --take, or --form",
        )
    if not package_path.exists():
        yield Fault(
            what=f'there is no package "{design.package.file}"',
            where=places.find("package.file"),
            why=f"seen from design.yaml it would be {package_path}",
            mend="mend the path, or put the package there",
        )


def read_settled(folder: JobFolder) -> SettledPlacement | None:
    """The settled placement; None where none was settled. Raises: InputRefused: the file is damaged."""
    if not folder.placement.exists():
        return None
    return read_placement(read_text(folder.placement), "placement.yaml")


def _collect(faults: list[Fault], read: Callable[[], T]) -> T | None:
    try:
        return read()
    except StaddleError as exc:
        faults.extend(exc.faults)
        return None


def bookings_of_others(
    estate_folder: Path, estate: Estate, jobs: Sequence[str], now: datetime
) -> tuple[Booking, ...]:
    """The bookings that stand for other jobs than these. Raises: InputRefused, OutsideFailed: the register."""
    found = standing(bookings_in(estate_folder, estate), now)
    return tuple(booking for booking in found if booking.job not in jobs)


def _located(fault: Fault, places: Places) -> Fault:
    # Rooms that know only the design's values say "storage.disks": turn that into a place in the file.
    if (
        not fault.where
        or not re.fullmatch(r"[a-z_]+(?:[.\[][^:]*)?", fault.where)
        or not places.holds(fault.where)
    ):
        return fault
    return replace(fault, where=places.find(fault.where))
