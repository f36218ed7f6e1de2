"""What a package holds, as frozen values. No reading in here (archive.py, descriptor.py).

All amounts are whole bytes. A size is one of the package's deployment configurations, or ``""`` with the
label "the only hardware" where it describes no configuration. Fields with a default of () or "" are empty
where the descriptor says nothing.
"""

from dataclasses import dataclass
from typing import Literal

from staddle.kernel import Finding, InputRefused

__all__ = [
    "Adapter",
    "Allocation",
    "Controller",
    "DiskDevice",
    "EnvironmentFile",
    "Hardware",
    "InstanceCount",
    "Licence",
    "Machine",
    "Medium",
    "Package",
    "PackageDisk",
    "PackageFile",
    "PlacementGroup",
    "Property",
    "QuantityRange",
    "ScaleOut",
    "Size",
    "StartUp",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageFile:
    """One referenced file. ``size_bytes`` is what lies in the archive or folder (all chunks), never 0 for absent.

    ``members`` are the names under which the file lies there: one, or its chunks in order.
    """

    file_id: str
    href: str
    size_bytes: int
    compression: str = ""
    chunk_size_bytes: int | None = None
    sha256: str | None = None  # filled by verification, not by reading
    members: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageDisk:
    """One virtual disk: thick is ``capacity_bytes``, thin at first is ``populated_bytes`` where the maker states it.

    ``capacity_bytes`` is the default size's. ``capacity_by_size`` is filled where a property sets the capacity
    (OVF ``capacity="${…}"``); ``capacity_property`` is then that property's full key.
    """

    disk_id: str
    capacity_bytes: int
    populated_bytes: int | None = None
    file_id: str | None = None  # None: an empty disk
    parent_id: str | None = None
    format_uri: str = ""
    capacity_by_size: tuple[tuple[str, int], ...] = ()
    capacity_property: str = ""
    shared: bool = False  # several machines use the one disk at the same time (OVF SharedDisk)
    read_only: bool = False  # of a shared disk only

    def capacity_for(self, size_id: str) -> int:
        """The capacity in that size, bytes."""
        return dict(self.capacity_by_size).get(size_id, self.capacity_bytes)


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskDevice:
    """A disk as a device of one size's hardware, with the controller it hangs on and its place there ("" if not told)."""

    name: str
    disk_id: str
    controller: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Adapter:
    """A network adapter: its name and the package network it is connected to ("" where none is stated)."""

    name: str
    network: str
    model: str = ""
    connected: bool = True
    address: str = ""  # a hardware address that the maker fixed


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """What drives and disks hang on: its name, its kind (the CIM resource type) and model ("" where none is stated)."""

    name: str
    kind: str
    model: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Medium:
    """A file of the package that lies in a drive of the machine."""

    drive: str
    file_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Allocation:
    """What shall be kept free and what shall not be exceeded, in ``unit`` (a base unit: "byte", "hertz", …).

    ``of`` is the name of the CIM resource type; None is open; ``weight`` is relative and has no unit.
    """

    of: str
    unit: str
    reservation: int | None = None
    limit: int | None = None
    weight: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityRange:
    """What the maker allows between: ``of`` is "processors" (a count) or "memory" (bytes); None is open."""

    of: str
    least: int | None = None
    most: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EnvironmentFile:
    """A file that must lie below ``/ovffiles/`` on the transport, at ``path``."""

    file_id: str
    path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """One deployment configuration (OVF ``Configuration``)."""

    size_id: str
    label: str
    description: str = ""
    is_default: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Hardware:
    """The machine that one size asks for."""

    size_id: str
    processors: int
    memory_bytes: int
    disks: tuple[DiskDevice, ...]
    adapters: tuple[Adapter, ...]
    has_cd: bool = False
    transports: tuple[str, ...] = ()
    system_types: tuple[str, ...] = ()
    ranges: tuple[QuantityRange, ...] = ()
    controllers: tuple[Controller, ...] = ()
    media: tuple[Medium, ...] = ()
    allocations: tuple[Allocation, ...] = ()
    other_devices: tuple[str, ...] = ()  # "kind: name" of every device that stands in no other field


@dataclass(frozen=True, slots=True, kw_only=True)
class Property:
    """One question that the package asks. ``key`` is the full key ``[class.]key[.instance]`` of the environment.

    ``defaults`` maps a size to its default; the entry ``""`` holds for every size without one of its own.
    ``sizes`` empty means offered for every size. ``allowed`` is the ValueMap; () means free. ``bare_key`` is the
    key as the descriptor writes it, without class and instance.
    """

    key: str
    type: str
    label: str
    description: str = ""
    category: str = ""
    user_configurable: bool = False
    password: bool = False
    min_length: int | None = None
    max_length: int | None = None
    allowed: tuple[str, ...] = ()
    defaults: tuple[tuple[str, str], ...] = ()
    sizes: tuple[str, ...] = ()
    bare_key: str = ""

    def default_for(self, size_id: str) -> str:
        """The default in that size; "" where the package gives none."""
        found = dict(self.defaults)
        return found.get(size_id, found.get("", ""))

    def offered_in(self, size_id: str) -> bool:
        """Whether the question is asked in that size."""
        return not self.sizes or size_id in self.sizes


@dataclass(frozen=True, slots=True, kw_only=True)
class Licence:
    """A licence text that must be accepted before deployment."""

    info: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """One virtual machine of the package, and the ids of the collections around it, the outermost first."""

    machine_id: str
    name: str = ""
    collections: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementGroup:
    """Machines that the maker wants on different hosts ("apart", OVF ``availability``) or on one ("together", ``affinity``).

    ``contents`` are the ids of the machines and collections that the maker put into the group; every instance of such a
    machine belongs to it.
    """

    group_id: str
    policy: Literal["apart", "together"]
    contents: tuple[str, ...] = ()
    info: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartUp:
    """When one machine or collection of a collection starts: the least ``order`` first, stopping is the reverse.

    ``waits_for_guest``: the next one starts when the guest says that it is ready, or after the delay.
    """

    content_id: str
    order: int
    start_delay_s: int = 0
    stop_delay_s: int = 0
    waits_for_guest: bool = False
    start_action: str = "powerOn"
    stop_action: str = "powerOff"
    collection: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstanceCount:
    """How many instances in one size (``""``: in every size without a count of its own); ``most`` None is open."""

    size_id: str
    least: int
    default: int
    most: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleOut:
    """How often the machine or collection ``content_id`` is meant to stand."""

    content_id: str
    counts: tuple[InstanceCount, ...]
    description: str = ""

    def count_for(self, size_id: str) -> InstanceCount | None:
        """The count in that size; None where the maker states none."""
        found = {count.size_id: count for count in self.counts}
        return found.get(size_id, found.get(""))


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """Everything the descriptor says of one machine, read but not yet verified against its digests.

    ``machines`` are all that the package holds, ``name`` is the ``ovf:id`` of the one that is told of here; ``product``, ``vendor``, ``version`` come from the ProductSection.
    ``findings`` are departures from the standard that were accepted, each naming its rule.
    """

    name: str
    product: str
    vendor: str
    version: str
    ovf_edition: str  # "1" or "2", from the namespace
    descriptor_name: str
    descriptor_sha256: str
    has_manifest: bool
    has_certificate: bool
    sizes: tuple[Size, ...]
    hardware: tuple[Hardware, ...]
    files: tuple[PackageFile, ...]
    disks: tuple[PackageDisk, ...]
    networks: tuple[str, ...]
    properties: tuple[Property, ...]
    licences: tuple[Licence, ...]
    findings: tuple[Finding, ...] = ()
    operating_system: int | None = None  # CIM OSType
    operating_system_version: str = ""
    annotation: str = ""
    environment_files: tuple[EnvironmentFile, ...] = ()
    install_stop_delay_s: int | None = None  # one boot to install comes first; 0: the guest powers itself off
    machines: tuple[Machine, ...] = ()
    placement_groups: tuple[PlacementGroup, ...] = ()  # all of the package
    placement_group: str = ""  # the id of the one that this machine's instances belong to
    start_order: tuple[StartUp, ...] = ()  # of every collection around this machine, the outermost first
    scale_out: tuple[ScaleOut, ...] = ()  # of this machine and the collections around it
    boot_order: tuple[str, ...] = ()  # what the machine starts from, the first first
    group_allocations: tuple[Allocation, ...] = ()  # for all machines of the collections around this one
    network_descriptions: tuple[tuple[str, str], ...] = ()
    full_version: str = ""
    product_url: str = ""
    vendor_url: str = ""
    application_url: str = ""  # as the maker wrote it; ``application_address`` puts the answers in
    languages: tuple[str, ...] = ()  # of its texts: that of the elements themselves first
    application_url_keys: tuple[
        tuple[str, str], ...
    ] = ()  # a name in it, and the full key of the property that is meant

    def default_size(self) -> str:
        """The id of the marked default size, else of the first one."""
        return next((s.size_id for s in self.sizes if s.is_default), self.sizes[0].size_id)

    def get_hardware(self, size_id: str) -> Hardware:
        """The hardware of one size.

        Raises: InputRefused: the package has no such size.
        """
        for hardware in self.hardware:
            if hardware.size_id == size_id:
                return hardware
        raise InputRefused.one(
            f'the package has no size "{size_id}"',
            why="its sizes are " + ", ".join(s.size_id or "(the only one)" for s in self.sizes),
            mend="name one of these in design.yaml: package.size",
        )

    def get_disk(self, disk_id: str) -> PackageDisk:
        """One disk by its id. Raises: InputRefused: no such disk."""
        for disk in self.disks:
            if disk.disk_id == disk_id:
                return disk
        raise InputRefused.one(f'the package has no disk "{disk_id}"')

    def chain_of(self, disk_id: str) -> tuple[PackageDisk, ...]:
        """The disk, its parent, and so on to the one without. Raises: InputRefused: no such disk."""
        chain = [self.get_disk(disk_id)]
        while (parent := chain[-1].parent_id) is not None:
            chain.append(self.get_disk(parent))
        return tuple(chain)

    def get_placement_group(self) -> PlacementGroup | None:
        """The group that this machine's instances belong to, None where the maker put it into none."""
        return next((g for g in self.placement_groups if g.group_id == self.placement_group), None)

    def get_file(self, file_id: str) -> PackageFile:
        """One file by its id. Raises: InputRefused: no such file."""
        for file in self.files:
            if file.file_id == file_id:
                return file
        raise InputRefused.one(f'the package refers to no file "{file_id}"')
