"""From the rooms' values to the report, and the report as a value."""

import hashlib
from dataclasses import fields, is_dataclass, replace
from datetime import datetime, timedelta
from typing import Any, get_args, get_type_hints

import pytest

from staddle.answers.sheets import Sheet, SheetRow
from staddle.answers.sheets import SheetSection as SheetPart
from staddle.dossier.gathering import (
    answer_sheet,
    journal_lines,
    journal_record,
    package_facts,
    pinned_inputs,
    tasks_of,
)
from staddle.dossier.model import JournalLine, Report
from staddle.dossier.picture import picture_svg
from staddle.dossier.sections.summary import survey_sentence
from staddle.kernel import InputRefused, NotAllowed, canonical_json, from_json
from staddle.package.model import (
    DiskDevice,
    Hardware,
    Licence,
    Package,
    PackageDisk,
    PackageFile,
    Size,
)
from staddle.rollout.journal import Entry, Recorded, RolloutHead, leaf_hash
from staddle.rollout.states import Event
from tests.dossier.reports import AT, digest, report
from tests.rollout.plans import plan_of

HEAD = RolloutHead(
    rollout_id="levels-1",
    job="levels",
    purpose="rehearsal",
    made_at=AT,
    made_by="M. Fenwright",
    inputs={"estate": digest("estate"), "design": digest("design")},
    plan=plan_of(),
)


def _entry(step_id: str, **evidence: object) -> Entry:
    return Entry(step_id=step_id, event=Event.SEEN, at=AT, actor="M. Fenwright", evidence=evidence)


def _recorded(*entries: Entry) -> tuple[Recorded, ...]:
    return tuple(
        Recorded(seq=n, epoch=1, entry=entry, leaf_hash=leaf_hash("levels-1", n, 1, entry))
        for n, entry in enumerate(entries, 1)
    )


def _line(**evidence: object) -> JournalLine:
    return journal_lines(HEAD, _recorded(_entry("level-1/power-on", **evidence)))[0]


def test_a_line_names_whom_the_step_concerns_and_what_is_done() -> None:
    steps = (
        "cluster/verify-package",
        "level-1/deliver-disk/system",
        "level-2/join",
        "cluster/start",
        "",
    )
    lines = journal_lines(HEAD, _recorded(*(_entry(step) for step in steps)))
    assert [line.step for line in lines] == [
        "cluster: verify the package",
        "level-1: deliver the disk system",
        "level-2: join the cluster",
        "cluster: start",
        "the rollout as a whole",
    ]
    assert [line.event for line in lines] == ["seen done"] * 5


def test_every_step_of_a_plan_has_a_title_of_its_own() -> None:
    lines = journal_lines(HEAD, _recorded(*(_entry(step.step_id) for step in HEAD.plan.steps)))
    assert len({line.step for line in lines}) == len(HEAD.plan.steps)


def test_evidence_is_flattened_with_the_way_to_each_value() -> None:
    line = _line(
        id="m-1", seen={"heard": True, "by": ["a", "b"]}, disks=[{"size": 1}, {"size": 2}], none=None
    )
    assert line.evidence == (
        ("id", "m-1"),
        ("seen heard", "yes"),
        ("seen by", "a, b"),
        ("disks 1 size", "1"),
        ("disks 2 size", "2"),
    )


def test_a_fingerprint_is_never_cut_and_a_long_text_says_that_it_was() -> None:
    fingerprint = hashlib.sha256(b"x").digest().hex(":").upper()
    assert _line(fingerprint=fingerprint).evidence == (("fingerprint", fingerprint),)
    assert _line(said="y" * 500).evidence == (("said", "y" * 240 + "… (cut; 500 characters in the journal)"),)


def test_the_root_is_the_merkle_tree_head_of_rfc_6962() -> None:
    # RFC 6962 §2.1 for three leaves, written out: H(1 ‖ H(1 ‖ a ‖ b) ‖ c).
    entries = _recorded(_entry("level-1/power-on"), _entry("level-2/power-on"), _entry("level-3/power-on"))
    a, b, c = (bytes.fromhex(recorded.leaf_hash) for recorded in entries)
    left = hashlib.sha256(b"\x01" + a + b).digest()
    record = journal_record(HEAD, entries)
    assert record.root_sha256 == hashlib.sha256(b"\x01" + left + c).hexdigest()
    assert [line.leaf_sha256 for line in record.lines] == [a.hex(), b.hex(), c.hex()]


def test_pinned_inputs_are_sorted_by_name() -> None:
    assert [(p.what, p.sha256) for p in pinned_inputs(HEAD)] == [
        ("design", digest("design")),
        ("estate", digest("estate")),
    ]


def test_a_sheet_is_printed_with_the_rows_that_the_answer_sheet_has() -> None:
    secret = SheetRow(
        label="Password", value="secret: in the strongbox as administrator/first", key="k.p", is_secret=True
    )
    sheet = Sheet(
        job="levels",
        cluster="Ousemoor levels",
        change="",
        member="levels-1",
        drawn="M. Fenwright",
        made_on=AT.date(),
        number=1,
        count=1,
        sections=(SheetPart(title="Administration", rows=(secret,)),),
    )
    told = answer_sheet(sheet)
    assert (told.title, told.sections[0].title) == ("levels-1", "Administration")
    assert told.sections[0].rows == (("Password", "secret: in the strongbox as administrator/first"),)


def test_the_work_of_a_plan_is_each_kind_that_does_something_once() -> None:
    tasks = tasks_of(HEAD.plan.steps)
    assert tasks[:2] == ("book the room", "deliver the disk")
    assert len(tasks) == len(set(tasks))
    assert not [task for task in tasks if task.startswith(("wait", "prove", "verify", "seal"))]


def test_a_report_has_no_field_for_a_secret() -> None:
    def names(kind: Any, seen: set[Any]) -> set[str]:  # noqa: ANN401  any annotation
        found: set[str] = set()
        for inner in get_args(kind):
            found |= names(inner, seen)
        if is_dataclass(kind) and kind not in seen:
            seen.add(kind)
            hints = get_type_hints(kind)
            for field in fields(kind):
                found |= {field.name} | names(hints[field.name], seen)
        return found

    told = names(Report, set())
    assert {"fingerprint", "sha256", "evidence"} & told
    assert not [
        name for name in told if any(w in name for w in ("secret", "password", "key", "token", "private"))
    ]


def test_a_report_survives_the_way_to_json_and_back() -> None:
    assert from_json(canonical_json(report()), Report) == report()


def test_instants_without_a_zone_are_refused_all_at_once() -> None:
    made = report()
    assert made.journal is not None
    naive = datetime(2026, 12, 5, 20, 41)  # noqa: DTZ001  the mistake under test
    line = replace(made.journal.lines[0], at=naive)
    with pytest.raises(InputRefused) as caught:
        replace(made, made_at=naive, journal=replace(made.journal, lines=(line,)))
    assert [fault.what for fault in caught.value.faults] == [
        "made_at is 2026-12-05 20:41:00, an instant without its zone",
        "journal line 1 is 2026-12-05 20:41:00, an instant without its zone",
    ]


def test_the_surveys_age_is_counted_to_the_making_of_the_record() -> None:
    assert report().survey_age_days == 15
    assert replace(report(), made_at=AT + timedelta(days=10)).survey_age_days == 25


def test_a_picture_without_a_placement_is_refused() -> None:
    with pytest.raises(NotAllowed, match="there is no placement to draw"):
        picture_svg(replace(report(), placement=None))


def test_package_facts_hold_each_size_with_its_own_disks() -> None:
    package = Package(
        name="sluicelog",
        product="Sluicelog",
        vendor="Reedmere Instruments",
        version="4.2.0",
        ovf_edition="1",
        descriptor_name="sluicelog.ovf",
        descriptor_sha256=digest("ovf"),
        has_manifest=True,
        has_certificate=False,
        sizes=(Size(size_id="brook", label="Brook"), Size(size_id="river", label="River", is_default=True)),
        hardware=tuple(
            Hardware(
                size_id=size,
                processors=n,
                memory_bytes=n << 32,
                disks=(DiskDevice(name="d", disk_id="data"),),
                adapters=(),
            )
            for size, n in (("brook", 2), ("river", 4))
        ),
        files=(PackageFile(file_id="f", href="data.vmdk", size_bytes=7, sha256=digest("data")),),
        disks=(PackageDisk(disk_id="data", capacity_bytes=100, capacity_by_size=(("brook", 60),)),),
        networks=(),
        properties=(),
        licences=(Licence(info="Licence of use", text="long"),),
    )
    facts = package_facts(package, file_name="s.ova", file_bytes=9, sha256=digest("ova"), chosen_size="river")
    assert [(s.label, s.processors, s.disk_bytes, s.chosen) for s in facts.sizes] == [
        ("Brook", 2, 60, False),
        ("River", 4, 100, True),
    ]
    assert facts.files[0].sha256 == digest("data")
    assert facts.licences == ("Licence of use",)


def test_the_summary_tells_the_age_of_the_survey_and_its_limit() -> None:
    # The report is made 15 days after the survey.
    assert survey_sentence(report()).endswith("15 days before this record, by the estate team")
    within, past = (replace(report(), survey_limit_days=days) for days in (15, 14))
    assert survey_sentence(within).endswith("; limit 15 days")
    assert survey_sentence(past).endswith("; PAST THE LIMIT of 14 days")
