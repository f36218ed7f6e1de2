"""Small descriptors and packages from pieces, so that a test shows only what it is about."""

import io
import tarfile
from collections.abc import Iterable, Mapping
from pathlib import Path

CIM = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/"
PROCESSOR = {"ElementName": "CPU", "InstanceID": "1", "ResourceType": "3", "VirtualQuantity": "2"}
MEMORY = {
    "AllocationUnits": "byte * 2^20",
    "ElementName": "Memory",
    "InstanceID": "2",
    "ResourceType": "4",
    "VirtualQuantity": "4096",
}


def item(attributes: str = "", /, **fields: str) -> str:
    """A hardware Item; fields in alphabetical order, as the schema wants."""
    inner = "".join(f"<rasd:{name}>{value}</rasd:{name}>" for name, value in sorted(fields.items()))
    return f"<Item {attributes}>{inner}</Item>"


def hardware(*items: str, attributes: str = "", system: str = "") -> str:
    """A VirtualHardwareSection with a processor and a memory item before the given ones."""
    return bare_hardware(item(**PROCESSOR), item(**MEMORY), *items, attributes=attributes, system=system)


def bare_hardware(*items: str, attributes: str = "", system: str = "") -> str:
    """A VirtualHardwareSection with the given items only."""
    return (
        f"<VirtualHardwareSection {attributes}><Info>machine</Info>{system}\n"
        + "\n".join(items)
        + "</VirtualHardwareSection>"
    )


def system_family(families: str) -> str:
    """The System element that names virtual system types."""
    return (
        "<System><vssd:ElementName>family</vssd:ElementName><vssd:InstanceID>0</vssd:InstanceID>"
        f"<vssd:VirtualSystemType>{families}</vssd:VirtualSystemType></System>"
    )


def product(*inner: str, attributes: str = "") -> str:
    """A ProductSection."""
    return f"<ProductSection {attributes}><Info>product</Info>" + "\n".join(inner) + "</ProductSection>"


def configurations(*ids: str, default: str = "") -> str:
    """A DeploymentOptionSection."""
    rows = "".join(
        f'<Configuration ovf:id="{name}"{" ovf:default=" + chr(34) + "true" + chr(34) if name == default else ""}>'
        f"<Label>{name.title()}</Label><Description>size {name}</Description></Configuration>"
        for name in ids
    )
    return f"<DeploymentOptionSection><Info>sizes</Info>{rows}</DeploymentOptionSection>"


def disks(*rows: str) -> str:
    """A DiskSection; each row holds the attributes of one Disk."""
    inner = "\n".join(f"<Disk {row}/>" for row in rows)
    return f"<DiskSection><Info>disks</Info>{inner}</DiskSection>"


def networks(*names: str) -> str:
    """A NetworkSection."""
    rows = "".join(f'<Network ovf:name="{name}"/>' for name in names)
    return f"<NetworkSection><Info>networks</Info>{rows}</NetworkSection>"


def envelope(
    *inner: str,
    files: Iterable[str] = (),
    sections: str = "",
    system: str | None = None,
    content: str | None = None,
    strings: str = "",
    edition: str = "1",
    attributes: str = "",
) -> str:
    """A whole descriptor.

    Args: inner: sections of the virtual system before its hardware; files: attributes of each File; sections: those of
        the envelope; system: the hardware, by default a plain one; content: replaces the whole virtual system.
    """
    references = "\n".join(f"<File {row}/>" for row in files)
    body = "\n".join((*inner, hardware() if system is None else system))
    if content is None:
        content = f'<VirtualSystem ovf:id="vm"><Info>vm</Info>\n{body}</VirtualSystem>'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<Envelope xmlns="http://schemas.dmtf.org/ovf/envelope/{edition}"'
        f' xmlns:ovf="http://schemas.dmtf.org/ovf/envelope/{edition}"'
        f' xmlns:rasd="{CIM}CIM_ResourceAllocationSettingData"'
        f' xmlns:sasd="{CIM}CIM_StorageAllocationSettingData"'
        f' xmlns:epasd="{CIM}CIM_EthernetPortAllocationSettingData"'
        f' xmlns:vssd="{CIM}CIM_VirtualSystemSettingData" {attributes}>\n'
        f"<References>{references}</References>\n{sections}\n{content}\n{strings}</Envelope>\n"
    )


def folder(path: Path, descriptor: str, files: Mapping[str, bytes] | None = None) -> Path:
    """A package in a folder; returns the path of its descriptor box.ovf."""
    for name, content in (files or {}).items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content)
    (path / "box.ovf").write_text(descriptor, encoding="utf-8")
    return path / "box.ovf"


def archive(path: Path, members: Iterable[tuple[str, bytes] | tuple[tarfile.TarInfo, bytes]]) -> Path:
    """A tar with these members in this order; a TarInfo is written as it is. Returns path/box.ova."""
    out = path / "box.ova"
    with tarfile.open(out, "w", format=tarfile.PAX_FORMAT) as tar:
        for what, content in members:
            info = tarfile.TarInfo(what) if isinstance(what, str) else what
            if info.isreg():
                info.size = len(content)
            tar.addfile(info, io.BytesIO(content))
    return out
