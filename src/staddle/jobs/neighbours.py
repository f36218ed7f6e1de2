"""The jobs that share an estate: those whose folders lie beside this job's or the estate's, and whoever booked room."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.estate.bookings import Booking, standing
from staddle.estate.tables import survey_estate
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import design_of
from staddle.jobs.standing import Standing, standing_of
from staddle.kernel import StaddleError
from staddle.stores.bookings import bookings_in

__all__ = ["Neighbour", "Neighbours", "jobs_of_estate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """One job of the estate. ``bookings`` are what it was promised and still holds."""

    folder: str
    cluster: str
    is_this: bool
    standing: Standing
    bookings: tuple[Booking, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbours:
    """All jobs of an estate, by name. ``elsewhere`` are bookings of jobs whose folder was not found."""

    estate: str
    folder: str
    jobs: tuple[Neighbour, ...]
    elsewhere: tuple[Booking, ...]
    unreadable: tuple[str, ...]


def jobs_of_estate(folder: JobFolder, now: datetime) -> Neighbours:
    """Every job that shares this job's estate. Changes nothing in any of them.

    Raises: InputRefused: this job's design or the estate's tables cannot be read.
    """
    place = folder.beside_design(design_of(folder).job.estate)
    estate = survey_estate(place).estate
    held = standing(bookings_in(place, estate), now)
    jobs: list[Neighbour] = []
    unreadable: list[str] = []
    for root in _candidates(folder.root, place):
        other = JobFolder(root=root)
        try:
            design = design_of(other)
            found = standing_of(root, now) if other.beside_design(design.job.estate) == place else None
        except (StaddleError, OSError):
            unreadable.append(str(root))
            continue
        if found is not None:
            jobs.append(
                Neighbour(
                    folder=str(root),
                    cluster=design.job.cluster,
                    is_this=root == folder.root,
                    standing=found,
                    bookings=tuple(one for one in held if one.job == design.job.name),
                )
            )
    here = {booking.booking_id for job in jobs for booking in job.bookings}
    return Neighbours(
        estate=estate.name,
        folder=str(place),
        jobs=tuple(sorted(jobs, key=lambda job: (job.standing.job, job.folder))),
        elsewhere=tuple(one for one in held if one.booking_id not in here),
        unreadable=tuple(unreadable),
    )


def _candidates(root: Path, estate: Path) -> Iterator[Path]:
    """Folders with a design, each once: beside the job and beside the estate."""
    parents = dict.fromkeys((root.parent, estate.parent))
    found = dict.fromkeys(child for parent in parents for child in sorted(parent.iterdir()))
    yield from (path for path in found if (path / "design.yaml").is_file())
