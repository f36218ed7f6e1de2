"""The command journal: what happened, and its export."""

from typing import Annotated

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen, hanging
from staddle.jobs.journal import export_journal, read_journal
from staddle.plan.titles import step_title
from staddle.rollout.states import Event

__all__ = ["journal"]


def journal(
    *,
    rollout: str = "",
    export: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Tell what happened, step by step, and export it.

    Every entry's hash is computed anew and compared.

    Example: staddle journal --export

    Parameters
    ----------
    rollout
        A rollout's name; without it the newest one.
    export
        Also write it as JSON lines below records/.
    """
    screen = Screen("journal", as_json=options.json)
    folder = options.folder()
    report = read_journal(folder, rollout)
    plan = report.head.plan
    rows = [
        (
            str(recorded.seq),
            f"{recorded.entry.at:%Y-%m-%d %H:%M:%S}",
            step_title(plan, plan.get_step(recorded.entry.step_id))
            if recorded.entry.step_id
            else "the rollout",
            recorded.entry.event.value,
            recorded.entry.actor,
        )
        for recorded in report.entries
    ]
    screen.table(f"{report.head.rollout_id} (times in UTC)", ("no.", "at", "step", "what", "who"), rows)
    for recorded in report.entries:
        if recorded.entry.event is Event.NOTED:
            hanging(screen, "", f"noted in entry {recorded.seq}: {recorded.entry.intent}")
    screen.show(f"tree head over {len(report.entries)} entries: {report.root}")
    if export:
        screen.show(f"written: {export_journal(folder, report)}")
    screen.document("read", {"head": report.head, "entries": report.entries, "root": report.root})
    return 0
