"""The environment document: what a machine is told at its start, written and read.

It carries secrets in clear text: whoever writes it to a disk does so with owner-only rights and deletes it after use.
The ISO image around it is not made here.

Source: DSP0243, OVF environment; DSP8027 (attributes are qualified; Timezone in minutes east of UTC).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from lxml import etree

from staddle.kernel import Fault, InputRefused
from staddle.package.markup import Element, full_text, local_name, namespace_of, parse_markup

__all__ = ["ENVIRONMENT_NAME", "Environment", "PlatformFacts", "environment_document", "read_environment"]

ENVIRONMENT_NAME: Final = "ovf-env.xml"  # DSP0243, ISO transport: the file in the root of the image
_NS: Final = "http://schemas.dmtf.org/ovf/environment/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatformFacts:
    """What the platform says of itself. ``timezone_minutes`` is east of UTC; "" and None are left out."""

    kind: str = ""
    version: str = ""
    vendor: str = ""
    locale: str = ""
    timezone_minutes: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Environment:
    """An environment document. ``properties`` and ``siblings`` keep the order of the document.

    The values may be secrets, so they do not stand in the value's printed form.
    """

    entity_id: str
    platform: PlatformFacts = PlatformFacts()
    properties: tuple[tuple[str, str], ...] = field(default=(), repr=False)
    siblings: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = field(default=(), repr=False)


def environment_document(
    *,
    entity_id: str,
    platform: PlatformFacts,
    properties: Mapping[str, str],
    siblings: Mapping[str, Mapping[str, str]] | None = None,
) -> bytes:
    """The document as UTF-8 XML.

    Args: properties: full key to value; siblings: per entity its full keys to values.
    Raises: InputRefused: a text holds a character that XML cannot carry; the value itself is not shown.
    """
    root = etree.Element(_tag("Environment"), {_tag("id"): ""}, nsmap={"ovfenv": _NS})
    faults: list[Fault] = []
    _set(root, "id", entity_id, "the entity's id", faults)
    section = etree.SubElement(root, _tag("PlatformSection"))
    timezone = "" if platform.timezone_minutes is None else str(platform.timezone_minutes)
    for name, text in (
        ("Kind", platform.kind),
        ("Version", platform.version),
        ("Vendor", platform.vendor),
        ("Locale", platform.locale),
        ("Timezone", timezone),
    ):
        if text:
            try:
                etree.SubElement(section, _tag(name)).text = text
            except ValueError:
                faults.append(_unwritable(f"the platform's {name}"))
    _add_properties(root, properties, faults)
    for sibling_id, values in (siblings or {}).items():
        entity = etree.SubElement(root, _tag("Entity"), {_tag("id"): ""})
        _set(entity, "id", sibling_id, "a sibling's id", faults)
        _add_properties(entity, values, faults)
    if faults:
        raise InputRefused(*faults)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)


def _tag(name: str) -> str:
    return f"{{{_NS}}}{name}"


def _add_properties(parent: Element, values: Mapping[str, str], faults: list[Fault]) -> None:
    section = etree.SubElement(parent, _tag("PropertySection"))
    for key, value in values.items():
        entry = etree.SubElement(section, _tag("Property"))
        _set(entry, "key", key, "a property's key", faults)
        _set(entry, "value", value, f'the value of "{key}"', faults)


def _set(element: Element, name: str, text: str, what: str, faults: list[Fault]) -> None:
    try:
        element.set(_tag(name), text)
    except ValueError:  # lxml's word for a character outside XML 1.0 §2.2; its text would show the value
        faults.append(_unwritable(what))


def _unwritable(what: str) -> Fault:
    return Fault(
        what=f"{what} cannot be written into the environment document",
        why="it holds a character that XML cannot carry (XML 1.0 §2.2)",
        mend="use letters, digits and signs; no control characters",
    )


def read_environment(data: bytes) -> Environment:
    """The document read back. Sections that are not known are passed over.

    Raises: InputRefused: not an environment document, hostile, or a property without key.
    """
    root = parse_markup(data, where=ENVIRONMENT_NAME)
    if local_name(root) != "Environment" or namespace_of(root) != _NS:
        raise InputRefused.one(
            f'the root element is "{root.tag}", not an OVF Environment',
            where=ENVIRONMENT_NAME,
            why=f"the namespace {_NS} is expected (DSP8027)",
            mend="hand in the file from the root of the machine's CD",
        )
    facts = {
        local_name(child): full_text(child)
        for section in root.iterchildren(_tag("PlatformSection"))
        for child in section
    }
    timezone = facts.get("Timezone", "").strip()
    if timezone and re.fullmatch(r"[+-]?[0-9]{1,9}", timezone) is None:
        raise InputRefused.one(
            f'the Timezone "{timezone}" is not a number',
            where=ENVIRONMENT_NAME,
            why="minutes east of UTC are expected (DSP8027)",
        )
    return Environment(
        entity_id=root.get(_tag("id"), ""),
        platform=PlatformFacts(
            kind=facts.get("Kind", ""),
            version=facts.get("Version", ""),
            vendor=facts.get("Vendor", ""),
            locale=facts.get("Locale", ""),
            timezone_minutes=int(timezone) if timezone else None,
        ),
        properties=_properties(root),
        siblings=tuple(
            (entity.get(_tag("id"), ""), _properties(entity)) for entity in root.iterchildren(_tag("Entity"))
        ),
    )


def _properties(parent: Element) -> tuple[tuple[str, str], ...]:
    found = []
    for section in parent.iterchildren(_tag("PropertySection")):
        for entry in section.iterchildren(_tag("Property")):
            key = entry.get(_tag("key"))
            if not key:
                raise InputRefused.one(
                    "a property has no key",
                    where=f"{ENVIRONMENT_NAME}:{entry.sourceline}",
                    why="ovfenv:key names the question that is answered (DSP8027)",
                )
            found.append((key, entry.get(_tag("value"), "")))
    return tuple(found)
