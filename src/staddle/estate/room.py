"""What a host and a pool offer in whole units. Capacities are rounded down, needs up. No bookings in here."""

import math
from decimal import Decimal
from fractions import Fraction

from staddle.estate.model import Host, Pool

__all__ = ["floor_bytes", "memory_with_overhead", "promise_bytes", "vcpus_offered", "vcpus_weighed"]


def _exactly(number: float) -> Fraction:
    # 100 × 4.35 is below 435 in binary floats; the number meant is the one that was written.
    return Fraction(Decimal(repr(number)))


def vcpus_offered(host: Host) -> int:
    """cores × vcpu_per_core, rounded down."""
    return math.floor(host.cores * _exactly(host.vcpu_per_core))


def floor_bytes(pool: Pool) -> int:
    """What must stay free in the pool, rounded up."""
    return math.ceil(pool.capacity_bytes * _exactly(pool.floor_percent) / 100)


def promise_bytes(pool: Pool) -> int:
    """What the pool may promise altogether: capacity × promise_limit, rounded down."""
    return math.floor(pool.capacity_bytes * _exactly(pool.promise_limit))


def memory_with_overhead(memory_bytes: int, overhead_percent: float) -> int:
    """What a guest of that memory takes of its host, which needs so many per cent of it besides; rounded up."""
    if not overhead_percent:
        return memory_bytes
    return math.ceil(memory_bytes * (1 + _exactly(overhead_percent) / 100))


def vcpus_weighed(vcpus: int, own_per_core: float, host_per_core: float) -> int:
    """What a guest takes of a host's vCPUs when its own class allows fewer a core than the host does; rounded up.

    Args: own_per_core: the limit of its class, 0 for none. Of 8 vCPUs at 1 a core on a host at 4 a core it takes 32.
    """
    if not own_per_core or own_per_core >= host_per_core:
        return vcpus
    return math.ceil(vcpus * _exactly(host_per_core) / _exactly(own_per_core))
