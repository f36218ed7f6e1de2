"""The answer to "why not there?" in lines."""

from collections.abc import Iterator

from staddle.placement.why import Costs, Excluded, NotKnown, Same, Why

__all__ = ["why_lines"]


def why_lines(answer: Why, *, member: str, host: str) -> Iterator[str]:
    """One line or more. Args: member, host: that were asked about."""
    match answer:
        case Same():
            yield f"{member} stands on {host}"
        case Excluded(rules=rules):
            yield f"{member} cannot stand on {host}:"
            yield from (f"  {rule.text}" for rule in rules)
        case Costs(text=text, seats=seats):
            yield f"{member} could stand on {host}: {text}"
            yield f"  the best then: {', '.join(f'{seat.member} on {seat.host}' for seat in seats)}"
        case NotKnown(limit=limit):
            yield f"not found within {limit}; whether {member} can stand on {host} is not known"
