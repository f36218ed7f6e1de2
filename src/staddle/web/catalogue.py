"""Every sheet of the set, found by looking into sheets/: a new file there is enough."""

import importlib
import pkgutil
from functools import cache

from staddle.kernel import OurFault
from staddle.web import sheets
from staddle.web.sheet import Sheet

__all__ = ["all_sheets", "find_sheet", "forget_sheets"]


@cache
def all_sheets() -> tuple[Sheet, ...]:
    """Every sheet, in the order of the job.

    Raises: OurFault: two files define the same address.
    """
    found: dict[str, Sheet] = {}
    for info in pkgutil.iter_modules(sheets.__path__):
        sheet: Sheet = importlib.import_module(f"staddle.web.sheets.{info.name}").SHEET
        if sheet.name in found:
            raise OurFault.one(f'two sheets have the address "/{sheet.name}"', where=info.name)
        found[sheet.name] = sheet
    return tuple(sorted(found.values(), key=lambda sheet: (sheet.order, sheet.name)))


def find_sheet(name: str) -> Sheet | None:
    """The sheet of that address; None if there is none."""
    return next((sheet for sheet in all_sheets() if sheet.name == name), None)


def forget_sheets() -> None:
    """Look into sheets/ anew at the next call, for those who add a sheet while the program runs."""
    all_sheets.cache_clear()
