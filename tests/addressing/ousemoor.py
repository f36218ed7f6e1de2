"""A small design and estate for the addressing tests; addresses of RFC 5737 and RFC 3849."""

from staddle.design.model import Attachment, Design, Job, Member, Names, PackageChoice
from staddle.estate.model import Network

MGMT = Network(
    name="ous-mgmt",
    prefix="192.0.2.0/26",
    gateway="192.0.2.1",
    vlan=110,
    dns_servers=("192.0.2.53",),
    taken=("192.0.2.2-192.0.2.9", "192.0.2.12"),
)
STORE = Network(name="ous-store", prefix="198.51.100.0/24", mtu=9000)
SIX = Network(name="ous-six", prefix="2001:db8:10::/64", gateway="2001:db8:10::1")
ESTATE = (MGMT, STORE, SIX)


def design(
    *networks: Attachment, members: int = 3, zone: str = "ousemoor.example", cluster: str | None = "log"
) -> Design:
    """A design with that many members log-1, log-2 … on these networks (management from .10 if none is named)."""
    return Design(
        job=Job(name="ousemoor-log", cluster="Ousemoor water levels", estate="../estate"),
        package=PackageChoice(file="sluicelog.ova", profile="sluicelog"),
        members=tuple(Member(name=f"log-{n + 1}") for n in range(members)),
        names=Names(zone=zone, cluster=cluster),
        networks=networks or (attach(first="192.0.2.10"),),
    )


def attach(
    estate: str = "ous-mgmt",
    *,
    package: str = "management",
    first: str = "",
    addresses: tuple[str, ...] = (),
    named: bool = False,
) -> Attachment:
    """One attachment."""
    return Attachment(package=package, estate=estate, first=first, addresses=addresses, named=named)
