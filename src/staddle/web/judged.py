"""A judged failure in words, for the sheets that show one. Nothing is judged in here."""

from datetime import timedelta

from staddle.kernel import format_duration
from staddle.survival.judge import ALL, SOME, Judgement
from staddle.survival.serving import State
from staddle.survival.times import Span

__all__ = ["lasting", "sentence_of", "states_of"]

_SERVES = {
    State.SERVING: "serves with all its members",
    State.DEGRADED: "serves, with something of it down",
    State.DOWN: "does not serve",
}


def sentence_of(judgement: Judgement, *, ours: bool) -> str:
    """What the failure does, in one or two sentences. Args: ours: whether a cluster of ours stands there at all."""
    told = []
    if ours:
        told.append(f"the cluster {_SERVES[judgement.at_once]}")
        if judgement.why:
            told[-1] += f": {judgement.why}"
        if judgement.afterwards is not judgement.at_once:
            told.append(f"once all has restarted that can, it {_SERVES[judgement.afterwards]}")
    told.append(_others(judgement))
    return f"With {judgement.scenario.name} failed " + "; ".join(told) + "."


def _others(judgement: Judgement) -> str:
    displaced = judgement.guests_restarted + len(judgement.not_restarted)
    parts = []
    if judgement.guests_lost:
        parts.append(f"{_guests(judgement.guests_lost)} of others lost with a pool")
    if judgement.restarts == ALL:
        parts.append(
            f"all that is displaced restarts: {_guests(judgement.guests_restarted)} of others"
            if displaced
            else "no guest of others is displaced"
        )
    elif judgement.restarts == SOME:
        parts.append(f"{len(judgement.not_restarted)} of what is displaced stay down: {judgement.reason}")
    else:
        parts.append(f"whether all that is displaced restarts is {judgement.restarts}: {judgement.reason}")
    return "; ".join(parts)


def _guests(count: int) -> str:
    return f"{count} {'guest' if count == 1 else 'guests'}"


def states_of(judgement: Judgement) -> str:
    """The cluster at once and, where it differs, afterwards."""
    if judgement.at_once is judgement.afterwards:
        return str(judgement.at_once)
    return f"{judgement.at_once}, then {judgement.afterwards}"


def lasting(span: Span | None) -> str:
    """From how long to how long; "" for none."""
    if span is None:
        return ""
    low, high = (format_duration(timedelta(seconds=s)) for s in (span.low_s, span.high_s))
    return f"{low} to {high}"
