"""Exports that were handed in and not taken yet: they lie in the private part of the job until their tables are written."""

import shutil
from pathlib import Path
from typing import Final

from staddle.jobs.folder import JobFolder, write_bytes
from staddle.kernel import InputRefused, OutsideFailed

__all__ = ["drop_exports", "keep_export", "kept_exports"]

_SUFFIXES: Final = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")
_TABLES: Final = ("domains", "hosts", "pools", "networks", "guests")


def _place(folder: JobFolder) -> Path:
    return folder.private / "exports"


def keep_export(folder: JobFolder, table: str, name: str, content: bytes) -> Path:
    """Keep one export as the one of its table; an earlier one goes. Returns: where it lies.

    Args: name: as its owner calls it; only its ending is kept.
    Raises: InputRefused: no such table, an ending of no table, or an empty file.
    """
    if table not in _TABLES:
        raise InputRefused.one(f'there is no table "{table}"', mend="the tables are " + ", ".join(_TABLES))
    suffix = Path(name).suffix.lower()
    if suffix not in _SUFFIXES or not content:
        raise InputRefused.one(
            f'"{name}" is no table that can be read' if content else f'"{name}" is empty',
            where=table,
            mend="hand in the export as CSV or XLSX",
        )
    for old in _place(folder).glob(f"{table}.*"):
        old.unlink(missing_ok=True)
    path = _place(folder) / f"{table}{suffix}"
    write_bytes(path, content)
    return path


def kept_exports(folder: JobFolder) -> tuple[tuple[Path, str], ...]:
    """The exports that are kept, each with its table, as ``take_tables`` wants them. May be empty."""
    found = {path.stem: path for path in sorted(_place(folder).glob("*.*")) if path.stem in _TABLES}
    return tuple((found[table], table) for table in _TABLES if table in found)


def drop_exports(folder: JobFolder) -> None:
    """Remove all that are kept. Raises: OutsideFailed: the file system refuses."""
    try:
        shutil.rmtree(_place(folder), ignore_errors=False)
    except FileNotFoundError:
        return
    except OSError as exc:
        raise OutsideFailed.one(
            f"the exports could not be removed: {exc.strerror}", where=str(_place(folder))
        ) from exc
