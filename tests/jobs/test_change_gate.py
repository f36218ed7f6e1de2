"""The change gate in a job folder: the command as a person runs it, and what stays of an emergency."""

import asyncio
import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from staddle.jobs.folder import find_job
from staddle.jobs.gate import closed_told, gate_of
from staddle.jobs.gather import gather
from staddle.jobs.rollout import carry_on, open_rollout
from staddle.jobs.rollouts import ROLLOUT
from staddle.kernel import NotAllowed, SystemClock, SystemRandom
from staddle.plan.looks import Card, Signature
from staddle.plan.orders import Step
from staddle.rollout.gate import Open, Refused
from staddle.rollout.journal import Entry
from staddle.rollout.run import Run
from staddle.rollout.states import Event, State
from tests.cli.demo_job import PROGRAM, demo_job, open_window, settle, staddle
from tests.cli.terminal import Terminal

REASON = "the pumps are blind"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """By hand, settled, its only window ten days ahead."""
    folder = demo_job(tmp_path)
    settle(folder)
    return folder


def change(job: Path, old: str, new: str) -> None:
    text = (job / "design.yaml").read_text(encoding="utf-8")
    assert old in text
    (job / "design.yaml").write_text(text.replace(old, new), encoding="utf-8")


def test_outside_its_windows_a_rollout_is_refused_before_anything_is_made(job: Path) -> None:
    done = staddle("rollout", "--yes", job=job)
    assert done.returncode == 1
    assert "no window is open now" in done.stderr
    opens = re.search(r'opens: "([^"]+)"', (job / "design.yaml").read_text(encoding="utf-8"))
    assert opens is not None
    assert f"it opens at {opens[1]} Europe/London" in " ".join(done.stderr.split())
    assert not list((job / "records").glob("*")) if (job / "records").exists() else True
    listed = json.loads(staddle("journal", "--json", job=job).stdout)
    assert listed["outcome"] == "error"  # the journal is empty
    assert "levels-rollout" not in staddle(job=job).stdout


def test_the_dry_run_tells_what_the_gate_says_and_is_not_held_by_it(job: Path) -> None:
    done = staddle("rollout", "--dry-run", job=job)
    assert done.returncode == 0, done.stderr
    assert "the change gate would refuse:" in done.stderr
    open_window(job)
    done = staddle("rollout", "--dry-run", "--json", job=job)
    assert json.loads(done.stdout)["data"]["gate"]["approval"]["approved_by"] == "H. Marle, change board"
    assert "the change gate is open until" in done.stderr


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ("  change: OM-2611\n", "", "the change has no reference"),
        ("  approved_by: H. Marle, change board\n", "", "nobody is named who approved the change"),
        (
            "approved_by: H. Marle, change board",
            "approved_by: r. fenwold",
            "r. fenwold approved the change and",
        ),
    ],
)
def test_in_an_open_window_reference_and_another_person_are_asked_for(
    job: Path, old: str, new: str, what: str
) -> None:
    open_window(job)
    change(job, old, new)
    done = staddle("rollout", job=job)
    assert done.returncode == 1
    assert what in " ".join(done.stderr.split())


def test_an_open_window_lets_it_begin_and_the_approval_stands_in_the_journal(job: Path) -> None:
    open_window(job)
    done = staddle("rollout", job=job)
    assert done.returncode == 1  # nobody was there to answer the cards
    assert "levels-rollout-1 stands at 2 of 40 steps" in done.stdout
    entries = json.loads(staddle("journal", "--json", job=job).stdout)["data"]["entries"]
    first = entries[0]["entry"]
    assert (first["step_id"], first["event"], first["evidence"]["change"]) == ("", "noted", "OM-2611")
    assert first["evidence"]["approved_by"] == "H. Marle, change board"
    assert "the change gate is open until" in " ".join(staddle("journal", job=job).stdout.split())


def test_going_on_is_held_to_the_gate_as_beginning_is_and_an_agreed_window_counts(job: Path) -> None:
    begun = (job / "design.yaml").read_text(encoding="utf-8")
    open_window(job)
    assert "stands at 2 of 40" in staddle("rollout", job=job).stdout
    (job / "design.yaml").write_text(begun, encoding="utf-8")
    refused = staddle("rollout", job=job)
    assert refused.returncode == 1
    assert "no window is open now" in refused.stderr
    open_window(job)
    assert "stands at 2 of 40" in staddle("rollout", job=job).stdout


def test_a_rehearsal_and_a_back_out_are_not_held(job: Path) -> None:
    done = staddle("rehearse", "--dry-run", job=job)
    assert done.returncode == 0
    assert "gate" not in done.stderr
    begun = (job / "design.yaml").read_text(encoding="utf-8")
    open_window(job)
    staddle("rollout", job=job)
    (job / "design.yaml").write_text(begun, encoding="utf-8")
    done = staddle("back-out", "--destroy", job=job)
    assert "no window is open now" not in done.stderr
    assert "to take back" not in done.stdout
    assert "is gone from pool" in done.stderr  # it asks the person, as a back-out by hand does


def test_an_emergency_is_recorded_and_shown_in_journal_overview_and_dossier(job: Path) -> None:
    done = staddle("rollout", "--emergency", REASON, "--allowed-by", "T. Sedgeley", job=job)
    assert "EMERGENCY, let happen by T. Sedgeley: the pumps are blind" in done.stderr
    assert "passed over: no window is open now" in done.stderr
    assert "stands at 2 of 40 steps" in done.stdout
    told = "mergency: the pumps are blind (let happen by T. Sedgeley)"
    assert told in " ".join(staddle("journal", job=job).stdout.split())
    assert f"E{told}." in staddle(job=job).stdout
    assert staddle("dossier", job=job).returncode == 0
    page = (job / "records" / "dossier.html").read_text(encoding="utf-8")
    assert f"E{told}" in page
    assert "EMERGENCY" in page
    # It holds for one run: the next one is asked again.
    assert "no window is open now" in staddle("rollout", job=job).stderr


def test_without_a_terminal_the_name_is_asked_for_by_the_exact_command(job: Path) -> None:
    done = staddle("rollout", "--yes", "--emergency", REASON, job=job, typed="y\n")
    assert done.returncode == 1
    assert f"staddle rollout --emergency '{REASON}' --allowed-by" in " ".join(done.stderr.split())
    own = staddle("rollout", "--emergency", REASON, "--allowed-by", "R. FENWOLD", job=job)
    assert "R. FENWOLD let the emergency happen and carries it out" in " ".join(own.stderr.split())
    assert "levels-rollout" not in staddle(job=job).stdout


def test_on_a_terminal_the_name_is_asked_for_and_an_empty_one_is_recorded_as_missing(job: Path) -> None:
    command = [PROGRAM, "rollout", "--yes", "--emergency", REASON, "--job", str(job)]
    with Terminal(command, out=job.parent / "printed.txt") as desk:
        desk.wait_for(r"only Enter where nobody can be named: ")
        desk.type("")
        desk.wait_for("EMERGENCY, let happen by nobody who could be named: the pumps are blind")
        desk.wait_for("card")
    assert "(who let it happen is missing)" in " ".join(staddle("journal", job=job).stdout.split())


def test_the_gate_reads_the_design_at_the_instant_it_is_given(job: Path) -> None:
    gathered = gather(find_job(job), datetime.now(UTC))
    opens = min(
        datetime.fromisoformat(one.opens).replace(tzinfo=UTC) for one in gathered.design.windows
    ) + timedelta(hours=2)  # inside it in winter and in summer time
    assert isinstance(gate_of(gathered, actor="rf", now=opens), Open)
    assert isinstance(gate_of(gathered, actor="h. marle, CHANGE board", now=opens), Refused)
    open_window(job)
    rollout = open_rollout(find_job(job), ROLLOUT, clock=SystemClock(), random=SystemRandom(), actor="rf")
    assert isinstance(rollout.gate, Open)
    rollout.store.close()


class Still:
    """A clock that stands until it is set; waits are the system's."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def now(self) -> datetime:
        return self.at

    async def sleep(self, seconds: float) -> None:
        await SystemClock().sleep(seconds)


class ClosingTime:
    """Moves the clock on to the end of the window as soon as the package is looked at. Nobody answers cards."""

    def __init__(self, clock: Still, until: datetime) -> None:
        self.clock, self.until = clock, until

    async def ask(self, step: Step, card: Card) -> Signature | None:
        raise AssertionError(f"{step.step_id} is asked for after the window closed")

    def recorded(self, entry: Entry, run: Run) -> None:
        if (entry.step_id, entry.event) == ("cluster/verify-package", Event.STARTED):
            self.clock.at = self.until


def test_a_window_that_closes_under_way_begins_nothing_more_and_the_next_one_goes_on(job: Path) -> None:
    open_window(job)
    folder = find_job(job)
    opened = gate_of(gather(folder, datetime.now(UTC)), actor="rf", now=datetime.now(UTC))
    assert isinstance(opened, Open)
    clock = Still(opened.until - timedelta(seconds=5))  # shorter than the lease of the runner
    rollout = open_rollout(folder, ROLLOUT, clock=clock, random=SystemRandom(), actor="rf")
    assert isinstance(rollout.gate, Open)
    people = ClosingTime(clock, rollout.gate.until)
    run = asyncio.run(carry_on(rollout, people, people))
    assert [step.step_id for step in run.in_state(State.SEEN_DONE)] == ["cluster/verify-package"]
    assert len(run.in_state(State.TO_DO)) == 39
    told = closed_told(rollout.job, rollout.gate, clock.now())
    assert "and nothing further was begun; the next opens at" in told
    last = rollout.store.entries(rollout.head.rollout_id)[-1].entry
    assert (last.event, last.intent) == (
        Event.NOTED,
        f"the window closed at {rollout.gate.until:%Y-%m-%d %H:%M} UTC",
    )
    with pytest.raises(NotAllowed, match="no window is open now"):
        open_rollout(folder, ROLLOUT, clock=clock, random=SystemRandom(), actor="rf")
    rollout.store.close()
    # Back in a window that is open, the same command goes on.
    assert "levels-rollout-1 stands at 2 of 40" in staddle("rollout", job=job).stdout
