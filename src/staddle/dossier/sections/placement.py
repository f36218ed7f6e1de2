"""Where the members stand: the drawing, why each stands there, and why not elsewhere."""

from collections.abc import Iterator

from staddle.dossier.blocks import Block, Column, Drawing, Paragraph, Row, Section, Table
from staddle.dossier.model import PlacementRecord, Report
from staddle.dossier.placement_drawing import placement_sentence, placement_svg
from staddle.dossier.sections.summary import survey_sentence
from staddle.dossier.sections.wording import day
from staddle.placement.keeping import Keeping, lines_of

__all__ = ["placement"]


def placement(report: Report, *, with_hatchings: bool) -> Section:
    """The section, on sheets in landscape."""
    record = report.placement
    if record is None:
        return Section(title="Placement", blocks=(Paragraph(text="No placement has been settled."),))
    return Section(title="Placement", blocks=tuple(_blocks(report, record, with_hatchings)), landscape=True)


def _blocks(report: Report, record: PlacementRecord, with_hatchings: bool) -> Iterator[Block]:
    yield Drawing(
        svg=placement_svg(record.elevation, cluster=report.job.cluster, with_hatchings=with_hatchings),
        alt=placement_sentence(record.elevation),
        most_mm=132,
    )
    settled = f"Settled by {record.settled_by}" if record.settled_by else "Not settled by anybody"
    on = f" on {day(record.settled_on)}" if record.settled_by and record.settled_on else ""
    yield Paragraph(text=f"{settled}{on}. Survey: {survey_sentence(report)}.", size="small")
    yield Table(
        title="Seats and their reasons",
        columns=(
            Column(head="member", share=1.2),
            Column(head="host", share=1),
            Column(head="disk on pool", share=2),
            Column(head="why there", share=4),
        ),
        rows=tuple(
            Row(
                cells=(
                    seat.member,
                    seat.host,
                    ", ".join(f"{disk} on {pool}" for disk, pool in seat.disks) or "–",
                    seat.reason or "no reason was recorded",
                )
            )
            for seat in record.seats
        ),
        empty="No member has a seat.",
    )
    if record.keeping is not None and record.keeping.members:
        yield _kept(record.keeping)
    yield Table(
        title="Hosts passed over",
        columns=(
            Column(head="hosts", share=4),
            Column(head="for members", share=1.5),
            Column(head="why not", share=4),
        ),
        rows=tuple(
            Row(cells=(", ".join(hosts), members, reason))
            for (members, reason), hosts in _together(record).items()
        ),
        empty="No reasons for hosts passed over were recorded.",
    )


def _kept(keeping: Keeping) -> Table:
    return Table(
        title="To set on the platform, so that its balancing does not undo this",
        columns=(
            Column(head="member", share=1.2),
            Column(head="what", share=1.2),
            Column(head="to set", share=6),
        ),
        rows=tuple(
            Row(cells=(row.member, what, value))
            for row in keeping.members
            for what, value in lines_of(keeping, row.member)
        ),
        empty="Nothing is to be set.",
    )


def _together(record: PlacementRecord) -> dict[tuple[str, str], list[str]]:
    """Hosts by (members, reason): first the members for which one reason holds at a host, then the hosts alike."""
    members: dict[tuple[str, str], list[str]] = {}
    for one in record.passed_over:
        members.setdefault((one.host, one.reason), []).extend(one.members or ("all",))
    hosts: dict[tuple[str, str], list[str]] = {}
    for (host, reason), names in members.items():
        hosts.setdefault((", ".join(dict.fromkeys(names)), reason), []).append(host)
    return hosts
