"""placement.yaml: written and read back the same, and every fault told at once with its place."""

from datetime import date

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from staddle.kernel import InputRefused, digest_of
from staddle.placement.model import BestShown, Placement, Seat
from staddle.placement.paper import placement_text, read_placement
from staddle.placement.solve import solve
from tests.placement.questions import ousemoor

DAY = date(2026, 11, 20)
names = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12).filter(
    str.strip
)


def test_solved_placement_is_read_back() -> None:
    outcome = solve(ousemoor())
    assert isinstance(outcome, BestShown)
    digest = digest_of(ousemoor())
    text = placement_text(outcome.placement, problem_digest=digest, settled_by="E. Marsh", settled_on=DAY)
    settled = read_placement(text, "placement.yaml")
    assert settled.seats == outcome.placement.seats
    assert settled.reasons == outcome.placement.reasons
    assert (settled.settled_by, settled.settled_on, settled.problem_digest) == ("E. Marsh", DAY, digest)
    assert text.startswith("# The settled placement:")
    assert "kept while it is valid" in text


@given(
    seats=st.lists(
        st.builds(
            lambda member, host, disks: Seat(member=member, host=host, disks=tuple(disks)),
            names,
            names,
            st.lists(st.tuples(names, names), max_size=3),
        ),
        max_size=4,
        unique_by=lambda seat: seat.member,
    ),
    by=names,
)
def test_any_names_survive_the_round_trip(seats: list[Seat], by: str) -> None:
    placement = Placement(seats=tuple(seats))
    text = placement_text(placement, problem_digest="ab", settled_by=by, settled_on=DAY)
    settled = read_placement(text, "placement.yaml")
    assert settled.seats == placement.seats
    assert settled.settled_by == by


@given(
    name=st.sampled_from(["no", "1e3", "0x10", "null", "12:30:00", "2026-11-20", "~", "- a", "a: b", "# c"])
)
def test_names_that_look_like_other_values_stay_names(name: str) -> None:
    seats = (Seat(member=name, host=name, disks=((name, name),)),)
    text = placement_text(Placement(seats=seats), problem_digest="ab", settled_by=name, settled_on=DAY)
    # PyYAML as an outside reader of the same text.
    assert yaml.safe_load(text)["seats"] == [
        {"member": name, "host": name, "disks": [{"disk": name, "pool": name}]}
    ]
    assert read_placement(text, "p").seats == seats


def test_every_fault_is_told_with_its_place() -> None:
    text = """\
settled_by: "E. Marsh"
settled_on: tomorrow
seats:
  - member: sl1
    host: no
    rack: om-r1
    disks:
      - {disk: data, pool: pool-1, pool: pool-2}
  - member: sl1
    host: ""
    disks: none
"""
    with pytest.raises(InputRefused) as refused:
        read_placement(text, "job/placement.yaml")
    assert [(fault.where, fault.what) for fault in refused.value.faults] == [
        ("job/placement.yaml:1:1", 'the file lacks the field "problem_digest"'),
        ("job/placement.yaml:2:13", "settled_on is not a day"),
        ("job/placement.yaml:6:5", 'a seat has a field "rack"'),
        ("job/placement.yaml:5:11", "host is not text"),
        ("job/placement.yaml:8:36", 'a disk has the field "pool" twice'),
        ("job/placement.yaml:10:11", "host is empty"),
        ("job/placement.yaml:11:12", "disks is not a list"),
        ("job/placement.yaml:9:5", 'member "sl1" has two seats'),
    ]
    assert all(fault.mend for fault in refused.value.faults)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "the file has no fields"),
        ("- a", "the file has no fields"),
        ("seats: [", "this is not YAML: "),
        ("a: &x [*x]\n", 'the file has a field "a"'),
        ("!!python/object:os.system {}\n", 'the file lacks the field "settled_by"'),
    ],
)
def test_other_texts_are_refused(text: str, what: str) -> None:
    with pytest.raises(InputRefused) as refused:
        read_placement(text, "placement.yaml")
    assert refused.value.faults[0].what.startswith(what)
    assert refused.value.faults[0].where.startswith("placement.yaml")
