"""What must hold after a failure, out of a design and an estate: scenarios, machines that restart, hosts as they are then.

Pure. Not here: whether it holds (reserve.py).
"""

from collections.abc import Iterable, Sequence
from typing import Final

from staddle.design.model import Design
from staddle.design.sentences import Afterwards, AnyOf, Named, parse_survive
from staddle.estate.bookings import Booking
from staddle.estate.model import Estate
from staddle.estate.room import memory_with_overhead
from staddle.failures.domains import domains_above
from staddle.failures.reachable import cut_off
from staddle.failures.running import Running, Stand
from staddle.failures.scenario import Scenario, any_of, named
from staddle.kernel import Fault, StaddleError
from staddle.placement.model import Survive

__all__ = ["afterwards", "least_data", "running_guests", "stands_after", "survive_of"]

_FEWEST_WITH_MAJORITY: Final = 3


def afterwards(design: Design) -> Afterwards:
    """All sentences of the design that begin with "afterwards", as one."""
    rows = [row for row in map(parse_survive, design.survive) if isinstance(row, Afterwards)]
    return Afterwards(
        least_data=next((row.least_data for row in rows if row.least_data is not None), None),
        members_share_no_host=any(row.members_share_no_host for row in rows),
        others_stay_down=any(row.others_stay_down for row in rows),
        vcpu_per_core=next((row.vcpu_per_core for row in rows if row.vcpu_per_core is not None), None),
    )


def least_data(design: Design) -> int:
    """How many data members must be left: as the design says, else more than half of three or more, else one of two."""
    asked = afterwards(design).least_data
    count = sum(member.data for member in design.members)
    if asked is not None:
        return asked
    return count // 2 + 1 if count >= _FEWEST_WITH_MAJORITY else count // 2


def survive_of(
    design: Design,
    estate: Estate,
    *,
    cluster: str = "",
    faults: list[Fault],
    known: dict[str, tuple[Scenario, ...]] | None = None,
) -> tuple[Survive, ...]:
    """The design's scenarios, a Survive a sentence. A name that nothing bears goes to ``faults``.

    Args: known: scenarios by their sentence, for designs that ask for the same; filled.
    """
    known = {} if known is None else known
    found = []
    others = not afterwards(design).others_stay_down
    for number, text in enumerate(design.survive):
        meant = parse_survive(text)
        if isinstance(meant, Afterwards):
            continue
        try:
            if text not in known and isinstance(meant, AnyOf):
                known[text] = cut_off(any_of(estate, count=meant.count, kind=meant.kind), estate.hosts)
            elif text not in known and isinstance(meant, Named):
                known[text] = cut_off((named(estate, meant.names),), estate.hosts)
        except StaddleError as exc:
            faults += exc.faults
            continue
        found.append(
            Survive(
                cluster=cluster,
                sentence=text,
                scenarios=known[text],
                least_data=least_data(design),
                others_restart=others,
                key=f"survive[{number}]",
            )
        )
    return tuple(found)


def running_guests(estate: Estate, bookings: Iterable[Booking] = ()) -> tuple[Running, ...]:
    """What runs there by the survey, and what other jobs were promised, as machines that would have to restart.

    A guest stays at the site where it runs: that another site has its networks is not known. What is booked for one
    rollout on one host is one machine.
    """
    sites = _sites(estate)
    hosts = {host.name: host for host in estate.hosts}
    guests = [
        Running(
            name=guest.name,
            host=guest.host,
            memory_bytes=memory_with_overhead(guest.memory_bytes, hosts[guest.host].guest_overhead_percent),
            vcpus=guest.vcpus,
            vcpu_per_core=guest.vcpu_per_core or None,
            pools=(guest.pool,),
            networks=guest.networks,
            sites=sites[guest.host],
            restart_order=guest.restart_order,
            apart=guest.apart_group,
            together=guest.together_group,
        )
        for guest in estate.guests
    ]
    booked: dict[tuple[str, str, str], list[Booking]] = {}
    for booking in bookings:
        member = booking.booking_id.rsplit("/", 1)[0]
        if booking.host in hosts:
            booked.setdefault((booking.job, member, booking.host), []).append(booking)
    promised = [
        Running(
            name=f"{member} (booked by {job})",
            host=host,
            memory_bytes=sum(row.memory_bytes for row in rows),
            vcpus=sum(row.vcpus for row in rows),
            pools=tuple(dict.fromkeys(row.pool for row in rows if row.pool)),
            sites=sites[host],
            apart=f"booked by {job}",
            booked_by=job,
        )
        for (job, member, host), rows in booked.items()
    ]
    return (*guests, *promised)


def stands_after(estate: Estate, limits: Sequence[float | None] = ()) -> tuple[Stand, ...]:
    """The hosts under the rules after a failure.

    Args: limits: the vCPUs a core that each design allows then, None for the host's own limit; the tightest holds.
    """
    asked = None if not limits or None in limits else min(limit for limit in limits if limit is not None)
    sites = _sites(estate)
    return tuple(
        Stand(
            name=host.name,
            memory_bytes=host.memory_bytes - host.reserved_memory_bytes,
            cores=host.cores,
            vcpu_per_core=host.vcpu_per_core if asked is None else max(asked, host.vcpu_per_core),
            networks=host.networks,
            pools=host.pools,
            site=next(iter(sites[host.name]), ""),
            cpu_level=host.cpu_level,
            node_cores=host.cores // max(1, host.numa_nodes),
            node_memory_bytes=host.memory_bytes // max(1, host.numa_nodes),
        )
        for host in estate.hosts
    )


def _sites(estate: Estate) -> dict[str, tuple[str, ...]]:
    return {
        host: tuple(name for kind, name in above if kind == "site")
        for host, above in domains_above(estate).items()
    }
