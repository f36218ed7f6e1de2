"""The report as a PDF of drawing sheets. The look is in dossier.typ; the text is the sections' (contents.py).

Only the fonts that come with the typesetter are used, so that the same report gives the same bytes on every machine.
They cover Latin, Greek and Cyrillic: a character outside is written as its number, and the last caution says so.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any, Final

import msgspec

from staddle.dossier.contents import TitleBlock, contents, title_block
from staddle.dossier.lettering import clean, shorten, width
from staddle.dossier.model import Report
from staddle.kernel import OurFault

__all__ = ["pdf_bytes"]

# What Libertinus Serif and DejaVu Sans Mono both draw, by block; more would have to be tried block by block.
_DRAWN: Final = (
    (0x20, 0x7E),
    (0xA0, 0x17F),
    (0x384, 0x3CE),
    (0x401, 0x45F),
    (0x1E00, 0x1EFF),
    (0x2010, 0x2027),
    (0x2030, 0x203A),
    (0x20AC, 0x20AC),
    (0x2190, 0x2193),
    (0x2212, 0x2212),
    (0x2260, 0x2265),
    (0x25CF, 0x25CF),
)
# Of dossier.typ's grid: the width of the field by the advance of its face and size.
_FIELD_CHARACTERS: Final = {
    "cluster": 35,
    "job": 20,
    "change": 25,
    "revision": 9,
    "drawn": 22,
    "checked": 19,
    "date": 15,
}
_NUMBERED: Final = (
    "Characters that the fonts of this PDF do not hold are written here as their Unicode number in square brackets; the "
    "HTML form of this record shows them."
)


def pdf_bytes(report: Report) -> bytes:
    """The report as PDF. Same report, same bytes: the time stamp is the report's own.

    Raises: OurFault: the template does not compile.
    """
    import typst  # slow to import, and only this needs it

    made_at = report.made_at.astimezone(UTC).replace(microsecond=0)
    source = files("staddle.dossier").joinpath("dossier.typ").read_bytes()
    try:
        made = typst.compile(
            source,
            font_paths=typst.Fonts(include_system_fonts=False, include_embedded_fonts=True),
            sys_inputs={"dossier": json.dumps(_data(report, made_at))},
            timestamp=int(made_at.timestamp()),
        )
    except typst.TypstError as exc:
        raise OurFault.one(f"the dossier's template does not compile: {exc}", where="dossier.typ") from exc
    return bytes(made)


def _data(report: Report, made_at: datetime) -> dict[str, Any]:
    shown = _printable(report)
    if shown != report:
        shown = replace(shown, cautions=(*shown.cautions, _NUMBERED))
    return {
        "title": clean(f"Record of {shown.job.cluster}, revision {shown.revision}"),
        "title_block": _fields(title_block(shown)),
        "made_at": list(made_at.timetuple())[:6],
        "sections": _cleaned(msgspec.to_builtins(contents(shown))),
    }


def _fields(block: TitleBlock) -> dict[str, str]:
    """The title block with no text longer than its field on an upright sheet; the sections hold all texts in full."""
    return {
        name: shorten(text, width("m" * _FIELD_CHARACTERS[name], 1) + 0.01, 1)
        for name, text in msgspec.to_builtins(block).items()
    }


def _printable(report: Report) -> Report:
    """The report in characters that can be printed. As values, so that the drawings are laid out with them too."""
    return msgspec.convert(_mapped(msgspec.to_builtins(report), _numbered), Report)


def _cleaned(tree: Any) -> Any:  # noqa: ANN401  a tree of JSON values
    return _mapped(tree, lambda character: character if character == "\n" else clean(character))


def _mapped(value: Any, change: Callable[[str], str]) -> Any:  # noqa: ANN401  a tree of JSON values
    if isinstance(value, dict):
        return {name: _mapped(inner, change) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_mapped(inner, change) for inner in value]
    return "".join(map(change, value)) if isinstance(value, str) else value


def _numbered(character: str) -> str:
    code = ord(character)
    if character.isspace() or not character.isprintable():
        return character  # clean() makes these visible
    return character if any(low <= code <= high for low, high in _DRAWN) else f"[U+{code:04X}]"
