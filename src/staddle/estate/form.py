"""A form for surveying by hand: the five tables with empty rows, one a page, to print. What is written goes to the tables."""

from dataclasses import dataclass
from datetime import date
from importlib import resources
from typing import Final

from staddle.estate.columns import LINKS, NO_DEFAULT, TABLES, Table
from staddle.kernel.cautions import CAUTIONS

__all__ = ["HINTS", "form_html"]

_ROWS: Final = 20  # as many as fit a page of A4 on its side with room to write

HINTS: Final[dict[str, dict[str, str]]] = {
    "domain": {
        "name": "as on its door",
        "kind": "site, room, rack, feed, array",
        "inside": "the domain it stands in",
    },
    "host": {
        "name": "",
        "domains": "rack, feed",
        "cores": "no threads",
        "memory": "with unit",
        "reserved_memory": "host's own",
        "vcpu_per_core": "at most",
        "cpu_level": "",
        "networks": "by name",
        "pools": "by name",
        "numa_nodes": "",
        "platform": "",
        "platform_version": "",
        "guest_overhead": "% of a guest's memory",
    },
    "pool": {
        "name": "",
        "domains": "array, or its host",
        "capacity": "with unit",
        "used": "written, with unit",
        "promised": "thin in full",
        "floor": "% that stays free",
        "promise_limit": "times capacity",
    },
    "network": {
        "name": "",
        "prefix": "such as 192.0.2.0/25",
        "gateway": "",
        "vlan": "1 to 4094",
        "mtu": "",
        "dns_servers": "",
        "taken": "addresses, first-last",
    },
    "guest": {
        "name": "",
        "host": "where it runs",
        "memory": "with unit",
        "vcpus": "",
        "pool": "of its disks",
        "disk": "all, thin in full",
        "restart_order": "smaller is first",
        "apart_group": "never together",
        "together_group": "on one host",
        "vcpu_per_core": "its class's limit",
        "networks": "by name",
    },
    "link": {"name": "", "sites": "the two of them", "round_trip": "there and back, ms"},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Head:
    heading: str
    hint: str
    is_needed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Page:
    title: str
    heads: tuple[_Head, ...]


def form_html(estate: str, made_on: date, *, rows: int = _ROWS) -> str:
    """The form as one page of HTML that fetches nothing; prints one table a page, on its side."""
    from jinja2 import Environment, StrictUndefined  # a quarter of the time that a command takes to start

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    text = resources.files("staddle.estate").joinpath("form.html.j2").read_text(encoding="utf-8")
    pages = tuple(_page(table) for table in (*TABLES, LINKS))
    return environment.from_string(text).render(
        estate=estate, made_on=made_on, pages=pages, rows=rows, cautions=CAUTIONS
    )


def _page(table: Table) -> _Page:
    return _Page(
        title=f"{table.noun}s",
        heads=tuple(
            _Head(
                heading=column.heading,
                hint=HINTS[table.noun][column.heading],
                is_needed=column.blank is NO_DEFAULT,
            )
            for column in table.columns
        ),
    )
