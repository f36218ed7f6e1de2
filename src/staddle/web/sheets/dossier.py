"""The sheet dossier: the record for people, written on request, to read here and to take away."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from staddle.jobs.dossier import make_dossier
from staddle.kernel import InputRefused
from staddle.web.sheet import Ask, File, Moved, Sheet, Shown
from staddle.web.typed import Typed

__all__ = ["SHEET", "DossierData"]

_RECORD_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
"""The record brings its style inside, so that it can be handed on as one file; nothing else may run or load in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFile:
    """One file of the record. ``address`` is where these pages give it out."""

    name: str
    what: str
    address: str
    size_bytes: int
    written_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class DossierData:
    """The files that are there; the first of them that is HTML is shown."""

    files: tuple[RecordFile, ...]
    has_page: bool


_FILES: Final = (
    ("dossier.pdf", "for the change board, the next engineer, the auditor", "application/pdf"),
    ("dossier.html", "the same as one page", "text/html; charset=utf-8"),
    ("placement.svg", "where the members stand", "image/svg+xml"),
)


def _view(ask: Ask) -> Shown:
    found = tuple(
        RecordFile(
            name=f"records/{name}",
            what=what,
            address=f"/dossier/{name}",
            size_bytes=path.stat().st_size,
            written_at=datetime.fromtimestamp(path.stat().st_mtime, UTC),
        )
        for name, what, _ in _FILES
        if (path := ask.place.folder.records / name).is_file()
    )
    return Shown(
        data=DossierData(files=found, has_page=any(f.name.endswith(".html") for f in found)),
        note="Written to records/ of the job folder." if ask.query.get("written") else "",
    )


def _write(ask: Ask) -> Moved:
    typed = Typed(ask.form)
    revision = typed.text("revision", label="the revision")
    typed.settle()
    with ask.place.writing:
        make_dossier(ask.place.folder, ask.now, revision=revision)
    return Moved(to="/dossier?written=yes")


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as exc:
        raise InputRefused.one(
            f"{path.name} is not written yet", where=str(path), mend="write the record on the sheet Dossier"
        ) from exc


def _pdf(ask: Ask) -> File:
    return File(content=_bytes(ask.place.folder.records / "dossier.pdf"), media_type="application/pdf")


def _html(ask: Ask) -> File:
    return File(
        content=_bytes(ask.place.folder.records / "dossier.html"),
        media_type="text/html; charset=utf-8",
        policy=_RECORD_POLICY,
    )


def _svg(ask: Ask) -> File:
    return File(
        content=_bytes(ask.place.folder.records / "placement.svg"),
        media_type="image/svg+xml",
        policy=_RECORD_POLICY,
    )


SHEET: Final = Sheet(
    name="dossier",
    title="Dossier",
    purpose="The record that the next engineer, and an auditor, can work from.",
    order=120,
    view=_view,
    acts={"write": _write},
    parts={"dossier.pdf": _pdf, "dossier.html": _html, "placement.svg": _svg},
)
