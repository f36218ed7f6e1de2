"""Domains derived from columns of hosts and pools: nested where the cells prove it, contradictions with row and column."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo.ousemoor_estate import demo_estate
from staddle.estate.columnmap import propose_map
from staddle.estate.columns import HOSTS, POOLS, Table
from staddle.estate.delimited import read_delimited
from staddle.estate.deriving import Derived, derive_domains
from staddle.estate.domainkinds import kind_of_heading
from staddle.estate.export import Export
from staddle.estate.headingrow import find_headings
from staddle.estate.model import Domain
from staddle.estate.openpoints import answered, open_points, with_source
from staddle.estate.sources import TableMap

Part = tuple[Table, Export, TableMap]


def part(folder: Path, table: Table, text: str, **answers: str) -> Part:
    path = folder / f"{table.noun}.csv"
    path.write_text(text, encoding="utf-8")
    export = find_headings(table, (read_delimited(path),), str(path))
    found = propose_map(table, export, {})
    for key, answer in answers.items():
        source = answered(table, export, found, {}, column="domains", key=key, text=answer)
        found = with_source(table, found, source)
    return table, export, found


def told(derived: Derived) -> list[tuple[str, str]]:
    return [
        (fault.where.rpartition("/")[2], fault.what) for found in derived.faults.values() for fault in found
    ]


def table_of(derived: Derived) -> list[tuple[str, str, str]]:
    return [(domain.name, domain.kind, domain.inside or "") for domain in derived.domains]


def test_the_demos_domains_come_out_of_its_hosts_and_pools(tmp_path: Path) -> None:
    """The demo's own table, written by hand, is what its hosts' and pools' columns must give."""
    estate = demo_estate(surveyed=date(2026, 11, 2))
    kinds = {domain.name: domain for domain in estate.domains}

    def cells(names: Sequence[str], wanted: Sequence[str]) -> str:
        found = {}
        for name in names:
            at: Domain | None = kinds.get(name)
            while at is not None:
                found[at.kind] = at.name
                at = kinds.get(at.inside or "")
        return ",".join(found.get(kind, "") for kind in wanted)

    feeds = {h.name: [name for name in h.domains if kinds[name].kind == "feed"] for h in estate.hosts}
    hosts = "Rack,Site,Feed 1,Feed 2,Server\n" + "".join(
        f"{cells(h.domains, ('rack', 'site'))},{','.join([*feeds[h.name], '', ''][:2])},{h.name}\n"
        for h in estate.hosts
    )
    pools = "Pool,Site,Rack,Array\n" + "".join(
        f"{p.name},{cells(p.domains, ('site', 'rack', 'array'))}\n" for p in estate.pools
    )
    derived = derive_domains([part(tmp_path, HOSTS, hosts), part(tmp_path, POOLS, pools)])
    direct = [row.domains for row in estate.hosts] + [row.domains for row in estate.pools]
    named = {name for names in direct for name in names if name in kinds}
    named |= {kinds[name].inside or "" for name in named}
    named |= {kinds[name].inside or "" for name in named if name}
    assert set(derived.domains) == {domain for domain in estate.domains if domain.name in named}
    rows = [derived.placed["host", line] for line, _ in enumerate(estate.hosts, start=2)]
    assert [set(names) for names in rows] == [set(host.domains) for host in estate.hosts]
    assert derived.faults == {}


HEADS = "Server,Site,Room,Rack,Feed A,Feed B\n"


def test_nesting_is_proven_by_the_cells(tmp_path: Path) -> None:
    text = (
        HEADS
        + "h1,Ousemoor,West,R1,F1,\nh2,Ousemoor,West,R2,F1,F2\nh3,Ousemoor,East,R3,,F2\nh4,Tollgate,Hall,R4,F3,F3\n"
    )
    derived = derive_domains([part(tmp_path, HOSTS, text)])
    assert table_of(derived) == [
        ("Ousemoor", "site", ""),
        ("Tollgate", "site", ""),
        ("West", "room", "Ousemoor"),
        ("East", "room", "Ousemoor"),
        ("Hall", "room", "Tollgate"),
        ("R1", "rack", "West"),
        ("R2", "rack", "West"),
        ("R3", "rack", "East"),
        ("R4", "rack", "Hall"),
        ("F1", "feed", "Ousemoor"),  # its hosts share a room; that puts the feed in no room
        ("F2", "feed", "Ousemoor"),
        ("F3", "feed", "Tollgate"),
    ]
    # Whoever has two feeds fails with neither.
    assert [derived.placed["host", line] for line in (2, 3, 4, 5)] == [
        ("R1", "F1"), ("R2",), ("R3", "F2"), ("R4", "F3")
    ]  # fmt: skip


def test_contradictions_are_told_where_the_rows_first_disagree(tmp_path: Path) -> None:
    text = HEADS + (
        "h1,Ousemoor,West,R1,F1,\nh2,Ousemoor,East,R1,F1,\nh3,Tollgate,West,R2,F2,\nh4,Tollgate,West,r2,,F2\n"
        "h5,,West,R2,F2,\nh6,Ousemoor,n/a,R6,,\n"
    )
    derived = derive_domains([part(tmp_path, HOSTS, text)])
    assert told(derived) == [
        ("host.csv:6:Site", "Site: the cell is blank, so the site of this host is not known"),
        ("host.csv:7:Room", 'Room: "n/a" may mean that there is none, or that nobody knows'),
        ("host.csv:5:Rack", 'the rack "r2" is elsewhere written "R2"'),
        ("host.csv:4:Room", 'the room "West" stands in the site "Tollgate"'),
        ("host.csv:3:Rack", 'the rack "R1" stands in the room "East"'),
    ]
    (fault,) = [f for f in derived.faults["host"] if "West" in f.what]
    assert fault.why.endswith('host.csv:2:Room it stands in the site "Ousemoor"')


def test_names_that_count_only_within_their_site(tmp_path: Path) -> None:
    text = "Server,Site,Rack,Feed\nh1,Ousemoor,1,A\nh2,Tollgate,1,A\nh3,Ousemoor,2,B\n"
    derived = derive_domains([part(tmp_path, HOSTS, text)])
    assert [what for _, what in told(derived)] == [
        'the rack "1" stands in the site "Tollgate"',
        'the feed "A" stands in the site "Tollgate"',
    ]
    derived = derive_domains([part(tmp_path, HOSTS, text, within="rack, feed")])
    assert derived.faults == {}
    assert derived.placed["host", 3] == ("Tollgate 1", "Tollgate A")
    assert ("Tollgate 1", "rack", "Tollgate") in table_of(derived)


def test_a_name_that_two_kinds_use_gets_its_kind_before_it(tmp_path: Path) -> None:
    text = "Server,Site,Room,Rack\nh1,Ousemoor,1,1\nh2,Ousemoor,1,2\n"
    derived = derive_domains([part(tmp_path, HOSTS, text)])
    assert table_of(derived) == [
        ("Ousemoor", "site", ""), ("room 1", "room", "Ousemoor"), ("rack 1", "rack", "room 1"), ("2", "rack", "room 1")
    ]  # fmt: skip
    assert derived.placed == {("host", 2): ("rack 1",), ("host", 3): ("2",)}


def test_the_one_site_is_asked_where_no_column_tells_it(tmp_path: Path) -> None:
    text = "Server,Rack\nh1,R1\nh2,R2\n"
    table, export, found = part(tmp_path, HOSTS, text)
    assert "hosts.domains.site" in [point.name for point in open_points(table, export, found, {})]
    derived = derive_domains([part(tmp_path, HOSTS, text, site="Ousemoor")])
    assert ("R2", "rack", "Ousemoor") in table_of(derived)
    table, export, found = part(tmp_path, HOSTS, "Server,Cores\nh1,8\n")
    assert "hosts.domains.site" in [point.name for point in open_points(table, export, found, {})]
    derived = derive_domains([part(tmp_path, HOSTS, "Server,Cores\nh1,8\n", site="Ousemoor")])
    assert derived.placed == {("host", 2): ("Ousemoor",)}


def test_the_kind_of_a_column_that_no_word_tells_is_asked(tmp_path: Path) -> None:
    text = "Server,Location,Place\nh1,Ousemoor,R1\n"
    table, export, found = part(tmp_path, HOSTS, text)
    (point,) = [p for p in open_points(table, export, found, {}) if p.column == "domains"]
    assert point.name == "hosts.domains.kinds"
    derived = derive_domains([part(tmp_path, HOSTS, text, kinds="site")])
    assert table_of(derived) == [("Ousemoor", "site", "")]
    derived = derive_domains(
        [part(tmp_path, HOSTS, text, **{"from": "Location + Place", "kinds": "site, rack"})]
    )
    assert table_of(derived) == [("Ousemoor", "site", ""), ("R1", "rack", "Ousemoor")]


def test_domains_that_other_tables_still_name_are_kept(tmp_path: Path) -> None:
    old = Domain(name="A1", kind="array", inside="Ousemoor")
    derived = derive_domains([part(tmp_path, HOSTS, "Server,Site\nh1,Ousemoor\n")], keep=(old,))
    assert derived.domains == (Domain(name="Ousemoor", kind="site"), old)


@pytest.mark.parametrize(
    ("noun", "heading", "kind"),
    [
        ("host", "Site", "site"), ("host", "Power feed B", "feed"), ("host", "Feed_2", "feed"), ("host", "Rack", "rack"),
        ("host", "Array", ""), ("pool", "Storage array", "array"), ("host", "Rack unit", ""), ("host", "Row", ""),
        ("host", "Data centre", "site"), ("host", "Location", ""), ("host", "Rack 1", ""),
    ],
)  # fmt: skip
def test_kinds_of_headings(noun: str, heading: str, kind: str) -> None:
    assert kind_of_heading(noun, heading) == kind


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(st.tuples(*(st.sampled_from(["a", "b", "c"]) for _ in range(3))), min_size=1, max_size=8)
)
def test_agrees_with_brute_force(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str, str]]
) -> None:
    """Brute force: nothing is contradicted if and only if every name has one single neighbour outwards."""
    text = "Server,Site,Room,Rack\n" + "".join(
        f"h{number},S{site},M{room},R{rack}\n" for number, (site, room, rack) in enumerate(rows)
    )
    derived = derive_domains([part(tmp_path_factory.mktemp("rows"), HOSTS, text)])
    edges = {(f"M{room}", f"S{site}") for site, room, _ in rows} | {
        (f"R{rack}", f"M{room}") for _, room, rack in rows
    }
    agrees = len({inner for inner, _ in edges}) == len(edges)
    assert (derived.faults == {}) == agrees
    if agrees:
        assert {(domain.name, domain.inside) for domain in derived.domains if domain.inside} == edges
