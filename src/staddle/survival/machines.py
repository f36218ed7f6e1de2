"""What stands on an estate, as the restart test takes it: guests, what other jobs were promised, and hosts. Pure.

The limits after a failure are those at rest: the tables have no others. Not here: the members (jobs know where they stand).
"""

from collections.abc import Iterable

from staddle.estate.bookings import Booking
from staddle.estate.model import Estate
from staddle.failures.domains import domains_above
from staddle.failures.running import Running, Stand

__all__ = ["running_guests", "stands_of"]


def running_guests(
    estate: Estate, bookings: Iterable[Booking] = (), *, leave_out: Iterable[str] = ()
) -> tuple[Running, ...]:
    """What runs there by the survey, and what other jobs were promised, as machines that would have to restart.

    A guest stays at the site where it runs: that another site has its networks is not known. What is booked for one
    rollout's member on one host is one machine.

    Args: leave_out: guests that are not told, such as members that the survey has met.
    """
    sites = _sites(estate)
    out = set(leave_out)
    guests = [
        Running(
            name=guest.name,
            host=guest.host,
            memory_bytes=guest.memory_bytes,
            vcpus=guest.vcpus,
            pools=(guest.pool,),
            sites=sites[guest.host],
            restart_order=guest.restart_order,
            apart=guest.apart_group,
        )
        for guest in estate.guests
        if guest.name not in out
    ]
    booked: dict[tuple[str, str, str], list[Booking]] = {}
    for booking in bookings:
        if booking.host in sites:
            member = booking.booking_id.rsplit("/", 1)[0]
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
        )
        for (job, member, host), rows in booked.items()
    ]
    return (*guests, *promised)


def stands_of(estate: Estate) -> tuple[Stand, ...]:
    """The hosts under the rules after a failure."""
    sites = _sites(estate)
    return tuple(
        Stand(
            name=host.name,
            memory_bytes=host.memory_bytes - host.reserved_memory_bytes,
            cores=host.cores,
            vcpu_per_core=host.vcpu_per_core,
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
