"""What a mistyped name was probably meant to be, as a sentence."""

import difflib
from collections.abc import Iterable

__all__ = ["did_you_mean"]


def did_you_mean(wrong: str, known: Iterable[str], *, saying: str = "did you mean {}?") -> str:
    """At most three known names near to the wrong one, the nearest first; "" where none is near.

    Example: did_you_mean("om-h1", ["om-h01", "tg-h01"]) == 'did you mean "om-h01"?'
    """
    by_lower = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(wrong.casefold(), by_lower, n=3, cutoff=0.75)
    return saying.format(" or ".join(f'"{by_lower[name]}"' for name in near)) if near else ""
