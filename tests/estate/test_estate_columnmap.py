"""Maps proposed for exports that are headed differently. All of them are invented; no program writes such a table."""

import json
from pathlib import Path

import pytest

from staddle.estate.cellkinds import table_named
from staddle.estate.columnmap import propose_map
from staddle.estate.columns import TABLES
from staddle.estate.delimited import read_delimited
from staddle.estate.export import Export
from staddle.estate.headingrow import find_headings
from staddle.estate.sources import OPEN, ColumnSource, Sureness, TableMap, open_questions
from staddle.estate.tradewords import TRADE_WORDS
from staddle.kernel import InputRefused

KNOWN = {
    "host": {"om-h01", "om-h02"},
    "pool": {"om-p1", "om-p2"},
    "network": {"om-management", "om-telemetry"},
    "domain": {"om-r1", "om-r2"},
}

SERVERS = """List of servers;;;;;;
made on;3 November;;;;;

Server;Rack;Physical cores;RAM (GB);Segments;Storage;Serial
om-h01;om-r1;32;384;om-management,om-telemetry;om-p1;X1
om-h02;om-r2;16;255,5;om-management;om-p1,om-p2;X2
Total;;48;639,5;;;
"""
NODES = """node\tlocated\tcpu cores\tinstalled_memory_gib\tMemory reserved (GiB)\tvCPU ratio\tnetwrks\tpools
om-h01\tom-r1\t32\t384\t16\t4:1\tom-management|om-telemetry\tom-p1
om-h02\tom-r2\t16\t256\t16\t4:1\tom-management\tom-p1|om-p2
"""
VOLUMES = """Volume,Array,Total capacity (TB),Used (TB),Provisioned (TB),Keep free %
om-p1,om-a1,20,4.5,8,15
om-p2,om-a1,10,1.25,2,15
"""
POOL_CELLS = """Pool name,Size,In use,Allocated,Minimum free
om-p1,20 TB,4.5 TB,8 TB,15 %
om-p2,10 TiB,900 GB,2 TB,15 %
"""
SUBNETS = """VLAN name,VLAN ID,Network address,Netmask,Default gateway,Name servers,Used addresses
om-management,20,192.0.2.0,255.255.255.128,192.0.2.1,"192.0.2.53, 192.0.2.54",192.0.2.1 - 192.0.2.9
om-telemetry,untagged,198.51.100.0,255.255.255.0,198.51.100.1,192.0.2.53,
"""
MACHINES = """Virtual machine|Runs on|vCPU count|Memory size|Where|Disk total (GB)
pumps-1|om-h01|4|16 GB|om-p1|"1,250"
pumps-2|om-h02|4|16 GB|om-p2|100
"""
PLANT = """Location,Type,Part of
Ousemoor,site,
om-r1,rack,Ousemoor
"""


def propose(folder: Path, table_name: str, text: str) -> tuple[Export, TableMap, dict[str, ColumnSource]]:
    path = folder / "export.csv"
    path.write_text(text, encoding="utf-8")
    table = table_named(table_name)
    assert table is not None
    export = find_headings(table, (read_delimited(path),), str(path))
    found = propose_map(table, export, KNOWN)
    return export, found, {source.column: source for source in found.sources}


@pytest.mark.parametrize(
    ("table", "text", "headings", "asked"),
    [
        (
            "hosts",
            SERVERS,
            {
                "name": "Server",
                "domains": "Rack",
                "cores": "Physical cores",
                "memory": "RAM (GB)",
                "networks": "Segments",
                "pools": "Storage",
            },
            {("memory", "unit"), ("reserved_memory", "value"), ("vcpu_per_core", "value")},
        ),
        (
            "hosts",
            NODES,
            {
                "name": "node",
                "cores": "cpu cores",
                "memory": "installed_memory_gib",
                "reserved_memory": "Memory reserved (GiB)",
                "vcpu_per_core": "vCPU ratio",
                "networks": "netwrks",
                "pools": "pools",
            },
            {("domains", "value")},
        ),
        (
            "pools",
            VOLUMES,
            {
                "name": "Volume",
                "domains": "Array",
                "capacity": "Total capacity (TB)",
                "used": "Used (TB)",
                "promised": "Provisioned (TB)",
                "floor": "Keep free %",
            },
            set(),
        ),
        (
            "pools",
            POOL_CELLS,
            {
                "name": "Pool name",
                "capacity": "Size",
                "used": "In use",
                "promised": "Allocated",
                "floor": "Minimum free",
            },
            {("domains", "value")},
        ),
        (
            "networks",
            SUBNETS,
            {
                "name": "VLAN name",
                "vlan": "VLAN ID",
                "prefix": "Network address + Netmask",
                "gateway": "Default gateway",
                "dns_servers": "Name servers",
                "taken": "Used addresses",
            },
            set(),
        ),
        (
            "guests",
            MACHINES,
            {
                "name": "Virtual machine",
                "host": "Runs on",
                "vcpus": "vCPU count",
                "memory": "Memory size",
                "pool": "Where",
                "disk": "Disk total (GB)",
            },
            {("memory", "unit"), ("disk", "decimal")},
        ),
        ("domains", PLANT, {"name": "Location", "kind": "Type", "inside": "Part of"}, set()),
    ],
    ids=["servers", "nodes", "volumes", "pool-cells", "subnets", "machines", "plant"],
)
def test_a_map_is_proposed(
    tmp_path: Path, table: str, text: str, headings: dict[str, str], asked: set[tuple[str, str]]
) -> None:
    _, found, sources = propose(tmp_path, table, text)
    assert {name: " + ".join(s.headings) for name, s in sources.items() if s.headings} == headings
    assert {(source.column, key) for source, key in open_questions(found)} == asked
    assert all(source.reason for source in found.sources)
    assert not found.settled


def test_reasons_and_sureness_are_told(tmp_path: Path) -> None:
    _, _, nodes = propose(tmp_path, "hosts", NODES)
    assert (nodes["networks"].sureness, nodes["networks"].reason) == (
        Sureness.LIKELY,
        '"netwrks" is like "networks"; separated by \'|\'',
    )
    assert (nodes["memory"].sureness, nodes["memory"].reason) == (
        Sureness.SURE,
        '"installed_memory_gib" is a word for it; GiB = 2^30 bytes',
    )
    _, _, guests = propose(tmp_path, "guests", MACHINES)
    assert (guests["pool"].sureness, guests["pool"].reason) == (
        Sureness.LIKELY,
        "its cells are names of pools",
    )
    assert guests["memory"].unit == OPEN
    assert guests["memory"].reason == (
        '"Memory size" is a word for it; the cells say GB: powers of 1000 (write GB) or of 1024 (write GiB)?'
    )
    _, _, servers = propose(tmp_path, "hosts", SERVERS)
    assert servers["memory"].reason == (
        '"RAM (GB)" is a word for it; the heading says GB: 10^9 bytes (write GB) or 2^30 (write GiB)?'
    )


def test_titles_sums_and_the_form_are_found(tmp_path: Path) -> None:
    export, found, sources = propose(tmp_path, "hosts", SERVERS)
    assert (export.form, export.heading_line) == ("text in UTF-8, columns separated by semicolon", 4)
    assert found.passed_over == ("Total",)
    assert sources["memory"].decimal == ","
    assert [row.line for row in export.rows] == [5, 6, 7]


def test_cells_that_do_not_look_like_the_column_are_asked(tmp_path: Path) -> None:
    _, found, sources = propose(tmp_path, "networks", "name,cidr\nom-a,red\nom-b,blue\n")
    assert (
        sources["prefix"].reason
        == '"cidr" is a word for it, but its cells do not look like network: is it the one?'
    )
    assert [(source.column, key) for source, key in open_questions(found)] == [("prefix", "heading")]


def test_a_file_without_headings_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as caught:
        propose(tmp_path, "hosts", "1,2\n3,4\n")
    assert caught.value.faults[0].what == "no row of the first 40 looks like the headings of hosts"


def test_headings_of_two_rows_are_read_as_one(tmp_path: Path) -> None:
    text = "Host,Memory,,Rack\n,total (GiB),reserved (GiB),\nom-h01,384,16,om-r1\n"
    export, _, sources = propose(tmp_path, "hosts", text)
    assert (export.headings, export.heading_line) == (
        ("Host", "Memory total (GiB)", "Memory reserved (GiB)", "Rack"),
        2,
    )
    assert (sources["memory"].headings, sources["reserved_memory"].headings) == (
        ("Memory total (GiB)",),
        ("Memory reserved (GiB)",),
    )


@pytest.mark.parametrize(
    ("encoding", "told"),
    [
        ("utf-8-sig", "UTF-8 with a byte order mark"),
        ("cp1252", "Windows-1252, since it is not UTF-8"),
        ("utf-16", "UTF-16"),
    ],
)
def test_the_encoding_is_found_and_told(tmp_path: Path, encoding: str, told: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("Host;Rack\nFähre;é\n".encode(encoding))
    grid = read_delimited(path)
    assert grid.form == f"text in {told}, columns separated by semicolon"
    assert [cell.text for cell in grid.rows[1][1]] == ["Fähre", "é"]


def test_every_column_has_words_and_no_others() -> None:
    assert {table.noun: [c.heading for c in table.columns] for table in TABLES} == {
        noun: list(words) for noun, words in TRADE_WORDS.items()
    }
    assert json.dumps(TRADE_WORDS).islower()
