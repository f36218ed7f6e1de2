"""The three ends of a restart test, each its own type: none may be printed for another. No testing in here."""

from dataclasses import dataclass

__all__ = ["CannotRestart", "RestartOutcome", "RestartUndecided", "Restarted"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Restarted:
    """Every displaced machine restarts. ``seats`` are (machine, host) in the order of their restart; () for none."""

    seats: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CannotRestart:
    """Proven: not every displaced machine can restart.

    Args: machines: those left over when each in its order takes what room there is; never empty. reason: the proof;
        seats: (machine, host) of those that did find room, in the order of their restart.
    """

    machines: tuple[str, ...]
    reason: str
    seats: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartUndecided:
    """Neither shown nor excluded within the limit. Says nothing about whether they fit.

    Args: machines, seats: as of CannotRestart, for the best try; another one may do better.
    """

    limit: str
    machines: tuple[str, ...] = ()
    seats: tuple[tuple[str, str], ...] = ()


RestartOutcome = Restarted | CannotRestart | RestartUndecided
