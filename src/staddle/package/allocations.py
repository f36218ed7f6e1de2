"""What items reserve and limit, in base units: for one machine, and for the machines of a collection together.

Source: CIM_ResourceAllocationSettingData: Reservation and Limit are counted in AllocationUnits, Weight has no unit;
DSP0243, resource allocation section: its items follow the rules of bound and configuration.
"""

from collections.abc import Sequence
from typing import Final

from staddle.kernel import InputRefused, Severity
from staddle.package import resourcetypes as types
from staddle.package.items import Item, read_items, select_devices
from staddle.package.markup import Element
from staddle.package.model import Allocation, Size
from staddle.package.reading import Reading
from staddle.package.units import Units, amount_of, read_memory_units, read_units

__all__ = ["allocations_of", "read_group_allocations"]

_FIELDS: Final = ("Reservation", "Limit", "Weight")


def allocations_of(reading: Reading, items: Sequence[Item]) -> tuple[Allocation, ...]:
    """One for each item that reserves, limits or weighs; a unit that cannot be read is a fault."""
    # Nearly no item has any of the three, and there may be thousands.
    given = [i for i in items if "Reservation" in (f := i.fields) or "Limit" in f or "Weight" in f]
    return tuple(found for item in given if (found := _allocation(reading, item)))


def read_group_allocations(
    reading: Reading, path: Sequence[Element], sizes: tuple[Size, ...]
) -> tuple[Allocation, ...]:
    """Those of the collections around a machine, in the default size. Args: path: the machine first."""
    default = next(size.size_id for size in sizes if size.is_default)
    found: list[Allocation] = []
    for collection in reversed(path[1:]):
        for section in reading.children(collection, "ResourceAllocationSection"):
            items = select_devices(read_items(reading, section, sizes), default)
            found += allocations_of(reading, items)
    return tuple(found)


def _allocation(reading: Reading, item: Item) -> Allocation | None:
    if not any(item.value(name) for name in _FIELDS):
        return None
    try:
        units = _units(item)
        reading.take_findings(units.findings, at=item.element)
        amounts = [
            None if (count := item.quantity(name)) is None else amount_of(count, units)
            for name in ("Reservation", "Limit")
        ]
    except InputRefused as exc:
        reading.take_faults(exc, at=item.element, what=f"the hardware item {item.instance_id}")
        return None
    for name in _FIELDS:
        if item.value(name) and item.quantity(name) is None:
            reading.finding(
                "allocation-no-number",
                Severity.RISK,
                f'the {name} of the hardware item {item.instance_id} is "{item.value(name)}"; it is passed over',
                at=item.element,
                why="a whole number is expected",
                source="CIM_ResourceAllocationSettingData",
            )
    return Allocation(
        of=types.resource_name(item.resource_type),
        unit=units.base,
        reservation=amounts[0],
        limit=amounts[1],
        weight=item.quantity("Weight"),
    )


def _units(item: Item) -> Units:
    text = item.value("AllocationUnits")
    if item.resource_type == types.MEMORY:
        own = item.value("VirtualQuantityUnits")
        return read_memory_units(text or ("" if own == "count" else own))
    return read_units(text or "count")
