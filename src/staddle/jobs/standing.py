"""standing: where a job stands in one sentence, the worst findings, and the command that comes next.

Looks only: nothing is made or changed in the job folder or beside it. The package's bytes are not read, so that the
answer is quick with a package of any size; the rules that need them are counted as not looked.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from staddle.estate.survey import SurveyStanding
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import Gathered
from staddle.jobs.review import review_job
from staddle.jobs.rollouts import REHEARSAL, ROLLOUT, open_journal
from staddle.kernel import Fault, Finding, InputRefused, Severity
from staddle.plan.titles import step_title
from staddle.review.review import Review
from staddle.rollout.journal import Recorded, RolloutHead
from staddle.rollout.run import Run, fold
from staddle.rollout.states import Event, State

__all__ = ["WORST", "NextCommand", "Past", "Standing", "past_of", "standing_of", "standing_sentence"]

WORST: Final = 3
"""How many findings or faults are told: as many as one looks at before doing something."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCommand:
    """What to type next, whole, and why."""

    command: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Past:
    """One rollout or rehearsal and how far it came. ``sealed_once``: its seal was seen, whatever came after."""

    head: RolloutHead
    run: Run
    sealed_once: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a job stands.

    ``worst`` are the worst findings that stand, of ``findings`` in all; ``not_looked`` are the rules that could not
    look; ``survey`` is how old the estate's is. ``faults`` is not empty where the job cannot be read at all; then nothing else was looked at.
    """

    job: str
    sentence: str
    worst: tuple[Finding, ...] = ()
    findings: int = 0
    not_looked: tuple[tuple[str, str], ...] = ()
    faults: tuple[Fault, ...] = ()
    survey: SurveyStanding | None = None
    next: NextCommand


def standing_of(root: Path, now: datetime) -> Standing | None:
    """Where the job in that folder stands; None where there is no design.yaml. Changes nothing.

    Raises: OutsideFailed, OurFault: the journal is there and cannot be read or believed.
    """
    folder = JobFolder(root=root.resolve())
    if not folder.design.is_file():
        return None  # find_job tells of a folder that was named and is none
    try:
        report = review_job(folder, now, verify=False)
    except InputRefused as exc:
        count = len(exc.faults)
        return Standing(
            job=folder.root.name,
            sentence=f"Not readable: {count} {'fault stands' if count == 1 else 'faults stand'} in what was handed in.",
            faults=exc.faults,
            next=NextCommand(
                command="staddle review", why="once they are mended; it tells all that are left"
            ),
        )
    past = _past(folder, report.job.design.job.name)
    found = report.review
    return Standing(
        job=report.job.design.job.name,
        sentence=standing_sentence(report.job, found, past[-1] if past else None),
        worst=found.kept[:WORST],
        findings=len(found.kept),
        not_looked=found.not_looked,
        survey=report.survey,
        next=_next(folder, report.job, found, past),
    )


def standing_sentence(job: Gathered, review: Review, last: Past | None) -> str:
    """Where the job stands: by its newest rollout or rehearsal if there is one, else by what would stop it.

    Every output that tells it, tells it with this function.
    """
    if last is not None:
        return _past_sentence(last, review) + "".join(
            f" {one[:1].upper()}{one[1:]}." for one in last.run.emergencies
        )
    if review.count(Severity.STOP):
        return _stopped(review)
    if job.valid_seats() is None:
        return "Not ready: no placement is settled."
    return "Ready: placed and settled, nothing was carried out yet."


def _past_sentence(last: Past, review: Review) -> str:
    run, name = last.run, f"{last.head.purpose} {last.head.rollout_id}"
    if run.backed_out:
        # Nothing of it stands any more: what stops the next one is where the job stands.
        return f"The {name} was backed out." + (f" {_stopped(review)}" if review.count(Severity.STOP) else "")
    if run.sealed:
        return f"The {name} is sealed: every step was seen done."
    done = len(run.in_state(State.SEEN_DONE))
    return f"The {name} stands at {done} of {len(run.plan.steps)} steps{_held_up(run)}."


def _stopped(review: Review) -> str:
    stops = review.count(Severity.STOP)
    return f"Not ready: {stops} {'finding stops' if stops == 1 else 'findings stop'} the rollout."


def _held_up(run: Run) -> str:
    """The steps that keep a run from going on, the first of each kind in words."""
    told = ""
    for state in (State.REFUSED, State.NOT_KNOWN, State.AWAITS_PERSON):
        steps = run.in_state(state)
        if steps:
            more = f" and {len(steps) - 1} more" if len(steps) > 1 else ""
            told += f"; {state.value}: {step_title(run.plan, steps[0])}{more}"
    return told


def _past(folder: JobFolder, job: str) -> tuple[Past, ...]:
    """Every rollout and rehearsal of the job, the newest last; none is looked for where there is no journal."""
    if not folder.journal.exists():
        return ()
    store = open_journal(folder)
    try:
        return tuple(past_of(head, store.entries(head.rollout_id)) for head in store.rollouts(job))
    finally:
        store.close()


def past_of(head: RolloutHead, entries: Sequence[Recorded]) -> Past:
    """What the journal's entries say of one rollout."""
    seals = {step.step_id for step in head.plan.steps if step.kind == "seal"}
    return Past(
        head=head,
        run=fold(head.plan, entries),
        sealed_once=any(
            recorded.entry.step_id in seals and recorded.entry.event is Event.SEEN for recorded in entries
        ),
    )


def _next(folder: JobFolder, job: Gathered, review: Review, past: tuple[Past, ...]) -> NextCommand:
    last = past[-1] if past else None
    if last is not None and last.run.backed_out and _left(last.run):
        option = " --rehearsal" if last.head.purpose == REHEARSAL else ""
        return NextCommand(command=f"staddle back-out{option}", why="not all of it is seen gone yet")
    if last is not None and not last.run.backed_out and not last.run.sealed:
        verb = "rehearse" if last.head.purpose == REHEARSAL else "rollout"
        mend = (
            ", once what was refused is mended: staddle journal tells why"
            if last.run.in_state(State.REFUSED)
            else ""
        )
        return NextCommand(command=f"staddle {verb}", why=f"it goes on with {last.head.rollout_id}{mend}")
    if any(one.head.purpose == ROLLOUT and one.run.sealed for one in past):
        if not (folder.records / "dossier.pdf").exists():
            return NextCommand(command="staddle dossier", why="the cluster stands; its record is not written")
        return NextCommand(command="staddle prove", why="the cluster stands; see that it still does")
    return _next_before_rollout(folder, job, review, past)


def _next_before_rollout(
    folder: JobFolder, job: Gathered, review: Review, past: tuple[Past, ...]
) -> NextCommand:
    if review.count(Severity.STOP):
        return NextCommand(command="staddle review", why="it tells every finding with its mend")
    if job.valid_seats() is None:
        return NextCommand(command="staddle place --settle", why="the members need hosts and pools")
    if not folder.sheets.is_dir():
        return NextCommand(command="staddle sheets", why="one answer sheet a member, and the zone files")
    # A rehearsal may have been cleared away after its seal: it was rehearsed all the same.
    rehearsed = [one for one in past if one.head.purpose == REHEARSAL and one.sealed_once]
    if not rehearsed:
        return NextCommand(command="staddle rehearse", why="every step real but the machines")
    pinned, now = rehearsed[-1].head, job.inputs()
    # Not the estate: its guests change every day, and nothing of them is rehearsed.
    changed = [
        name for name, digest in pinned.inputs.items() if name != "estate" and now.get(name, digest) != digest
    ]
    if changed:
        why = f"changed since {pinned.rollout_id}: {', '.join(changed)}"
        if not past[-1].run.backed_out:
            return NextCommand(command="staddle back-out --rehearsal", why=f"{why}; then rehearse again")
        return NextCommand(command="staddle rehearse", why=why)
    return NextCommand(command="staddle rollout", why="it was rehearsed to its seal")


def _left(run: Run) -> bool:
    """Whether a back-out has not reached its end."""
    return any(known.state not in (State.TO_DO, State.BACKED_OUT) for known in run.known.values())
