"""What a host and a pool offer in whole units. Capacities are rounded down, needs up. No bookings in here."""

import math
from decimal import Decimal
from fractions import Fraction

from staddle.estate.model import Host, Pool

__all__ = ["floor_bytes", "promise_bytes", "vcpus_offered"]


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
