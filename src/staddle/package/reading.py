"""One pass over one descriptor: where things stand, what was found, and attributes read by their qualified name.

Every section's module takes a ``Reading`` and adds its faults and findings to it, so that all are told together.

Source: DSP8023 (attributes are qualified, xs:boolean, xs:unsignedLong).
"""

import re
from collections.abc import Iterator

from staddle.kernel import Fault, Finding, InputRefused, Severity
from staddle.package.markup import Element, full_text, local_name, namespace_of
from staddle.package.messages import Messages

__all__ = ["MAKER_MUST", "NAMESPACES", "Reading"]

NAMESPACES = {
    "http://schemas.dmtf.org/ovf/envelope/1": "1",
    "http://schemas.dmtf.org/ovf/envelope/2": "2",
}
MAKER_MUST = "ask the package's maker for a corrected one"
_BOOLEANS = {"true": True, "1": True, "false": False, "0": False}  # xs:boolean
_WHOLE = re.compile(r"\+?\d{1,20}", re.ASCII)


class Reading:
    """The state of the pass. ``document`` is the descriptor's name; ``namespace`` the envelope's."""

    def __init__(self, *, document: str, namespace: str, messages: Messages) -> None:
        self.document = document
        self.namespace = namespace
        self.messages = messages
        self.faults: list[Fault] = []
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
        """Note a fault and go on."""
        self.faults.append(Fault(what=what, where=self.place(at), why=why, mend=mend))

    def take_faults(self, exc: InputRefused, *, at: Element, what: str) -> None:
        """Note the faults of a part that was refused, saying of which item they speak."""
        self.faults += (
            Fault(what=f"{what}: {f.what}", where=self.place(at), why=f.why, mend=f.mend) for f in exc.faults
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
        """Note findings of a part, giving them their place."""
        for found in findings:
            placed = Finding(
                rule=found.rule,
                severity=found.severity,
                what=found.what,
                where=self.place(at),
                why=found.why,
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
        for child in element:
            if namespace_of(child) == self.namespace and (not names or local_name(child) in names):
                yield child

    def text(self, element: Element, name: str) -> str:
        """The localised text of the first child of this name; "" if there is none."""
        child = next(self.children(element, name), None)
        return "" if child is None else self.message(child)

    def message(self, element: Element) -> str:
        """The localised text of one element."""
        return self.messages.text(self.attribute(element, "msgid") or "", full_text(element))
