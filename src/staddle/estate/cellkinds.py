"""What kind of value each of our columns holds, and which way its amounts are rounded. Readers stand in columns.py."""

from enum import StrEnum
from typing import Final

from staddle.estate.columns import TABLES, Column, Table

__all__ = ["CellKind", "kind_of", "rounds_up", "table_named"]


class CellKind(StrEnum):
    """Kinds of cells. An amount of memory is ambiguous in MB or GB where an amount of disk is not."""

    NAME = "name"
    TEXT = "text"
    NAMES = "names"
    COUNT = "count"
    MEMORY = "memory"
    DISK = "disk"
    PERCENT = "percentage"
    RATIO = "ratio"
    PREFIX = "network"
    ADDRESS = "address"
    ADDRESSES = "addresses"
    RANGES = "ranges"


_KINDS: Final = {
    "cores": CellKind.COUNT,
    "vcpus": CellKind.COUNT,
    "numa_nodes": CellKind.COUNT,
    "vlan": CellKind.COUNT,
    "mtu": CellKind.COUNT,
    "restart_order": CellKind.COUNT,
    "memory_bytes": CellKind.MEMORY,
    "reserved_memory_bytes": CellKind.MEMORY,
    "capacity_bytes": CellKind.DISK,
    "used_bytes": CellKind.DISK,
    "promised_bytes": CellKind.DISK,
    "disk_bytes": CellKind.DISK,
    "floor_percent": CellKind.PERCENT,
    "guest_overhead_percent": CellKind.PERCENT,
    "vcpu_per_core": CellKind.RATIO,
    "promise_limit": CellKind.RATIO,
    "domains": CellKind.NAMES,
    "networks": CellKind.NAMES,
    "pools": CellKind.NAMES,
    "prefix": CellKind.PREFIX,
    "gateway": CellKind.ADDRESS,
    "dns_servers": CellKind.ADDRESSES,
    "taken": CellKind.RANGES,
    "cpu_level": CellKind.TEXT,
    "platform": CellKind.TEXT,
    "platform_version": CellKind.TEXT,
}


def kind_of(column: Column) -> CellKind:
    """The kind of cell; what is not listed is a name."""
    return _KINDS.get(column.field, CellKind.NAME)


def rounds_up(table: Table, column: Column) -> bool:
    """Whether a fraction of a byte counts as a whole one: needs do, and what a host or pool offers does not."""
    return (table.noun, column.heading) not in (("host", "memory"), ("pool", "capacity"))


def table_named(name: str) -> Table | None:
    """The table of that name, such as "hosts". Returns: None if there is none."""
    return next((table for table in TABLES if table.file == f"{name}.csv"), None)
