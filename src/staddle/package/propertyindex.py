"""Properties by the name that ``${name}`` gives them. Pure.

Source: DSP0243, property substitution: the name is a key; which key where several product sections have it is common
practice: the full key first, else the only one with this key.
"""

from collections.abc import Iterable

from staddle.package.model import Property

__all__ = ["PropertyIndex"]


class PropertyIndex:
    """The properties of one machine or collection, found in one step each."""

    def __init__(self, properties: Iterable[Property]) -> None:
        self._by_key: dict[str, Property] = {}
        self._by_bare_key: dict[str, Property | None] = {}
        for prop in properties:
            self._by_key[prop.key] = prop
            self._by_bare_key[prop.bare_key] = None if prop.bare_key in self._by_bare_key else prop

    def find(self, name: str) -> Property | None:
        """The property of this full key; else the only one with this key; else None."""
        return self._by_key.get(name) or self._by_bare_key.get(name)
