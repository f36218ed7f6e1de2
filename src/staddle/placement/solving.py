"""One run of the constraint solver that Ctrl-C or the caller's deadline can stop. Not here: what is asked of it (search.py)."""

import threading
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["TimeIsUp", "solved"]

_ASK_AGAIN_S: Final = 0.05


class TimeIsUp(KeyboardInterrupt):
    """The time that the caller gave has passed: breaks a search off as Ctrl-C does, and is an answer all the same."""


def solved(solver: "cp_model.CpSolver", model: "cp_model.CpModel") -> "cp_model.CpSolverStatus":
    """Solve and give the status. KeyboardInterrupt passes through, after the solver has come to its end.

    The problem: the library takes Ctrl-C for itself while it searches, and afterwards leaves the system's own answer
    behind, which ends the process without a word. Told not to, it answers no signal until it is done. So it works on a
    thread of its own, and the wait for it is one that Python can break off.
    """
    solver.parameters.catch_sigint_signal = False
    answers: list[cp_model.CpSolverStatus] = []
    faults: list[BaseException] = []

    def work() -> None:
        try:
            answers.append(solver.solve(model))
        except BaseException as exc:
            faults.append(exc)

    thread = threading.Thread(target=work, name="placement search")
    try:
        thread.start()
        thread.join()
    except BaseException:
        while (
            thread.is_alive()
        ):  # asked again: before the solver has begun there is nothing that could be stopped
            solver.stop_search()
            thread.join(_ASK_AGAIN_S)
        raise
    if faults:
        raise faults[0]
    return answers[0]
