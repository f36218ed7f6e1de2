"""The DiskSection: disks with their capacity in bytes, for every size where a property sets it.

Source: DSP0243 and DSP8023, disk section: capacity in its units, populatedSize always in bytes.
"""

import re
from collections.abc import Collection, Mapping, Sequence

from staddle.kernel import InputRefused, Severity
from staddle.package.markup import Element, local_name
from staddle.package.model import PackageDisk, PackageFile, Property, Size
from staddle.package.propertyindex import PropertyIndex
from staddle.package.reading import Reading
from staddle.package.units import Units, amount_of, read_units

__all__ = ["read_disks"]

_SOURCE = "DSP0243, disk section"
_REFERENCE = re.compile(r"\$\{([^{}]+)\}")
_MOST_CHAIN = 64  # ours: each link slows every read of the machine down; makers ship one or two
_INTEGER = re.compile(r"\d{1,20}", re.ASCII)


def read_disks(
    reading: Reading,
    envelope: Element,
    *,
    files: Mapping[str, PackageFile],
    declared_files: frozenset[str],
    properties: Sequence[Property],
    sizes: tuple[Size, ...],
    used: Collection[str] | None = None,
) -> tuple[PackageDisk, ...]:
    """The disks in order. Faults go to the reading; a faulty disk is left out.

    Args: files: those that were read; declared_files: ids of all, so that a faulty file is not also "unknown"; used:
        the disks of the one machine that is read, where the package holds several: only these and their parents are
        read, since a capacity may hang on a property that other machines do not have; None reads all.
    """
    disks: dict[str, PackageDisk] = {}
    elements = _declared(reading, envelope)
    index = PropertyIndex(properties)
    wanted = elements.keys() if used is None else _with_parents(reading, elements, used)
    for disk_id, element in elements.items():
        if disk_id in wanted:
            shared = local_name(element) == "SharedDisk"
            file_id = reading.attribute(element, "fileRef") or None
            if file_id and file_id not in files and file_id not in declared_files:
                reading.fault(
                    f'the disk "{disk_id}" refers to the file "{file_id}", which is not declared', at=element
                )
            capacity = _capacity(reading, element, disk_id, index, sizes)
            reading.spend(len(sizes), at=element)
            if capacity:
                by_size, prop = capacity
                default = next(size.size_id for size in sizes if size.is_default)
                disks[disk_id] = PackageDisk(
                    disk_id=disk_id,
                    capacity_bytes=by_size[default],
                    populated_bytes=reading.whole(element, "populatedSize"),
                    file_id=file_id,
                    parent_id=reading.attribute(element, "parentRef") or None,
                    format_uri=reading.attribute(element, "format") or "",
                    capacity_by_size=tuple(by_size.items()) if prop else (),
                    capacity_property=prop,
                    shared=shared,
                    read_only=shared and reading.flag(element, "readOnly", default=False),
                )
                _judge(reading, element, disks[disk_id])
    _judge_parents(reading, elements, disks)
    return tuple(disks.values())


def _declared(reading: Reading, envelope: Element) -> dict[str, Element]:
    elements: dict[str, Element] = {}
    for section in reading.children(envelope, "DiskSection", "SharedDiskSection"):
        for element in reading.children(section, "Disk", "SharedDisk"):
            disk_id = reading.needed(element, "diskId")
            if disk_id in elements:
                reading.fault(f'the disk id "{disk_id}" stands twice', at=element)
            else:
                elements[disk_id] = element
        if local_name(section) == "SharedDiskSection":
            _tell_shared(reading, section)
    return elements


def _tell_shared(reading: Reading, section: Element) -> None:
    required = reading.flag(section, "required", default=True)
    reading.finding(
        "shared-disk",
        Severity.STOP if required else Severity.RISK,
        f"the package has disks that several machines use at the same time: {reading.text(section, 'Info')}",
        at=section,
        why="the program makes no shared disks; each member gets its own",
        mend="ask the package's maker for one that can be deployed without this section",
        source="DSP0243 2.x, shared disk section",
    )


def _with_parents(reading: Reading, elements: Mapping[str, Element], used: Collection[str]) -> set[str]:
    wanted: set[str] = set()
    left = [disk_id for disk_id in used if disk_id in elements]
    while left:
        disk_id = left.pop()
        if disk_id not in wanted:
            wanted.add(disk_id)
            parent = reading.attribute(elements[disk_id], "parentRef")
            left += [parent] if parent and parent in elements else []
    return wanted


def _capacity(
    reading: Reading, element: Element, disk_id: str, properties: PropertyIndex, sizes: tuple[Size, ...]
) -> tuple[dict[str, int], str] | None:
    text = reading.needed(element, "capacity")
    try:
        units = read_units(reading.attribute(element, "capacityAllocationUnits") or "byte")
    except InputRefused as exc:
        reading.take_faults(exc, at=element, what=f'capacity of the disk "{disk_id}"')
        return None
    reading.take_findings(units.findings, at=element)
    if units.base != "byte":
        reading.fault(
            f'the capacity of the disk "{disk_id}" is counted in {units.base}',
            at=element,
            why="bytes or a multiple of them are expected",
        )
        return None
    if not text:
        return None
    prop: Property | None = None
    if match := _REFERENCE.fullmatch(text):
        prop = properties.find(match[1])
        if prop is None:
            reading.fault(
                f'the capacity of the disk "{disk_id}" is ${{{match[1]}}}, and there is no such property',
                at=element,
            )
            return None
        if prop.user_configurable:
            reading.finding(
                "capacity-by-answer",
                Severity.NOTE,
                f'the capacity of the disk "{disk_id}" follows the answer to "{prop.label}"',
                at=element,
                why="sizes are computed with the package's defaults",
                mend="set the disk's capacity in the design where the answer is another one",
                source=_SOURCE,
            )
    by_size: dict[str, int] = {}
    for size in sizes:
        quantity = prop.default_for(size.size_id) if prop else text
        amount = _amount(reading, element, disk_id, quantity, units, size if prop else None)
        if amount is None:
            return None
        by_size[size.size_id] = amount
    return by_size, prop.key if prop else ""


def _amount(
    reading: Reading, element: Element, disk_id: str, quantity: str, units: Units, size: Size | None
) -> int | None:
    in_size = f' in size "{size.size_id}"' if size else ""
    if _INTEGER.fullmatch(quantity.strip()) is None:
        reading.fault(
            f'the capacity of the disk "{disk_id}"{in_size} is "{quantity}"',
            at=element,
            why="a whole number or ${property} is expected",
        )
        return None
    try:
        amount = amount_of(int(quantity), units)
    except InputRefused as exc:
        reading.take_faults(exc, at=element, what=f'the capacity of the disk "{disk_id}"{in_size}')
        return None
    if not 0 < amount < 2**63:
        reading.fault(
            f'the capacity of the disk "{disk_id}"{in_size} is {amount} bytes',
            at=element,
            why="it must be above 0 and below 2^63",
        )
        return None
    return amount


def _judge(reading: Reading, element: Element, disk: PackageDisk) -> None:
    if disk.file_id and not disk.format_uri:
        reading.finding(
            "disk-without-format",
            Severity.NOTE,
            f'the disk "{disk.disk_id}" has a file and no ovf:format',
            at=element,
            source=_SOURCE,
        )
    for given, name, rule in (
        (disk.populated_bytes, "a populatedSize", "empty-disk-populated"),
        (disk.format_uri, "a format", "empty-disk-format"),
        (disk.parent_id, "a parent", "empty-disk-parent"),
    ):
        if not disk.file_id and given:
            reading.finding(
                rule,
                Severity.NOTE,
                f'the disk "{disk.disk_id}" has no file, yet {name}',
                at=element,
                why="a disk without a file is empty and stands alone",
                source=_SOURCE,
            )
    if disk.file_id and disk.parent_id:
        reading.finding(
            "differing-disk",
            Severity.RISK,
            f'the file of the disk "{disk.disk_id}" holds only what differs from the disk "{disk.parent_id}"',
            at=element,
            why="both are put together as the maker's format says, which this program does not read; a platform that writes single "
            "disks cannot make it",
            mend="let the platform's own import of the package make it, or ask the package's maker for one with whole disks",
            source=_SOURCE,
        )
    least = min((dict(disk.capacity_by_size) or {"": disk.capacity_bytes}).values())
    if disk.populated_bytes is not None and disk.populated_bytes > least:
        reading.finding(
            "populated-above-capacity",
            Severity.RISK,
            f'the disk "{disk.disk_id}" is populated with {disk.populated_bytes} bytes and holds only {least}',
            at=element,
            why="populatedSize is always in bytes; a maker may have used the units of the capacity",
            mend="compare both with the maker's documents",
            source=_SOURCE,
        )


def _judge_parents(reading: Reading, elements: dict[str, Element], disks: dict[str, PackageDisk]) -> None:
    for disk in disks.values():
        if disk.parent_id and disk.parent_id not in elements:
            reading.fault(
                f'the disk "{disk.disk_id}" has the parent "{disk.parent_id}", which is not declared',
                at=elements[disk.disk_id],
            )
        seen, at = {disk.disk_id}, disk.parent_id
        while at and at in disks and at not in seen and len(seen) <= _MOST_CHAIN:
            seen.add(at)
            at = disks[at].parent_id
        if at == disk.disk_id:
            reading.fault(
                f'the disk "{disk.disk_id}" is its own ancestor',
                at=elements[disk.disk_id],
                why="ovf:parentRef must lead to a disk without a parent",
            )
        elif len(seen) > _MOST_CHAIN:
            reading.fault(
                f'the disk "{disk.disk_id}" has more than {_MOST_CHAIN} ancestors', at=elements[disk.disk_id]
            )
