"""The demo's package: Sluicelog 4.2.0, an invented water-level historian, as an OVA with three sizes.

Run as a program it writes the package into the folder named, or into the present one. The bytes are the same each
time: contents are drawn from a fixed sequence and every date is fixed.
"""

import gzip
import hashlib
import io
import random
import sys
import tarfile
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from staddle.package.manifesttext import ManifestLine, write_manifest
from staddle.package.qualifiers import Qualifiers, write_qualifiers

__all__ = ["build_package"]

VERSION: Final = "4.2.0"
NAME: Final = f"sluicelog-{VERSION}"
_MADE_AT: Final = 1_767_225_600  # 2026-01-01 00:00 UTC
_FORMAT: Final = "https://sluicelog.example/formats/plain-image#1"
_MIB: Final = 1 << 20
_CIM: Final = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/"

# id, label, what it is for, vCPUs, memory GiB, data disk GiB
_SIZES: Final = (
    ("brook", "Brook", "Up to 2 000 gauges: a single catchment, or a trial.", 2, 4, 40),
    ("river", "River", "Up to 20 000 gauges: a district with its pumping stations.", 4, 16, 160),
    ("estuary", "Estuary", "Up to 120 000 gauges: a whole coast.", 8, 64, 640),
)
_DEFAULT_SIZE: Final = "river"

_LICENCE: Final = """\
Sluicelog licence, edition 3

1. You may run as many members of one Sluicelog cluster as your order names, on machines of your own or of a
   contractor who works for you.
2. You may copy the package for installation, for keeping a spare, and for tests. You may not sell it or hand it on.
3. Levels, flows and alarms that Sluicelog records belong to you. It sends nothing of them to us.
4. Sluicelog records and shows. It is not a safety device: gates, pumps and warnings for people must not depend on it
   alone.
5. The maker mends faults that you report within the term of your order. Beyond that there is no warranty, except where
   the law does not let it be excluded.
6. The licence ends when you remove all copies.
"""


def build_package(out: Path) -> Path:
    """Write ``sluicelog-4.2.0.ova`` into the folder.

    Args: out: an existing folder; a package of that name in it is replaced.
    Returns: the path of the package.
    """
    system, system_populated = _system_disk()
    data = _data_disk()
    files = {f"{NAME}-system.img.gz": system, f"{NAME}-data.img": data}
    descriptor = _descriptor(
        system_bytes=len(system),
        system_populated_bytes=system_populated,
        data_bytes=len(data),
    ).encode()
    contents = {f"{NAME}.ovf": descriptor, **files}
    manifest = write_manifest(
        ManifestLine(algorithm="SHA256", name=name, digest=hashlib.sha256(content).hexdigest())
        for name, content in contents.items()
    )
    # DSP0243, single file: descriptor, manifest, then the files in the order of the references.
    members = {f"{NAME}.ovf": descriptor, f"{NAME}.mf": manifest, **files}
    path = out / f"{NAME}.ova"
    with tarfile.open(path, "w", format=tarfile.USTAR_FORMAT) as tar:
        for name, content in members.items():
            info = tarfile.TarInfo(name)
            info.size, info.mtime, info.mode = len(content), _MADE_AT, 0o644
            tar.addfile(info, io.BytesIO(content))
    return path


def _system_disk() -> tuple[bytes, int]:
    """The system disk's file, compressed, and how many bytes it populates."""
    draw = random.Random("Sluicelog system")
    blocks = [b"SLUICELOG SYSTEM 4.2.0\n".ljust(4096, b"\0")]
    for _ in range(48):  # files of a system: 64 KiB that do not compress, 64 KiB that do
        blocks += [draw.randbytes(65536), bytes(65536)]
    plain = b"".join(blocks)
    packed = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=packed, compresslevel=6, mtime=0) as stream:
        stream.write(plain)
    return packed.getvalue(), len(plain)


def _data_disk() -> bytes:
    """The data disk's file: an empty store, as the first start expects it."""
    draw = random.Random("Sluicelog data")
    return b"SLUICELOG STORE 9\n".ljust(4096, b"\0") + draw.randbytes(2 * _MIB - 4096)


def _descriptor(*, system_bytes: int, system_populated_bytes: int, data_bytes: int) -> str:
    configurations = "\n".join(
        f'    <Configuration ovf:id="{size_id}"{_default(size_id)}>\n'
        f"      <Label>{label}</Label>\n      <Description>{escape(text)}</Description>\n    </Configuration>"
        for size_id, label, text, *_ in _SIZES
    )
    return f"""\
<?xml version="1.0" encoding="UTF-8"?>
<Envelope xmlns="http://schemas.dmtf.org/ovf/envelope/1"
    xmlns:ovf="http://schemas.dmtf.org/ovf/envelope/1"
    xmlns:rasd="{_CIM}CIM_ResourceAllocationSettingData"
    xmlns:vssd="{_CIM}CIM_VirtualSystemSettingData"
    xml:lang="en-GB">
  <References>
    <File ovf:id="system-file" ovf:href="{NAME}-system.img.gz" ovf:size="{system_bytes}" ovf:compression="gzip"/>
    <File ovf:id="data-file" ovf:href="{NAME}-data.img" ovf:size="{data_bytes}"/>
  </References>
  <DiskSection>
    <Info>The disks of one member</Info>
    <Disk ovf:diskId="system" ovf:fileRef="system-file" ovf:capacity="16" ovf:capacityAllocationUnits="byte * 2^30"
        ovf:format="{_FORMAT}" ovf:populatedSize="{system_populated_bytes}"/>
    <Disk ovf:diskId="data" ovf:fileRef="data-file" ovf:capacity="${{sluicelog.data_disk_gib}}"
        ovf:capacityAllocationUnits="byte * 2^30" ovf:format="{_FORMAT}" ovf:populatedSize="{data_bytes}"/>
  </DiskSection>
  <NetworkSection>
    <Info>The networks that a member stands in</Info>
    <Network ovf:name="Management"><Description>Administrators, and the members among themselves</Description></Network>
    <Network ovf:name="Telemetry"><Description>Gauges and pumping stations</Description></Network>
  </NetworkSection>
  <DeploymentOptionSection>
    <Info>The sizes; all data-holding members of a cluster have the same</Info>
{configurations}
  </DeploymentOptionSection>
  <VirtualSystem ovf:id="sluicelog">
    <Info>One member of a Sluicelog cluster</Info>
    <Name>Sluicelog {VERSION}</Name>
    <ProductSection ovf:class="sluicelog">
      <Info>What Sluicelog must be told at its first start</Info>
      <Product>Sluicelog</Product>
      <Vendor>Sluicelog Makers</Vendor>
      <Version>{VERSION}</Version>
      <ProductUrl>https://sluicelog.example/</ProductUrl>
{_properties()}
    </ProductSection>
    <EulaSection>
      <Info>The licence of Sluicelog</Info>
      <License>{escape(_LICENCE)}</License>
    </EulaSection>
    <OperatingSystemSection ovf:id="101">
      <Info>The system inside</Info>
      <Description>Linux, 64-bit</Description>
    </OperatingSystemSection>
    <VirtualHardwareSection ovf:transport="iso">
      <Info>The machine of one member</Info>
{_hardware()}
    </VirtualHardwareSection>
  </VirtualSystem>
</Envelope>
"""


def _default(size_id: str) -> str:
    return ' ovf:default="true"' if size_id == _DEFAULT_SIZE else ""


def _hardware() -> str:
    items = []
    for size_id, _, _, processors, memory_gib, _ in _SIZES:
        items.append(
            _item(size_id, ElementName="Processors", InstanceID=1, ResourceType=3, VirtualQuantity=processors)
        )
        items.append(
            _item(
                size_id,
                AllocationUnits="byte * 2^20",
                ElementName="Memory",
                InstanceID=2,
                ResourceType=4,
                VirtualQuantity=memory_gib * 1024,
            )
        )
    items.append(_item(ElementName="Disk controller", InstanceID=3, ResourceSubType="virtio", ResourceType=6))
    for address, (name, disk) in enumerate((("System disk", "system"), ("Data disk", "data"))):
        items.append(
            _item(
                AddressOnParent=address,
                ElementName=name,
                HostResource=f"ovf:/disk/{disk}",
                InstanceID=4 + address,
                Parent=3,
                ResourceType=17,
            )
        )
    for address, network in enumerate(("Management", "Telemetry")):
        items.append(
            _item(
                AddressOnParent=address,
                AutomaticAllocation="true",
                Connection=network,
                ElementName=f"{network} adapter",
                InstanceID=6 + address,
                ResourceSubType="virtio",
                ResourceType=10,
            )
        )
    items.append(_item(ElementName="CD drive", InstanceID=8, ResourceType=15))
    return "\n".join(items)


def _item(size_id: str = "", **fields: str | int) -> str:
    # The WS-CIM schema wants the fields in alphabetical order.
    configuration = f' ovf:configuration="{size_id}"' if size_id else ""
    inner = "".join(
        f"<rasd:{name}>{escape(str(value))}</rasd:{name}>" for name, value in sorted(fields.items())
    )
    return f"      <Item{configuration}>{inner}</Item>"


def _properties() -> str:
    address = Qualifiers(min_length=7, max_length=45)
    optional = Qualifiers(max_length=45)
    zones = ("UTC", "Europe/London", "Europe/Dublin", "Europe/Amsterdam", "Europe/Berlin")
    data_gib = "".join(
        f'<Value ovf:value="{gib}" ovf:configuration="{size_id}"/>' for size_id, *_, gib in _SIZES
    )
    default_gib = next(gib for size_id, *_, gib in _SIZES if size_id == _DEFAULT_SIZE)
    rows = (
        "<Category>Name and addresses</Category>",
        _property(
            "host_name",
            "Host name",
            "The member's full name in DNS, for example gauge1.ops.example.",
            qualifiers=Qualifiers(min_length=3, max_length=253),
        ),
        _property(
            "management_address",
            "Management address",
            "The member's own address in the management network.",
            qualifiers=address,
        ),
        _property(
            "management_prefix",
            "Management prefix length",
            "How many leading bits of the address are the network's, for example 24.",
            kind="uint8",
        ),
        _property(
            "gateway",
            "Gateway",
            "The router of the management network.",
            qualifiers=address,
        ),
        _property(
            "telemetry_address",
            "Telemetry address",
            "The member's own address in the telemetry network.",
            qualifiers=address,
        ),
        _property(
            "telemetry_prefix",
            "Telemetry prefix length",
            "How many leading bits of the address are the network's, for example 24.",
            kind="uint8",
        ),
        "<Category>Services</Category>",
        _property(
            "dns_servers",
            "DNS servers",
            "Addresses of the name servers, separated by commas.",
            qualifiers=Qualifiers(min_length=7, max_length=255),
        ),
        _property(
            "ntp_servers",
            "NTP servers",
            "Names or addresses of the time servers, separated by commas. All members must use the same.",
            qualifiers=Qualifiers(min_length=1, max_length=255),
        ),
        _property(
            "time_zone",
            "Time zone",
            "The zone in which reports are printed. Data is kept in UTC.",
            value="UTC",
            qualifiers=Qualifiers(allowed=zones),
        ),
        "<Category>Cluster</Category>",
        _property(
            "cluster_name",
            "Cluster name",
            "The same for all members of one cluster.",
            qualifiers=Qualifiers(min_length=3, max_length=40),
        ),
        _property(
            "retention_days",
            "Data retention in days",
            "Levels older than this are removed each night.",
            kind="uint16",
            value="400",
        ),
        "<Category>Administration</Category>",
        _property(
            "admin_password",
            "Administrator's first password",
            "At least 12 characters. Change it once the cluster stands.",
            qualifiers=Qualifiers(min_length=12, max_length=128),
            password=True,
        ),
        _property(
            "log_level",
            "Log level",
            "How much is written to the log.",
            value="info",
            qualifiers=Qualifiers(allowed=("error", "warning", "info", "debug")),
        ),
        _property(
            "log_host",
            "Log host",
            "Where the log is also sent; empty for nowhere.",
            qualifiers=optional,
        ),
        "<Category>Set by the maker</Category>",
        _property(
            "data_disk_gib",
            "Data disk in GiB",
            "The capacity of the data disk; it goes with the size.",
            kind="uint32",
            value=str(default_gib),
            inner=data_gib,
            configurable=False,
        ),
    )
    return "\n".join(f"      {row}" for row in rows)


def _property(
    key: str,
    label: str,
    description: str,
    *,
    kind: str = "string",
    value: str = "",
    qualifiers: Qualifiers | None = None,
    password: bool = False,
    configurable: bool = True,
    inner: str = "",
) -> str:
    attributes = [f'ovf:key="{key}"', f'ovf:type="{kind}"']
    if qualifiers:
        attributes.append("ovf:qualifiers=" + quoteattr(write_qualifiers(qualifiers)))
    if configurable:
        attributes.append('ovf:userConfigurable="true"')
    if password:
        attributes.append('ovf:password="true"')  # 1.1 and later; the 1.0 schema lets it pass
    if value:
        attributes.append(f"ovf:value={quoteattr(value)}")
    return (
        f"<Property {' '.join(attributes)}><Label>{escape(label)}</Label>"
        f"<Description>{escape(description)}</Description>{inner}</Property>"
    )


if __name__ == "__main__":
    print(build_package(Path(sys.argv[1] if len(sys.argv) > 1 else ".")))
