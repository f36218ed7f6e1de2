"""Reading a folder of tables: values, defaults, and every fault at once with file:row:column."""

import codecs
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from staddle.estate.columns import TABLES, Table
from staddle.estate.model import Domain, Estate, Guest, Host, Network, Pool
from staddle.estate.tables import read_estate, survey_estate
from staddle.kernel import InputRefused, Severity

SOUND = {
    "survey.yaml": "name: Test estate\nsurveyed: 2026-11-02\nsurveyed_by: W. Marram\n",
    "domains.csv": "name,kind,inside\nOusemoor,site,\nOM-R1,rack,Ousemoor\nTollgate,site,\n",
    "hosts.csv": "name,domains,cores,memory,reserved_memory,vcpu_per_core,networks,pools\n"
    "om-h01,OM-R1,32,384 GiB,24 GiB,2,om-net,om-pool; om-local\n",
    "pools.csv": "name,domains,capacity,used,promised,floor\n"
    "om-pool,OM-R1,20 TB,12 TB,14 TB,15 %\nom-local,om-h01,2 TB,0 B,0 B,12.5%\n",
    "networks.csv": "name,prefix,gateway,taken\nom-net,192.0.2.0/25,192.0.2.1,192.0.2.1-192.0.2.9; 192.0.2.20\n",
    "guests.csv": "name,host,memory,vcpus,pool,disk\nom-time-01,om-h01,4 GiB,1,om-pool,40 GB\n",
}

Folder = Callable[..., Path]


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    """Writes the sound tables with some files replaced, by their stem."""

    def write(**other: str) -> Path:
        for name, content in SOUND.items():
            (tmp_path / name).write_text(other.get(name.partition(".")[0], content), encoding="utf-8")
        return tmp_path

    return write


def refused(folder: Path) -> list[str]:
    """The faults of a folder, each as one text with the folder's own path left out."""
    with pytest.raises(InputRefused) as caught:
        read_estate(folder)
    return ["\n".join(fault.lines()).replace(f"{folder}/", "") for fault in caught.value.faults]


def test_sound_tables_give_these_values(folder: Folder) -> None:
    gib = 1024**3
    assert read_estate(folder()) == Estate(
        name="Test estate",
        surveyed=date(2026, 11, 2),
        surveyed_by="W. Marram",
        domains=(
            Domain(name="Ousemoor", kind="site"),
            Domain(name="OM-R1", kind="rack", inside="Ousemoor"),
            Domain(name="Tollgate", kind="site"),
        ),
        hosts=(
            Host(
                name="om-h01",
                domains=("OM-R1",),
                cores=32,
                memory_bytes=384 * gib,
                reserved_memory_bytes=24 * gib,
                vcpu_per_core=2.0,
                cpu_level="",
                networks=("om-net",),
                pools=("om-pool", "om-local"),
            ),
        ),
        pools=(
            Pool(
                name="om-pool",
                domains=("OM-R1",),
                capacity_bytes=20 * 10**12,
                used_bytes=12 * 10**12,
                promised_bytes=14 * 10**12,
                floor_percent=15.0,
            ),
            Pool(
                name="om-local",
                domains=("om-h01",),
                capacity_bytes=2 * 10**12,
                used_bytes=0,
                promised_bytes=0,
                floor_percent=12.5,
            ),
        ),
        networks=(
            Network(
                name="om-net",
                prefix="192.0.2.0/25",
                gateway="192.0.2.1",
                taken=("192.0.2.1-192.0.2.9", "192.0.2.20"),
            ),
        ),
        guests=(
            Guest(
                name="om-time-01",
                host="om-h01",
                memory_bytes=4 * gib,
                vcpus=1,
                pool="om-pool",
                disk_bytes=40 * 10**9,
            ),
        ),
    )


def test_sound_tables_have_no_findings(folder: Folder) -> None:
    assert survey_estate(folder()).findings == ()


def test_byte_order_mark_and_windows_lines_make_no_difference(folder: Folder) -> None:
    plain = read_estate(folder())
    where = folder()
    for name in SOUND:
        text = (where / name).read_bytes().replace(b"\n", b"\r\n")
        (where / name).write_bytes(codecs.BOM_UTF8 + text)
    assert read_estate(where) == plain


def test_headings_in_any_order_and_case(folder: Folder) -> None:
    guests = "Disk,POOL, vcpus ,Memory,Host,Name,Restart Order\n40 GB,om-pool,1,4 GiB,om-h01,om-time-01,7\n\n,,,,,,\n"
    (guest,) = read_estate(folder(guests=guests)).guests
    assert (guest.name, guest.restart_order) == ("om-time-01", 7)


def test_unknown_column_is_kept_aside_and_mentioned(folder: Folder) -> None:
    guests = (
        SOUND["guests.csv"].replace("disk\n", "disk,restart_ordr,owner\n").replace("40 GB", "40 GB,5,stores")
    )
    reading = survey_estate(folder(guests=guests))
    assert [(c.file, c.heading, c.cells) for c in reading.aside] == [
        ("guests.csv", "restart_ordr", ("5",)),
        ("guests.csv", "owner", ("stores",)),
    ]
    assert [(f.rule, f.severity, f.mend) for f in reading.findings] == [
        ("unknown-column", Severity.NOTE, 'did you mean "restart_order"?'),
        ("unknown-column", Severity.NOTE, ""),
    ]


def test_many_unknown_columns_are_one_finding_but_for_a_near_name(folder: Folder) -> None:
    guests = (
        SOUND["guests.csv"]
        .replace("disk\n", "disk,restart_ordr,owner,power\n")
        .replace("40 GB", "40 GB,5,stores,on")
    )
    near, others = survey_estate(folder(guests=guests)).findings
    assert (near.mend, others.mend) == ('did you mean "restart_order"?', "")
    assert others.what == (
        'the columns "owner", "power" are kept aside: they are not among the headings of guests.csv'
    )
    assert others.where.endswith("guests.csv:1")


def test_faults_of_all_tables_are_told_at_once(folder: Folder) -> None:
    where = folder(
        survey="name: Test\nsurveyed: 2026-11-31\nsurveyd_by: W. Marram\n",
        domains="name,kind,inside\nOusemoor,site,\nOM-R1,rack,Ousmoor\n",
        hosts=SOUND["hosts.csv"] + "om-h01,OM-R2,0,384,24 GiB,2,om-nett,\n",
        guests=SOUND["guests.csv"] + "g2,om-h1,4 GiB,1,om-pol,40 GB\n",
    )
    assert refused(where) == [
        'surveyed: "2026-11-31" is not a day\n  where: survey.yaml:2:surveyed\n  try:   write for example 2026-10-01',
        'there is no key "surveyd_by"\n  where: survey.yaml:3:surveyd_by\n  try:   did you mean "surveyed_by"?',
        'the key "surveyed_by" is missing\n  where: survey.yaml\n  try:   add a line "surveyed_by: …"',
        'host "om-h01", cores: "0" is not a whole number from 1 to 4096\n  where: hosts.csv:3:cores',
        'host "om-h01", memory: "384" is not an amount of bytes\n  where: hosts.csv:3:memory\n'
        "  why:   a number and its unit are expected; MiB and MB differ by 5 %, so the unit is never guessed\n"
        '  try:   write for example "64 GiB", "500 GB" or "4096 B"',
        'there are two hosts "om-h01"\n  where: hosts.csv:3:name\n  why:   the first one stands in row 2\n'
        "  try:   rename one, or remove the row if it is the same one twice",
        'domain "OM-R1", inside: there is no domain "Ousmoor"\n  where: domains.csv:3:inside\n'
        '  try:   did you mean "Ousemoor"?',
        'guest "g2", host: there is no host "om-h1"\n  where: guests.csv:3:host\n  try:   did you mean "om-h01"?',
        'guest "g2", pool: there is no pool "om-pol"\n  where: guests.csv:3:pool\n  try:   did you mean "om-pool"?',
        'host "om-h01" stands in no site\n  where: hosts.csv:2:domains\n'
        "  why:   every host stands in exactly one domain of the kind site, directly or through others\n"
        "  try:   name a domain that stands inside its site",
    ]


HOST_ROW = "om-h01,OM-R1,32,384 GiB,24 GiB,2,om-net,om-pool; om-local"
POOL_ROW = "om-pool,OM-R1,20 TB,12 TB,14 TB,15 %"
NET_ROW = "om-net,192.0.2.0/25,192.0.2.1,192.0.2.1-192.0.2.9; 192.0.2.20"
GUEST_ROW = "om-time-01,om-h01,4 GiB,1,om-pool,40 GB"

WRONG_CELLS = [
    ("hosts", HOST_ROW, HOST_ROW.replace("32", "-4"), 'host "om-h01", cores: "-4" is not a whole number from 1 to 4096'),
    ("hosts", HOST_ROW, HOST_ROW.replace("32", "³²"), 'host "om-h01", cores: "³²" is not a whole number'),
    ("hosts", HOST_ROW, HOST_ROW.replace("384 GiB", "384 TiB"), 'host "om-h01", memory: "384 TiB" is not from 1 MiB to 256 TiB'),
    ("hosts", HOST_ROW, HOST_ROW.replace("24 GiB", "384 GiB"), 'host "om-h01", reserved_memory: 384 GiB of 384 GiB are kept for the host'),
    ("hosts", HOST_ROW, HOST_ROW.replace(",2,", ",nan,"), 'host "om-h01", vcpu_per_core: "nan" is not a number from 0.1 to 64'),
    ("hosts", HOST_ROW, HOST_ROW.replace("OM-R1", ""), 'host "om-h01", domains: the cell is blank'),
    ("hosts", HOST_ROW, HOST_ROW.replace("om-pool; om-local", "om-pool;;om-local"), 'host "om-h01", pools: "om-pool;;om-local" holds an empty entry'),
    ("hosts", HOST_ROW, HOST_ROW.replace("om-pool; om-local", "om-pool; om-pool"), 'host "om-h01", pools: "om-pool" stands twice'),
    ("hosts", HOST_ROW, HOST_ROW.replace("OM-R1", "OM-R1; Tollgate"), 'host "om-h01" stands in Ousemoor and Tollgate'),
    ("hosts", HOST_ROW, HOST_ROW + ",extra", "the row has 9 cells, there are 8 headings"),
    ("hosts", HOST_ROW, HOST_ROW.replace("om-h01", "OM-R1", 1), '"OM-R1" is the name of a host and of a domain'),
    ("hosts", HOST_ROW, HOST_ROW.replace("om-h01", '"om;h01"', 1), 'host "om;h01", name: "om;h01" holds a ";"'),
    ("hosts", HOST_ROW, HOST_ROW.replace("om-h01", "om\u200bh01", 1), "holds characters that cannot be printed"),
    ("pools", POOL_ROW, POOL_ROW.replace("15 %", "0.15"), 'pool "om-pool", floor: "0.15" is not a percentage'),
    ("pools", POOL_ROW, POOL_ROW.replace("15 %", "95 %"), 'pool "om-pool", floor: "95 %" is not from 0 % to 90 %'),
    ("pools", POOL_ROW, POOL_ROW.replace("12 TB", "21 TB"), 'pool "om-pool", used: 21 TB are written in a capacity of 20 TB'),
    ("pools", POOL_ROW, POOL_ROW.replace("14 TB", "-14 TB"), 'pool "om-pool", promised: "-14 TB" is not an amount of bytes'),
    ("networks", NET_ROW, NET_ROW.replace("2.0/25", "2.7/25"), 'network "om-net", prefix: "192.0.2.7/25" is not a network in CIDR form'),
    ("networks", NET_ROW, NET_ROW.replace(",192.0.2.1,", ",192.0.2.129,"), 'network "om-net", gateway: 192.0.2.129 is not in 192.0.2.0/25'),
    ("networks", NET_ROW, NET_ROW.replace("192.0.2.9", "192.0.2.0"), 'network "om-net", taken: "192.0.2.1-192.0.2.0" is not a range of addresses'),
    ("networks", NET_ROW, NET_ROW.replace("2.20", "2.200"), 'network "om-net", taken: 192.0.2.200 is not in 192.0.2.0/25'),
    ("guests", GUEST_ROW, GUEST_ROW.replace(",1,", ",1.5,"), 'guest "om-time-01", vcpus: "1.5" is not a whole number'),
    ("domains", "OM-R1,rack,Ousemoor", "OM-R1,rack,OM-R1", 'the domain "OM-R1" stands inside itself'),
]  # fmt: skip


@pytest.mark.parametrize(("stem", "before", "after", "message"), WRONG_CELLS)
def test_one_wrong_cell_is_told(folder: Folder, stem: str, before: str, after: str, message: str) -> None:
    content = SOUND[f"{stem}.csv"]
    assert before in content
    (fault, *rest) = refused(folder(**{stem: content.replace(before, after)}))
    # A renamed host may bring the rows that named it; a wrong cell brings nothing else.
    assert message in fault
    assert re.search(rf"where: {stem}\.csv:[23]", fault)
    assert all("there is no" in other for other in rest)
    if after.split(",")[0] == before.split(",")[0]:
        assert rest == []


def test_circle_of_three_domains_is_told_once(folder: Folder) -> None:
    domains = SOUND["domains.csv"] + "a,room,b\nb,room,c\nc,room,a\nd,room,a\n"
    (fault,) = refused(folder(domains=domains))
    assert '"a" inside "b" inside "c" inside "a"' in fault


def test_missing_table_is_one_fault(folder: Folder) -> None:
    where = folder()
    (where / "hosts.csv").unlink()
    (fault,) = refused(where)
    assert fault.startswith(
        "the table of hosts is missing\n  where: hosts.csv\n  try:   make the file; its headings are name, domains"
    )


def test_misspelt_heading_is_one_fault(folder: Folder) -> None:
    (fault,) = refused(folder(hosts=SOUND["hosts.csv"].replace("memory", "memmory", 1)))
    assert (
        fault == 'the column "memory" is missing\n  where: hosts.csv:1\n  try:   is it the column "memmory"?'
    )


def test_doubled_heading_is_refused(folder: Folder) -> None:
    (fault,) = refused(folder(domains="name,kind,inside,Name\n"))
    assert fault == 'the heading "name" stands twice\n  where: domains.csv:1:name\n  try:   keep one'


def test_semicolons_between_columns_are_recognised(folder: Folder) -> None:
    (fault,) = refused(folder(guests=SOUND["guests.csv"].replace(",", ";")))
    assert fault.startswith('the columns are separated by ";"\n  where: guests.csv:1')


def test_text_that_is_not_utf8_is_told_with_its_line(folder: Folder) -> None:
    where = folder()
    (where / "domains.csv").write_bytes("name,kind\nOusemoor,site\nMühle,rack\n".encode("latin-1"))
    (fault,) = refused(where)
    assert (
        fault
        == 'byte 26 of the file is not UTF-8\n  where: domains.csv:3\n  try:   save the table as "CSV UTF-8"'
    )


def test_open_quotation_mark_is_told(folder: Folder) -> None:
    (fault,) = refused(folder(guests=SOUND["guests.csv"] + '"om-x,om-h01\n'))
    assert "is not CSV: unexpected end of data" in fault


def test_row_number_counts_lines_inside_quotation_marks(folder: Folder) -> None:
    guests = SOUND["guests.csv"].replace("disk\n", "disk,remark\n").replace("40 GB", '40 GB,"two\nlines"')
    (fault,) = refused(folder(guests=guests + "g2,nowhere,4 GiB,1,om-pool,40 GB,\n"))
    assert "where: guests.csv:4:host" in fault


def test_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="there is no such folder of tables"):
        read_estate(tmp_path / "none")


@pytest.mark.parametrize(
    ("stem", "before", "after", "rule"),
    [
        ("guests", "4 GiB", "361 GiB", "guests-exceed-memory"),
        ("guests", ",1,", ",65,", "guests-exceed-vcpus"),
        ("pools", "12 TB", "17.5 TB", "pool-below-floor"),
        ("pools", "14 TB", "20.5 TB", "pool-beyond-promise"),
        ("guests", "40 GB", "15 TB", "disks-exceed-promise"),
        ("hosts", "om-pool; om-local", "om-local", "guest-out-of-reach"),
        ("networks", "192.0.2.0/25", "192.0.2.0/25,,\nwide,192.0.0.0/16", "networks-overlap"),
    ],
)
def test_strain_is_a_finding_and_no_error(
    folder: Folder, stem: str, before: str, after: str, rule: str
) -> None:
    content = SOUND[f"{stem}.csv"]
    assert before in content
    findings = survey_estate(folder(**{stem: content.replace(before, after)})).findings
    assert [finding.rule for finding in findings] == [rule]


def test_exactly_full_is_no_finding(folder: Folder) -> None:
    guests = SOUND["guests.csv"].replace("4 GiB,1,", "360 GiB,64,")
    pools = SOUND["pools.csv"].replace("12 TB,14 TB", "17 TB,20 TB")
    assert survey_estate(folder(guests=guests, pools=pools)).findings == ()


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.file)
def test_the_page_lists_the_same_columns(table: Table) -> None:
    page = (Path(__file__).parents[2] / "docs" / "estate-tables.md").read_text(encoding="utf-8")
    section = page.split(f"\n## {table.file}\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| `(\w+)` \|(.*)$", section, flags=re.MULTILINE)
    assert [heading for heading, _ in rows] == [column.heading for column in table.columns]
    assert [h for h, rest in rows if "column may be missing" not in rest] == [
        column.heading for column in table.columns if column.needed
    ]
