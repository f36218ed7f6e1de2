"""One pass over one descriptor: where things stand, what was found, and attributes read by their qualified name.

Every section's module takes a ``Reading`` and adds its faults and findings to it, so that all are told together.

Source: DSP8023 (attributes are qualified, xs:boolean, xs:unsignedLong).
"""

import re
from collections.abc import Iterable, Iterator

from staddle.kernel import Fault, Finding, InputRefused, Severity
from staddle.package.markup import Element, full_text, local_name, namespace_of
from staddle.package.messages import Messages

__all__ = ["MAKER_MUST", "NAMESPACES", "Reading", "listed"]

NAMESPACES = {
    "http://schemas.dmtf.org/ovf/envelope/1": "1",
    "http://schemas.dmtf.org/ovf/envelope/2": "2",
}
MAKER_MUST = "ask the package's maker for a corrected one"
_MOST_FAULTS = 100  # ours: whoever reads the first hundred knows enough
_MOST_FINDINGS = 500
_MOST_PARTS = 150_000  # ours: bounds memory; 2,000 items in 50 sizes are 100,000
_MOST_EXPANDED = (
    4 << 20
)  # ours: characters put in for ${…}; nested collections could double them at each level
_MOST_LISTED = 20  # names in one message
_MOST_TOLD = 1000  # characters in one part of a message: a hostile name can have a quarter of a million
_BOOLEANS = {"true": True, "1": True, "false": False, "0": False}  # xs:boolean
_WHOLE = re.compile(r"\+?\d{1,20}", re.ASCII)


def listed(names: Iterable[str]) -> str:
    """The names in quotation marks, the first few of many; "none" where there are none."""
    every = [f'"{name}"' for name in names if name]
    more = f" and {len(every) - _MOST_LISTED} more" if len(every) > _MOST_LISTED else ""
    return (", ".join(every[:_MOST_LISTED]) + more) or "none"


def _clip(text: str) -> str:
    return text if len(text) <= _MOST_TOLD else text[:_MOST_TOLD] + "…"


class Reading:
    """The state of the pass. ``document`` is the descriptor's name; ``namespace`` the envelope's."""

    def __init__(self, *, document: str, namespace: str, messages: Messages) -> None:
        self.document = document
        self.namespace = namespace
        self.messages = messages
        self.faults: list[Fault] = []
        self._parts = self._expanded = 0
        self._findings: dict[Finding, None] = {}

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings so far, each once, in the order in which they arose."""
        return tuple(self._findings)

    def begin_with(self, findings: tuple[Finding, ...]) -> None:
        """Forget all findings but these: those of another machine do not belong to the one that is read next."""
        self._findings = dict.fromkeys(findings)

    def place(self, at: Element) -> str:
        """document:line of an element."""
        return f"{self.document}:{at.sourceline}"

    def fault(self, what: str, *, at: Element, why: str = "", mend: str = MAKER_MUST) -> None:
        """Note a fault and go on.

        Raises: InputRefused: there are more than a person will read.
        """
        self.add_faults(Fault(what=_clip(what), where=self.place(at), why=_clip(why), mend=mend))

    def add_faults(self, *faults: Fault) -> None:
        """Note faults that have their place already, as ``fault`` does."""
        self.faults += faults
        if len(self.faults) > _MOST_FAULTS:
            raise InputRefused(
                *dict.fromkeys(self.faults[:_MOST_FAULTS]),
                Fault(
                    what=f"there are more than {_MOST_FAULTS} faults; the rest is not told",
                    where=self.document,
                    mend=MAKER_MUST,
                ),
            )

    def spend(self, parts: int, *, at: Element) -> None:
        """Count parts of the package that are about to be kept. Raises: InputRefused: more than any package has."""
        self._parts += parts
        if self._parts > _MOST_PARTS:
            raise self._too_much(f"more than {_MOST_PARTS} parts", at)

    def spend_expanded(self, characters: int, *, at: Element) -> None:
        """Count characters that are about to be put in for ``${…}``, as ``spend`` does."""
        self._expanded += characters
        if self._expanded > _MOST_EXPANDED:
            raise self._too_much(f"more than {_MOST_EXPANDED} characters in values", at)

    def _too_much(self, what: str, at: Element) -> InputRefused:
        return InputRefused(
            *dict.fromkeys(self.faults),
            Fault(
                what=f"the descriptor makes {what} out of what it says",
                where=self.place(at),
                why="it would exhaust the reader; no appliance needs as many",
                mend="do not use this package; ask its maker for a sound one",
            ),
        )

    def take_faults(self, exc: InputRefused, *, at: Element, what: str) -> None:
        """Note the faults of a part that was refused, saying of which item they speak."""
        self.add_faults(
            *(
                Fault(
                    what=_clip(f"{what}: {f.what}"),
                    where=self.place(at),
                    why=_clip(f.why),
                    mend=_clip(f.mend),
                )
                for f in exc.faults
            )
        )

    def finding(
        self,
        rule: str,
        severity: Severity,
        what: str,
        *,
        at: Element,
        source: str,
        why: str = "",
        mend: str = "",
    ) -> None:
        """Note a departure that is accepted, or a risk."""
        self.take_findings(
            (Finding(rule=rule, severity=severity, what=what, why=why, mend=mend, source=source),), at=at
        )

    def take_findings(self, findings: tuple[Finding, ...], *, at: Element) -> None:
        """Note findings of a part, giving them their place. The last one says where more are left out."""
        for found in findings:
            if len(self._findings) >= _MOST_FINDINGS:
                self._findings[_more(self.document)] = None
                return
            placed = Finding(
                rule=found.rule,
                severity=found.severity,
                what=_clip(found.what),
                where=self.place(at),
                why=_clip(found.why),
                mend=found.mend,
                source=found.source,
            )
            self._findings[placed] = None

    def attribute(self, element: Element, name: str) -> str | None:
        """The attribute, by its qualified name; an unqualified one is read with a finding. None if absent."""
        value = element.get(f"{{{self.namespace}}}{name}")
        if value is None and (value := element.get(name)) is not None:
            self.finding(
                "unqualified-attribute",
                Severity.NOTE,
                f'attributes such as "{name}" have no namespace prefix',
                at=element.getroottree().getroot(),
                why="the schema has them qualified; a strict importer does not see them",
                source="DSP8023, attributeFormDefault",
            )
        return value

    def needed(self, element: Element, name: str) -> str:
        """A required attribute; a fault and "" if it is absent or empty."""
        value = (self.attribute(element, name) or "").strip()
        if not value:
            self.fault(
                f"{local_name(element)} has no ovf:{name}",
                at=element,
                why="the schema requires it (DSP8023)",
            )
        return value

    def flag(self, element: Element, name: str, *, default: bool) -> bool:
        """An xs:boolean attribute."""
        text = self.attribute(element, name)
        if text is None:
            return default
        if text.strip() not in _BOOLEANS:
            self.fault(
                f'ovf:{name} of {local_name(element)} is "{text}"',
                at=element,
                why="true, false, 1 or 0 is expected (xs:boolean)",
            )
        return _BOOLEANS.get(text.strip(), default)

    def whole(self, element: Element, name: str, *, most: int = 2**63 - 1) -> int | None:
        """An attribute that holds a whole number from 0 to ``most``; None if absent, or wrong and noted."""
        text = self.attribute(element, name)
        if text is None:
            return None
        if _WHOLE.fullmatch(text.strip()) is None or int(text) > most:
            self.fault(
                f'ovf:{name} of {local_name(element)} is "{text}"',
                at=element,
                why=f"a whole number from 0 to {most} is expected",
            )
            return None
        return int(text)

    def names(self, element: Element, name: str) -> tuple[str, ...]:
        """An attribute that holds names, separated by blanks or commas."""
        return tuple((self.attribute(element, name) or "").replace(",", " ").split())

    def children(self, element: Element, *names: str) -> Iterator[Element]:
        """The children of these names in the envelope's namespace; without names all of that namespace."""
        prefix = f"{{{self.namespace}}}" if self.namespace else ""
        tags = {prefix + name for name in names}
        for child in element:
            if child.tag in tags or (not names and namespace_of(child) == self.namespace):
                yield child

    def text(self, element: Element, name: str) -> str:
        """The localised text of the first child of this name; "" if there is none."""
        child = next(self.children(element, name), None)
        return "" if child is None else self.message(child)

    def message(self, element: Element) -> str:
        """The localised text of one element."""
        return self.messages.text(self.attribute(element, "msgid") or "", full_text(element))


def _more(document: str) -> Finding:
    return Finding(
        rule="more-findings",
        severity=Severity.RISK,
        what=f"there are more than {_MOST_FINDINGS} findings; the rest is not told",
        where=document,
        why="a package that departs so often from the standard is read differently by every importer",
        mend=MAKER_MUST,
        source="DSP0243",
    )
