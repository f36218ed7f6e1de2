"""A descriptor filled in for one member: its size the default, its answers in place, networks mapped, its name set.

Pure: bytes in, bytes out. Nothing else of the descriptor is changed; files are bundle.py's work.

Source: DSP0243, product section (which default counts), deployment option section, network section; DSP8023 for the order of
elements and the qualified names of attributes.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from lxml import etree

from staddle.kernel import Fault, InputRefused
from staddle.package.markup import Element, parse_markup

__all__ = ["Filling", "fill_descriptor"]

_CIM: Final = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/CIM_"
_CONNECTIONS: Final = tuple(
    f"{{{_CIM}{name}SettingData}}Connection" for name in ("ResourceAllocation", "EthernetPortAllocation")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Filling:
    """What one member's descriptor says beside the maker's.

    ``system_id`` is the virtual machine's ``ovf:id``, as Package.name has it. ``answers`` maps full keys to values, ``networks`` the package's names to those of the estate; ``remark`` stands as a
    comment at the top. Answers may be secrets, so they do not stand in the value's printed form.
    """

    name: str
    system_id: str
    size_id: str
    answers: Mapping[str, str] = field(repr=False)
    networks: Mapping[str, str]
    remark: str


def fill_descriptor(data: bytes, filling: Filling, *, where: str) -> bytes:
    """The descriptor as UTF-8 XML with the filling in place.

    Args: data: a descriptor that was read without fault; where: its name.
    Raises: InputRefused: an answer that XML cannot carry, or two networks that would get one name by accident.
    """
    root = parse_markup(data, where=where, keep_comments=True)
    envelope = _Envelope(root)
    system = next(
        (
            one
            for one in envelope.all("VirtualSystem")
            if envelope.get(one, "id").strip() == filling.system_id
        ),
        None,
    )
    if system is None:
        raise InputRefused.one(f'the descriptor has no virtual machine "{filling.system_id}"', where=where)
    faults = [
        *_fill_networks(envelope, filling.networks, where),
        *_fill_answers(envelope, system, filling.answers, where),
    ]
    _fill_size(envelope, filling.size_id)
    _fill_name(envelope, system, filling.name)
    if faults:
        raise InputRefused(*faults)
    text = etree.tostring(root.getroottree(), xml_declaration=True, encoding="UTF-8")
    declaration, _, rest = text.partition(b"\n")
    return b"\n".join((declaration, _comment(filling.remark), rest, b""))


def _comment(remark: str) -> bytes:
    # XML 1.0 §2.5: no "--" in a comment; a file's name may hold what no document may.
    printable = "".join(c if c.isprintable() else "?" for c in remark)
    return f"<!-- {printable.replace('--', '- -')} -->".encode()


class _Envelope:
    """Elements and attributes of the envelope's own namespace."""

    def __init__(self, root: Element) -> None:
        self.root = root
        self.namespace = etree.QName(root).namespace

    def name(self, local: str) -> str:
        return f"{{{self.namespace}}}{local}"

    def all(self, local: str) -> Iterator[Element]:
        return self.root.iter(self.name(local))

    def get(self, element: Element, local: str) -> str:
        return element.get(self.name(local), element.get(local, ""))

    def set(self, element: Element, local: str, text: str | None) -> None:
        """Set or remove an attribute; where the package wrote it without a prefix, it is written right."""
        for name in (local, self.name(local)):
            if name in element.attrib:
                del element.attrib[name]
        if text is not None:
            element.set(self.name(local), text)


def _fill_size(envelope: _Envelope, size_id: str) -> None:
    for configuration in envelope.all("Configuration"):
        chosen = envelope.get(configuration, "id").strip() == size_id
        envelope.set(configuration, "default", "true" if chosen else None)


def _fill_name(envelope: _Envelope, system: Element, name: str) -> None:
    found = system.find(envelope.name("Name"))
    if found is None:
        found = etree.Element(envelope.name("Name"))
        info = system.find(envelope.name("Info"))
        found.tail = None if info is None else info.tail
        system.insert(0 if info is None else system.index(info) + 1, found)
    envelope.set(found, "msgid", None)  # a localised text would win over the name
    found.text = name


def _fill_networks(envelope: _Envelope, networks: Mapping[str, str], where: str) -> list[Fault]:
    seen: dict[str, str] = {}
    faults = []
    for element in list(envelope.all("Network")):
        old = envelope.get(element, "name").strip()
        new = networks.get(old, old)
        if new in seen and not (old in networks and seen[new] in networks):
            faults.append(
                Fault(
                    what=f'the networks "{seen[new]}" and "{old}" of the package would both be called "{new}"',
                    where=f"{where}:{element.sourceline}",
                    why="one of them is attached to a network of the estate that has the other's name",
                    mend="attach both in design.yaml: networks",
                )
            )
        elif new in seen:
            _remove(element)  # both attached to one network: it is declared once
        else:
            envelope.set(element, "name", new)
        seen.setdefault(new, old)
    for tag in _CONNECTIONS:
        for element in envelope.root.iter(tag):
            text = (element.text or "").strip()
            if text in networks:
                element.text = networks[text]
    return faults


def _remove(element: Element) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _fill_answers(
    envelope: _Envelope, system: Element, answers: Mapping[str, str], where: str
) -> list[Fault]:
    faults = []
    properties: dict[str, Element] = {}
    # What encloses the machine may have a property of the same key; the machine's own counts, so it comes last.
    for content in (*reversed(tuple(system.iterancestors())), system):
        for section in content.iterchildren(envelope.name("ProductSection")):
            entry = envelope.get(section, "class"), envelope.get(section, "instance")
            for element in section.iterchildren(envelope.name("Property")):
                bare = envelope.get(element, "key").strip()
                properties[".".join(part for part in (entry[0], bare, entry[1]) if part)] = element
    for key, value in answers.items():
        if key not in properties:
            faults.append(Fault(what=f'the descriptor has no property "{key}"', where=where))
            continue
        element = properties[key]
        # DSP0243: a Value wins over ovf:value. The member's answer holds whatever size is chosen at the end.
        for child in list(element.iterchildren(envelope.name("Value"))):
            element.remove(child)
        try:
            envelope.set(element, "value", value)
        except ValueError:  # lxml's word for a character outside XML 1.0 §2.2; its text would show the value
            faults.append(
                Fault(
                    what=f'the answer to "{key}" cannot be written into a descriptor',
                    where=where,
                    why="it holds a character that XML cannot carry (XML 1.0 §2.2)",
                    mend="use letters, digits and signs; no control characters",
                )
            )
    return faults
