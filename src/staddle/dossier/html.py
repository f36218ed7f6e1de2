"""The report as one HTML page that fetches nothing. The look is in dossier.html.j2 and dossier.css."""

from importlib.resources import files
from typing import Final

from staddle.dossier.contents import contents, title_block
from staddle.dossier.ink import hatchings_only
from staddle.dossier.lettering import clean
from staddle.dossier.model import Report

__all__ = ["html_text"]

_HERE: Final = "staddle.dossier"


def html_text(report: Report) -> str:
    """The report as HTML. Same report, same text; every text of the report is escaped."""
    from jinja2 import Environment, StrictUndefined  # a quarter of the time that a command takes to start
    from markupsafe import Markup

    block = title_block(report)
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: clean(value) if type(value) is str else value,
    )
    # A drawing was made by our own code, which escapes what it letters: the only markup that is let through.
    environment.filters["drawing"] = Markup
    template = environment.from_string(_text("dossier.html.j2"))
    return template.render(
        title=f"Record of {report.job.cluster}, revision {report.revision}",
        block=block,
        fields=(
            ("job", block.job),
            ("change", block.change),
            ("revision", block.revision),
            ("drawn", block.drawn),
            ("checked", block.checked),
            ("date", block.date),
        ),
        sections=contents(report, with_hatchings=False),
        hatchings=Markup(hatchings_only()),
        style=Markup(_text("dossier.css")),
    )


def _text(name: str) -> str:
    return files(_HERE).joinpath(name).read_text(encoding="utf-8")
