"""Who sees whom: the proof's sights as a matrix, drawn and as plain text for a terminal."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import svg

from staddle.dossier.ink import ACCENT, INK, PALE, PAPER, Drawn, box, letter, line, sheet, titled
from staddle.dossier.lettering import clean, shorten, width
from staddle.proof.model import Exchange, Proof

__all__ = ["draw_sights", "exchange_sentence", "sight_sentence", "sight_svg", "sight_text", "sighted_members"]

_MEANING: Final = {
    "self": "itself",
    "hears": "hears",
    "lost": "does not hear",
    "unlisted": "does not list",
    "silent": "gave no view, so nothing is known of",
}
_BAD: Final = ("lost", "unlisted", "silent")
_WORD: Final = {"self": "–", "hears": "hears", "lost": "lost", "unlisted": "unlisted", "silent": "silent"}
_SIGN: Final = {"self": "–", "hears": "●", "lost": "L", "unlisted": "U", "silent": "S"}
_MARGIN: Final = 14
_NAME: Final = (64, 150)  # at least and at most, for the names of the rows
_FEW: Final = 10  # up to this many members a cell holds a word, above it a letter


def sighted_members(proof: Proof) -> tuple[str, ...]:
    """The members of the matrix, in the order of the proof."""
    return tuple(dict.fromkeys(sight.viewer for sight in proof.sights))


def sight_svg(proof: Proof, *, with_hatchings: bool = True) -> str:
    """The matrix as an SVG document: a row looks at a column; what is not as it should be is hatched."""
    return sheet(
        draw_sights(proof),
        title=f"Who sees whom in {proof.cluster}",
        description=sight_sentence(proof),
        with_hatchings=with_hatchings,
    )


def sight_sentence(proof: Proof) -> str:
    """The matrix in words: what is not as it should be, or that all hear each other."""
    bad = [sight for sight in proof.sights if sight.mark in _BAD]
    said = "; ".join(f"{s.viewer} {_MEANING[s.mark]} {s.viewed}" for s in bad)
    if not proof.sights:
        return "No member was looked at."
    return f"{said}." if said else "Every member hears every other one."


def draw_sights(proof: Proof) -> Drawn:
    """The shapes of the matrix, with the meaning of its marks below."""
    members = sighted_members(proof)
    marks = {(sight.viewer, sight.viewed): sight.mark for sight in proof.sights}
    few = len(members) <= _FEW
    cell_width, cell_height = (84, 34) if few else (26, 26)
    labels = [member if few else f"{number} {member}" for number, member in enumerate(members, 1)]
    name_room = min(_NAME[1], max([_NAME[0], *(width(label, 11) + 10 for label in labels)]))
    left, top = _MARGIN + name_room, _MARGIN + 40
    elements: list[svg.Element] = [
        letter("looks at →", left, _MARGIN + 11, 10, colour=PALE),
        letter("member ↓", _MARGIN, top - 8, 10, colour=PALE),
    ]
    for number, member in enumerate(members):
        name = shorten(member, cell_width - 6, 11) if few else str(number + 1)
        x = left + (number + 0.5) * cell_width
        elements.append(letter(name, x, top - 8, 11, anchor="middle", bold=True))
        y = top + (number + 0.5) * cell_height + 4
        elements.append(letter(shorten(labels[number], name_room - 8, 11), _MARGIN, y, 11, bold=True))
    for row, viewer in enumerate(members):
        for column, viewed in enumerate(members):
            x, y = left + column * cell_width, top + row * cell_height
            mark = marks.get((viewer, viewed), "silent")
            shapes = list(_cell(mark, x, y, cell_width, cell_height, _WORD if few else _SIGN))
            elements.append(titled(f"{viewer} {_MEANING[mark]} {viewed}", shapes))
    across = max(left + len(members) * cell_width, 520) + _MARGIN
    foot = top + len(members) * cell_height
    elements += _key(foot + 22, across, few)
    return Drawn(width=across, height=foot + 22 + 20 + _MARGIN, elements=tuple(elements))


def _cell(
    mark: str, x: float, y: float, across: float, high: float, words: Mapping[str, str]
) -> Iterator[svg.Element]:
    bad = mark in _BAD
    yield box(x, y, across, high, fill="bad" if bad else PAPER, stroke=INK, thick=0.7)
    text = words[mark]
    if bad:
        # A plate of paper under the word keeps it legible on the hatching.
        plate = width(text, 11) + 8
        yield box(x + (across - plate) / 2, y + high / 2 - 8, plate, 16, fill=PAPER, stroke=ACCENT, thick=0.8)
    if mark == "self":
        yield line((x, y), (x + across, y + high), thick=0.5, stroke=PALE)
        return
    yield letter(
        text, x + across / 2, y + high / 2 + 4, 11, anchor="middle", colour=ACCENT if bad else INK, bold=bad
    )


def _key(y: float, across: float, few: bool) -> Iterator[svg.Element]:
    yield line((_MARGIN, y - 12), (across - _MARGIN, y - 12), thick=0.5)
    words = ("lost: lists it, does not hear it", "unlisted: does not list it", "silent: gave no view")
    signs = ("● hears", "L lists it, does not hear it", "U does not list it", "S gave no view")
    x: float = _MARGIN
    for text in words if few else signs:
        yield letter(text, x, y + 6, 10, colour=PALE)
        x += width(text, 10) + 16


def sight_text(proof: Proof) -> str:
    """The proof as a table for a terminal: who sees whom, what was read of what was written, and every failed check.

    Returns: lines with a last newline; nothing in it can steer the terminal.
    """
    members = sighted_members(proof)
    marks = {(sight.viewer, sight.viewed): sight.mark for sight in proof.sights}
    names = [clean(member) for member in members]
    head = max(map(len, [*names, "member"]), default=6)
    widths = [max(len(name), 8) for name in names]
    lines = [
        f"Who sees whom in {clean(proof.cluster)}, {proof.at:%Y-%m-%d %H:%M:%S} UTC: a row looks at a column.",
        "",
        "  ".join(["member".ljust(head), *(n.ljust(w) for n, w in zip(names, widths, strict=True))]).rstrip(),
    ]
    for viewer, name in zip(members, names, strict=True):
        cells = [
            _WORD[marks.get((viewer, viewed), "silent")].ljust(w)
            for viewed, w in zip(members, widths, strict=True)
        ]
        lines.append("  ".join([name.ljust(head), *cells]).rstrip())
    lines += ["", *(exchange_sentence(exchange) for exchange in proof.exchanges)]
    return "\n".join([*lines, *_outcome(proof)]) + "\n"


def exchange_sentence(exchange: Exchange) -> str:
    """What became of one value that was written through a member, in one sentence."""
    writer = clean(exchange.writer)
    if not exchange.written:
        return f"written through {writer}: failed{': ' + clean(exchange.why) if exchange.why else ''}"
    same = [clean(reader) for reader, value in exchange.reads if value == exchange.value]
    other = [clean(reader) for reader, value in exchange.reads if value != exchange.value]
    parts = [f"read the same through {', '.join(same)}"] if same else []
    parts += [f"NOT read through {', '.join(other)}"] if other else []
    return f"written through {writer}: {'; '.join(parts) or 'read through no other member'}"


def _outcome(proof: Proof) -> Sequence[str]:
    failed = proof.failed()
    agreed = f"{proof.rounds} round{'s' * (proof.rounds != 1)} in a row agreed"
    if proof.good:
        return ("", f"Proven: all {len(proof.checks)} checks are good, {agreed}.")
    # A proof is not good only because a check failed; anything else would be judge's fault, and is shown as it is.
    told = [
        f"  {clean(c.subject)}: {clean(c.name)}: expected {clean(c.expected)}, saw {clean(c.seen)}"
        for c in failed
    ]
    return ("", f"NOT proven: {len(failed)} of {len(proof.checks)} checks failed, {agreed}.", *told)
