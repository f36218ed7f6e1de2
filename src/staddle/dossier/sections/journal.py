"""What happened, step by step, and the root that fixes every entry."""

from collections.abc import Iterator
from datetime import UTC

from staddle.dossier.blocks import Block, Column, Facts, Paragraph, Row, Section, Table
from staddle.dossier.model import JournalLine, JournalRecord, Report
from staddle.dossier.sections.wording import count, instant

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
            *(("EMERGENCY", told.removeprefix("emergency: ")) for told in record.emergencies),
        )
    )
    yield Facts(fixed=True, rows=(("root, SHA-256", record.root_sha256),))
    yield Paragraph(
        text="The root is the Merkle tree head of RFC 6962 §2.1 over all entries: whoever holds the exported journal can "
        "compute it again, and any changed, missing or added entry gives another one.",
        size="small",
    )
    yield Paragraph(
        text=f"Every entry with its evidence stands in records/{record.rollout_id}/journal.jsonl of the job folder. "
        "Here each step has one line: its first and last entry, how often it was tried, and the evidence that was seen last.",
        size="small",
    )
    yield Table(
        title="Steps; instants in UTC",
        columns=(
            Column(head="begun", share=1.7),
            Column(head="last", share=0.85),
            Column(head="step", share=3.6),
            Column(head="came to", share=2.6),
            Column(head="tries", share=0.6),
            Column(head="actor", share=1.7),
        ),
        rows=tuple(_row(step, lines) for step, lines in _by_step(record).items()),
        empty="The journal has no entry.",
    )


def _by_step(record: JournalRecord) -> dict[str, list[JournalLine]]:
    steps: dict[str, list[JournalLine]] = {}
    for line in record.lines:
        steps.setdefault(line.step, []).append(line)
    return steps


def _row(step: str, lines: list[JournalLine]) -> Row:
    last = lines[-1]
    seen = next((line.evidence for line in reversed(lines) if line.evidence), ())
    told = "; ".join(f"{label} {text}" for label, text in seen if label not in ("intent", "how"))
    bad = [line.event for line in lines[:-1] if line.event in _BAD]
    actors = dict.fromkeys(line.actor + (f" at {line.site}" if line.site else "") for line in lines)
    return Row(
        cells=(
            f"{lines[0].at.astimezone(UTC):%Y-%m-%d %H:%M:%S}",
            f"{last.at.astimezone(UTC):%H:%M:%S}"
            if last.at.date() == lines[0].at.date()
            else f"{last.at.astimezone(UTC):%Y-%m-%d %H:%M:%S}",
            step,
            last.event
            + (f", before that {count(len(bad), 'time')} {', '.join(dict.fromkeys(bad))}" if bad else ""),
            str(sum(line.event == "started" for line in lines) or "–"),
            ", ".join(actors),
        ),
        attention=last.event in _BAD,
        below=(("evidence", told),) if told else (),
    )
