"""Strict reading of YAML text into plain values with their places. What the values mean is not judged here.

Refused, each with its mend: a key that stands twice, anchors and aliases, merge keys, tags, keys that are not text,
a second document, and the spellings of plainscalar.py. Mappings become ``dict``, lists become ``tuple``, scalars
``str``, ``int``, ``float``, ``bool``, ``date`` or ``None``.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import yaml

from staddle.design.places import LocatedFault, Path, Places, Spot, path_text
from staddle.design.plainscalar import Surprise, read_plain
from staddle.kernel import Fault, InputRefused

__all__ = ["REFUSED", "MarkedValue", "compose"]

REFUSED: Final = object()  # stands where a value was refused, so that nobody judges it a second time
_MOST_DEPTH: Final = 32  # a design needs 4; a file that needs more is not one


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedValue:
    """What a file says, and where. ``faults`` are not yet sorted; a faulty value reads as ``REFUSED``."""

    value: object
    places: Places
    faults: tuple[LocatedFault, ...]


def compose(text: str, *, where: str) -> MarkedValue:
    """Read the text as far as it can be read, keeping every fault.

    Raises: InputRefused: not YAML at all, so that nothing after the place can be trusted.
    """
    try:
        return _Composer(text, where).whole()
    except yaml.reader.ReaderError as exc:
        spot = _spot_of_index(text, exc.position)
        raise InputRefused.one(
            f"the character U+{_code(exc.character):04X} is not allowed in YAML",
            where=f"{where}:{spot.line}:{spot.column}",
            mend="remove it; it is often invisible in an editor",
        ) from exc
    except yaml.MarkedYAMLError as exc:
        mark = exc.problem_mark or exc.context_mark
        place = f"{where}:{mark.line + 1}:{mark.column + 1}" if mark is not None else where
        raise InputRefused.one(
            "this is not YAML from here on",
            where=place,
            why=" ".join(part for part in (exc.context, exc.problem) if part),
            mend="look at the indentation (blanks, no tabs), at missing quotes and at a colon inside a text",
        ) from exc
    except UnicodeEncodeError as exc:
        spot = _spot_of_index(text, exc.start)
        raise InputRefused.one(
            "the text holds half of a character",
            where=f"{where}:{spot.line}:{spot.column}",
            mend="save the file as UTF-8",
        ) from exc


def _code(character: int | str | bytes) -> int:
    return character if isinstance(character, int) else ord(character)


def _spot_of_index(text: str, index: int) -> Spot:
    before = text[:index]
    return Spot(before.count("\n") + 1, index - (before.rfind("\n") + 1) + 1)


class _Composer:
    def __init__(self, text: str, where: str) -> None:
        self._events: Iterator[Any] = iter(yaml.parse(text, Loader=yaml.CSafeLoader))
        self._values: dict[Path, Spot] = {}
        self._keys: dict[Path, Spot] = {}
        self._written: dict[Path, str] = {}
        self._faults: list[LocatedFault] = []
        self._places = Places(
            where=where,
            values=MappingProxyType(self._values),
            keys=MappingProxyType(self._keys),
            written=MappingProxyType(self._written),
        )

    def whole(self) -> MarkedValue:
        value: object = None
        documents = 0
        for event in self._events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents == 2:
                    self._fault(
                        _spot(event),
                        "a second document begins here",
                        mend="keep one document a file: remove this line and what follows",
                    )
            elif documents == 1 and isinstance(event, yaml.NodeEvent):
                value = self._node(event, ())
        return MarkedValue(value=value, places=self._places, faults=tuple(self._faults))

    def _node(self, event: Any, path: Path) -> object:  # noqa: ANN401  events of the parser carry no useful type
        spot = self._values[path] = _spot(event)
        if isinstance(event, yaml.AliasEvent):
            self._fault(
                spot,
                f"an alias (*{event.anchor}) is not read here",
                why="a row must say itself what holds for it",
                mend="write the value out",
            )
            return REFUSED
        sound = self._unadorned(event, spot)
        value: object
        if isinstance(event, yaml.ScalarEvent):
            value = self._scalar(event, spot, path)
        elif len(path) >= _MOST_DEPTH:
            raise InputRefused.one(
                f"values are nested more than {_MOST_DEPTH} deep",
                where=self._places.tell(spot),
                mend="a file of this kind is flat: rows and plain fields",
            )
        elif isinstance(event, yaml.SequenceStartEvent):
            value = self._sequence(path)
        else:
            value = self._mapping(path)
        return value if sound else REFUSED

    def _unadorned(self, event: Any, spot: Spot) -> bool:  # noqa: ANN401  as above
        if event.anchor is not None:
            self._fault(
                spot,
                f"an anchor (&{event.anchor}) is not read here",
                why="a row must say itself what holds for it",
                mend=f"remove &{event.anchor}, and write the value out where it is used",
            )
        if event.tag is not None:
            self._fault(
                spot,
                f"a tag ({event.tag.replace('tag:yaml.org,2002:', '!!')}) is not read here",
                why="what a value means follows from its place alone",
                mend="remove the tag; put the value in quotes if it is text",
            )
        return event.tag is None

    def _scalar(self, event: Any, spot: Spot, path: Path) -> object:  # noqa: ANN401  as above
        text: str = event.value
        self._written[path] = text
        # style None, "" : plain; the parser marks quoted and block scalars with their sign
        if event.style or event.tag is not None:
            return text
        value = read_plain(text)
        if isinstance(value, Surprise):
            self._fault(spot, value.what, why=value.why, mend=value.mend)
            return REFUSED
        return value

    def _sequence(self, path: Path) -> tuple[object, ...]:
        rows: list[object] = []
        while not isinstance(event := next(self._events), yaml.SequenceEndEvent):
            rows.append(self._node(event, (*path, len(rows))))
        return tuple(rows)

    def _mapping(self, path: Path) -> dict[str, object]:
        found: dict[str, object] = {}
        while not isinstance(event := next(self._events), yaml.MappingEndEvent):
            spot = _spot(event)
            key = self._key(event, spot)
            if key is None:
                self._dropped()
            elif key in found:
                first = self._places.tell(self._keys[(*path, key)])
                block = f" in {path_text(path)}" if path else ""
                self._fault(
                    spot,
                    f'the key "{key}" stands twice{block}',
                    why=f"it stands at {first} already, and only one of the two can hold",
                    mend="remove one of the two",
                )
                self._dropped()
            else:
                self._keys[(*path, key)] = spot
                found[key] = self._node(next(self._events), (*path, key))
        return found

    def _key(self, event: Any, spot: Spot) -> str | None:  # noqa: ANN401  as above
        if not isinstance(event, yaml.ScalarEvent):
            self._skip(event)
            self._fault(spot, "a key must be a word", mend="write one word and a colon")
            return None
        self._unadorned(event, spot)
        if event.value == "<<" and not event.style:
            self._fault(
                spot,
                "a merge key (<<) is not read here",
                why="a row must say itself what holds for it",
                mend="write the merged values out",
            )
            return None
        if event.style:
            return str(event.value)
        value = read_plain(event.value)
        if isinstance(value, str):
            return value
        if isinstance(value, Surprise):
            self._fault(spot, value.what, why=value.why, mend=f'put the key in quotes: "{event.value}"')
        else:
            shown = f'put it in quotes: "{event.value}"' if event.value else "write a word before the colon"
            self._fault(spot, "a key must be text", mend=shown)
        return None

    def _dropped(self) -> None:
        # Values of a refused key have no path; their inner faults would only repeat the outer one.
        self._skip(next(self._events))

    def _skip(self, event: Any) -> None:  # noqa: ANN401  as above
        depth = 0
        while True:
            if isinstance(event, yaml.CollectionStartEvent):
                depth += 1
            elif isinstance(event, yaml.CollectionEndEvent):
                depth -= 1
            if depth == 0:
                return
            event = next(self._events)

    def _fault(self, spot: Spot, what: str, *, mend: str, why: str = "") -> None:
        fault = Fault(what=what, where=self._places.tell(spot), why=why, mend=mend)
        self._faults.append(LocatedFault(spot=spot, fault=fault))


def _spot(event: Any) -> Spot:  # noqa: ANN401  as above
    return Spot(event.start_mark.line + 1, event.start_mark.column + 1)
