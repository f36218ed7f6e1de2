"""The ResourceType numbers of CIM_ResourceAllocationSettingData, by name. Pure.

Source: DMTF CIM Schema 2.49.0, CIM_ResourceAllocationSettingData.ResourceType, value map.
"""

from typing import Final

__all__ = [
    "CD_DRIVE",
    "CONTROLLERS",
    "DISK_DRIVE",
    "DVD_DRIVE",
    "ETHERNET_ADAPTER",
    "ETHERNET_CONNECTION",
    "FLOPPY_DRIVE",
    "MEMORY",
    "PROCESSOR",
    "RESOURCE_TYPES",
    "STORAGE",
    "resource_name",
]

PROCESSOR: Final = 3
MEMORY: Final = 4
ETHERNET_ADAPTER: Final = 10
FLOPPY_DRIVE: Final = 14
CD_DRIVE: Final = 15
DVD_DRIVE: Final = 16
DISK_DRIVE: Final = 17
ETHERNET_CONNECTION: Final = 33

RESOURCE_TYPES: Final = {
    1: "Other",
    2: "Computer System",
    PROCESSOR: "Processor",
    MEMORY: "Memory",
    5: "IDE Controller",
    6: "Parallel SCSI HBA",
    7: "FC HBA",
    8: "iSCSI HBA",
    9: "IB HCA",
    ETHERNET_ADAPTER: "Ethernet Adapter",
    11: "Other Network Adapter",
    12: "I/O Slot",
    13: "I/O Device",
    FLOPPY_DRIVE: "Floppy Drive",
    CD_DRIVE: "CD Drive",
    DVD_DRIVE: "DVD Drive",
    DISK_DRIVE: "Disk Drive",
    18: "Tape Drive",
    19: "Storage Extent",
    20: "Other Storage Device",
    21: "Serial Port",
    22: "Parallel Port",
    23: "USB Controller",
    24: "Graphics Controller",
    25: "IEEE 1394 Controller",
    26: "Partitionable Unit",
    27: "Base Partitionable Unit",
    28: "Power",
    29: "Cooling Capacity",
    30: "Ethernet Switch Port",
    31: "Logical Disk",
    32: "Storage Volume",
    ETHERNET_CONNECTION: "Ethernet Connection",
}
# What disks and drives hang on. 20 stands for kinds without a number of their own (common practice, no source).
CONTROLLERS: Final = frozenset((5, 6, 7, 8, 20, 23, 25))
# What is a disk when it names one of the package's: storage items of edition 2 are extents, disks or volumes.
STORAGE: Final = frozenset((DISK_DRIVE, 19, 31, 32))
_VENDOR: Final = range(0x8000, 0x10000)


def resource_name(number: int) -> str:
    """The name of the resource type; vendor and reserved numbers are named as such."""
    if number in _VENDOR:
        return f"vendor's own type {number}"
    return RESOURCE_TYPES.get(number, f"reserved type {number}")
