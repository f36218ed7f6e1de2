"""The first sheet: what a change board reads. What, where, when, by whom, the worst
findings, back-out, evidence, cautions, the decision."""

from collections.abc import Iterator

from staddle.dossier.blocks import Block, Column, Facts, Items, Paragraph, Row, Section, Signing, Table
from staddle.dossier.model import Report, SeatLine
from staddle.dossier.sections.wording import count, day, instant
from staddle.kernel import format_binary, worst_first

__all__ = ["proof_sentence", "summary"]

_WORST = 3


def summary(report: Report) -> Section:
    """The section. It fits on one sheet unless names are very long."""
    return Section(title="Summary", blocks=tuple(_blocks(report)))


def _blocks(report: Report) -> Iterator[Block]:
    yield Paragraph(text=report.status, size="lead")
    yield Facts(rows=tuple(_what(report)))
    yield _worst(report)
    yield Paragraph(text=_looked(report), size="small")
    yield Facts(title="Back-out and its limits", rows=tuple(_back_out(report)))
    yield Facts(title="Evidence", rows=tuple(_shown(report)))
    yield Items(title="Cautions", items=report.cautions, small=True)
    yield Signing(rows=(("asked by", report.job.engineer), ("decided: go, not, later", "")))


def _back_out(report: Report) -> Iterator[tuple[str, str]]:
    yield (
        "until the seal",
        "takes back what carries this job's tag and stands in the journal, and nothing else: machines, disks, bookings",
    )
    for step, note in report.work.fixed:
        yield f"not: {step}", note


def _what(report: Report) -> Iterator[tuple[str, str]]:
    job, package = report.job, report.package
    yield "cluster", f"{job.cluster} (job {job.job})"
    yield "package", f"{package.product} {package.version}, by {package.vendor or 'a maker not named'}"
    chosen = [size for size in package.sizes if size.chosen]
    for size in chosen:
        yield (
            "size",
            f"{size.label}: {size.processors} processors, {format_binary(size.memory_bytes)} of memory",
        )
    if report.placement is not None:
        yield "where", "; ".join(map(_where, report.placement.seats))
    else:
        yield "where", "no placement has been settled"
    if report.work.tasks:
        yield "work", "; ".join(report.work.tasks)
    yield "when", "; ".join(report.work.windows) or "no window is named"
    yield "by whom", f"{job.engineer or 'an engineer not named'}, for {job.owner or 'an owner not named'}"
    by = f"approved by {job.approved_by}" if job.approved_by else "who approved it is not named"
    on = f" on {day(job.approved_on)}" if job.approved_by and job.approved_on else ""
    yield "change", f"{job.change or 'no reference given'}; {by}{on}"
    if report.journal is not None:
        for told in report.journal.emergencies:
            yield "EMERGENCY", told.removeprefix("emergency: ")
    yield "survey", survey_sentence(report)


def _where(seat: SeatLine) -> str:
    pools = ", ".join(dict.fromkeys(pool for _, pool in seat.disks))
    return f"{seat.member} on host {seat.host}" + (f" (disks on {pools})" if pools else "")


def survey_sentence(report: Report) -> str:
    """The day of the estate's survey, its age, and by whom."""
    age = report.survey_age_days
    if report.surveyed is None or age is None:
        return "no day given: the age of what the placement was computed from is not known"
    ago = f"{count(age, 'day')} before this record" if age >= 0 else "a day that lies after this record"
    by = f", by {report.surveyed_by}" if report.surveyed_by else ""
    limit = report.survey_limit_days
    if limit is None:
        return f"{day(report.surveyed)}, {ago}{by}"
    past = "PAST THE LIMIT of" if age > limit else "limit"
    return f"{day(report.surveyed)}, {ago}{by}; {past} {count(limit, 'day')}"


def _worst(report: Report) -> Table:
    standing = worst_first(report.kept)
    shown = standing[:_WORST]
    more = f" (the worst {len(shown)} of {len(standing)})" if len(standing) > len(shown) else ""
    return Table(
        title=f"Findings that stand{more}",
        columns=(
            Column(head="severity", share=1),
            Column(head="what", share=4),
            Column(head="mend", share=3),
        ),
        rows=tuple(
            Row(cells=(str(f.severity), f.what, f.mend or "–"), attention=f.severity.rank < 2) for f in shown
        ),
        empty="No finding stands.",
    )


def _looked(report: Report) -> str:
    by = ", ".join(dict.fromkeys(f"{one.by} until {day(one.until)}" for one in report.waived))
    waived = f"{count(len(report.waived), 'finding')} waived" + (f" (by {by})" if by else "")
    unseen = len(report.not_looked)
    looked = "no rule was left out" if not unseen else f"{count(unseen, 'rule')} could not be looked at"
    return f"{waived[:1].upper()}{waived[1:]}; {looked}."


def _shown(report: Report) -> Iterator[tuple[str, str]]:
    yield "proof", proof_sentence(report)
    journal = report.journal
    if journal is None:
        yield "journal", "nothing has been carried out"
        return
    entries = count(len(journal.lines), "entry", "entries")
    last = f", the last at {instant(journal.lines[-1].at)}" if journal.lines else ""
    yield "journal", f"{journal.purpose} {journal.rollout_id}: {entries}{last}"


def proof_sentence(report: Report) -> str:
    """Whether the cluster was proven, when, and by how many checks."""
    proof = report.proof
    if proof is None:
        return "nothing has been proven"
    rounds = f"{count(proof.rounds, 'round')} in a row agreed"
    if proof.good:
        journal = report.journal
        real = ", on stand-ins" if journal is not None and journal.purpose == "rehearsal" else ""
        return f"good at {instant(proof.at)}: all {len(proof.checks)} checks, {rounds}{real}"
    return f"NOT good at {instant(proof.at)}: {len(proof.failed())} of {len(proof.checks)} checks failed"
