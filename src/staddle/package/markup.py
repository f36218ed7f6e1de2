"""XML read so that a hostile document cannot do harm: no DTD, no entities, no network, bounded size and depth.

Shared by the descriptor, its text bundles and the environment document. What the elements mean is not in here.

Source: XML 1.0; the bounds are ours.
"""

import re
from typing import Final
from xml.parsers import expat

from lxml import etree

from staddle.kernel import InputRefused

__all__ = ["MOST_BYTES", "Element", "full_text", "local_name", "namespace_of", "parse_markup"]

Element = etree._Element

MOST_BYTES: Final = 4 << 20  # ours, as those below: a descriptor with many languages stays below one mebibyte
_MOST_DEPTH: Final = 64  # the deepest path of the schema is below 12; nested collections add one each
_MOST_ELEMENTS: Final = 50_000  # 2,000 hardware items are 16,000
_MOST_ATTRIBUTES: Final = 100_000
_MOST_TAG_BYTES: Final = 256 << 10
_PIECE_BYTES: Final = 64 << 10

# A document of which these hold cannot break any bound but that of depth: see _is_plain.
_PLAIN_HEAD: Final = re.compile(
    rb"""(?:\xef\xbb\xbf)?(?:<\?xml\s+version=(["'])1\.0\1(?:\s+encoding=(["'])[Uu][Tt][Ff]-8\2)?\s*\?>\s*)?<[A-Za-z!]"""
)
_PLAIN_BYTES: Final = 1 << 20
_PLAIN_TAGS: Final = 50_000
_PLAIN_ATTRIBUTES: Final = 100_000
_PLAIN_PIECE_BYTES: Final = 64 << 10
_TOO_DEEP: Final = etree.XPath(f"boolean({'/*' * (_MOST_DEPTH + 1)})")


class _Refusal(Exception):
    def __init__(self, what: str, why: str) -> None:
        self.what, self.why = what, why


def parse_markup(data: bytes, *, where: str, keep_comments: bool = False) -> Element:
    """The root element, without processing instructions, and without comments unless they are wanted.

    Raises: InputRefused: not well-formed, or with a document type, too large, too deep, too many elements.
    """
    if len(data) > MOST_BYTES:
        raise _refused(f"the document has {len(data)} bytes; at most {MOST_BYTES} are read", where, "")
    plain = _is_plain(data)
    if not plain:
        _scan(data, where)
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=not keep_comments,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError) as exc:
        if plain:
            _scan(data, where)  # tells more exactly what is wrong, where it is its business
        raise _not_well_formed(str(exc), where) from exc
    if plain and _TOO_DEEP(root):
        _scan(data, where)
    return root


def _is_plain(data: bytes) -> bool:
    """Whether it is certain, from its bytes alone, that _scan would find nothing but depth.

    The pass over every tag takes twice the time of building the tree. It is spared where the document is UTF-8 for certain, as
    another encoding could hide what is looked for; has no "<!DOCTYPE", not even in a comment; and is small in every way.
    """
    return (
        len(data) <= _PLAIN_BYTES
        and _PLAIN_HEAD.match(data) is not None
        and b"\0" not in data
        and b"<!DOCTYPE" not in data
        and data.count(b"<") <= _PLAIN_TAGS
        and data.count(b"=") <= _PLAIN_ATTRIBUTES
        # Each stretch ends a tag, so none is longer than two of them.
        and all(b">" in data[at : at + _PLAIN_PIECE_BYTES] for at in range(0, len(data), _PLAIN_PIECE_BYTES))
    )


def _scan(data: bytes, where: str) -> None:
    # lxml reads an internal DTD before it can be asked about it, and entities in attributes are then already
    # expanded. expat tells of the DTD at its first character, so the tree is built only after this pass.
    parser = expat.ParserCreate()
    depth = count = attributes = 0

    def refuse_doctype(*_: object) -> None:
        raise _Refusal(
            "the document has a document type definition (DTD)",
            "entities and external files named there can exhaust or spy on the reader; OVF needs none",
        )

    def enter(_name: str, given: list[str]) -> None:
        nonlocal depth, count, attributes
        depth, count, attributes = depth + 1, count + 1, attributes + len(given) // 2
        if depth > _MOST_DEPTH:
            raise _Refusal(f"elements are nested more than {_MOST_DEPTH} deep", "")
        if count > _MOST_ELEMENTS:
            raise _Refusal(f"the document has more than {_MOST_ELEMENTS} elements", "")
        if attributes > _MOST_ATTRIBUTES:
            raise _Refusal(f"the document has more than {_MOST_ATTRIBUTES} attributes", "")

    def leave(_name: str) -> None:
        nonlocal depth
        depth -= 1

    parser.ordered_attributes = True
    parser.StartDoctypeDeclHandler = refuse_doctype
    parser.StartElementHandler = enter
    parser.EndElementHandler = leave
    try:
        for at in range(0, len(data), _PIECE_BYTES):
            parser.Parse(data[at : at + _PIECE_BYTES], False)
            # Texts are told of in pieces; what is not told of yet is a tag, a comment or an instruction.
            if at - parser.CurrentByteIndex > _MOST_TAG_BYTES:
                raise _Refusal(f"a tag or comment has more than {_MOST_TAG_BYTES} bytes", "")
        parser.Parse(b"", True)
    except _Refusal as exc:
        raise _refused(exc.what, f"{where}:{parser.CurrentLineNumber}", exc.why) from exc
    except (expat.ExpatError, ValueError, LookupError) as exc:
        raise _not_well_formed(str(exc), where) from exc


def _refused(what: str, where: str, why: str) -> InputRefused:
    return InputRefused.one(
        what, where=where, why=why, mend="do not use this file; ask its maker for a sound one"
    )


def _not_well_formed(text: str, where: str) -> InputRefused:
    return InputRefused.one(
        "the document is not well-formed XML",
        where=where,
        why=text,
        mend="fetch the file again; if it is unchanged, its maker must correct it",
    )


def namespace_of(element: Element) -> str:
    """The namespace URI of the element's name, "" for none."""
    # Asked for every element of a descriptor: etree.QName would make an object each time.
    return element.tag[1:].partition("}")[0] if element.tag[0] == "{" else ""


def local_name(element: Element) -> str:
    """The element's name without its namespace."""
    return element.tag.rpartition("}")[2]


def full_text(element: Element) -> str:
    """All text inside the element, blanks as they stand."""
    if not len(element):
        return element.text or ""
    return "".join(str(part) for part in element.itertext())
