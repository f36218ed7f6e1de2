"""Each check of a proof fails on its own deviation and on nothing else; what was not looked at is never good."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.kernel import canonical_json, from_json, pretty_json
from staddle.proof.judge import judge
from staddle.proof.model import Check, Exchange, Expected, Observation, Proof
from tests.proof.observations import AT, DEVIATIONS, NAMES, expected, fqdn, good_observation


def test_a_cluster_in_order_is_proven_with_every_check() -> None:
    proof = judge(expected(), good_observation(), rounds=2)
    assert (proof.good, proof.failed(), proof.rounds, proof.at) == (True, (), 2, AT)
    # By hand: 2 + 7 of each member itself, 5 of each view and 3 of each of its 3 rows, 1 write and 2 reads each.
    assert len(proof.checks) == 3 * (2 + 7 + 5 + 3 * 3 + 1 + 2)
    assert {check.subject for check in proof.checks} == set(NAMES)


@pytest.mark.parametrize("who", NAMES)
@pytest.mark.parametrize("deviation", DEVIATIONS)
def test_exactly_its_own_checks_fail(deviation: str, who: str) -> None:
    bend, bad = DEVIATIONS[deviation]
    proof = judge(expected(), bend(good_observation(), who))
    assert (proof.good, set(proof.failed())) == (False, set(bad(who)))


def test_the_first_member_can_be_the_odd_one_out() -> None:
    # Two against one: the one is named, although it comes first.
    bend, bad = DEVIATIONS["another cluster with another leader"]
    proof = judge(expected(), bend(good_observation(), "levels-1"))
    assert {check.subject for check in proof.failed()} == {"levels-1"}
    assert set(proof.failed()) == set(bad("levels-1"))


@given(
    st.lists(st.tuples(st.sampled_from(sorted(DEVIATIONS)), st.sampled_from(NAMES)), min_size=1, max_size=1)
)
def test_any_single_deviation_makes_the_proof_bad(bends: list[tuple[str, str]]) -> None:
    seen = good_observation()
    for name, who in bends:
        seen = DEVIATIONS[name][0](seen, who)
    proof = judge(expected(), seen)
    assert not proof.good
    assert proof.failed()


@given(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from(NAMES),
)
def test_the_clock_is_good_exactly_within_the_bound(offset_ms: float, who: str) -> None:
    seen = good_observation()
    rows = [
        replace(s, health=replace(s.health, clock_offset_ms=offset_ms))
        if s.member == who and s.health is not None
        else s
        for s in seen.members
    ]
    proof = judge(expected(), replace(seen, members=tuple(rows)))
    assert proof.good is (-100 <= offset_ms <= 100)


@given(st.permutations(range(3)), st.permutations(range(3)))
def test_the_order_of_looking_does_not_matter(members: list[int], exchanges: list[int]) -> None:
    seen = good_observation()
    mixed = Observation(
        at=seen.at,
        members=tuple(seen.members[i] for i in members),
        exchanges=tuple(seen.exchanges[i] for i in exchanges),
    )
    assert judge(expected(), mixed).checks == judge(expected(), seen).checks


def test_nothing_looked_at_proves_nothing() -> None:
    proof = judge(expected(), Observation(at=AT, members=(), exchanges=()))
    assert not any(check.good for check in proof.checks)
    assert {sight.mark for sight in proof.sights} == {"silent"}


def test_after_a_take_over_the_deputy_leads_and_that_is_good() -> None:
    seen = good_observation()
    rows = [
        replace(s, view=replace(s.view, leader=fqdn("levels-2"), deputy=""))
        for s in seen.members
        if s.view is not None
    ]
    assert judge(expected(), replace(seen, members=tuple(rows))).good


def test_a_single_member_reads_its_own_write() -> None:
    whole = expected()
    alone = Expected(
        cluster=whole.cluster, version=whole.version, most_offset_ms=100, members=whole.members[:1]
    )
    saw = good_observation().members[0]
    assert saw.view is not None
    saw = replace(saw, view=replace(saw.view, members=saw.view.members[:1], deputy=""))
    exchange = Exchange(writer="levels-1", value="x", written=True, reads=(("levels-1", "x"),))
    assert judge(alone, Observation(at=AT, members=(saw,), exchanges=(exchange,))).good
    lost = replace(exchange, reads=(("levels-1", None),))
    assert judge(alone, Observation(at=AT, members=(saw,), exchanges=(lost,))).failed() == (
        Check(
            name="a read of what levels-1 wrote", subject="levels-1", good=False, expected="x", seen="nothing"
        ),
    )


def marks(seen: Observation) -> list[list[str]]:
    """Who sees whom: a row a viewer, in the order of the members."""
    proof = judge(expected(), seen)
    cells = {(sight.viewer, sight.viewed): sight.mark for sight in proof.sights}
    assert len(cells) == len(proof.sights) == 9
    return [[cells[viewer, viewed] for viewed in NAMES] for viewer in NAMES]


def test_matrix_of_a_cluster_in_order() -> None:
    assert marks(good_observation()) == [
        ["self", "hears", "hears"],
        ["hears", "self", "hears"],
        ["hears", "hears", "self"],
    ]


@pytest.mark.parametrize(
    ("deviation", "row"),
    [
        ("a member not heard", ["hears", "lost", "self"]),
        ("a member not listed", ["hears", "unlisted", "self"]),
        ("no view", ["silent", "silent", "silent"]),
        ("not looked at", ["silent", "silent", "silent"]),
        ("no health", ["hears", "hears", "self"]),
    ],
)
def test_matrix_shows_the_deviation_in_the_viewers_row_only(deviation: str, row: list[str]) -> None:
    seen = DEVIATIONS[deviation][0](good_observation(), "levels-3")
    assert marks(seen) == [["self", "hears", "hears"], ["hears", "self", "hears"], row]


@pytest.mark.parametrize("deviation", [None, *DEVIATIONS])
def test_json_round_trip(deviation: str | None) -> None:
    seen = good_observation()
    if deviation is not None:
        seen = DEVIATIONS[deviation][0](seen, "levels-2")
    proof = judge(expected(), seen)
    assert from_json(pretty_json(proof), Proof) == proof
    assert from_json(canonical_json(seen), Observation) == seen
    assert from_json(canonical_json(expected()), Expected) == expected()
