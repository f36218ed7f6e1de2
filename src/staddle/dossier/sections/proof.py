"""The proof: who sees whom, what was read of what was written, and every check."""

from collections.abc import Iterator

from staddle.dossier.blocks import Block, Column, Drawing, Items, Paragraph, Row, Section, Table
from staddle.dossier.model import Report
from staddle.dossier.sections.summary import proof_sentence
from staddle.dossier.sight_drawing import exchange_sentence, sight_sentence, sight_svg
from staddle.proof.model import Check, Proof

__all__ = ["proof"]


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
    ordered = sorted(seen.checks, key=lambda check: check.good)  # stable: failed ones first, else as judged
    yield Table(
        title="Checks, failed ones first",
        columns=(
            Column(head="outcome", share=1),
            Column(head="check", share=4),
            Column(head="of", share=3),
        ),
        rows=tuple(
            Row(
                cells=("good" if check.good else "FAILED", check.name, check.subject),
                attention=not check.good,
                below=_compared(check),
            )
            for check in ordered
        ),
        empty="The proof has no checks.",
    )


def _compared(check: Check) -> tuple[tuple[str, str], ...]:
    if check.expected == check.seen:
        return (("seen as expected", check.seen),)
    return (("expected", check.expected), ("seen", check.seen))
