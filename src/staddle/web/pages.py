"""Values to pages: templates, the title block, and errors in their four parts, as a page and as JSON."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, PrefixLoader, StrictUndefined
from markupsafe import Markup

from staddle import __version__
from staddle.dossier.ink import hatchings_only
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import design_of
from staddle.kernel import (
    Fault,
    InputRefused,
    NotAllowed,
    OutsideFailed,
    StaddleError,
    format_binary,
    format_decimal,
    format_duration,
    pretty_json,
)
from staddle.kernel.cautions import CAUTIONS
from staddle.trust.secrets import Secret
from staddle.web import paper, sheets
from staddle.web.catalogue import all_sheets
from staddle.web.sheet import Sheet

__all__ = ["FORM", "TitleBlock", "document", "fault_page", "page", "status_of", "title_block"]

FORM: Final = 1
"""The form of the JSON documents, as the command line's (docs/json.md)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TitleBlock:
    """What stands at the foot of a sheet. ``revision`` is of the design: any change of the file gives another one."""

    job: str
    cluster: str
    change: str
    title: str
    number: int
    count: int
    revision: str
    drawn: str
    drawn_at: datetime


def title_block(folder: JobFolder, sheet: Sheet, now: datetime) -> TitleBlock:
    """The block of one sheet. A design that cannot be read does not keep it from being drawn."""
    every = all_sheets()
    job, cluster, change, drawn = folder.root.name, "", "", ""
    try:
        text = folder.design.read_bytes()
        design = design_of(folder)
        job, cluster = design.job.name, design.job.cluster
        change, drawn = design.job.change, design.job.engineer
    except OSError:
        text = b""
    except StaddleError:
        pass
    return TitleBlock(
        job=job,
        cluster=cluster,
        change=change,
        title=sheet.title,
        number=every.index(sheet) + 1,
        count=len(every),
        revision=hashlib.sha256(text).hexdigest()[:7] if text else "none",
        drawn=drawn,
        drawn_at=now,
    )


def page(
    folder: JobFolder,
    sheet: Sheet,
    data: object,
    now: datetime,
    *,
    note: str = "",
    secrets: Mapping[str, Secret] | None = None,
    faults: Iterable[Fault] = (),
    typed: Mapping[str, str] | None = None,
) -> str:
    """One sheet as HTML. Args: faults: why what was asked for was not done; typed: what the form held, to mend it."""
    template = _environment().get_template(f"sheets/{sheet.name}.html.j2")
    return template.render(
        data=data,
        sheet=sheet,
        sheets=all_sheets(),
        block=title_block(folder, sheet, now),
        note=note,
        secrets={name: secret.unsafe_reveal() for name, secret in (secrets or {}).items()},
        faults=tuple(faults),
        typed=typed or {},
        now=now,
    )


def fault_page(faults: Iterable[Fault], *, title: str, with_sheets: bool) -> str:
    """An error as a page of its own. Args: with_sheets: whether the reader may see that there are sheets."""
    return (
        _environment()
        .get_template("paper/fault.html.j2")
        .render(faults=tuple(faults), title=title, sheets=all_sheets() if with_sheets else ())
    )


def document(command: str, outcome: str, data: object) -> str:
    """The JSON document of a page, in the envelope of the command line."""
    return pretty_json(
        {"staddle": __version__, "form": FORM, "command": command, "outcome": outcome, "data": data}
    )


def status_of(error: StaddleError) -> int:
    """The HTTP status of an error: whose fault it is."""
    if isinstance(error, InputRefused):
        return 422
    if isinstance(error, NotAllowed):
        return 409
    return 502 if isinstance(error, OutsideFailed) else 500


def _environment() -> Environment:
    return _environment_of((*sheets.__path__,), (*paper.__path__,))


@cache
def _environment_of(sheet_folders: tuple[str, ...], paper_folders: tuple[str, ...]) -> Environment:
    loaders = {"sheets": FileSystemLoader(sheet_folders), "paper": FileSystemLoader(paper_folders)}
    environment = Environment(
        loader=PrefixLoader(loaders),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: _clean(value) if type(value) is str else value,
    )
    # A drawing was made by our own code, which escapes what it letters: the only markup that is let through.
    environment.filters |= {
        "drawing": Markup,
        "binary": format_binary,
        "decimal": format_decimal,
        "span": format_duration,
        "day": _day,
        "instant": _instant,
        "clock": lambda value: _instant(value)[11:],
        "slug": _slug,
    }
    environment.globals |= {
        "cautions": CAUTIONS,
        "hatchings": Markup(hatchings_only()),
        "version": __version__,
    }
    return environment


def _clean(text: str) -> str:
    """Control characters and direction marks out: they could make a line read as another one."""
    return "".join(c if c.isprintable() or c in "\n\t" else "�" for c in text)


def _day(value: date) -> str:
    return f"{value:%a} {value.isoformat()}"


def _instant(value: Any) -> str:  # noqa: ANN401  a template hands in what it has
    at: datetime = datetime.fromisoformat(value) if isinstance(value, str) else value
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M:%S}"


def _slug(text: str) -> str:
    """A text as an id of an element: one text, one id."""
    kept = "".join(c if c.isascii() and c.isalnum() else "-" for c in text)
    return f"{kept}-{hashlib.sha256(text.encode()).hexdigest()[:6]}" if kept != text else kept
