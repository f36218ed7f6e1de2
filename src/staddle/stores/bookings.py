"""The register of bookings as most commands need it: read where there is one, and never made. Writing is in bookings_sqlite.py."""

from pathlib import Path
from typing import Final

from staddle.estate.bookings import Booking
from staddle.estate.model import Estate
from staddle.stores.mounts import own_mounts, refuse_shared_disk

__all__ = ["BOOKINGS_FILE", "bookings_in"]

BOOKINGS_FILE: Final = "bookings.sqlite"


def bookings_in(folder: Path, estate: Estate) -> tuple[Booking, ...]:
    """Every booking of the folder's register by its id; none where there is no register, and none is made.

    Raises: as SqliteBookings.
    """
    if not (folder / BOOKINGS_FILE).exists():
        refuse_shared_disk(folder, own_mounts())
        return ()
    from staddle.stores.bookings_sqlite import SqliteBookings  # with all of SQLAlchemy

    return SqliteBookings(folder, estate).all_bookings()
