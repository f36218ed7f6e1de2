"""How much of a year the cluster serves: the bars, the causes and improvements in figures, the rates with their origin."""

from collections.abc import Iterator, Sequence

from staddle.dossier.availability_drawing import availability_sentence, availability_svg
from staddle.dossier.blocks import Block, Column, Drawing, Facts, Items, Paragraph, Row, Section, Table
from staddle.dossier.model import Report
from staddle.survival.availability import Availability, Cause, Improvement
from staddle.survival.rates import rate_text
from staddle.survival.wording import (
    ASSUMPTIONS,
    about_text,
    beside,
    brings_nothing,
    minutes_text,
    notes,
    origin_text,
    worth_telling,
)

__all__ = ["availability"]


def availability(report: Report, *, with_hatchings: bool) -> tuple[Section, ...]:
    """The section, on sheets in landscape; () where the members stand nowhere yet."""
    found = report.availability
    if found is None:
        return ()
    blocks = tuple(_blocks(report, found, with_hatchings))
    return (Section(title="Availability", blocks=blocks, landscape=True),)


def _blocks(report: Report, found: Availability, with_hatchings: bool) -> Iterator[Block]:
    yield Drawing(
        svg=availability_svg(found, cluster=report.job.cluster, with_hatchings=with_hatchings),
        alt=availability_sentence(found),
        most_mm=112,
    )
    yield Facts(
        title="Share of the time in which it serves",
        rows=tuple((which, f"{serves}; {down} down a year") for which, serves, down in beside(found)),
    )
    yield Paragraph(text=" ".join(notes(found)), size="small")
    yield Items(title="What the sums stand on", items=ASSUMPTIONS, small=True)
    yield _ranking(
        "Causes, in minutes a year that would not be down without each",
        "cause",
        found.causes,
        "None was ranked.",
    )
    told = worth_telling(found)
    yield _ranking(
        "Improvements, in minutes a year that each takes away by itself", "improvement", told, "None helps."
    )
    nothing = brings_nothing(found)
    if nothing:
        yield Paragraph(text=f"Bring nothing here, by themselves: {'; '.join(nothing)}.", size="small")
    yield Table(
        title="Rates and their origin",
        columns=(
            Column(head="what", share=3),
            Column(head="value", share=1.5),
            Column(head="origin", share=3),
        ),
        rows=tuple(Row(cells=(about_text(rate), rate_text(rate), origin_text(rate))) for rate in found.rates),
        empty="No rate was used.",
    )


def _ranking(title: str, head: str, rows: Sequence[Cause | Improvement], empty: str) -> Table:
    return Table(
        title=title,
        columns=(
            Column(head=head, share=5),
            Column(head="from", share=1),
            Column(head="to", share=1),
        ),
        rows=tuple(
            Row(cells=(row.what, minutes_text(row.minutes_low), minutes_text(row.minutes_high)))
            for row in rows
        ),
        empty=empty,
    )
