"""A settled placement is kept while it is valid, and afterwards moved as little as possible."""

from dataclasses import replace

from staddle.placement.model import BestShown, Seat
from staddle.placement.solve import kept, solve
from tests.placement.questions import GIB, ousemoor

SETTLED = (
    Seat(member="sl1", host="om-h4", disks=(("data", "pool-om-r2"),)),
    Seat(member="sl2", host="om-h6", disks=(("data", "pool-om-r3"),)),
    Seat(member="sl3", host="om-h2", disks=(("data", "pool-om-r1"),)),
)


def test_valid_placement_is_kept_as_it_is() -> None:
    placement = kept(ousemoor(settled=SETTLED))
    assert placement is not None
    assert placement.seats == SETTLED


def test_kept_seats_are_told_in_the_order_of_the_members() -> None:
    placement = kept(ousemoor(settled=SETTLED[::-1]))
    assert placement is not None
    assert placement.seats == SETTLED


def test_solving_again_moves_nothing_that_is_as_good() -> None:
    outcome = solve(ousemoor(settled=SETTLED))
    assert isinstance(outcome, BestShown)
    assert outcome.placement.seats == SETTLED


def test_only_the_member_moves_whose_seat_became_invalid() -> None:
    problem = ousemoor(settled=SETTLED)
    full = tuple(replace(h, memory_bytes=15 * GIB) if h.name == "om-h6" else h for h in problem.hosts)
    problem = replace(problem, hosts=full)
    assert kept(problem) is None
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    assert outcome.placement.seats == (
        SETTLED[0],
        replace(SETTLED[1], host="om-h5"),
        SETTLED[2],
    )
    assert (
        dict(outcome.placement.levels)["movement"] == 1
    )  # the host, not the disk: om-h5 reaches the same pool
    assert "it was settled on om-h6" in dict(outcome.placement.reasons)["sl2"]


def test_host_that_left_the_estate_moves_its_member_only() -> None:
    problem = ousemoor(settled=SETTLED)
    problem = replace(problem, hosts=tuple(h for h in problem.hosts if h.name != "om-h2"))
    outcome = solve(problem)
    assert kept(problem) is None
    assert isinstance(outcome, BestShown)
    assert [seat.host for seat in outcome.placement.seats] == ["om-h4", "om-h6", "om-h1"]


def test_missing_seat_is_not_kept() -> None:
    assert kept(ousemoor(settled=SETTLED[:2])) is None
    assert kept(ousemoor()) is None
