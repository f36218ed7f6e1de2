"""The proof: who sees whom, what was read of what was written, and every check."""

from collections.abc import Iterator
from typing import Final

from staddle.dossier.blocks import Block, Column, Drawing, Items, Paragraph, Row, Section, Table
from staddle.dossier.model import Report
from staddle.dossier.sections.summary import proof_sentence
from staddle.dossier.sight_drawing import exchange_sentence, sight_sentence, sight_svg
from staddle.proof.model import Check, Proof

__all__ = ["proof"]

_SHORT: Final = 40  # characters; longer values, such as fingerprints, have a line each


def proof(report: Report, *, with_hatchings: bool) -> Section:
    """The section."""
    seen = report.proof
    if seen is None:
        return Section(title="Proof", blocks=(Paragraph(text="Nothing has been proven.", attention=True),))
    return Section(title="Proof", blocks=tuple(_blocks(report, seen, with_hatchings)))


def _blocks(report: Report, seen: Proof, with_hatchings: bool) -> Iterator[Block]:
    sentence = proof_sentence(report)
    yield Paragraph(text=f"The proof of {seen.cluster} is {sentence}.", size="lead", attention=not seen.good)
    yield Drawing(
        svg=sight_svg(seen, with_hatchings=with_hatchings), alt=sight_sentence(seen), share=0.8, most_mm=110
    )
    yield Items(
        title="Written through one, read through the others",
        items=tuple(exchange_sentence(exchange) for exchange in seen.exchanges)
        or ("No value was written and read.",),
    )
    failed = [check for check in seen.checks if not check.good]
    yield Table(
        title="Checks, failed ones first; good ones of one name together",
        columns=(
            Column(head="outcome", share=1),
            Column(head="check", share=4),
            Column(head="of", share=3),
        ),
        rows=(
            *(
                Row(cells=("FAILED", check.name, check.subject), attention=True, below=_compared(check))
                for check in failed
            ),
            *(_good(name, checks) for name, checks in _by_name(seen).items()),
        ),
        empty="The proof has no checks.",
    )


def _by_name(seen: Proof) -> dict[str, list[Check]]:
    names: dict[str, list[Check]] = {}
    for check in seen.checks:
        if check.good:
            names.setdefault(check.name, []).append(check)
    return names


def _good(name: str, checks: list[Check]) -> Row:
    """Checks of one name. What was seen stands once where it was the same for all, else beside each."""
    values = dict.fromkeys(check.seen for check in checks)
    if len(values) == 1:
        told: tuple[tuple[str, str], ...] = (("seen", checks[0].seen),) if checks[0].seen else ()
    elif max(map(len, values)) <= _SHORT:
        told = (("seen", ", ".join(f"{check.subject} {check.seen}" for check in checks)),)
    else:
        told = tuple((check.subject, check.seen) for check in checks)
    return Row(cells=("good", name, ", ".join(check.subject for check in checks)), below=told)


def _compared(check: Check) -> tuple[tuple[str, str], ...]:
    if check.expected == check.seen:
        return (("seen as expected", check.seen),)
    return (("expected", check.expected), ("seen", check.seen))
