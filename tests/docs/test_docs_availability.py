"""The worked example of the page on availability: its rates, its steps and its result, by the program and from the page."""

import re
from pathlib import Path

import pytest

from staddle.survival.availability import availability_of
from staddle.survival.cluster import Cluster, Standing
from staddle.survival.exact import exact_share
from staddle.survival.formulas import k_of_n, minutes_down, share_down
from staddle.survival.parts import End, parts_of
from staddle.survival.rates import Origin, Quantity
from staddle.survival.ratesfile import read_rates
from tests.survival.clusters import only

PAGE = (Path(__file__).parents[2] / "docs" / "availability.md").read_text(encoding="utf-8")
RATES = only(
    [
        (Quantity.FAILURES, "host", 0.02),
        (Quantity.REPAIR, "host", 24),
        (Quantity.FAILURES, "service", 2),
        (Quantity.RESTART, "service", 0.5),
        (Quantity.FAILURES, "site", 0.1),
        (Quantity.REPAIR, "site", 4),
    ]
)
CLUSTER = Cluster(
    members=tuple(Standing(member=f"m{i}", domains=(("host", f"h{i}"), ("site", "s"))) for i in range(3))
)


def step(name: str) -> float:
    """The share of the table's row."""
    row = next(line for line in PAGE.splitlines() if line.startswith(f"| {name}"))
    return float(row.strip("|").split("|")[-1])


def test_the_steps_of_the_example_are_right() -> None:
    host, service = share_down(0.02 / 8760, 24.5), share_down(2 / 8760, 0.5)
    site = share_down(0.1 / 8760, 4.5)
    member = 1 - (1 - host) * (1 - service)
    two = 1 - k_of_n(2, [1 - member] * 3)
    for name, share in (
        ("host", host),
        ("service", service),
        ("a member", member),
        ("two or three", two),
        ("site", site),
    ):
        assert step(name) == pytest.approx(share, rel=1e-4), name
    assert step("the cluster") == pytest.approx(1 - (1 - two) * (1 - site), rel=1e-4)


def test_the_program_has_the_examples_result() -> None:
    exact = exact_share(CLUSTER, parts_of(CLUSTER, RATES, End.PESSIMISTIC))
    assert exact is not None
    assert exact.share == pytest.approx(step("the cluster"), rel=1e-4)
    told = re.search(
        r"That is ([\d.]+) minutes a year\. Without the site's failures it would be ([\d.]+) minutes", PAGE
    )
    assert told is not None
    assert minutes_down(exact.share) == pytest.approx(float(told[1]), abs=0.005)

    class Fixed:
        def token(self, length_bytes: int) -> bytes:
            return bytes(length_bytes)

    found = availability_of(CLUSTER, RATES, there_are={}, random=Fixed())
    assert found.causes[0].what == "site s, under m0, m1, m2"
    assert minutes_down(exact.share) - found.causes[0].minutes_high == pytest.approx(
        float(told[2]), abs=0.00005
    )


def test_the_rates_file_of_the_page_is_read() -> None:
    text = re.search(r"```yaml\n(.*?)```", PAGE, re.DOTALL)
    assert text is not None
    rates = read_rates(text[1], where="rates.yaml")
    failures = rates.get(Quantity.FAILURES, "host")
    assert (failures.point, failures.origin) == (3 / 240, Origin.MEASURED)
    assert rates.of_domain(Quantity.REPAIR, "host", "any").high == 24
    assert rates.of_domain(Quantity.FAILURES, "feed", "OM-feed-A").high == 1


def test_every_quantity_has_its_line() -> None:
    told = re.findall(r"^\| `([a-z-]+)` \|", PAGE, re.MULTILINE)
    assert told == ["what", *(str(one) for one in Quantity)]
