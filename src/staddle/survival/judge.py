"""One scenario judged: what of ours is lost or displaced, whether the cluster serves, and who restarts where and when.

The restart itself is decided by failures/restart.py. Not here: tables of many scenarios (failuretable.py).
"""

from dataclasses import dataclass
from typing import Final

from staddle.failures.minimum import why_down
from staddle.failures.outcome import CannotRestart, Restarted, RestartOutcome
from staddle.failures.restart import RestartTest
from staddle.failures.scenario import Scenario
from staddle.kernel import InputRefused
from staddle.survival.serving import Ours, State, state_of
from staddle.survival.times import COMMON_PRACTICE, Span, Times

__all__ = ["ALL", "SOME", "UNDECIDED", "Judge", "Judgement", "reason_of"]

ALL, SOME, UNDECIDED = "all restart", "not all restart", "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What one scenario does.

    Lost are machines with a disk in a failed pool; displaced are those whose host alone failed. ``at_once`` is the cluster's
    state before anything restarts, ``afterwards`` when all has restarted that can; ``back`` is how long that takes, None
    where nothing comes back or nothing was away. ``restarts`` is "all restart", "not all restart" or "undecided"; then
    ``reason`` says why, and ``seats`` are those of a try in the order of restart. Seats are (machine, host).
    """

    scenario: Scenario
    members_lost: tuple[str, ...]
    members_displaced: tuple[str, ...]
    at_once: State
    why: str
    afterwards: State
    why_afterwards: str
    back: Span | None
    restarts: str
    reason: str
    guests_lost: int
    guests_restarted: int
    not_restarted: tuple[str, ...]
    seats: tuple[tuple[str, str], ...]

    @property
    def badness(self) -> tuple[int, ...]:
        """Larger is worse: the cluster's state first, then what of ours is lost, then the guests of others."""
        order = (State.SERVING, State.DEGRADED, State.DOWN)
        return (
            order.index(self.afterwards),
            order.index(self.at_once),
            len(self.members_lost),
            (ALL, UNDECIDED, SOME).index(self.restarts),
            len(self.not_restarted),
            self.guests_lost,
            self.guests_restarted,
        )


class Judge:
    """Judges scenarios for one cluster on one estate. Can be pickled.

    Args: test: its machines include the members, by their names; members: () judges the estate alone; least_data: data
        members that the cluster needs to serve.
    """

    def __init__(
        self,
        test: RestartTest,
        members: tuple[Ours, ...] = (),
        *,
        least_data: int = 0,
        times: Times = COMMON_PRACTICE,
    ) -> None:
        data = sum(member.data for member in members)
        if least_data > data:
            raise InputRefused.one(
                f"the cluster needs {least_data} data members and has {data}",
                mend="ask for fewer, or add members",
            )
        self.test: Final = test
        self.members: Final = members
        self.least_data: Final = least_data
        self.times: Final = times

    def judge(self, scenario: Scenario) -> Judgement:
        """What the scenario does. Raises: InputRefused: it fails an unknown host."""
        outcome = self.test.restart(scenario.hosts, scenario.pools)
        lost = self.test.lost(scenario.hosts, scenario.pools)
        left_over = () if isinstance(outcome, Restarted) else outcome.machines
        displaced = {*(machine for machine, _ in outcome.seats), *left_over}
        names = {member.name for member in self.members}
        ours_lost = tuple(m.name for m in self.members if m.name in set(lost))
        ours_displaced = tuple(m.name for m in self.members if m.name in displaced)
        up = [m for m in self.members if m.name not in {*ours_lost, *ours_displaced}]
        restarted = {machine for machine, _ in outcome.seats}
        again = [m for m in self.members if m in up or m.name in restarted]
        return Judgement(
            scenario=scenario,
            members_lost=ours_lost,
            members_displaced=ours_displaced,
            at_once=self.state(up),
            why=self._why(up),
            afterwards=self.state(again),
            why_afterwards=self._why(again),
            back=self._back(up, again),
            restarts=_in_words(outcome),
            reason=reason_of(outcome),
            guests_lost=sum(machine not in names for machine in lost),
            guests_restarted=sum(machine not in names for machine in restarted),
            not_restarted=left_over,
            seats=outcome.seats,
        )

    def state(self, left: list[Ours]) -> State:
        """The cluster's state with these members left; serving where there is no cluster."""
        return state_of(left, self.members, least_data=self.least_data)

    def _why(self, left: list[Ours]) -> str:
        return why_down(left, self.members, least_data=self.least_data)

    def _back(self, up: list[Ours], again: list[Ours]) -> Span | None:
        if len(again) > len(up):
            return self.times.until_restarted
        leading = [m for m in self.members if m.leads == "first"]
        if leading and leading[0] not in up and self.state(up) is not State.DOWN:
            return self.times.until_taken_over
        return None


def _in_words(outcome: RestartOutcome) -> str:
    if isinstance(outcome, Restarted):
        return ALL
    return SOME if isinstance(outcome, CannotRestart) else UNDECIDED


def reason_of(outcome: RestartOutcome) -> str:
    """Why not everything restarts, in words; "" where everything does."""
    if isinstance(outcome, Restarted):
        return ""
    return outcome.reason if isinstance(outcome, CannotRestart) else f"not decided within {outcome.limit}"
