"""A package and exports that were not made for the program: an invented message archive, an invented estate.

None of the program's code writes them: OVF as DSP0243 has it, the disk as a stream of compressed grains with its
markers (layout from memory), workbook by openpyxl, CSV with semicolons and decimal commas in Windows-1252.
"""

import csv
import hashlib
import io
import random
import struct
import tarfile
import zlib
from pathlib import Path
from typing import Final

from openpyxl import Workbook

__all__ = ["HOSTS", "foreign_exports", "foreign_package"]

HOSTS: Final = [f"vh-{'mg' if i < 8 else 'sh'}-{i + 1:02d}" for i in range(12)]
_GRAIN: Final = 128  # sectors
_SECTORS: Final = 24 * 2**30 // 512
_NS: Final = "http://schemas.dmtf.org/ovf/envelope/1"
_RASD: Final = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/CIM_ResourceAllocationSettingData"

_QUESTIONS: Final = (
    ("tp.unit.fullname", "string", 'ovf:qualifiers="MinLen(4)"', "", "Node full name"),
    ("tp.front.v4", "string", 'ovf:qualifiers="MinLen(7)"', "", "Front address"),
    ("tp.front.mask", "string", "", "255.255.255.0", "Front mask"),
    ("tp.front.router", "string", "", "", "Front router"),
    ("tp.mirror.v4", "string", "", "", "Mirror address"),
    ("tp.site.clocks", "string", "", "", "NTP servers"),
    ("tp.archive.label", "string", 'ovf:qualifiers="MinLen(1)"', "", "Archive label"),
    ("tp.archive.keepdays", "uint16", "", "400", "Days kept"),
    ("tp.people.operator", "string", 'ovf:password="true"', "", "Operator passphrase"),
)


def _disk() -> bytes:
    def header(directory: int) -> bytes:
        packed = struct.pack(
            "<4sIIQQQQIQQQBccccH", b"KDMV", 3, 0x30001, _SECTORS, _GRAIN, 1, 1, 512, 0, directory, _GRAIN, 0,
            b"\n", b" ", b"\r", b"\n", 1,
        )  # fmt: skip
        return packed.ljust(512, b"\0")

    described = f'version=1\ncreateType="streamOptimized"\nRDONLY {_SECTORS} SPARSE "d"\n'
    out = bytearray(header(0xFFFFFFFFFFFFFFFF) + described.encode().ljust(512, b"\0")).ljust(
        _GRAIN * 512, b"\0"
    )
    packed = zlib.compress(b"boot of tidepost".ljust(_GRAIN * 512, b"\0"))
    at = len(out) // 512
    out += struct.pack("<QI", 0, len(packed)) + packed
    out += b"\0" * (-len(out) % 512)
    out += struct.pack("<QII", 4, 0, 1).ljust(512, b"\0")
    table = len(out) // 512
    out += struct.pack("<512I", at, *[0] * 511)
    tables = -(-_SECTORS // _GRAIN // 512)
    sectors = -(-tables * 4 // 512)
    out += struct.pack("<QII", sectors, 0, 2).ljust(512, b"\0")
    directory = len(out) // 512
    out += struct.pack(f"<{tables}I", table, *[0] * (tables - 1)).ljust(sectors * 512, b"\0")
    out += struct.pack("<QII", 1, 0, 3).ljust(512, b"\0") + header(directory) + b"\0" * 512
    return bytes(out)


def _item(
    kind: int, number: int, text: str, *, before: str = "", between: str = "", after: str = "", of: str = ""
) -> str:
    size = f' ovf:configuration="{of}"' if of else ""
    return (
        f"<Item{size}>{before}<rasd:ElementName>{text}</rasd:ElementName>{between}"
        f"<rasd:InstanceID>{number}</rasd:InstanceID>{after}</Item>"
    ).replace("KIND", f"<rasd:ResourceType>{kind}</rasd:ResourceType>")


def foreign_package(path: Path) -> None:
    """Write the archive's OVA: three sizes, two disks, two networks, nine questions."""
    disk = _disk()
    asked = "".join(
        f'<Property ovf:key="{key}" ovf:type="{kind}" {more} ovf:value="{value}" ovf:userConfigurable="true">'
        f"<Label>{label}</Label></Property>"
        for key, kind, more, value, label in _QUESTIONS
    )
    items = []
    for size, processors, memory in (("pebble", 4, 12), ("cobble", 8, 32), ("boulder", 16, 96)):
        count = f"KIND<rasd:VirtualQuantity>{processors}</rasd:VirtualQuantity>"
        items.append(_item(3, 1, "processors", after=count, of=size))
        unit = "<rasd:AllocationUnits>byte * 2^30</rasd:AllocationUnits>"
        count = f"KIND<rasd:VirtualQuantity>{memory}</rasd:VirtualQuantity>"
        items.append(_item(4, 2, "memory", before=unit, after=count, of=size))
    items.append(_item(6, 3, "controller", before="<rasd:Address>0</rasd:Address>", after="KIND"))
    for number, name in enumerate(("sys", "arch")):
        place = f"<rasd:AddressOnParent>{number}</rasd:AddressOnParent>"
        source = f"<rasd:HostResource>ovf:/disk/{name}</rasd:HostResource>"
        items.append(
            _item(
                17, 4 + number, name, before=place, between=source, after="<rasd:Parent>3</rasd:Parent>KIND"
            )
        )
    for number, name in enumerate(("Front", "Mirror")):
        joined = (
            "<rasd:AutomaticAllocation>true</rasd:AutomaticAllocation>"
            f"<rasd:Connection>{name}</rasd:Connection>"
        )
        items.append(_item(10, 6 + number, f"{name} adapter", before=joined, after="KIND"))
    sizes = "".join(
        f'<Configuration ovf:id="{name}"{more}><Label>{name}</Label><Description>{name}</Description></Configuration>'
        for name, more in (("pebble", ""), ("cobble", ' ovf:default="true"'), ("boulder", ""))
    )
    gib = 'ovf:capacityAllocationUnits="byte * 2^30"'
    descriptor = f"""<?xml version="1.0" encoding="UTF-8"?>
<Envelope xmlns="{_NS}" xmlns:ovf="{_NS}" xmlns:rasd="{_RASD}">
<References><File ovf:id="f1" ovf:href="sys.vmdk" ovf:size="{len(disk)}"/></References>
<DiskSection><Info>Disks</Info>
<Disk ovf:diskId="sys" ovf:fileRef="f1" ovf:capacity="24" {gib} ovf:format="http://archive.example/stream"/>
<Disk ovf:diskId="arch" ovf:capacity="200" {gib}/></DiskSection>
<NetworkSection><Info>Networks</Info><Network ovf:name="Front"/><Network ovf:name="Mirror"/></NetworkSection>
<DeploymentOptionSection><Info>Sizes</Info>{sizes}</DeploymentOptionSection>
<VirtualSystem ovf:id="tidepost"><Info>One node</Info><Name>Tidepost</Name>
<ProductSection><Info>Tidepost</Info><Product>Tidepost message archive</Product><Version>3.7</Version>{asked}</ProductSection>
<VirtualHardwareSection><Info>Hardware</Info>{"".join(items)}</VirtualHardwareSection></VirtualSystem></Envelope>""".encode()
    files = {"tidepost.ovf": descriptor, "sys.vmdk": disk}
    lines = [f"SHA256 ({name}) = {hashlib.sha256(data).hexdigest()}\n" for name, data in files.items()]
    with tarfile.open(path, "w", format=tarfile.USTAR_FORMAT) as archive:
        for name, data in {
            "tidepost.ovf": descriptor,
            "tidepost.mf": "".join(lines).encode(),
            "sys.vmdk": disk,
        }.items():
            entry = tarfile.TarInfo(name)
            entry.size = len(data)
            archive.addfile(entry, io.BytesIO(data))


def foreign_exports(folder: Path) -> None:
    """Write servers.xlsx and storage, machines and networks as CSV, as a virtualisation team might hand them over."""
    folder.mkdir()
    chance = random.Random(11)
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Virtualisation team: servers"])
    sheet.append([])
    sheet.append(
        ["Server", "Location", "Hall", "Cabinet", "Cores", "RAM fitted (GB)", "Pools", "State", "Asset no."]
    )
    for i, host in enumerate(HOSTS):
        near = i < 8
        place = (
            ["Marlgate", "MG-1", f"MG1-{'ABC'[i % 3]}"]
            if near
            else ["Sandhythe", "SH-2", f"SH2-{'AB'[i % 2]}"]
        )
        memory: object = "n/a" if i == 4 else 384 if near else 256
        pools = "gold-mg-1, gold-mg-2" if near else "silver-sh-1"
        sheet.append([host, *place, 32 if near else 24, memory, pools, "in service", f"INV-{40000 + i}"])
    book.save(folder / "servers.xlsx")
    _write(
        folder / "storage.csv",
        [
            ["Pool name", "Kind", "Size (TB)", "Used (TB)", "Array", "Promised TB", "Remarks"],
            ["gold-mg-1", "flash", "20,0", "12,6", "array-1", "16,0", "für Büro"],
            ["gold-mg-2", "flash", "20,0", "14,9", "array-2", "16,0", ""],
            ["silver-sh-1", "disk", "32,5", "21,25", "array-3", "26,0", ""],
        ],
    )
    machines = [["Machine", "Runs on", "Lies on", "vCPU", "Memory (GB)", "Provisioned (GB)", "Owner"]]
    for i in range(80):
        host = chance.choice(HOSTS)
        pool = chance.choice(["gold-mg-1", "gold-mg-2"]) if "mg" in host else "silver-sh-1"
        memory = "lots" if i == 22 else chance.choice(["4,0", "8,0", "24,5"])
        disk = chance.choice(["60,0", "120,5"])
        machines.append([f"app{i:03d}", host, pool, chance.choice(["2", "4"]), memory, disk, "Port ops"])
    _write(folder / "machines.csv", machines)
    _write(
        folder / "networks.csv",
        [
            ["Segment", "VLAN id", "Range", "Router", "Taken", "Purpose"],
            ["apps-front", "210", "198.51.100.0/25", "198.51.100.1", "198.51.100.2-198.51.100.40", "servers"],
            ["apps-mirror", "211", "203.0.113.0/26", "", "", "replication"],
        ],
    )


def _write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", newline="", encoding="cp1252") as out:
        csv.writer(out, delimiter=";").writerows(rows)
