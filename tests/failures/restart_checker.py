"""The rules of a restart in plain loops over plain values: an independent checker, and a search by brute force.

Shares no code with the program beyond the values that go in. A search that tries everything in turn, so for small cases.
"""

import math
from collections.abc import Collection, Sequence
from fractions import Fraction

from staddle.failures.running import Running, Stand

Seats = dict[str, str]


def cores_needed(machine: Running, stand: Stand) -> int:
    """Thousandths of a core, rounded up a machine."""
    rate = stand.vcpu_per_core if machine.vcpu_per_core is None else machine.vcpu_per_core
    return math.ceil(Fraction(1000 * machine.vcpus) / Fraction(str(rate)))


def is_lost(machine: Running, pools: Collection[str]) -> bool:
    return any(pool in pools for pool in machine.pools)


def must_restart(
    machines: Sequence[Running], hosts: Collection[str], pools: Collection[str]
) -> list[Running]:
    return [m for m in machines if m.host in hosts and not is_lost(m, pools)]


def may_stand(machine: Running, stand: Stand) -> bool:
    """The rules of one machine and one host, rooms left aside."""
    return (
        all(pool in stand.pools for pool in machine.pools)
        and all(network in stand.networks for network in machine.networks)
        and (not machine.cpu_levels or stand.cpu_level in machine.cpu_levels)
        and (not machine.sites or stand.site in machine.sites)
        and (stand.node_cores == 0 or machine.vcpus <= stand.node_cores)
        and (stand.node_memory_bytes == 0 or machine.memory_bytes <= stand.node_memory_bytes)
    )


def broken(
    machines: Sequence[Running],
    stands: Sequence[Stand],
    hosts: Collection[str],
    pools: Collection[str],
    seats: Seats,
    *,
    lost_hold: bool = True,
) -> list[str]:
    """What these seats of displaced machines break; [] when they are a restart. Missing seats are not told."""
    told = []
    by_name = {stand.name: stand for stand in stands}
    moved = {m.name: m for m in must_restart(machines, hosts, pools)}
    for name, host in seats.items():
        if name not in moved:
            told.append(f"{name} is not displaced")
        elif host in hosts:
            told.append(f"{name} on the failed {host}")
        elif not may_stand(moved[name], by_name[host]):
            told.append(f"{name} may not stand on {host}")
    for stand in stands:
        arriving = [moved[name] for name, host in seats.items() if host == stand.name and name in moved]
        here = [m for m in machines if m.host == stand.name and m.host not in hosts]
        here = [m for m in here if lost_hold or not is_lost(m, pools)]
        if arriving:
            if sum(m.memory_bytes for m in here + arriving) > stand.memory_bytes:
                told.append(f"memory on {stand.name}")
            if sum(cores_needed(m, stand) for m in here + arriving) > 1000 * stand.cores:
                told.append(f"cores on {stand.name}")
    stays = {m.name: m.host for m in machines if m.host not in hosts}
    for one in moved.values():
        if one.name not in seats:
            continue
        for other in machines:
            if other.name == one.name or (other.name in moved and other.name not in seats):
                continue
            place = seats.get(other.name, stays.get(other.name))
            if place is None:
                continue
            if one.apart and one.apart == other.apart and place == seats[one.name]:
                told.append(f"{one.name} shares {place} with {other.name}")
            gone = is_lost(other, pools)
            if one.together and one.together == other.together and not gone and place != seats[one.name]:
                told.append(f"{one.name} is not together with {other.name}")
    return told


def brute_restart(
    machines: Sequence[Running],
    stands: Sequence[Stand],
    hosts: Collection[str],
    pools: Collection[str],
    *,
    lost_hold: bool = True,
) -> Seats | None:
    """Some restart, by trying every host for every machine in turn; None where there is none."""
    todo = must_restart(machines, hosts, pools)

    def place(at: int, seats: Seats) -> Seats | None:
        if at == len(todo):
            return seats
        for stand in stands:
            more = {**seats, todo[at].name: stand.name}
            if not broken(machines, stands, hosts, pools, more, lost_hold=lost_hold):
                found = place(at + 1, more)
                if found is not None:
                    return found
        return None

    return place(0, {})
