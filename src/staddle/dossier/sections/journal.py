"""What happened, entry by entry, and the root that fixes it."""

from collections.abc import Iterator
from datetime import UTC

from staddle.dossier.blocks import Block, Column, Facts, Paragraph, Row, Section, Table
from staddle.dossier.model import JournalRecord, Report
from staddle.dossier.sections.wording import instant

__all__ = ["journal"]

_BAD = ("refused", "outcome not known")


def journal(report: Report) -> Section:
    """The section."""
    record = report.journal
    if record is None:
        return Section(title="Journal", blocks=(Paragraph(text="Nothing has been carried out."),))
    return Section(title="Journal", blocks=tuple(_blocks(record)))


def _blocks(record: JournalRecord) -> Iterator[Block]:
    yield Facts(
        rows=(
            ("rollout", record.rollout_id),
            ("purpose", record.purpose),
            ("begun", f"{instant(record.made_at)}, by {record.made_by}"),
            ("entries", str(len(record.lines))),
        )
    )
    yield Facts(fixed=True, rows=(("root, SHA-256", record.root_sha256),))
    yield Paragraph(
        text="The root is the Merkle tree head of RFC 6962 §2.1 over all entries: whoever holds the exported journal can "
        "compute it again, and any changed, missing or added entry gives another one.",
        size="small",
    )
    yield Table(
        title="Entries; instants in UTC",
        columns=(
            Column(head="no.", share=0.55),
            Column(head="at", share=1.9),
            Column(head="step", share=4),
            Column(head="event", share=1.9),
            Column(head="actor", share=1.7),
        ),
        rows=tuple(
            Row(
                cells=(
                    str(line.seq),
                    f"{line.at.astimezone(UTC):%Y-%m-%d %H:%M:%S}",
                    line.step,
                    line.event,
                    line.actor + (f" at {line.site}" if line.site else ""),
                ),
                attention=line.event in _BAD,
                below=line.evidence,
            )
            for line in record.lines
        ),
        empty="The journal has no entry.",
    )
