"""Which groups of rules contradict each other, when no placement exists.

A deletion filter: each group is left out in turn; when still no placement exists without it, it stays out. What
remains cannot do without any of its groups, so it is irreducible; it need not be the smallest such set. A question that
was not decided within its limit keeps its group and ends the claim to be irreducible; so does whoever breaks it off.
"""

from collections.abc import Callable

from staddle.placement.model import ConflictRule, NoneExists

__all__ = ["find_conflict"]


def find_conflict(
    groups: tuple[ConflictRule, ...], possible: Callable[[frozenset[str]], bool | None]
) -> NoneExists:
    """The conflict among groups that together were proven impossible.

    Args: possible: whether seats exist under the named groups only; None when that was not decided.
    """
    remaining = groups
    decided = True
    for group in groups:
        fewer = tuple(other for other in remaining if other.name != group.name)
        try:
            answer = possible(frozenset(other.name for other in fewer))
        except KeyboardInterrupt:  # what is proven stays proven
            return NoneExists(conflict=remaining, irreducible=False, stopped=True)
        if answer is False:
            remaining = fewer
        decided = decided and answer is not None
    return NoneExists(conflict=remaining, irreducible=decided)
