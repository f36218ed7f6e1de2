"""Localised texts: which text belongs to a message id in the wanted language. Pure.

Source: DSP0243, internationalisation: inline Strings and bundles; language tags are matched in full, then by their
primary part.
"""

from collections.abc import Mapping

__all__ = ["Messages"]


class Messages:
    """Texts by language and id.

    Args: lang: the wanted language tag; own_lang: that of the elements' own texts; bundles: per tag, id to text.
    """

    def __init__(self, *, lang: str, own_lang: str, bundles: Mapping[str, Mapping[str, str]]) -> None:
        wanted = lang.lower()
        exact = [texts for tag, texts in bundles.items() if tag.lower() == wanted]
        near = [texts for tag, texts in bundles.items() if _primary(tag) == _primary(wanted)]
        # The elements' own text is a text in own_lang: where that is the wanted tag, no mere relative beats it.
        self._sources = exact if own_lang.lower() == wanted else exact + near

    def text(self, message_id: str, own_text: str) -> str:
        """The text for the id, else the element's own; outer blanks removed."""
        if message_id:
            for source in self._sources:
                if message_id in source:
                    return source[message_id].strip()
        return own_text.strip()


def _primary(tag: str) -> str:
    return tag.lower().partition("-")[0]
