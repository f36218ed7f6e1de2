"""What an estate cannot outlive even without us: those failures after which the guests of others do not all restart.

No placement can mend that, and none is refused for it: after such a failure only our own members are asked about. It is
told beside the placement.
"""

from typing import Final

from staddle.failures.restart import CannotRestart, RestartTest
from staddle.failures.scenario import Scenario
from staddle.placement.model import Problem

__all__ = ["Alone", "not_restarting"]


class Alone:
    """The estate of one problem without any member of ours; each failure is asked about once."""

    def __init__(self, problem: Problem) -> None:
        reserve = problem.reserve
        self.test: Final = (
            RestartTest((), ()) if reserve is None else RestartTest(reserve.machines, reserve.stands)
        )
        self._short: dict[tuple[tuple[str, ...], tuple[str, ...]], str] = {}

    def shortage(self, scenario: Scenario) -> str:
        """Who would not restart, and why; "" where all restart, or where that is not known."""
        key = (scenario.hosts, scenario.pools)
        if key not in self._short:
            outcome = self.test.restart(scenario.hosts, scenario.pools)
            self._short[key] = not_restarting(outcome) if isinstance(outcome, CannotRestart) else ""
        return self._short[key]

    def known_short(self, scenario: Scenario) -> bool:
        """Whether it was asked about already and does not outlive this; asks nothing."""
        return bool(self._short.get((scenario.hosts, scenario.pools)))


def not_restarting(outcome: CannotRestart) -> str:
    """In words, at most three of them by name."""
    named = ", ".join(outcome.machines[:3])
    more = f" and {len(outcome.machines) - 3} more" if len(outcome.machines) > 3 else ""
    return f"{named}{more} would not restart: {outcome.reason}"
