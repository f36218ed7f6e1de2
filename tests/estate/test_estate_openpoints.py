"""Open points of a map of columns: what is asked, what is proposed and why, what an answer makes of the map."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.estate.columnmap import propose_map
from staddle.estate.columns import GUESTS, HOSTS, POOLS, Table
from staddle.estate.delimited import read_delimited
from staddle.estate.export import Export
from staddle.estate.headingrow import find_headings
from staddle.estate.mapfile import MAP_FILE, add_map, change_map, read_maps
from staddle.estate.openpoints import OpenPoint, answered, open_points, with_source
from staddle.estate.sources import ColumnSource, TableMap
from staddle.estate.taking import take_rows
from staddle.kernel import InputRefused

SERVERS = (
    "Server,Site,Cores,RAM,Segments,Volumes,Kept\nh1,r1,32,{0},om-a,p1,8 GiB\nh2,r2,16,{1},om-a,p1,9 GiB\n"
)


def mapped(folder: Path, text: str, table: Table = HOSTS) -> tuple[Export, TableMap, dict[str, OpenPoint]]:
    path = folder / "export.csv"
    path.write_text(text, encoding="utf-8")
    export = find_headings(table, (read_delimited(path),), str(path))
    found = propose_map(table, export, {})
    return export, found, {point.name: point for point in open_points(table, export, found, {})}


def test_what_a_typical_export_of_hosts_leaves_open_is_asked_with_a_proposal(tmp_path: Path) -> None:
    _, _, points = mapped(tmp_path, SERVERS.format("393216", "262144"))
    assert {name: (point.proposal.text, point.cells) for name, point in points.items()} == {
        "hosts.memory.unit": ("MiB", ("393216", "262144")),  # 384 GiB and 256 GiB
        "hosts.reserved_memory": ("10 %", ()),
        "hosts.vcpu_per_core": ("4", ()),
    }
    assert all(point.proposal.origin.startswith("common practice, no source") for point in points.values())
    assert "Kept" in points["hosts.reserved_memory"].may
    assert "KiB" in points["hosts.memory.unit"].may


# What is plausible: 8 GiB to 32 TiB a host (common practice, no source).
@pytest.mark.parametrize(
    ("first", "second", "unit"),
    [
        ("384", "256", "GiB"),
        ("393216", "262144", "MiB"),
        ("412316860416", "274877906944", "B"),
        (
            "16384",
            "32768",
            "",
        ),  # 16 GiB and 32 GiB in MiB, 16 TiB and 32 TiB in GiB: two fit, so nothing is proposed
        ("384", "393216", ""),
        ("1,5", "2,5", ""),
    ],
)
def test_a_unit_is_proposed_only_where_one_alone_is_likely(
    tmp_path: Path, first: str, second: str, unit: str
) -> None:
    _, _, points = mapped(tmp_path, SERVERS.replace(",", ";").format(first, second))
    assert points["hosts.memory.unit"].proposal.text == unit


def test_memory_in_gb_is_proposed_as_powers_of_1024(tmp_path: Path) -> None:
    _, _, points = mapped(tmp_path, SERVERS.replace("RAM", "RAM (GB)").format("384", "256"))
    assert points["hosts.memory.unit"].proposal.text == "GiB"


def test_shares_of_one_are_not_proposed_as_percentages(tmp_path: Path) -> None:
    text = "Pool,Size,Used,Provisioned,Floor\np1,20 TB,1 TB,1 TB,{}\np2,20 TB,1 TB,1 TB,{}\n"
    _, _, points = mapped(tmp_path, text.format("0.15", "0.2"), POOLS)
    assert points["pools.floor.unit"].proposal.text == ""
    _, _, points = mapped(tmp_path, text.format("15", "20"), POOLS)
    assert points["pools.floor.unit"].proposal.text == "%"


def test_a_decimal_mark_is_proposed_from_the_columns_beside(tmp_path: Path) -> None:
    text = "VM;Host;RAM (GiB);vCPUs;Pool;Disk (GB)\ng1;h1;1,5;2;p1;1,250\n"
    _, _, points = mapped(tmp_path, text, GUESTS)
    point = points["guests.disk.decimal"]
    assert (point.proposal.text, point.proposal.origin) == (",", 'as in their column "RAM (GiB)"')


def test_a_share_is_of_each_hosts_own_memory(tmp_path: Path) -> None:
    export, found, _ = mapped(tmp_path, SERVERS.format("384 GiB", "100 MiB"))
    for column, text in (("reserved_memory", "10 %"), ("vcpu_per_core", "4")):
        source = answered(HOSTS, export, found, {}, column=column, key="", text=text)
        found = with_source(HOSTS, found, source)
    rows = take_rows(HOSTS, export, found)
    assert rows.faults == []
    # 10 % of 384 GiB = 39 321.6 MiB, up to 39 322 MiB; of 100 MiB 10 MiB (by hand)
    assert [row.value.reserved_memory_bytes for row in rows.rows] == [39322 * 2**20, 10 * 2**20]


def test_an_answered_heading_opens_what_its_cells_leave_open(tmp_path: Path) -> None:
    export, found, _ = mapped(tmp_path, SERVERS.replace(" GiB", "").format("384 GiB", "256 GiB"))
    source = answered(HOSTS, export, found, {}, column="reserved_memory", key="", text="kept")
    assert (source.headings, source.unit) == (("Kept",), "?")
    found = with_source(HOSTS, found, source)
    points = [point.name for point in open_points(HOSTS, export, found, {})]
    assert points == ["hosts.reserved_memory.unit", "hosts.vcpu_per_core"]
    source = answered(HOSTS, export, found, {}, column="reserved_memory", key="", text="GiB")
    assert (source.headings, source.unit) == (("Kept",), "GiB")


@pytest.mark.parametrize(
    ("column", "key", "text", "what", "mend"),
    [
        ("vcpu_per_core", "", "99", '"99" is no heading of the export, and no value for vcpu_per_core', ""),
        ("vcpu_per_core", "", "Kepd", '"Kepd" is no heading of the export', 'did you mean "Kept"?'),
        ("reserved_memory", "", "16", '"16" is no heading of the export, and no value for', "settle the unit"),
        ("reserved_memory", "", "100 %", '"100 %" is no heading', ""),
        ("memory", "unit", "gib", '"gib" is no unit of memory', 'did you mean'),
        ("memory", "decimal", ";", '";" is no decimal of memory', 'answer "," or "."'),
        ("reserved_memory", "unit", "GiB", "reserved_memory comes from no column", "hosts.reserved_memory"),
        ("networks", "", "heading: Seg", 'the export has no heading "Seg"', ""),
        ("cores", "", "none", '"none" is no heading of the export, and no value for cores', ""),
    ],
)  # fmt: skip
def test_answers_that_a_column_cannot_have(
    tmp_path: Path, column: str, key: str, text: str, what: str, mend: str
) -> None:
    export, found, _ = mapped(tmp_path, SERVERS.format("384", "256"))
    with pytest.raises(InputRefused) as caught:
        answered(HOSTS, export, found, {}, column=column, key=key, text=text)
    (fault,) = caught.value.faults
    assert what in fault.what
    assert mend in fault.mend


def test_a_text_that_is_a_heading_and_a_value_is_not_guessed(tmp_path: Path) -> None:
    export, found, _ = mapped(tmp_path, SERVERS.replace("Kept", "om-b").format("384", "256"))
    with pytest.raises(InputRefused, match="is a heading of the export, and could be a value"):
        answered(HOSTS, export, found, {}, column="networks", key="", text="om-b")
    said = answered(HOSTS, export, found, {}, column="networks", key="", text="value: om-b")
    assert said.value == "om-b"
    said = answered(HOSTS, export, found, {}, column="networks", key="", text="heading: om-b")
    assert said.headings == ("om-b",)
    assert answered(HOSTS, export, found, {}, column="networks", key="", text="none").value == ""


OWN_HAND = """# ours
pools:
  settled: yes
  columns:
    name: {heading: a}
hosts:   # of the export of March
  settled: no
  columns:
    # asked: what it said
    memory:
      heading: RAM
      unit: "?"
    # our own note
    vcpu_per_core: {value: "?"}   # four?
guests:
  settled: no
  columns: {name: {heading: x}}
"""


def test_a_change_touches_its_own_line_and_no_other(tmp_path: Path) -> None:
    file = tmp_path / MAP_FILE
    file.write_text(OWN_HAND, encoding="utf-8")
    file.write_text(
        change_map(tmp_path, "hosts", ColumnSource(column="vcpu_per_core", value="4", reason="so"))
    )
    memory = ColumnSource(column="memory", headings=("RAM",), unit="GiB", reason="so")
    file.write_text(change_map(tmp_path, "hosts", memory))
    file.write_text(change_map(tmp_path, "hosts", ColumnSource(column="numa_nodes", value="2", reason="so")))
    assert file.read_text(encoding="utf-8") == OWN_HAND.replace(
        '    # asked: what it said\n    memory:\n      heading: RAM\n      unit: "?"\n',
        '    # sure: so\n    memory: {heading: "RAM", unit: "GiB"}\n',
    ).replace(
        'vcpu_per_core: {value: "?"}   # four?\n',
        'vcpu_per_core: {value: "4"}   # four?\n    # sure: so\n    numa_nodes: {value: "2"}\n',
    )
    with pytest.raises(InputRefused, match="not written a line a column"):
        change_map(tmp_path, "guests", ColumnSource(column="host", value="h1"))
    assert read_maps(tmp_path)["guests"].sources[0].headings == ("x",)


texts = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=12
)


@settings(max_examples=60, deadline=None)
@given(value=texts, heading=texts, separator=st.sampled_from(["", ",", "newline", "|"]))
def test_whatever_is_answered_reads_back(
    tmp_path_factory: pytest.TempPathFactory, value: str, heading: str, separator: str
) -> None:
    folder = tmp_path_factory.mktemp("map")
    old = TableMap(table="hosts", settled=False, sources=(ColumnSource(column="name", headings=("n",)),))
    (folder / MAP_FILE).write_text(add_map(folder, old), encoding="utf-8")
    for source in (
        ColumnSource(column="cpu_level", value=value),
        ColumnSource(column="networks", headings=(heading, "b"), separator=separator),
    ):
        (folder / MAP_FILE).write_text(change_map(folder, "hosts", source), encoding="utf-8")
        kept = {one.column: one for one in read_maps(folder)["hosts"].sources}[source.column]
        assert replace(kept, line=0, reason="") == source


PLACED = "Server,Location,Hall,Cabinet,Cores,RAM\nh1,north,n-1,a,32,384 GiB\nh2,south,s-1,b,16,256 GiB\n"


def test_headings_joined_with_plus_are_never_the_name_of_a_site(tmp_path: Path) -> None:
    export, found, points = mapped(tmp_path, PLACED)
    assert "hosts.domains.site" in points  # "Hall" and "Cabinet" are known words, "Location" is none
    joined = "Location + Hall + Cabinet"
    source = answered(HOSTS, export, found, {}, column="domains", key="", text=joined)
    assert (source.headings, source.site) == (("Location", "Hall", "Cabinet"), "")
    again = answered(
        HOSTS, export, with_source(HOSTS, found, source), {}, column="domains", key="", text=joined
    )
    assert again.headings == source.headings  # the same command line a second time, while the kinds are open
    kinds = answered(
        HOSTS,
        export,
        with_source(HOSTS, found, source),
        {},
        column="domains",
        key="kinds",
        text="site, room, rack",
    )
    assert (kinds.kinds, kinds.site) == (("site", "room", "rack"), "")


def test_a_site_that_is_answered_twice_is_joined_once(tmp_path: Path) -> None:
    export, found, _ = mapped(tmp_path, PLACED)
    for _ in range(2):
        source = answered(HOSTS, export, found, {}, column="domains", key="site", text="Location")
        assert (source.headings, source.kinds) == (("Location", "Hall", "Cabinet"), ("site", "room", "rack"))
        found = with_source(HOSTS, found, source)


def test_a_name_for_all_rows_that_no_table_has_is_refused(tmp_path: Path) -> None:
    export, found, _ = mapped(tmp_path, PLACED)
    known = {"pool": {"gold-1", "gold-2"}}
    with pytest.raises(InputRefused, match='there is no pool "Reached by"'):
        answered(HOSTS, export, found, known, column="pools", key="", text="Reached by")
    with pytest.raises(InputRefused, match='there is no pool "gold-3"'):
        answered(HOSTS, export, found, known, column="pools", key="", text="gold-1; gold-3")
    assert (
        answered(HOSTS, export, found, known, column="pools", key="", text="gold-1; gold-2").value
        == "gold-1; gold-2"
    )
    assert answered(HOSTS, export, found, {}, column="pools", key="", text="Reached by").value == "Reached by"
