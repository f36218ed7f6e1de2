"""The difference between two surveys: what was changed by hand is what is told."""

from dataclasses import replace
from datetime import date

from demo.ousemoor_estate import demo_estate
from staddle.estate.columns import LINKS, TABLES
from staddle.estate.difference import survey_difference
from staddle.estate.form import HINTS, form_html

ESTATE = demo_estate(surveyed=date(2026, 11, 2))


def test_no_difference_even_in_another_order() -> None:
    first = ESTATE.hosts[0]
    turned = replace(first, networks=first.networks[::-1])
    other = replace(ESTATE, hosts=(*ESTATE.hosts[:0:-1], turned))
    assert survey_difference(ESTATE, other) == ()


def test_added_gone_and_changed_with_units() -> None:
    first, second, *rest = ESTATE.hosts
    new = replace(second, name="om-h99")
    more = replace(first, memory_bytes=first.memory_bytes + 2**30, networks=())
    pool = replace(ESTATE.pools[0], used_bytes=10**12)
    after = replace(ESTATE, hosts=(more, new, *rest), pools=(pool, *ESTATE.pools[1:]))
    gib = first.memory_bytes // 2**30
    expected = [
        ("host changed", first.name, "memory", f"{gib} GiB", f"{gib + 1} GiB"),
        ("host changed", first.name, "networks", "; ".join(first.networks), ""),
        ("host gone", second.name, "", "", ""),
        ("host added", "om-h99", "", "", ""),
    ]
    told = [change.cells() for change in survey_difference(ESTATE, after)]
    assert sorted(told[:-1]) == sorted(expected)
    assert told[-1][:3] == ("pool changed", pool.name, "used")
    assert told[-1][4] == "1 TB"


def test_the_form_has_every_column_and_escapes() -> None:
    assert {table.noun: [c.heading for c in table.columns] for table in (*TABLES, LINKS)} == {
        noun: list(hints) for noun, hints in HINTS.items()
    }
    page = form_html("<Ouse & moor>", date(2026, 11, 2), rows=3)
    assert "&lt;Ouse &amp; moor&gt;" in page
    assert page.count("<article") == len(TABLES) + 1
    assert page.count("<td></td>") == 3 * sum(len(table.columns) for table in (*TABLES, LINKS))
