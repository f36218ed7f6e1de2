"""The items of a VirtualHardwareSection, and which of them hold for one size.

What the items add up to is hardware.py's work.

Source: DSP0243, virtual hardware section: an item that names the chosen configuration replaces the general one of the
same InstanceID as a whole; ``ovf:bound`` min and max are range markers and make no device. DSP8023 for the attributes.
"""

import re
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

from staddle.kernel import Severity
from staddle.package.configurations import sizes_named
from staddle.package.markup import Element, full_text
from staddle.package.model import Size
from staddle.package.reading import Reading

__all__ = ["Item", "read_items", "select_devices", "select_markers"]

_CIM = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/"
_FIELD_NAMESPACES = {
    _CIM + "CIM_ResourceAllocationSettingData",
    _CIM + "CIM_StorageAllocationSettingData",
    _CIM + "CIM_EthernetPortAllocationSettingData",
}
_WHOLE = re.compile(r"\d{1,20}", re.ASCII)
_NONE_REPEATED: Final[Mapping[str, Sequence[str]]] = MappingProxyType({})
_SOURCE = "DSP0243, virtual hardware section"


class Item(NamedTuple):
    """One item. ``fields`` holds the first value of each field, ``repeated`` all values of those that stand more than once.

    ``bound`` is normal, min or max. A named tuple, as a descriptor may hold thousands: a data class takes three times as long to make.
    """

    element: Element
    instance_id: str
    resource_type: int
    sizes: tuple[str, ...]
    bound: str
    required: bool
    fields: Mapping[str, str]
    repeated: Mapping[str, Sequence[str]]

    def values(self, name: str) -> Sequence[str]:
        """All values of a field in order, () if it is absent."""
        if name in self.repeated:
            return self.repeated[name]
        return (self.fields[name],) if name in self.fields else ()

    def value(self, name: str) -> str:
        """The first value of a field, "" if it is absent."""
        return self.fields.get(name, "")

    def quantity(self, name: str) -> int | None:
        """A field as a whole number; None if it is absent or none."""
        text = self.value(name)
        return int(text) if _WHOLE.fullmatch(text) else None

    @property
    def title(self) -> str:
        """What people call it: the element name, else the instance id."""
        return self.fields.get("ElementName") or f"item {self.instance_id}"


def read_items(reading: Reading, section: Element, sizes: tuple[Size, ...]) -> tuple[Item, ...]:
    """All items of the section in order. Faults go to the reading."""
    items: list[Item] = []
    seen: set[tuple[str, str, str]] = set()
    names: dict[str, str] = {}
    numbers: dict[str, int | None] = {}
    for element in reading.children(section, "Item", "EthernetPortItem", "StorageItem"):
        fields, repeated = _fields(element, names)
        instance_id = fields.get("InstanceID", "")
        if not instance_id:
            reading.fault("a hardware item has no InstanceID", at=element, why="CIM makes it the key")
            continue
        if not fields.get("ElementName"):
            reading.finding(
                "item-without-name",
                Severity.NOTE,
                f"the hardware item {instance_id} has no ElementName",
                at=element,
                source="CIM_ResourceAllocationSettingData, ElementName is required",
            )
        type_text = fields.get("ResourceType", "")
        if type_text not in numbers:
            numbers[type_text] = int(type_text) if _WHOLE.fullmatch(type_text) else None
        resource_type = numbers[type_text]
        if resource_type is None:
            reading.fault(
                f'the hardware item {instance_id} has the ResourceType "{type_text}"',
                at=element,
                why="a number of the CIM value map is expected",
            )
            continue
        # Most items have no attribute; then none is asked for.
        if element.keys():
            named = sizes_named(reading, element, sizes)
            bound = _bound(reading, element, instance_id)
            required = reading.flag(element, "required", default=True)
        else:
            named, bound, required = (), "normal", True
        for size_id in named or ("",):
            before = len(seen)
            seen.add((instance_id, bound, size_id))
            if len(seen) == before:
                reading.fault(
                    f"the hardware item {instance_id} stands twice"
                    + (f' for the configuration "{size_id}"' if size_id else ""),
                    at=element,
                    why="an InstanceID stands once for each bound and configuration",
                )
        items.append(Item(element, instance_id, resource_type, named, bound, required, fields, repeated))
    return tuple(items)


def _fields(element: Element, names: dict[str, str]) -> tuple[dict[str, str], Mapping[str, Sequence[str]]]:
    """The fields of one item as in ``Item``. Args: names: per tag the field's name, "" for none; filled here."""
    # A descriptor may hold thousands of items with ten fields each: each child is asked as little as can be, and a mapping of
    # plain texts is nothing that the collector of cycles has to look at.
    found: dict[str, str] = {}
    repeated: dict[str, list[str]] | None = None
    for child in element:
        tag = child.tag
        try:
            name = names[tag]
        except KeyError:
            namespace, _, local = tag[1:].partition("}")
            name = names[tag] = local if namespace in _FIELD_NAMESPACES else ""
        if not name:
            continue
        text = full_text(child) if len(child) else child.text
        text = text.strip() if text else ""
        if name not in found:
            found[name] = text
        else:
            repeated = {} if repeated is None else repeated
            repeated.setdefault(name, [found[name]]).append(text)
    return found, _NONE_REPEATED if repeated is None else repeated


def _bound(reading: Reading, element: Element, instance_id: str) -> str:
    bound = (reading.attribute(element, "bound") or "normal").strip()
    if bound not in ("min", "max", "normal"):
        reading.fault(
            f'the hardware item {instance_id} has the bound "{bound}"',
            at=element,
            why="min, max or normal is expected",
        )
    return bound


def select_devices(items: Sequence[Item], size_id: str) -> tuple[Item, ...]:
    """The items that make devices in this size, in the order in which their InstanceID first stands."""
    return _select([item for item in items if item.bound == "normal"], size_id)


def select_markers(items: Sequence[Item], size_id: str) -> tuple[Item, ...]:
    """The range markers that hold in this size: at most one min and one max for each InstanceID."""
    return tuple(
        chosen
        for bound in ("min", "max")
        for chosen in _select([item for item in items if item.bound == bound], size_id)
    )


def _select(items: Sequence[Item], size_id: str) -> tuple[Item, ...]:
    chosen: dict[str, Item] = {}
    for item in items:
        if item.sizes and size_id not in item.sizes:
            continue
        if item.instance_id not in chosen or item.sizes:
            chosen[item.instance_id] = item
    return tuple(chosen.values())
