"""What one member of a size takes: processors, memory, devices, and three figures for every disk. Pure.

Thick is the capacity; thin at first is what the maker states as populated, a chain's parents included; to transfer is
what lies in the package, compressed as it is. How they are printed is not in here.

Source: DSP0243, disk section: populatedSize is always bytes and adds up along a chain of parents; without a file a
disk is empty.
"""

from dataclasses import dataclass

from staddle.package.appaddress import application_address
from staddle.package.model import Controller, DiskDevice, Package

__all__ = ["DiskFigures", "SizeFigures", "size_figures"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskFigures:
    """One disk device of one size. ``thin_bytes`` is None where the maker does not state it."""

    name: str
    disk_id: str
    controller: str
    thick_bytes: int
    thin_bytes: int | None
    transfer_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeFigures:
    """One member of a size. The sums are over its disks; a file that several disks share is transferred once."""

    size_id: str
    processors: int
    memory_bytes: int
    adapters: int
    controllers: tuple[Controller, ...]
    disks: tuple[DiskFigures, ...]
    thick_bytes: int
    thin_bytes: int | None
    transfer_bytes: int
    used_at: str = ""  # the product's address with this size's defaults put in


def size_figures(package: Package, size_id: str) -> SizeFigures:
    """The figures of one member in that size, and where it is used by the package's defaults. Raises: InputRefused: the package has no such size."""
    hardware = package.get_hardware(size_id)
    disks = tuple(_disk(package, device, size_id) for device in hardware.disks)
    files = {file for device in hardware.disks for file in _files(package, device)}
    files |= {medium.file_id for medium in hardware.media}
    thins = [disk.thin_bytes for disk in disks]
    return SizeFigures(
        size_id=size_id,
        processors=hardware.processors,
        memory_bytes=hardware.memory_bytes,
        adapters=len(hardware.adapters),
        controllers=hardware.controllers,
        disks=disks,
        thick_bytes=sum(disk.thick_bytes for disk in disks),
        thin_bytes=None if None in thins else sum(thin for thin in thins if thin is not None),
        transfer_bytes=sum(package.get_file(file_id).size_bytes for file_id in files),
        used_at=application_address(package, size_id),
    )


def _disk(package: Package, device: DiskDevice, size_id: str) -> DiskFigures:
    chain = package.chain_of(device.disk_id)
    thick_bytes = chain[0].capacity_for(size_id)
    populated = [0 if link.file_id is None else link.populated_bytes for link in chain]
    known = [amount for amount in populated if amount is not None]
    return DiskFigures(
        name=device.name,
        disk_id=device.disk_id,
        controller=device.controller,
        thick_bytes=thick_bytes,
        # A child's blocks replace its parent's, so that their sum can be above what the disk holds.
        thin_bytes=min(sum(known), thick_bytes) if len(known) == len(populated) else None,
        transfer_bytes=sum(package.get_file(file_id).size_bytes for file_id in _files(package, device)),
    )


def _files(package: Package, device: DiskDevice) -> frozenset[str]:
    return frozenset(disk.file_id for disk in package.chain_of(device.disk_id) if disk.file_id is not None)
