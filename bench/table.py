"""The benches, in the order of the report. A new one is one more module with TITLE and measure(), and one more line here."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from bench import (
    digests_of_files,
    facts_of_an_archive,
    failures_of_hosts,
    items_of_a_descriptor,
    pages_of_a_large_estate,
    placement_at_scale,
    whole_commands,
)
from bench.measure import Measure

__all__ = ["BENCHES", "Bench"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """One bench. ``measure`` is given an empty folder that is removed afterwards."""

    name: str
    title: str
    measure: Callable[[Path], tuple[Measure, ...]]


BENCHES = (
    Bench(name="facts", title=facts_of_an_archive.TITLE, measure=facts_of_an_archive.measure),
    Bench(name="items", title=items_of_a_descriptor.TITLE, measure=items_of_a_descriptor.measure),
    Bench(name="digests", title=digests_of_files.TITLE, measure=digests_of_files.measure),
    Bench(name="failures", title=failures_of_hosts.TITLE, measure=failures_of_hosts.measure),
    Bench(name="pages", title=pages_of_a_large_estate.TITLE, measure=pages_of_a_large_estate.measure),
    Bench(name="commands", title=whole_commands.TITLE, measure=whole_commands.measure),
    Bench(name="place", title=placement_at_scale.TITLE, measure=placement_at_scale.measure),
)
