"""The machine that each size asks for, from the items that hold for it.

Source: DSP0243, virtual hardware section; CIM_ResourceAllocationSettingData. For processors VirtualQuantity is a count;
for memory it is counted in AllocationUnits (common practice, against the class text).
"""

import re
from collections.abc import Collection, Mapping, Sequence

from staddle.kernel import Fault, InputRefused, Severity, format_binary
from staddle.package import resourcetypes as types
from staddle.package.allocations import allocations_of
from staddle.package.items import Item, read_items, select_devices, select_markers
from staddle.package.markup import Element, full_text, local_name
from staddle.package.model import Adapter, Controller, DiskDevice, Hardware, Medium, QuantityRange, Size
from staddle.package.reading import Reading, listed
from staddle.package.units import amount_of, read_memory_units

__all__ = ["disks_named", "read_hardware"]

_SOURCE = "DSP0243, virtual hardware section"
_DISK = re.compile(r"(?P<scheme>ovf:)?/(?P<kind>[A-Za-z]+)/(?P<disk_id>.*)", re.DOTALL)
_FILE = re.compile(r"(?:ovf:)?/file/(?P<file_id>.*)", re.DOTALL)
_DRIVES = {types.FLOPPY_DRIVE, types.CD_DRIVE, types.DVD_DRIVE}
_CARRIED = types.CONTROLLERS | {
    types.PROCESSOR,
    types.MEMORY,
    types.ETHERNET_ADAPTER,
    types.ETHERNET_CONNECTION,
    types.DISK_DRIVE,
    types.CD_DRIVE,
    types.DVD_DRIVE,
}


def read_hardware(
    reading: Reading,
    system: Element,
    *,
    sizes: tuple[Size, ...],
    disk_ids: Collection[str],
    networks: Collection[str],
    file_ids: Collection[str] = (),
    families: Collection[str] = (),
) -> tuple[Hardware, ...]:
    """The hardware of every size, in the order of the sizes. Faults go to the reading.

    Args: families: virtual system types that the platform takes; () takes any. Compared with case.
    """
    sections = list(reading.children(system, "VirtualHardwareSection"))
    if not sections:
        reading.fault("the virtual system has no VirtualHardwareSection", at=system)
        return ()
    read = [(section, read_items(reading, section, sizes)) for section in sections]
    section, items = _first_acceptable(reading, read, families)
    parts = _Parts(reading, section, disk_ids, networks, file_ids)
    return tuple(parts.hardware(items, size) for size in sizes)


def disks_named(reading: Reading, system: Element) -> frozenset[str]:
    """The ids of the disks that any hardware of this machine names, in any size."""
    return frozenset(
        match["disk_id"]
        for section in reading.children(system, "VirtualHardwareSection")
        for item in reading.children(section, "Item", "EthernetPortItem", "StorageItem")
        for field in item
        if local_name(field) == "HostResource"
        if (match := _DISK.fullmatch(full_text(field).strip()))
    )


def _system_types(reading: Reading, section: Element) -> tuple[str, ...]:
    return tuple(
        family
        for system in reading.children(section, "System")
        for child in system
        if local_name(child) == "VirtualSystemType"
        for family in full_text(child).split()
    )


def _first_acceptable(
    reading: Reading, read: Sequence[tuple[Element, tuple[Item, ...]]], families: Collection[str]
) -> tuple[Element, tuple[Item, ...]]:
    def obstacle(section: Element, items: tuple[Item, ...]) -> tuple[str, Element] | None:
        if families and not set(families) & set(_system_types(reading, section)):
            wanted = ", ".join(families)
            return (
                f"is for {' '.join(_system_types(reading, section)) or 'no named family'}, not for {wanted}",
                section,
            )
        for item in items:
            if item.required and item.resource_type not in types.RESOURCE_TYPES:
                return f"needs a {types.resource_name(item.resource_type)}: {item.title}", item.element
        return None

    obstacles = []
    for index, (section, items) in enumerate(read):
        found = obstacle(section, items)
        if found is None:
            if len(read) > 1:
                reading.finding(
                    "hardware-alternatives",
                    Severity.NOTE,
                    f"the package describes {len(read)} alternative machines; number {index + 1} is taken",
                    at=section,
                    why="the first one that can be met is taken",
                    source=_SOURCE,
                )
            return section, items
        obstacles.append(found)
    for number, (text, at) in enumerate(obstacles, 1):
        which = "the hardware" if len(obstacles) == 1 else f"alternative {number} of the hardware"
        reading.fault(
            f"{which} cannot be met: it {text}",
            at=at,
            why="a required device that cannot be met fails the import",
        )
    return read[0]


class _Parts:
    """Turns items into the parts of a machine."""

    def __init__(
        self,
        reading: Reading,
        section: Element,
        disk_ids: Collection[str],
        networks: Collection[str],
        file_ids: Collection[str],
    ) -> None:
        self.reading = reading
        self.section = section
        self.disk_ids = disk_ids
        self.networks = networks
        self.file_ids = file_ids
        self.told: set[Fault] = set()

    def hardware(self, items: tuple[Item, ...], size: Size) -> Hardware:
        self.reading.spend(len(items), at=self.section)
        devices = select_devices(items, size.size_id)
        by_type: dict[int, list[Item]] = {}
        for item in devices:
            by_type.setdefault(item.resource_type, []).append(item)
        processors = sum(self._count(item) for item in by_type.get(types.PROCESSOR, []))
        memory_bytes = sum(self._memory(item) for item in by_type.get(types.MEMORY, []))
        of_size = f' in size "{size.size_id}"' if size.size_id else ""
        for amount, name, number in (
            (processors, "processor", types.PROCESSOR),
            (memory_bytes, "memory", types.MEMORY),
        ):
            if not amount and number not in by_type:
                self.reading.fault(f"the machine has no {name}{of_size}", at=self.section)
        # A machine has a handful of kinds of device; what it has none of is not looked for among thousands.
        kinds = by_type.keys()
        controllers = (
            [i for i in devices if i.resource_type in types.CONTROLLERS] if kinds & types.CONTROLLERS else []
        )
        drives = [i for i in devices if i.resource_type in _DRIVES] if kinds & _DRIVES else []
        disks = [i for i in devices if self._is_disk(i)] if kinds & types.STORAGE else []
        others = [i for i in devices if i.resource_type not in _CARRIED] if kinds - _CARRIED else []
        names = {item.instance_id: item.title for item in devices} if disks else {}
        adapters = by_type.get(types.ETHERNET_ADAPTER, []) + by_type.get(types.ETHERNET_CONNECTION, [])
        transports = self.reading.names(self.section, "transport")
        has_cd = bool(by_type.get(types.CD_DRIVE) or by_type.get(types.DVD_DRIVE))
        if "iso" in transports and not has_cd:
            self.reading.finding(
                "iso-without-drive",
                Severity.RISK,
                f"the answers travel on a CD, and the machine has no CD drive{of_size}",
                at=self.section,
                why="the machine cannot read its answers",
                mend="add a CD drive when the machine is made",
                source="DSP0243, ISO transport",
            )
        return Hardware(
            size_id=size.size_id,
            processors=processors,
            memory_bytes=memory_bytes,
            disks=tuple(device for item in disks if (device := self._disk(item, names))),
            adapters=tuple(self._adapter(item) for item in adapters),
            has_cd=has_cd,
            transports=transports,
            system_types=_system_types(self.reading, self.section),
            ranges=self._ranges(items, by_type, size),
            controllers=tuple(
                Controller(
                    name=item.title,
                    kind=types.resource_name(item.resource_type),
                    model=item.value("ResourceSubType"),
                )
                for item in controllers
            ),
            media=tuple(medium for item in drives if (medium := self._medium(item))),
            allocations=allocations_of(self.reading, devices),
            other_devices=tuple(
                f"{types.resource_name(item.resource_type)}: {item.title}"
                for item in others
                if not self._is_disk(item)
            ),
        )

    def _fault(self, item: Item, what: str, *, why: str) -> None:
        # An item that holds for several sizes is read once for each; its fault is told once.
        fault = Fault(what=what, where=self.reading.place(item.element), why=why)
        if fault not in self.told:
            self.told.add(fault)
            self.reading.fault(what, at=item.element, why=why)

    def _count(self, item: Item) -> int:
        count = item.quantity("VirtualQuantity")
        if not count or count >= 2**16:
            given = item.value("VirtualQuantity")
            self._fault(
                item,
                f'the processor item {item.instance_id} has the VirtualQuantity "{given}"',
                why="the number of processors, from 1 to 65535, is expected",
            )
            return 0
        return count

    def _memory(self, item: Item) -> int:
        quantity = item.quantity("VirtualQuantity")
        if not quantity:
            given = item.value("VirtualQuantity")
            self._fault(
                item,
                f'the memory item {item.instance_id} has the VirtualQuantity "{given}"',
                why="a whole number above 0 is expected",
            )
            return 0
        limit = item.quantity("Limit")
        amount_bytes = self._memory_bytes(item, quantity)
        if limit is not None and limit < quantity and amount_bytes:
            most_bytes = limit * amount_bytes // quantity
            self.reading.finding(
                "memory-limit",
                Severity.RISK,
                f"the memory item {item.instance_id} has {format_binary(amount_bytes)} and may use only {format_binary(most_bytes)} of it",
                at=item.element,
                why="the platform pages the rest out, and the machine becomes slow",
                mend="take the limit off when the machine is made",
                source="CIM_ResourceAllocationSettingData, Limit",
            )
        return amount_bytes

    def _memory_bytes(self, item: Item, quantity: int) -> int:
        # VirtualQuantityUnits defaults to "count" in CIM, which says nothing about memory.
        own = item.value("VirtualQuantityUnits")
        text = item.value("AllocationUnits") or ("" if own == "count" else own)
        try:
            units = read_memory_units(text)
            self.reading.take_findings(units.findings, at=item.element)
            return amount_of(quantity, units)
        except InputRefused as exc:
            for fault in exc.faults:
                self._fault(item, f"the memory item {item.instance_id}: {fault.what}", why=fault.why)
            return 0

    @staticmethod
    def _is_disk(item: Item) -> bool:
        if item.resource_type == types.DISK_DRIVE:
            return True
        return item.resource_type in types.STORAGE and bool(_DISK.fullmatch(item.value("HostResource")))

    def _disk(self, item: Item, names: Mapping[str, str]) -> DiskDevice | None:
        resource = item.value("HostResource")
        if not resource:
            self.reading.finding(
                "disk-device-unbacked",
                Severity.RISK,
                f'the disk device "{item.title}" names no disk',
                at=item.element,
                why="the machine would have a drive with nothing behind it; it is left out",
                mend="ask the maker which disk belongs to it",
                source=_SOURCE,
            )
            return None
        match = _DISK.fullmatch(resource)
        if match is None or match["kind"] == "file" or match["disk_id"] not in self.disk_ids:
            self._fault(
                item,
                f'the disk device "{item.title}" names "{resource}", which is not a disk of the package',
                why="ovf:/disk/ and the id of a declared disk is expected",
            )
            return None
        if not match["scheme"] or match["kind"] != "disk":
            self.reading.finding(
                "host-resource-form",
                Severity.NOTE,
                f'the disk device "{item.title}" names its disk "{resource}", not "ovf:/disk/{match["disk_id"]}"',
                at=item.element,
                why="drafts before the standard wrote it otherwise; another importer may not find the disk",
                source=_SOURCE,
            )
        return DiskDevice(
            name=item.title,
            disk_id=match["disk_id"],
            controller=self._parent(item, names),
            place=item.value("AddressOnParent"),
        )

    def _parent(self, item: Item, names: Mapping[str, str]) -> str:
        parent = item.value("Parent")
        if parent and parent not in names:
            self.reading.finding(
                "device-parent",
                Severity.RISK,
                f'the device "{item.title}" hangs on the item "{parent}", which this machine does not have',
                at=item.element,
                why="what it hangs on is chosen by the platform",
                mend="ask the maker which controller is meant",
                source="CIM_ResourceAllocationSettingData, Parent",
            )
        return names.get(parent, "")

    def _medium(self, item: Item) -> Medium | None:
        resource = item.value("HostResource")
        match = _FILE.fullmatch(resource)
        if match is None:
            return None
        if match["file_id"] not in self.file_ids:
            self._fault(
                item,
                f'the drive "{item.title}" holds "{resource}", which is not a file of the package',
                why="ovf:/file/ and the id of a declared file is expected",
            )
            return None
        return Medium(drive=item.title, file_id=match["file_id"])

    def _adapter(self, item: Item) -> Adapter:
        fields = item.fields
        connection = fields.get("Connection")
        if "Connection" in item.repeated or connection is None or connection not in self.networks:
            self._judge_connections(item)
        if address := fields.get("Address", ""):
            self.reading.finding(
                "adapter-address",
                Severity.RISK,
                f'the maker fixed the hardware address {address} of the adapter "{item.title}"',
                at=item.element,
                why="two members with one address on a network disturb each other",
                mend="let the platform choose the address",
                source="CIM_ResourceAllocationSettingData, Address; common practice",
            )
        return Adapter(
            address=address,
            name=item.title,
            network=connection or "",
            model=fields.get("ResourceSubType", ""),
            connected=fields.get("AutomaticAllocation", "").lower() not in ("false", "0"),
        )

    def _judge_connections(self, item: Item) -> None:
        connections = item.values("Connection")
        for name in connections:
            if name not in self.networks:
                self._fault(
                    item,
                    f'the adapter "{item.title}" is connected to "{name}", which is not a declared network',
                    why="declared networks are " + listed(self.networks),
                )
        if len(connections) != 1:
            self.reading.finding(
                "adapter-connections",
                Severity.RISK,
                f'the adapter "{item.title}" names {len(connections)} networks; the first one counts',
                at=item.element,
                why="each adapter is mapped to one network",
                mend="ask the maker which network it belongs to",
                source=_SOURCE,
            )

    def _ranges(
        self, items: tuple[Item, ...], by_type: Mapping[int, Sequence[Item]], size: Size
    ) -> tuple[QuantityRange, ...]:
        markers = select_markers(items, size.size_id)
        found = []
        for number, name in ((types.PROCESSOR, "processors"), (types.MEMORY, "memory")):
            ids = {item.instance_id for item in by_type.get(number, [])}
            limits: dict[str, int] = {}
            for marker in markers:
                quantity = marker.quantity("VirtualQuantity")
                if marker.instance_id not in ids or quantity is None:
                    continue
                amount = quantity if number == types.PROCESSOR else self._memory_bytes(marker, quantity)
                limits[marker.bound] = limits.get(marker.bound, 0) + amount
            if limits:
                found.append(QuantityRange(of=name, least=limits.get("min"), most=limits.get("max")))
        return tuple(found)
