"""Names of persons in the design: whether two of them are one. Not here: who may do what."""

import unicodedata

__all__ = ["same_name"]


def same_name(one: str, other: str) -> bool:
    """Whether two names are the same but for case, blanks and the form of their letters. Blank names never are."""
    return bool(_bare(one)) and _bare(one) == _bare(other)


def _bare(name: str) -> str:
    return "".join(unicodedata.normalize("NFKC", name).casefold().split())
