"""Machines and hosts as they stand before a failure, as frozen values. Whether machines restart is restart.py's work.

A machine takes whole bytes and whole thousandths of a core; a host offers the same. How much of a core a vCPU takes is
said by the machine's class, or by the host where the class says nothing: a guest at 1 vCPU per core weighs a whole core
beside guests at 4 vCPUs per core.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

__all__ = ["Running", "Stand", "core_thousandths"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """One machine as it stands before the failure, theirs or ours.

    ``memory_bytes`` includes its overhead on the host; ``vcpu_per_core`` is the limit of its class, None for the host's
    own. ``pools`` holds every pool with a disk of it. ``networks`` are needed on the host where it restarts, and one of
    ``cpu_levels`` (() for any); ``sites`` are those where it may stand, () for any. A smaller ``restart_order`` starts first. The
    machines of one ``apart`` group share no host, those of one ``together`` group stand on one ("" for no group). What is
    promised to another job and does not run yet has its name in ``booked_by``.
    """

    name: str
    host: str
    memory_bytes: int
    vcpus: int
    vcpu_per_core: float | None = None
    pools: tuple[str, ...] = ()
    networks: tuple[str, ...] = ()
    cpu_levels: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    restart_order: int = 100
    apart: str = ""
    together: str = ""
    ours: bool = False
    booked_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """One host under the rules after a failure.

    ``memory_bytes`` is what it offers to machines, ``vcpu_per_core`` its limit after a failure. ``node_cores`` and
    ``node_memory_bytes`` are those of one NUMA node; 0 means not known, and excludes nothing.
    """

    name: str
    memory_bytes: int
    cores: int
    vcpu_per_core: float
    networks: tuple[str, ...] = ()
    pools: tuple[str, ...] = ()
    site: str = ""
    cpu_level: str = ""
    node_cores: int = 0
    node_memory_bytes: int = 0


def core_thousandths(vcpus: int, vcpu_per_core: float) -> int:
    """What these vCPUs take of a host's cores, in thousandths of a core, rounded up once for the machine."""
    # The number meant is the one that was written, not its binary neighbour.
    return math.ceil(1000 * vcpus / Fraction(Decimal(repr(vcpu_per_core))))
