"""The demo's estate is what the demo says it is."""

from collections import defaultdict
from datetime import date
from pathlib import Path

import pytest

from demo.ousemoor_estate import demo_estate, write_demo_estate
from staddle.estate.bookings import room_left
from staddle.estate.tables import survey_estate
from staddle.failures.domains import domains_above, pool_domains_above

GIB, GB = 1024**3, 1000**3
DAY = date(2026, 11, 2)
ESTATE = demo_estate(surveyed=DAY)
LEFT = room_left(ESTATE, ())
RACKS = {h: dict(above)["rack"] for h, above in domains_above(ESTATE).items()}
# One member: 4 vCPUs, 16 GiB, disks of 16 and 160 GiB, of which 15 % more for snapshots.
MEMBER_DISK_BYTES = 176 * GIB * 115 // 100


def takes_a_member(name: str) -> bool:
    host = next(host for host in ESTATE.hosts if host.name == name)
    left = LEFT.hosts[name]
    return left.memory_bytes >= 16 * GIB and left.vcpus >= 4 and "om-telemetry" in host.networks


def test_reads_without_faults_or_findings(tmp_path: Path) -> None:
    write_demo_estate(tmp_path, surveyed=DAY)
    reading = survey_estate(tmp_path)
    assert reading.findings == ()
    assert reading.estate == ESTATE


def test_has_three_sites_14_hosts_7_pools_150_guests() -> None:
    sites = [domain.name for domain in ESTATE.domains if domain.kind == "site"]
    assert sites == ["Ousemoor", "Tollgate", "Fennick's Lode"]
    assert (len(ESTATE.hosts), len(ESTATE.pools), len(ESTATE.guests)) == (14, 7, 150)


def test_is_written_the_same_each_time(tmp_path: Path) -> None:
    write_demo_estate(tmp_path / "a", surveyed=DAY)
    write_demo_estate(tmp_path / "b", surveyed=DAY)
    assert [p.read_bytes() for p in sorted((tmp_path / "a").iterdir())] == [
        p.read_bytes() for p in sorted((tmp_path / "b").iterdir())
    ]


@pytest.mark.parametrize("name", [host.name for host in ESTATE.hosts])
def test_hosts_are_as_full_as_planned(name: str) -> None:
    row = next(h for h in ESTATE.hosts if h.name == name)
    offered = row.memory_bytes - row.reserved_memory_bytes
    share = 1 - LEFT.hosts[name].memory_bytes / offered
    assert (0.94 <= share <= 1.0) if name == "om-h02" else (0.58 <= share <= 0.77)


def test_first_hosts_offered_are_a_bad_choice() -> None:
    first = [host.name for host in ESTATE.hosts[:3]]
    assert {RACKS[name] for name in first} == {"OM-R1"}
    assert [takes_a_member(name) for name in first] == [True, False, True]


def test_each_rack_of_ousemoor_takes_a_member_with_its_disks_on_its_own_array() -> None:
    hosts = [host for host in ESTATE.hosts if host.name.startswith("om-")]
    assert {RACKS[h.name] for h in hosts if takes_a_member(h.name)} == {"OM-R1", "OM-R2", "OM-R3"}
    assert not all(takes_a_member(h.name) for h in hosts)
    arrays = pool_domains_above(ESTATE)
    for number in (1, 2, 3):
        pool = f"om-store-{number}"
        assert dict(arrays[pool])["rack"] == f"OM-R{number}"
        assert all(pool in host.pools for host in hosts)
        assert min(LEFT.pools[pool].free_bytes, LEFT.pools[pool].promise_bytes) >= MEMBER_DISK_BYTES


def test_apart_groups_stand_on_different_hosts() -> None:
    groups = defaultdict(list)
    for guest in ESTATE.guests:
        if guest.apart_group:
            groups[guest.apart_group].append(guest.host)
    assert len(groups) >= 8
    assert all(len(hosts) >= 2 and len(set(hosts)) == len(hosts) for hosts in groups.values())
