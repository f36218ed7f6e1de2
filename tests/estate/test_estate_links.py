"""The table of links: optional, two sites a row, and the round trip with its unit."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo.ousemoor_estate import demo_estate
from staddle.estate.columns import LINKS
from staddle.estate.difference import survey_difference
from staddle.estate.model import Link
from staddle.estate.tables import read_estate
from staddle.estate.writing import write_estate
from staddle.kernel import InputRefused

ESTATE = replace(demo_estate(surveyed=date(2026, 11, 2)), links=())
SITES = [domain.name for domain in ESTATE.domains if domain.kind == "site"]


def written(folder: Path, rows: str) -> Path:
    """The demo's tables with these links."""
    write_estate(ESTATE, folder)
    (folder / "links.csv").write_text("name,sites,round_trip\n" + rows, encoding="utf-8")
    return folder


def test_an_estate_without_the_table_has_no_links_and_none_is_written(tmp_path: Path) -> None:
    write_estate(ESTATE, tmp_path)
    assert not (tmp_path / "links.csv").exists()
    assert read_estate(tmp_path).links == ()


def test_rows_are_read_with_their_unit(tmp_path: Path) -> None:
    rows = "duct,Ousemoor; Tollgate,1.8 ms\nline,Fennick's Lode; Ousemoor,0.014 s\n"
    assert read_estate(written(tmp_path, rows)).links == (
        Link(name="duct", sites=("Ousemoor", "Tollgate"), round_trip_us=1_800),
        Link(name="line", sites=("Fennick's Lode", "Ousemoor"), round_trip_us=14_000),
    )


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("a,Ousemoor,1 ms", 'links.csv:2:sites: link "a", sites: 1 site is named'),
        (
            "a,Ousemoor; Tollgate; Fennick's Lode,1 ms",
            'links.csv:2:sites: link "a", sites: 3 sites are named',
        ),
        ("a,Ousemoor; Ousemoor,1 ms", 'links.csv:2:sites: link "a", sites: "Ousemoor" stands twice'),
        ("a,Ousemoor; Tolgate,1 ms", 'links.csv:2:sites: link "a", sites: there is no site "Tolgate"'),
        ("a,Ousemoor; OM-R1,1 ms", 'links.csv:2:sites: link "a", sites: there is no site "OM-R1"'),
        ("a,Ousemoor; Tollgate,1.8", 'links.csv:2:round_trip: link "a", round_trip: "1.8" is not a duration'),
        (
            "a,Ousemoor; Tollgate,0 ms",
            'links.csv:2:round_trip: link "a", round_trip: "0 ms" is not from 0.001 ms',
        ),
        (
            "a,Ousemoor; Tollgate,20 s",
            'links.csv:2:round_trip: link "a", round_trip: "20 s" is not from 0.001 ms',
        ),
        ("a,Ousemoor; Tollgate,", 'links.csv:2:round_trip: link "a", round_trip: the cell is blank'),
    ],
)
def test_a_bad_row_is_told_with_its_place(tmp_path: Path, row: str, fault: str) -> None:
    with pytest.raises(InputRefused) as caught:
        read_estate(written(tmp_path, row + "\n"))
    (told,) = caught.value.faults
    assert f"{told.where.rpartition('/')[2]}: {told.what}".startswith(fault)


def test_a_name_stands_once(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match='there are two links "a"'):
        read_estate(written(tmp_path, "a,Ousemoor; Tollgate,1 ms\na,Ousemoor; Fennick's Lode,2 ms\n"))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.permutations(SITES).map(lambda sites: tuple(sites[:2])), st.integers(1, 10_000_000)),
        max_size=5,
    )
)
def test_what_is_written_reads_back(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[tuple[str, ...], int]]
) -> None:
    folder = tmp_path_factory.mktemp("links")
    links = tuple(Link(name=f"l{n}", sites=sites, round_trip_us=us) for n, (sites, us) in enumerate(rows))
    estate = replace(ESTATE, links=links)
    write_estate(estate, folder)
    assert read_estate(folder) == estate


def test_links_that_are_gone_are_gone_from_the_table(tmp_path: Path) -> None:
    link = Link(name="duct", sites=("Ousemoor", "Tollgate"), round_trip_us=400)
    write_estate(replace(ESTATE, links=(link,)), tmp_path)
    write_estate(ESTATE, tmp_path)
    assert read_estate(tmp_path).links == ()


def test_a_changed_round_trip_is_a_difference() -> None:
    before = Link(name="duct", sites=("Ousemoor", "Tollgate"), round_trip_us=400)
    after = replace(before, round_trip_us=6_500)
    changes = survey_difference(replace(ESTATE, links=(before,)), replace(ESTATE, links=(after,)))
    assert [change.cells() for change in changes] == [
        ("link changed", "duct", "round_trip", "0.4 ms", "6.5 ms")
    ]


def test_the_page_lists_the_same_columns() -> None:
    page = (Path(__file__).parents[2] / "docs" / "estate-tables.md").read_text(encoding="utf-8")
    section = page.split("\n## links.csv\n")[1].split("\n## ")[0]
    assert [line.split("`")[1] for line in section.splitlines() if line.startswith("| `")] == [
        column.heading for column in LINKS.columns
    ]
