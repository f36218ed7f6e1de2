"""What a mistyped name was probably meant to be, as a sentence. Every room asks here, so that all judge alike."""

import difflib
from collections.abc import Iterable
from typing import Final

__all__ = ["did_you_mean", "near_names"]

_NEAR: Final = 0.7  # "clustr" is near cluster (0.92), "colour" is not (0.62)
_MOST: Final = 3


def near_names(wrong: str, known: Iterable[str]) -> tuple[str, ...]:
    """The known names nearest to the wrong one, all that are equally near, at most three, in their order; () for none.

    Capitals make no difference. Example: near_names("om-h1", ["om-h01", "tg-h01"]) == ("om-h01",)
    """
    by_lower: dict[str, str] = {}
    for name in known:
        by_lower.setdefault(name.casefold(), name)
    lower = wrong.casefold()
    near = difflib.get_close_matches(lower, by_lower, n=_MOST, cutoff=_NEAR)
    likeness = [difflib.SequenceMatcher(None, name, lower).ratio() for name in near]
    best = {name for name, ratio in zip(near, likeness, strict=True) if ratio == likeness[0]}
    return tuple(name for lower_name, name in by_lower.items() if lower_name in best)


def did_you_mean(wrong: str, known: Iterable[str], *, saying: str = "did you mean {}?") -> str:
    """The nearest known names as a question; "" where none is near.

    Example: did_you_mean("om-h1", ["om-h01", "tg-h01"]) == 'did you mean "om-h01"?'
    """
    near = near_names(wrong, known)
    return saying.format(" or ".join(f'"{name}"' for name in near)) if near else ""
