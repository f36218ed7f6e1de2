"""What is written reads back as the same estate."""

import ipaddress
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.estate.model import Domain, Estate, Guest, Host, Network, Pool
from staddle.estate.tables import read_estate, survey_estate
from staddle.estate.writing import write_estate
from staddle.kernel import InputRefused

TEXTS = st.text(st.characters(exclude_categories=["C", "Z"], exclude_characters=";"), min_size=1, max_size=12)
# Names with everything that CSV and YAML must quote.
NAMES = TEXTS | st.sampled_from(
    ["Fennick's Lode", 'the "old" pit', "a,b", "no", "2026-01-01", "a  b", "=1+1", "ß"]
)


def some(draw: st.DrawFn, known: list[str], *, least: int = 0) -> tuple[str, ...]:
    if not known:
        return ()
    return tuple(draw(st.lists(st.sampled_from(known), min_size=least, max_size=3, unique=True)))


@st.composite
def estates(draw: st.DrawFn) -> Estate:
    """A sound estate of any shape: sites, a forest of domains inside them, hosts, pools, networks, guests."""
    names = draw(st.lists(NAMES, min_size=8, max_size=16, unique=True))
    site, *others = names[:4]
    domains = [Domain(name=site, kind="site")]
    for name in others:
        above = draw(st.sampled_from([None, *(d.name for d in domains)]))
        domains.append(Domain(name=name, kind=draw(NAMES.filter(lambda kind: kind != "site")), inside=above))
    networks = []
    for name in draw(st.lists(NAMES, max_size=3, unique=True)):
        net = draw(
            st.sampled_from(["192.0.2.0/25", "198.51.100.0/24", "2001:db8::/64"]).map(ipaddress.ip_network)
        )
        low, high = sorted(draw(st.tuples(st.integers(1, 50), st.integers(51, 90))))
        networks.append(
            Network(
                name=name,
                prefix=str(net),
                gateway=draw(st.sampled_from(["", str(net[1])])),
                vlan=draw(st.none() | st.integers(1, 4094)),
                mtu=draw(st.integers(1280, 9000)),
                dns_servers=draw(st.sampled_from([(), ("192.0.2.53",), ("192.0.2.53", "2001:db8::53")])),
                taken=draw(
                    st.sampled_from([(), (str(net[100]),), (f"{net[low]}-{net[high]}", str(net[99]))])
                ),
            )
        )
    host_names = names[4:]
    pool_names = draw(st.lists(NAMES, min_size=1, max_size=3, unique=True))
    hosts = [
        Host(
            name=name,
            domains=(site, *some(draw, others)),
            cores=draw(st.integers(8, 4096)),
            memory_bytes=draw(st.integers(2**20, 2**48)),
            reserved_memory_bytes=draw(st.integers(0, 2**20 - 1)),
            vcpu_per_core=draw(st.floats(0.1, 64)),
            cpu_level=draw(st.just("") | TEXTS),
            networks=some(draw, [n.name for n in networks]),
            pools=some(draw, pool_names),
            numa_nodes=draw(st.integers(1, 8)),
            platform=draw(st.just("") | TEXTS),
            platform_version=draw(st.just("") | TEXTS),
        )
        for name in host_names
    ]
    pools = [
        Pool(
            name=name,
            domains=some(draw, [*others, *host_names]),
            capacity_bytes=draw(st.integers(10**12, 10**18)),
            used_bytes=draw(st.integers(0, 10**12)),
            promised_bytes=draw(st.integers(0, 10**19)),
            floor_percent=draw(st.floats(0, 90)),
            promise_limit=draw(st.floats(0.1, 10)),
        )
        for name in pool_names
    ]
    guests = [
        Guest(
            name=name,
            host=draw(st.sampled_from(host_names)),
            memory_bytes=draw(st.integers(2**20, 2**40)),
            vcpus=draw(st.integers(1, 64)),
            pool=draw(st.sampled_from(pool_names)),
            disk_bytes=draw(st.integers(0, 10**15)),
            restart_order=draw(st.integers(0, 1000)),
            apart_group=draw(st.just("") | NAMES),
        )
        for name in draw(st.lists(NAMES, max_size=4, unique=True))
    ]
    return Estate(
        name=draw(NAMES),
        surveyed=draw(st.dates(date(2000, 1, 1))),
        surveyed_by=draw(NAMES),
        domains=tuple(domains),
        hosts=tuple(hosts),
        pools=tuple(pools),
        networks=tuple(networks),
        guests=tuple(guests),
    )


@given(estates())
@settings(max_examples=60, deadline=None)
def test_round_trip(estate: Estate) -> None:
    with TemporaryDirectory() as where:
        write_estate(estate, Path(where))
        assert read_estate(Path(where)) == estate


def _one_host(name: str) -> Estate:
    return Estate(
        name="Test",
        surveyed=date(2026, 11, 2),
        surveyed_by="W. Marram",
        domains=(Domain(name="Ousemoor", kind="site"),),
        hosts=(
            Host(
                name=name,
                domains=("Ousemoor",),
                cores=8,
                memory_bytes=2**30,
                reserved_memory_bytes=0,
                vcpu_per_core=1.0,
                cpu_level="",
                networks=(),
                pools=(),
            ),
        ),
        pools=(),
        networks=(),
        guests=(),
    )


def test_a_value_that_has_no_cell_is_refused_and_nothing_written(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match=r"hosts, name: 'a;b' cannot be written as a cell"):
        write_estate(_one_host("a;b"), tmp_path / "estate")
    assert not (tmp_path / "estate").exists()


@pytest.mark.parametrize("name", [" a", "a\n", "", "a\u00a0b"])
def test_names_that_would_change_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputRefused, match="cannot be written as a cell"):
        write_estate(_one_host(name), tmp_path)


def test_columns_kept_aside_can_be_written_back(tmp_path: Path) -> None:
    write_estate(_one_host("om-h01"), tmp_path)
    table = tmp_path / "hosts.csv"
    head, row = table.read_text().splitlines()
    table.write_text(f"{head},Asset tag\n{row},  00417\n")
    reading = survey_estate(tmp_path)
    write_estate(reading.estate, tmp_path, aside=reading.aside)
    assert table.read_text() == f"{head},Asset tag\n{row},  00417\n"
