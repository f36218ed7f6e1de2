"""Where a job stands and what is next, from a real folder and a real journal; looking changes nothing on the disk."""

import re
import shutil
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from staddle.jobs.folder import JobFolder
from staddle.jobs.review import review_job
from staddle.jobs.standing import Standing, standing_of
from staddle.kernel import Severity, worst_first
from staddle.plan.orders import Step
from staddle.rollout.journal import Entry, RolloutHead
from staddle.rollout.states import Event
from staddle.stores.journal import open_sqlite
from tests.cli.demo_job import demo_job, settle
from tests.rollout.plans import plan_of

NOW = datetime.now(UTC)
STARTED, SEEN, REFUSED = Event.STARTED, Event.SEEN, Event.REFUSED
GONE = (Event.UNDO_STARTED, Event.BACKED_OUT)


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder above the demo's job, placed and settled; never changed by a test."""
    root = tmp_path_factory.mktemp("shop")
    settle(demo_job(root))
    return root


@pytest.fixture
def job(settled: Path, tmp_path: Path) -> Path:
    """A copy that a test may spoil."""
    shutil.copytree(settled, tmp_path / "shop")
    return tmp_path / "shop" / "levels"


def stands(job: Path) -> Standing:
    """Where it stands; nothing at all may have changed by looking."""
    before = contents(job.parent)
    found = standing_of(job, NOW)
    assert contents(job.parent) == before
    assert found is not None
    return found


def contents(root: Path) -> dict[str, bytes]:
    """Every file and folder below, with what is in it."""
    return {
        str(path.relative_to(root)): path.read_bytes() if path.is_file() else b"" for path in root.rglob("*")
    }


def record(
    job: Path,
    purpose: str,
    moves: Iterable[tuple[Step, tuple[Event, ...]]],
    number: int = 1,
    inputs: dict[str, str] | None = None,
) -> None:
    """A rollout in the job's journal with these entries, recorded as a runner records them."""
    name = f"levels-{purpose}-{number}"
    store = open_sqlite(job / "journal.sqlite")
    at = NOW + timedelta(seconds=number)
    store.create_rollout(
        RolloutHead(
            rollout_id=name,
            job="levels",
            purpose=purpose,
            made_at=at,
            made_by="R. Fenwold",
            inputs=inputs or {},
            plan=plan_of(),
        )
    )
    lease = store.take_lease(
        name, holder="test", now=at, span=timedelta(seconds=30), is_gone=lambda holder: False
    )
    entries = [
        Entry(step_id=step.step_id, event=event, at=at, actor="R. Fenwold")
        for step, events in moves
        for event in events
    ]
    store.append(lease, entries, now=at)
    store.release_lease(lease)
    store.close()


def all_steps(*events: Event) -> list[tuple[Step, tuple[Event, ...]]]:
    return [(step, events) for step in plan_of().steps]


def with_sheets(job: Path) -> Path:
    (job / "sheets").mkdir()
    return job


def test_where_there_is_no_design_there_is_no_standing(tmp_path: Path) -> None:
    assert standing_of(tmp_path, NOW) is None
    assert list(tmp_path.iterdir()) == []


def test_a_new_job_is_not_placed_and_looking_makes_nothing(job: Path) -> None:
    (job / "placement.yaml").unlink()
    found = stands(job)
    assert found.sentence == "Not ready: no placement is settled."
    assert found.next.command == "staddle place --settle"
    assert {path.name for path in job.iterdir()} == {"design.yaml", "limits.yaml", "waivers.yaml"}
    assert not (job.parent / "estate" / "bookings.sqlite").exists()


def test_the_worst_three_are_the_first_three_of_the_review(job: Path) -> None:
    found = stands(job)
    kept = review_job(JobFolder(root=job), NOW, verify=False).review.kept
    assert found.worst == worst_first(kept)[:3]
    assert found.findings == len(kept) > 2
    assert [why for rule, why in found.not_looked if rule == "digest-differs"] == [
        "the package's files were not verified"
    ]


def test_what_cannot_be_read_is_told_with_every_fault(job: Path) -> None:
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8").replace("  owner:", "  ownr:").replace("400 d", "400")
    design.write_text(text, encoding="utf-8")
    found = stands(job)
    assert found.sentence == "Not readable: 2 faults stand in what was handed in."
    assert [re.sub(r":\d+:\d+$", "", fault.where) for fault in found.faults] == ["design.yaml"] * 2
    assert (found.worst, found.next.command) == ((), "staddle review")


def test_a_stop_comes_before_everything_else(job: Path) -> None:
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8").replace(
        "  size: river\n", "  size: river\n  answers: [{property: sluicelog.log_level, value: loud}]\n"
    )
    design.write_text(text, encoding="utf-8")
    found = stands(job)
    assert found.worst[0].severity is Severity.STOP
    assert re.fullmatch(r"Not ready: \d+ findings? stops? the rollout\.", found.sentence)
    assert found.next.command == "staddle review"


def test_placed_then_sheets_then_a_rehearsal(job: Path) -> None:
    assert stands(job).next.command == "staddle sheets"
    found = stands(with_sheets(job))
    assert found.sentence == "Ready: placed and settled, nothing was carried out yet."
    assert found.next.command == "staddle rehearse"


@pytest.mark.parametrize(("purpose", "verb"), [("rehearsal", "rehearse"), ("rollout", "rollout")])
def test_what_was_begun_is_gone_on_with(job: Path, purpose: str, verb: str) -> None:
    steps = plan_of().steps
    record(job, purpose, [(steps[0], (STARTED, SEEN)), (steps[1], (STARTED, REFUSED))])
    found = stands(job)
    assert found.sentence == (
        f"The {purpose} levels-{purpose}-1 stands at 1 of {len(steps)} steps; refused: cluster: book the room."
    )
    assert "staddle journal tells why" in found.next.why
    assert found.next.command == f"staddle {verb}"


def test_after_a_sealed_rehearsal_comes_the_rollout_even_when_it_was_cleared_away(job: Path) -> None:
    record(with_sheets(job), "rehearsal", all_steps(STARTED, SEEN))
    found = stands(job)
    assert found.sentence == "The rehearsal levels-rehearsal-1 is sealed: every step was seen done."
    assert found.next.command == "staddle rollout"
    record(job, "rehearsal", all_steps(STARTED, SEEN, *GONE), number=2)
    found = stands(job)
    assert found.sentence == "The rehearsal levels-rehearsal-2 was backed out."
    assert found.next.command == "staddle rollout"


def test_what_was_changed_since_it_was_rehearsed_is_rehearsed_again(job: Path) -> None:
    inputs = review_job(JobFolder(root=job), NOW, verify=False).job.inputs()
    record(with_sheets(job), "rehearsal", all_steps(STARTED, SEEN), inputs=inputs)
    assert stands(job).next.command == "staddle rollout"
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8").replace("  most_offset: 100 ms", "  most_offset: 90 ms")
    design.write_text(text, encoding="utf-8")
    found = stands(job)
    assert (found.next.command, found.next.why) == (
        "staddle back-out --rehearsal",
        "changed since levels-rehearsal-1: design; then rehearse again",
    )
    record(job, "rehearsal", all_steps(STARTED, SEEN, *GONE), number=2, inputs=inputs)
    found = stands(job)
    assert (found.next.command, found.next.why) == (
        "staddle rehearse",
        "changed since levels-rehearsal-2: design",
    )


def test_another_survey_alone_is_no_reason_to_rehearse_again(job: Path) -> None:
    inputs = review_job(JobFolder(root=job), NOW, verify=False).job.inputs() | {"estate": "0" * 64}
    record(with_sheets(job), "rehearsal", all_steps(STARTED, SEEN), inputs=inputs)
    assert stands(job).next.command == "staddle rollout"


def test_a_rehearsal_whose_seal_was_refused_and_that_was_taken_back_was_no_rehearsal(job: Path) -> None:
    moves = [(step, (STARTED, REFUSED if step.kind == "seal" else SEEN, *GONE)) for step in plan_of().steps]
    record(with_sheets(job), "rehearsal", moves)
    assert stands(job).next.command == "staddle rehearse"


@pytest.mark.parametrize(("purpose", "option"), [("rehearsal", " --rehearsal"), ("rollout", "")])
def test_a_back_out_that_was_stopped_is_gone_on_with(job: Path, purpose: str, option: str) -> None:
    # Killed between two steps: one is gone, the others are as they were, the seal among them.
    *others, last = plan_of().steps
    moves = [(step, (STARTED, SEEN)) for step in others]
    record(job, purpose, [*moves, (last, (STARTED, SEEN, *GONE))])
    assert stands(job).next.command == f"staddle back-out{option}"


def test_a_sealed_rollout_wants_its_record_then_another_look(job: Path) -> None:
    record(job, "rollout", all_steps(STARTED, SEEN))
    assert stands(job).next.command == "staddle dossier"
    (job / "records").mkdir()
    (job / "records" / "dossier.pdf").write_bytes(b"%PDF-1.7")
    assert stands(job).next.command == "staddle prove"


def test_what_stops_the_next_rollout_is_told_after_a_back_out(job: Path) -> None:
    record(job, "rehearsal", all_steps(STARTED, SEEN, Event.UNDO_STARTED, Event.BACKED_OUT))
    assert stands(job).sentence == "The rehearsal levels-rehearsal-1 was backed out."
    design = (job / "design.yaml").read_text(encoding="utf-8")
    (job / "design.yaml").write_text(
        design.replace("first: 192.0.2.61", "first: 203.0.113.9"), encoding="utf-8"
    )
    found = stands(job)
    assert found.sentence == (
        "The rehearsal levels-rehearsal-1 was backed out. Not ready: 1 finding stops the rollout."
    )
    assert found.next.command == "staddle review"
