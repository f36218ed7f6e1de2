"""Sheets as pages: one template each, one look for all. A page fetches nothing, and every text in it is escaped."""

from importlib import resources

__all__ = ["page"]


def page(template: str, **values: object) -> str:
    """The template filled in. Args: template: its file beside this one; values: what it names, beside ``style``."""
    from jinja2 import Environment, StrictUndefined  # a quarter of the time that a command takes to start
    from markupsafe import Markup

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    files = resources.files("staddle.answers")
    # The style is ours and holds no value of a job: it is the one text that is not escaped.
    style = Markup(files.joinpath("sheet_style.css").read_text(encoding="utf-8"))
    text = files.joinpath(template).read_text(encoding="utf-8")
    return environment.from_string(text).render(style=style, **values)
