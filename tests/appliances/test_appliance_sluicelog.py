"""The interpreter with the Sluicelog profile keeps the port's promises at real stand-ins."""

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from staddle.appliances.interpreter import ProfiledAppliance
from staddle.design.profile import Profile
from staddle.design.reader import read_model
from staddle.jobs.wire import RealWire
from staddle.kernel import OutsideFailed
from staddle.plan.looks import NotYet
from staddle.plan.ports import Target
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Secret
from tests.appliances.appliance_suite import ApplianceSuite, Party, do, form
from tests.standin.cluster import PASSWORD, StandIns

PROFILE = Path(__file__).parents[2] / "src/staddle/appliances/profiles/sluicelog.yaml"


def party_of(members: StandIns) -> Party:
    block = members.block.rpartition(".")[0]
    wire = RealWire(lambda address, port: (f"{block}.{address.rpartition('.')[2]}", port))
    profile = read_model(PROFILE.read_text(), Profile, where="sluicelog").value
    first, second, third = (
        Target(
            member=member.name.partition(".")[0],
            address=member.address,
            port=member.port,
            pinned=Fingerprint.parse(member.fingerprint()),
            user=profile.user,
            secret=Secret(PASSWORD),
        )
        for member in members
    )
    return Party(
        appliance=ProfiledAppliance(profile, wire),
        targets=(first, second, third),
        names=(members[0].name, members[1].name, members[2].name),
        version="4.2.0",
        processors=4,
        memory_mib=8192,
        act="start",
        look="look-started",
    )


@pytest.fixture(scope="class")
def members(tmp_path_factory: pytest.TempPathFactory) -> Iterator[StandIns]:
    with StandIns(tmp_path_factory.mktemp("members"), count=3, speed=0.15) as started:
        yield started


@pytest.fixture(scope="class")
def party(members: StandIns) -> Party:
    made = party_of(members)
    form(made)
    return made


@pytest.mark.xdist_group("appliance-sluicelog")
class TestSluicelog(ApplianceSuite):
    pass


@pytest.mark.xdist_group("appliance-sluicelog-secrets")
class TestSluicelogSecrets:
    """What the appliance itself says of a join secret that cannot serve."""

    def told(self, party: Party, secret: Secret) -> str:
        with pytest.raises(OutsideFailed) as caught:
            do(party.appliance.join(party.targets[2], party.targets[0], secret))
        return caught.value.text()

    def test_a_used_secret_is_refused(self, party: Party, members: StandIns) -> None:
        secret = do(party.appliance.issue_join_secret(party.targets[0], party.names[2], 600))
        do(party.appliance.join(party.targets[2], party.targets[0], secret))
        members[0].call("DELETE", f"members/{party.names[2]}")
        members[2].end()
        for path in sorted(members[2].state.rglob("*"), reverse=True):
            path.unlink()  # a machine made anew under the same name
        members[2].console.unlink()
        members[2].start().wait_healthy()
        anew = replace(party.targets[2], pinned=Fingerprint.parse(members[2].fingerprint()))
        fresh = replace(party, targets=(party.targets[0], party.targets[1], anew))
        assert isinstance(do(fresh.appliance.view(anew)), NotYet)
        assert self.told(fresh, secret) == (
            "error: level3 refuses: this join secret has been used; each is good for one join\n"
            f"  where: act join at 192.0.2.13 port {anew.port}, status 403\n"
            "  try:   mend what it names, then run the same command again"
        )

    def test_an_expired_secret_is_refused(self, party: Party, members: StandIns) -> None:
        pinned = Fingerprint.parse(members[2].fingerprint())
        third = replace(party.targets[2], pinned=pinned)
        fresh = replace(party, targets=(party.targets[0], party.targets[1], third))

        async def expired() -> str:
            secret = await party.appliance.issue_join_secret(party.targets[0], party.names[2], 1)
            loop = asyncio.get_running_loop()
            end = loop.create_future()
            loop.call_later(1.05, end.set_result, None)  # its lifetime is what has to pass
            await end
            with pytest.raises(OutsideFailed) as caught:
                await fresh.appliance.join(third, party.targets[0], secret)
            return caught.value.text()

        assert (
            do(expired()).splitlines()[0]
            == "error: level3 refuses: this join secret has expired; issue a new one"
        )
