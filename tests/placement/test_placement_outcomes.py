"""The five outcomes, each its own type, and the same answer in every process."""

import subprocess
import sys
from dataclasses import replace

from staddle.kernel import canonical_json
from staddle.placement.cost import LEVELS
from staddle.placement.data import Tables
from staddle.placement.model import (
    BestShown,
    GoodWithBound,
    InputInvalid,
    NoneExists,
    NotFoundInTime,
    Seat,
)
from staddle.placement.solve import solve
from tests.placement.questions import GIB, bins, host, member, ousemoor
from tests.placement.test_placement_packing import N1C1W1_B, T60_00


def test_best_is_shown_when_every_level_was_proven() -> None:
    outcome = solve(ousemoor())
    assert isinstance(outcome, BestShown)
    # One member a rack, each with the pool of its rack: nothing shared. 64 GiB taken before and 16 of 128 GiB; 1 TB and
    # 100 GB of 2 TB. Like members stand in table order: hosts 0, 2, 4 and pools 0, 1, 2 by weights 3, 2, 1.
    assert dict(outcome.placement.levels) == {
        "shared fate": 0,
        "movement": 0,
        "host fill": 625,
        "pool fill": 550,
        "fill after a failure": 0,  # no reserve is asked for
        "table order": 0 * 3 + (2 + 1) * 2 + (4 + 2) * 1,
    }
    assert [seat.host for seat in outcome.placement.seats] == ["om-h1", "om-h3", "om-h5"]


def test_fullest_host_is_as_empty_as_can_be() -> None:
    problem = ousemoor()
    hosts = tuple(
        replace(row, memory_bytes=row.memory_bytes + 8 * GIB)
        if row.name in ("om-h2", "om-h4", "om-h6")
        else row
        for row in problem.hosts
    )
    outcome = solve(replace(problem, hosts=hosts))
    assert isinstance(outcome, BestShown)
    assert [seat.host for seat in outcome.placement.seats] == ["om-h2", "om-h4", "om-h6"]


def test_good_with_bound_names_the_first_level_not_proven() -> None:
    outcome = solve(bins(N1C1W1_B, 100, 33), deterministic_limit_s=0.5)
    assert isinstance(outcome, GoodWithBound)
    assert outcome.level in LEVELS
    assert outcome.bound < outcome.reached == dict(outcome.placement.levels)[outcome.level]


def test_none_exists_when_a_rule_cannot_be_met_by_anything_on_the_estate() -> None:
    problem = ousemoor(members=(member("sl1", networks=("mgmt", "telemetry")),), majority_kinds=())
    outcome = solve(problem)
    assert isinstance(outcome, NoneExists)
    assert [(rule.name, rule.text) for rule in outcome.conflict] == [
        ("networks", "a host has every network that its member is attached to: mgmt, telemetry")
    ]
    assert outcome.irreducible


def test_not_found_in_time_claims_nothing() -> None:
    outcome = solve(bins(T60_00, 1000, 20), deterministic_limit_s=0.01)
    assert outcome == NotFoundInTime(limit="0.01 deterministic seconds of search")


def test_invalid_input_lists_every_fault() -> None:
    problem = ousemoor(
        members=(
            member("sl1", pinned_to="om-h7", leads="first"),
            member("sl1", site="ousemor", leads="first"),
            member("sl2", keep_out=("om-r9",), memory_bytes=-1),
        ),
        apart=("host", "rak"),
        allowed_pools=("pool-om-r4",),
        hosts=(host("om-h1", "om-r1", pools=("pool-om-r7",)), host("om-h1", "om-r1")),
        settled=(Seat(member="sl2", host="x", disks=()), Seat(member="sl2", host="x", disks=())),
    )
    outcome = solve(problem)
    assert isinstance(outcome, InputInvalid)
    assert [fault.what for fault in outcome.faults] == [
        'member "sl1" is there 2 times',
        'host "om-h1" is there 2 times',
        'settled seat of member "sl2" is there 2 times',
        "memory_bytes is -1, at least 0 is expected",
        'sl1 and sl1 all have leads "first"',
        'there is no host "om-h7"',
        'there is no site "ousemor"',
        'there is no host, pool or domain "om-r9"',
        'there is no pool "pool-om-r4"',
        'there is no kind of domain "rak"',
        'there is no pool "pool-om-r7"',
    ]
    assert 'did you mean "ousemoor"?' in [fault.mend for fault in outcome.faults]


def test_question_without_members_hosts_or_pools_is_invalid() -> None:
    outcome = solve(ousemoor(members=(), hosts=(), apart=("host",)))
    assert isinstance(outcome, InputInvalid)
    assert [fault.what for fault in outcome.faults] == [
        "there is no member to place",
        "the estate has no host",
    ]
    outcome = solve(ousemoor(pools=(), hosts=(host("om-h1", "om-r1", pools=()),)))
    assert isinstance(outcome, InputInvalid)
    assert [fault.what for fault in outcome.faults] == ["the estate has no pool, but members have disks"]


def test_progress_is_told() -> None:
    told: list[str] = []
    solve(ousemoor(), progress=told.append)
    assert told[0] == "looking for any placement"
    assert any(line.startswith("least host fill, so far ") for line in told)


def test_same_answer_in_every_process() -> None:
    # Each process orders its sets of text differently, which would show in an answer that depends on it. The second
    # question ends at its limit.
    program = (
        "import sys\n"
        "from staddle.kernel import canonical_json\n"
        "from staddle.placement.solve import solve\n"
        "from tests.placement.questions import bins, ousemoor\n"
        "from tests.placement.test_placement_packing import N1C1W1_B\n"
        "outcomes = (solve(ousemoor(apart=('host',))), solve(bins(N1C1W1_B[:24], 100, 20), deterministic_limit_s=0.2))\n"
        "sys.stdout.buffer.write(canonical_json(outcomes))\n"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", program],
            check=True,
            capture_output=True,
            env={"PYTHONPATH": ":".join(sys.path)},
        ).stdout
        for _ in range(2)
    ]
    assert runs[0] == runs[1]
    assert len(runs[0]) > 1000
    assert canonical_json(solve(ousemoor(apart=("host",)))) in runs[0]


def test_stretched_domain_and_site_are_not_shared_fate_below_a_site() -> None:
    problem = ousemoor(
        hosts=(
            host("a", "r1", domains=(("room", "both"), ("site", "ousemoor"))),
            host("b", "r2", domains=(("room", "both"), ("site", "tollgate"))),
        )
    )
    below = {(fate.kind, fate.name): fate.below_site for fate in Tables(problem).fates}
    assert below["room", "both"] is False
    assert below["site", "ousemoor"] is False
    assert below["host", "a"] is True
