"""The promises of the Appliance port as one suite, on real processes. A test class derives from it and gives a party.

Held here: looking changes nothing; a repeat leaves what once leaves; a clear "no" is OutsideFailed and never unknown;
nothing is sent to another certificate; a join secret serves once, for one member.
"""

import asyncio
from collections.abc import Coroutine
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import pytest

from staddle.appliances.interpreter import ProfiledAppliance
from staddle.kernel import OutcomeUnknown, OutsideFailed
from staddle.plan.looks import NotYet, Seen
from staddle.plan.ports import Health, Target, View, WrongCertificate
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Secret

__all__ = ["CLUSTER", "ApplianceSuite", "Party", "do"]

CLUSTER = "Ousemoor levels"
T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Party:
    """Three nodes: the first founded, the second joined it, the third is alone. ``act``, ``look``: of one cluster step."""

    appliance: ProfiledAppliance
    targets: tuple[Target, Target, Target]
    names: tuple[str, str, str]
    version: str
    processors: int
    memory_mib: int
    act: str
    look: str


def do(work: Coroutine[Any, Any, T]) -> T:
    """Run one call."""
    return asyncio.run(asyncio.wait_for(work, 40))


def form(party: Party) -> None:
    """Found on the first, let the second join."""
    first, second, _ = party.targets
    do(party.appliance.found(first, CLUSTER))
    secret = do(party.appliance.issue_join_secret(first, party.names[1], 600))
    do(party.appliance.join(second, first, secret))

    async def both_seen() -> None:
        while True:
            views = [await party.appliance.view(target) for target in (first, second)]
            if all(isinstance(v, View) and len([m for m in v.members if m.heard]) == 2 for v in views):
                return
            await asyncio.sleep(0.05)

    do(both_seen())


class ApplianceSuite:
    """Derive from it and give the fixture ``party``, made once for the class."""

    def refused(self, work: Coroutine[Any, Any, object]) -> str:
        with pytest.raises(OutsideFailed) as caught:
            do(work)
        assert not isinstance(caught.value, OutcomeUnknown), "a clear no is not an unknown outcome"
        return str(caught.value)

    def view(self, party: Party, number: int) -> View:
        view = do(party.appliance.view(party.targets[number]))
        assert isinstance(view, View)
        return view

    def test_health_tells_what_the_node_is_without_credentials(self, party: Party) -> None:
        bare = replace(party.targets[2], user="", secret=None)
        health = do(party.appliance.health(bare))
        assert isinstance(health, Health)
        assert (health.healthy, health.in_cluster, health.name) == (True, False, party.names[2])
        assert (health.version, health.processors) == (party.version, party.processors)
        assert health.memory_mib == party.memory_mib
        assert abs(health.clock_offset_ms) < 1000  # the same clock; the rest is the way there and back
        member = do(party.appliance.health(party.targets[1]))
        assert isinstance(member, Health)
        assert member.in_cluster

    def test_a_node_that_is_in_no_cluster_is_not_yet(self, party: Party) -> None:
        assert isinstance(do(party.appliance.view(party.targets[2])), NotYet)

    def test_all_see_the_same_cluster_with_the_certificates_that_were_confirmed(self, party: Party) -> None:
        views = [self.view(party, number) for number in (0, 1)]
        assert views[0].cluster_id == views[1].cluster_id != ""
        for view in views:
            assert (view.cluster, view.leader, view.deputy) == (CLUSTER, party.names[0], "")
            assert {(m.name, m.address, m.fingerprint) for m in view.members} == {
                (name, target.address, target.pinned.text)
                for name, target in zip(party.names[:2], party.targets[:2], strict=True)
            }

    def test_founding_and_joining_again_change_nothing(self, party: Party) -> None:
        before = self.view(party, 0), self.view(party, 1)
        do(party.appliance.found(party.targets[0], CLUSTER))
        secret = do(party.appliance.issue_join_secret(party.targets[0], party.names[2], 600))
        do(party.appliance.join(party.targets[1], party.targets[0], secret))
        after = self.view(party, 0), self.view(party, 1)
        assert [view.cluster_id for view in after] == [view.cluster_id for view in before]
        assert [len(view.members) for view in after] == [2, 2]

    def test_looking_changes_nothing(self, party: Party) -> None:
        do(party.appliance.carry_act(party.act, party.targets[0], {}))
        before = self.view(party, 1)
        for target in party.targets:
            do(party.appliance.health(target))
            do(party.appliance.view(target))
            do(party.appliance.accepts(target))
        do(party.appliance.read(party.targets[0], "never-written"))
        do(party.appliance.look_act(party.look, party.targets[0], {"cluster": CLUSTER}))
        assert self.view(party, 1) == before

    def test_a_secret_for_one_member_serves_no_other(self, party: Party) -> None:
        secret = do(party.appliance.issue_join_secret(party.targets[0], "level9.ousemoor.example", 600))
        said = self.refused(party.appliance.join(party.targets[2], party.targets[0], secret))
        assert secret.unsafe_reveal() not in said
        assert isinstance(do(party.appliance.view(party.targets[2])), NotYet)

    def test_a_new_secret_ends_the_earlier_unused_one(self, party: Party) -> None:
        leader, name = party.targets[0], party.names[2]
        earlier = do(party.appliance.issue_join_secret(leader, name, 600))
        later = do(party.appliance.issue_join_secret(leader, name, 600))
        assert earlier != later
        self.refused(party.appliance.join(party.targets[2], leader, earlier))
        assert len(self.view(party, 0).members) == 2

    def test_an_invented_secret_is_refused_and_not_repeated_in_the_error(self, party: Party) -> None:
        invented = Secret("an-invented-secret-of-43-characters-or-so-x")
        said = self.refused(party.appliance.join(party.targets[2], party.targets[0], invented))
        assert "invented" not in said

    def test_a_leader_with_another_fingerprint_than_told_is_not_joined(self, party: Party) -> None:
        leader = replace(party.targets[0], pinned=Fingerprint(digest=bytes(32)))
        secret = do(party.appliance.issue_join_secret(party.targets[0], party.names[2], 600))
        self.refused(party.appliance.join(party.targets[2], leader, secret))
        assert isinstance(do(party.appliance.view(party.targets[2])), NotYet)

    def test_another_certificate_than_the_pinned_one_gets_nothing(self, party: Party) -> None:
        wrong = replace(party.targets[1], pinned=party.targets[0].pinned)
        with pytest.raises(WrongCertificate) as caught:
            do(party.appliance.view(wrong))
        seen, expected = party.targets[1].pinned.text, party.targets[0].pinned.text
        assert caught.value.faults[0].why == f"expected {expected}, seen {seen}"

    def test_only_the_right_password_is_accepted(self, party: Party) -> None:
        assert do(party.appliance.accepts(party.targets[0]))
        assert not do(party.appliance.accepts(replace(party.targets[0], secret=Secret("another-Word-77"))))
        assert do(party.appliance.accepts(party.targets[0])), "the next right one is accepted again"

    def test_what_is_written_through_one_is_read_through_the_other(self, party: Party) -> None:
        do(party.appliance.carry_act(party.act, party.targets[0], {}))
        for writer, reader in ((0, 1), (1, 0)):
            key, value = f"staddle-proof-{writer}", f'{writer}: 3,141 m ß "\\ {party.version}'
            do(party.appliance.write(party.targets[writer], key, value))
            assert do(party.appliance.read(party.targets[reader], key)) == value
        assert do(party.appliance.read(party.targets[1], "never-written")) is None

    def test_the_profiles_own_step_is_seen_once_it_was_carried_out(self, party: Party) -> None:
        values = {"cluster": CLUSTER, "leader": party.names[0], "deputy": ""}
        assert isinstance(do(party.appliance.look_act(party.look, party.targets[2], values)), NotYet)
        for _ in range(2):
            do(party.appliance.carry_act(party.act, party.targets[0], values))
            seen = do(party.appliance.look_act(party.look, party.targets[0], values))
            assert isinstance(seen, Seen)
            assert all(not name.endswith(" at") for name in seen.evidence)

    def test_a_new_password_holds_at_every_member_and_the_old_one_at_none(self, party: Party) -> None:
        first = party.targets[0].secret
        assert first is not None
        new = Secret("second-Word-34.7")
        try:
            do(party.appliance.change_password(party.targets[0], new))

            async def follow() -> None:
                other = replace(party.targets[1], secret=new)
                while not await party.appliance.accepts(other):  # noqa: ASYNC110  another process has no event
                    await asyncio.sleep(0.2)

            do(follow())
            for target in party.targets[:2]:
                assert do(party.appliance.accepts(replace(target, secret=new)))
                assert not do(party.appliance.accepts(target))
        finally:
            do(party.appliance.change_password(replace(party.targets[0], secret=new), first))
        assert do(party.appliance.accepts(party.targets[0]))
