"""The items of a VirtualHardwareSection, and which of them hold for one size.

What the items add up to is hardware.py's work.

Source: DSP0243, virtual hardware section: an item that names the chosen configuration replaces the general one of the
same InstanceID as a whole; ``ovf:bound`` min and max are range markers and make no device. DSP8023 for the attributes.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

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
_SOURCE = "DSP0243, virtual hardware section"


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One item. ``fields`` holds all values of each field, in order; ``bound`` is normal, min or max."""

    element: Element
    instance_id: str
    resource_type: int
    sizes: tuple[str, ...]
    bound: str
    required: bool
    fields: Mapping[str, tuple[str, ...]]

    def values(self, name: str) -> tuple[str, ...]:
        """All values of a field, () if it is absent."""
        return self.fields.get(name, ())

    def value(self, name: str) -> str:
        """The first value of a field, "" if it is absent."""
        values = self.fields.get(name)
        return values[0] if values else ""

    def quantity(self, name: str) -> int | None:
        """A field as a whole number; None if it is absent or none."""
        text = self.value(name)
        return int(text) if _WHOLE.fullmatch(text) else None

    @property
    def title(self) -> str:
        """What people call it: the element name, else the instance id."""
        names = self.fields.get("ElementName")
        return (names[0] if names else "") or f"item {self.instance_id}"


def read_items(reading: Reading, section: Element, sizes: tuple[Size, ...]) -> tuple[Item, ...]:
    """All items of the section in order. Faults go to the reading."""
    items: list[Item] = []
    seen: set[tuple[str, str, str]] = set()
    names: dict[str, str] = {}
    for element in reading.children(section, "Item", "EthernetPortItem", "StorageItem"):
        fields = _fields(element, names)
        instance_id = fields.get("InstanceID", ("",))[0]
        if not instance_id:
            reading.fault("a hardware item has no InstanceID", at=element, why="CIM makes it the key")
            continue
        if not fields.get("ElementName", ("",))[0]:
            reading.finding(
                "item-without-name",
                Severity.NOTE,
                f"the hardware item {instance_id} has no ElementName",
                at=element,
                source="CIM_ResourceAllocationSettingData, ElementName is required",
            )
        type_text = fields.get("ResourceType", ("",))[0]
        if _WHOLE.fullmatch(type_text) is None:
            reading.fault(
                f'the hardware item {instance_id} has the ResourceType "{type_text}"',
                at=element,
                why="a number of the CIM value map is expected",
            )
            continue
        item = Item(
            element=element,
            instance_id=instance_id,
            resource_type=int(type_text),
            # Most items have no attribute; then none is asked for.
            sizes=sizes_named(reading, element, sizes) if (attributed := bool(element.keys())) else (),
            bound=_bound(reading, element, instance_id) if attributed else "normal",
            required=not attributed or reading.flag(element, "required", default=True),
            fields=fields,
        )
        for size_id in item.sizes or ("",):
            if (instance_id, item.bound, size_id) in seen:
                reading.fault(
                    f"the hardware item {instance_id} stands twice"
                    + (f' for the configuration "{size_id}"' if size_id else ""),
                    at=element,
                    why="an InstanceID stands once for each bound and configuration",
                )
            seen.add((instance_id, item.bound, size_id))
        items.append(item)
    return tuple(items)


def _fields(element: Element, names: dict[str, str]) -> dict[str, tuple[str, ...]]:
    """The fields of one item. Args: names: per tag the field's name, "" for none; filled here."""
    # A descriptor may hold thousands of items with ten fields each: each child is asked as little as can be.
    found: dict[str, tuple[str, ...]] = {}
    for child in element:
        tag = child.tag
        if (name := names.get(tag)) is None:
            namespace, _, local = tag[1:].partition("}")
            name = names[tag] = local if namespace in _FIELD_NAMESPACES else ""
        if name:
            text = ((child.text or "") if not len(child) else full_text(child)).strip()
            found[name] = (*found[name], text) if name in found else (text,)
    return found


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
