"""Parts of a report from the values of the rooms. Pure; nothing is rendered, and no secret can pass."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Final

from staddle.answers.requestforms import counted_from, standing
from staddle.answers.requests import RequestsSheet
from staddle.answers.sheets import Sheet
from staddle.design.limits import Limits
from staddle.dossier.elevation import placement_drawing_data
from staddle.dossier.model import (
    AnswerSheet,
    JournalLine,
    JournalRecord,
    LimitLine,
    LimitsRecord,
    PackageFacts,
    Pinned,
    PlacementRecord,
    RequestLine,
    RequestsRecord,
    SeatLine,
    SheetSection,
    ShippedFile,
    SizeFacts,
)
from staddle.estate.model import Estate
from staddle.package.model import Hardware, Package
from staddle.placement.keeping import keeping_of
from staddle.placement.model import Placement, Problem
from staddle.plan.kind import get_kind
from staddle.plan.orders import Step
from staddle.plan.titles import step_title
from staddle.rollout.gate import emergency_told
from staddle.rollout.journal import Recorded, RolloutHead, tree_root

__all__ = [
    "answer_sheet",
    "journal_lines",
    "journal_record",
    "limits_record",
    "package_facts",
    "pinned_inputs",
    "placement_record",
    "requests_record",
    "tasks_of",
]

_LONGEST_EVIDENCE: Final = (
    240  # a fingerprint has 95 characters; more than this is a text for the journal's export
)


def package_facts(
    package: Package,
    *,
    file_name: str,
    file_bytes: int,
    sha256: str,
    chosen_size: str = "",
    licence_accepted_by: str = "",
    licence_accepted_on: date | None = None,
) -> PackageFacts:
    """What the record says of a package. Args: file_name, file_bytes, sha256: of the file as shipped."""
    return PackageFacts(
        product=package.product or package.name,
        version=package.version,
        vendor=package.vendor,
        file_name=file_name,
        file_bytes=file_bytes,
        sha256=sha256,
        descriptor_name=package.descriptor_name,
        descriptor_sha256=package.descriptor_sha256,
        files=tuple(
            ShippedFile(name=file.href, size_bytes=file.size_bytes, sha256=file.sha256 or "")
            for file in package.files
        ),
        sizes=tuple(
            SizeFacts(
                label=size.label or size.size_id or "the only size",
                processors=hardware.processors,
                memory_bytes=hardware.memory_bytes,
                disk_bytes=_disk_bytes(package, hardware),
                chosen=size.size_id == chosen_size,
            )
            for size in package.sizes
            for hardware in package.hardware
            if hardware.size_id == size.size_id
        ),
        licences=tuple(licence.info or "licence text" for licence in package.licences),
        licence_accepted_by=licence_accepted_by,
        licence_accepted_on=licence_accepted_on,
    )


def _disk_bytes(package: Package, hardware: Hardware) -> int:
    return sum(package.get_disk(device.disk_id).capacity_for(hardware.size_id) for device in hardware.disks)


def pinned_inputs(head: RolloutHead) -> tuple[Pinned, ...]:
    """The digest of every input of a rollout, by name."""
    return tuple(Pinned(what=what, sha256=digest) for what, digest in sorted(head.inputs.items()))


def placement_record(
    estate: Estate,
    problem: Problem,
    placement: Placement,
    *,
    settled_by: str = "",
    settled_on: date | None = None,
) -> PlacementRecord:
    """The placement with its reasons and its drawing's data.

    Raises: InputRefused: the estate's domains stand inside each other.
    """
    why = dict(placement.reasons)
    return PlacementRecord(
        elevation=placement_drawing_data(estate, problem, placement),
        seats=tuple(
            SeatLine(member=seat.member, host=seat.host, disks=seat.disks, reason=why.get(seat.member, ""))
            for seat in placement.seats
        ),
        passed_over=placement.passed_over,
        settled_by=settled_by,
        settled_on=settled_on,
        keeping=keeping_of(problem, placement.seats),
    )


def journal_record(head: RolloutHead, entries: Sequence[Recorded]) -> JournalRecord:
    """The journal of one rollout. Args: entries: all of them, in their order."""
    return JournalRecord(
        rollout_id=head.rollout_id,
        purpose=head.purpose,
        made_by=head.made_by,
        made_at=head.made_at,
        lines=journal_lines(head, entries),
        root_sha256=tree_root([bytes.fromhex(recorded.leaf_hash) for recorded in entries]).hex(),
        emergencies=tuple(
            dict.fromkeys(filter(None, (emergency_told(one.entry.evidence) for one in entries)))
        ),
    )


def journal_lines(head: RolloutHead, entries: Sequence[Recorded]) -> tuple[JournalLine, ...]:
    """Every entry as a line that a person can read, in the order of the entries.

    Raises: OurFault: the plan has a step of a kind that no file defines.
    """
    titles = {step.step_id: step_title(head.plan, step) for step in head.plan.steps}
    return tuple(
        JournalLine(
            seq=recorded.seq,
            at=recorded.entry.at,
            step=titles.get(recorded.entry.step_id, recorded.entry.step_id or "the rollout as a whole"),
            event=str(recorded.entry.event),
            actor=recorded.entry.actor,
            site=recorded.entry.site,
            evidence=_evidence(recorded),
            leaf_sha256=recorded.leaf_hash,
        )
        for recorded in entries
    )


def _evidence(recorded: Recorded) -> tuple[tuple[str, str], ...]:
    intent = (("intent", recorded.entry.intent),) if recorded.entry.intent else ()
    return tuple(
        (label, _short(text)) for label, text in (*intent, *_flat("", recorded.entry.evidence)) if text
    )


def _flat(label: str, value: object) -> list[tuple[str, str]]:
    """The leaves of nested evidence, each with the way to it: {"a": {"b": 1}} gives ("a b", "1")."""
    if isinstance(value, Mapping):
        return [pair for key, inner in value.items() for pair in _flat(f"{label} {key}".strip(), inner)]
    if isinstance(value, list | tuple):
        if not any(isinstance(inner, Mapping | list | tuple) for inner in value):
            return [(label, ", ".join(map(_plain, value)))]
        return [pair for i, inner in enumerate(value, 1) for pair in _flat(f"{label} {i}".strip(), inner)]
    return [(label, _plain(value))]


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
    return "" if value is None else str(value)


def _short(text: str) -> str:
    if len(text) <= _LONGEST_EVIDENCE:
        return text
    return f"{text[:_LONGEST_EVIDENCE]}… (cut; {len(text)} characters in the journal)"


def answer_sheet(sheet: Sheet) -> AnswerSheet:
    """One member's sheet as it is printed; a secret stands on it by its name in the strongbox."""
    return AnswerSheet(
        title=sheet.member,
        sections=tuple(
            SheetSection(title=part.title, rows=tuple((row.label, row.value) for row in part.rows))
            for part in sheet.sections
        ),
    )


def requests_record(sheet: RequestsSheet) -> RequestsRecord:
    """The requests in short; what to paste stands on the sheet itself."""
    return RequestsRecord(
        counted=counted_from(sheet),
        lines=tuple(
            RequestLine(
                title=one.title,
                owner=one.owner,
                lead_days=one.lead_days,
                standing=standing(one),
                is_late=one.is_late,
                shown_by=tuple(probe.text() for probe in one.probes),
            )
            for one in sheet.requests
        ),
    )


def limits_record(limits: Limits) -> LimitsRecord:
    """What the maker's papers say, and what none says."""
    return LimitsRecord(
        lines=tuple(
            LimitLine(what=row.what, value=row.written, applies_to=row.applies_to, paper=row.paper())
            for row in limits.rows
        ),
        unknown=tuple(question.what for question, _ in limits.unknown()),
    )


def tasks_of(steps: Sequence[Step]) -> tuple[str, ...]:
    """What a plan does, each kind of step once, in its order; kinds that only look are left out."""
    kinds = dict.fromkeys(step.kind for step in steps)
    return tuple(get_kind(kind).facts.title for kind in kinds if get_kind(kind).facts.acts)
