"""The command estate: the tables, what is left, who was promised what."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.screen import Screen
from staddle.jobs.estate import EstateReport, look_at_estate
from staddle.kernel import SystemClock, format_binary, format_decimal

__all__ = ["estate"]


def estate(folder: Path, *, json: Annotated[bool, Parameter(negative=())] = False) -> int:
    """Tell what the estate's tables say, what is left, and who was promised what.

    Example: staddle estate ousemoor

    Parameters
    ----------
    folder
        The folder of the estate's tables (docs/estate-tables.md).
    json
        Print one JSON document instead of text.
    """
    screen = Screen("estate", as_json=json)
    report = look_at_estate(folder, SystemClock().now())
    found = report.reading.estate
    screen.show(
        f"{found.name}: {len(found.hosts)} hosts, {len(found.pools)} pools, {len(found.guests)} guests"
    )
    screen.show(f"surveyed {found.surveyed} by {found.surveyed_by}: {report.age.text}")
    screen.show()
    screen.table("hosts", ("host", "stands in", "memory left", "vCPUs left"), _hosts(report))
    screen.show()
    screen.table("pools", ("pool", "left above the floor", "may still be promised"), _pools(report))
    if report.bookings:
        screen.show()
        rows = [(b.job, b.host, b.pool, b.made_by, f"{b.until:%Y-%m-%d %H:%M} UTC") for b in report.bookings]
        screen.table("bookings", ("job", "host", "pool", "by", "until"), rows)
    if report.reading.findings:
        screen.show()
        screen.findings(report.reading.findings)
    screen.document("read", report)
    return 0


def _hosts(report: EstateReport) -> Sequence[Sequence[str]]:
    return [
        (
            host.name,
            ", ".join(host.domains),
            format_binary(report.left.hosts[host.name].memory_bytes),
            str(report.left.hosts[host.name].vcpus),
        )
        for host in report.reading.estate.hosts
    ]


def _pools(report: EstateReport) -> Sequence[Sequence[str]]:
    return [
        (
            pool.name,
            format_decimal(report.left.pools[pool.name].free_bytes),
            format_decimal(report.left.pools[pool.name].promise_bytes),
        )
        for pool in report.reading.estate.pools
    ]
