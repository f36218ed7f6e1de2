"""What a member takes: hand calculations beside each figure.

Sources: DSP0243, disk section (populatedSize in bytes, chains add up); DSP0004 Annex C.1 for the units.
"""

import dataclasses
from pathlib import Path

import pytest

from staddle.kernel import InputRefused
from staddle.package import (
    Allocation,
    Controller,
    DiskFigures,
    Medium,
    Package,
    SizeFigures,
    read_package,
    size_figures,
)
from tests.package.descriptor_pieces import (
    MEMORY,
    PROCESSOR,
    bare_hardware,
    configurations,
    disks,
    envelope,
    folder,
    hardware,
    item,
    networks,
)

FILES = {"base.img": b"b" * 700, "delta.img": b"d" * 40, "data.img.gz": b"z" * 9, "tools.iso": b"i" * 11}
REFERENCES = (
    'ovf:id="base" ovf:href="base.img"',
    'ovf:id="delta" ovf:href="delta.img"',
    'ovf:id="data" ovf:href="data.img.gz" ovf:compression="gzip"',
    'ovf:id="tools" ovf:href="tools.iso"',
)
FORMAT = 'ovf:format="https://box.example/plain"'
DISKS = disks(
    f'ovf:diskId="base" ovf:fileRef="base" ovf:capacity="1000" ovf:populatedSize="600" {FORMAT}',
    f'ovf:diskId="root" ovf:fileRef="delta" ovf:parentRef="base" ovf:capacity="1000" ovf:populatedSize="50" {FORMAT}',
    f'ovf:diskId="data" ovf:fileRef="data" ovf:capacity="8" ovf:capacityAllocationUnits="byte * 2^30" {FORMAT}',
    'ovf:diskId="spare" ovf:capacity="5000"',
)


def drive(number: str, disk_id: str, attributes: str = "", **more: str) -> str:
    fields = {"ElementName": f"drive {number}", "InstanceID": number, "ResourceType": "17"}
    return item(attributes, **fields, HostResource=f"ovf:/disk/{disk_id}", **more)


CONTROLLER = item(ElementName="Ctl", InstanceID="3", ResourceType="6", ResourceSubType="plain")


def read(path: Path, *items: str, **pieces: str) -> Package:
    sections = pieces.get("sections", "") + DISKS + networks("Front")
    machine = hardware(CONTROLLER, *items)
    return read_package(folder(path, envelope(files=REFERENCES, sections=sections, system=machine), FILES))


def test_a_chain_adds_up_and_an_empty_disk_starts_with_nothing(tmp_path: Path) -> None:
    package = read(tmp_path, drive("5", "root", AddressOnParent="0", Parent="3"), drive("6", "spare"))
    assert size_figures(package, "") == SizeFigures(
        size_id="",
        processors=2,
        memory_bytes=4096 << 20,
        adapters=0,
        controllers=(Controller(name="Ctl", kind="Parallel SCSI HBA", model="plain"),),
        disks=(
            DiskFigures(
                name="drive 5",
                disk_id="root",
                controller="Ctl",
                thick_bytes=1000,
                thin_bytes=650,  # 600 of the parent and 50 of its own
                transfer_bytes=740,  # 700 and 40
            ),
            DiskFigures(
                name="drive 6",
                disk_id="spare",
                controller="",
                thick_bytes=5000,
                thin_bytes=0,
                transfer_bytes=0,
            ),
        ),
        thick_bytes=6000,
        thin_bytes=650,
        transfer_bytes=740,
    )


def test_what_the_maker_does_not_state_is_not_made_up(tmp_path: Path) -> None:
    figures = size_figures(read(tmp_path, drive("5", "data"), drive("6", "spare")), "")
    assert [disk.thin_bytes for disk in figures.disks] == [None, 0]
    assert figures.thin_bytes is None
    assert (figures.thick_bytes, figures.transfer_bytes) == (8_589_934_592 + 5000, 9)  # compressed as it lies


def test_what_a_child_replaces_does_not_exceed_the_disk(tmp_path: Path) -> None:
    package = read(tmp_path, drive("5", "root"))
    full = dataclasses.replace(package.get_disk("root"), populated_bytes=900)
    others = tuple(disk for disk in package.disks if disk.disk_id != "root")
    changed = dataclasses.replace(package, disks=(*others, full))
    assert size_figures(changed, "").thin_bytes == 1000  # 600 and 900 share at least 500


def test_a_file_that_disks_share_and_a_cd_are_transferred_once(tmp_path: Path) -> None:
    cd = item(ElementName="CD", HostResource="ovf:/file/tools", InstanceID="9", ResourceType="15")
    package = read(tmp_path, drive("5", "base"), drive("6", "root"), cd)
    figures = size_figures(package, "")
    assert package.hardware[0].media == (Medium(drive="CD", file_id="tools"),)
    assert [disk.transfer_bytes for disk in figures.disks] == [700, 740]
    assert figures.transfer_bytes == 751  # 700, 40 and 11


def test_each_size_has_its_own_figures(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        drive("5", "base"),
        drive("6", "spare", 'ovf:configuration="l"'),
        item(ElementName="N", InstanceID="7", ResourceType="10", Connection="Front"),
        sections=configurations("s", "l"),
    )
    assert [(f.thick_bytes, f.adapters) for f in (size_figures(package, size) for size in "sl")] == [
        (1000, 1),
        (6000, 1),
    ]
    with pytest.raises(InputRefused, match='no size "xl"'):
        size_figures(package, "xl")


@pytest.mark.parametrize(
    ("units", "quantity", "expected_bytes"),
    [
        ("byte", 1_073_741_824, 1 << 30),
        ("byte * 2^10", 1_048_576, 1 << 30),
        ("byte * 2^20", 1024, 1 << 30),
        ("byte * 2^30", 1, 1 << 30),
        ("byte * 10^9", 2, 2_000_000_000),
        ("byte * 1024 ^ 2", 3, 3 << 20),
        ("byte*2^30", 8, 8_589_934_592),
        ("bytes * 10^6", 5, 5_000_000),
        ("GigaBytes", 2, 2 << 30),
    ],
)
def test_memory_from_any_allowed_unit(tmp_path: Path, units: str, quantity: int, expected_bytes: int) -> None:
    memory = item(**MEMORY | {"AllocationUnits": units, "VirtualQuantity": str(quantity)})
    path = folder(tmp_path, envelope(system=bare_hardware(item(**PROCESSOR), memory)))
    assert size_figures(read_package(path), "").memory_bytes == expected_bytes


def test_reservations_and_limits_are_in_base_units(tmp_path: Path) -> None:
    # CIM: AllocationUnits governs Reservation and Limit; for processors VirtualQuantity stays a count.
    processor = item(
        **PROCESSOR
        | {"AllocationUnits": "hertz * 10^6", "Reservation": "500", "Limit": "2000", "Weight": "9"}
    )
    memory = item(**MEMORY | {"Reservation": "1024", "Limit": "2048"})
    package = read_package(folder(tmp_path, envelope(system=bare_hardware(processor, memory))))
    assert package.hardware[0].processors == 2
    assert package.hardware[0].allocations == (
        Allocation(of="Processor", unit="hertz", reservation=500_000_000, limit=2_000_000_000, weight=9),
        Allocation(of="Memory", unit="byte", reservation=1 << 30, limit=2 << 30),
    )
    assert [finding.rule for finding in package.findings] == ["memory-limit"]


def test_departures_of_devices_are_findings(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        drive("5", "base", Parent="99"),
        item(
            ElementName="N",
            InstanceID="7",
            ResourceType="10",
            Connection="Front",
            Address="02:00:00:00:00:01",
        ),
    )
    assert [finding.rule for finding in package.findings] == [
        "differing-disk",
        "device-parent",
        "adapter-address",
    ]
    assert package.hardware[0].adapters[0].address == "02:00:00:00:00:01"


def test_a_storage_item_of_edition_2_is_a_disk_by_what_it_names(tmp_path: Path) -> None:
    fields = (
        ("ElementName", "D"),
        ("HostResource", "ovf:/disk/spare"),
        ("InstanceID", "6"),
        ("ResourceType", "31"),
    )
    storage = "".join(f"<sasd:{name}>{value}</sasd:{name}>" for name, value in fields)
    package = read(tmp_path, f"<StorageItem>{storage}</StorageItem>")
    assert [device.disk_id for device in package.hardware[0].disks] == ["spare"]
    assert package.hardware[0].other_devices == ()
