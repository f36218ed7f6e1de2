"""The by-hand platform keeps the promises as far as they apply: looks give cards until signed, effects are never called."""

import asyncio
from collections.abc import Awaitable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from staddle.kernel import OurFault
from staddle.plan.looks import Card, Look, NeedsPerson, Seen, Signature
from staddle.platforms.by_hand import ByHandPlatform
from tests.platforms.bench import TAG, plan_with, snapshot

PLAN = plan_with(TAG)
MEMBER = PLAN.members[0]
DISK = MEMBER.disks[0]
SIGNED = Signature(by="R. Fenwold", at=datetime(2026, 12, 5, 20, 5, tzinfo=UTC), entry="as on the card")
LOOKS = ("disk", "machine", "answers", "power", "ejected", "removed", "disk removed")


def look(platform: ByHandPlatform, what: str, signed: Signature | None) -> Look:
    made: dict[str, Awaitable[Look]] = {
        "disk": platform.look_disk(PLAN, MEMBER, DISK, signed),
        "machine": platform.look_machine(PLAN, MEMBER, signed),
        "answers": platform.look_answers(PLAN, MEMBER, signed),
        "power": platform.look_power(PLAN, MEMBER, signed),
        "ejected": platform.look_ejected(PLAN, MEMBER, signed),
        "removed": platform.look_removed(PLAN, MEMBER, signed),
        "disk removed": platform.look_disk_removed(PLAN, MEMBER, DISK, signed),
    }

    async def work() -> Look:
        looks = {name: await one for name, one in made.items()}
        return looks[what]

    return asyncio.run(work())


@pytest.fixture
def platform(tmp_path: Path) -> ByHandPlatform:
    return ByHandPlatform(tmp_path / "by-hand")


@pytest.mark.parametrize("what", LOOKS)
def test_an_unsigned_look_asks_with_a_card_that_says_what_to_do(platform: ByHandPlatform, what: str) -> None:
    seen = look(platform, what, None)
    assert isinstance(seen, NeedsPerson)
    assert seen.card.title
    assert seen.card.lines


def test_a_disk_that_is_only_a_difference_is_not_to_be_imported_alone(platform: ByHandPlatform) -> None:
    differing = replace(DISK, parents=("middle", "base"))
    seen = asyncio.run(platform.look_disk(PLAN, MEMBER, differing, None))
    assert isinstance(seen, NeedsPerson)
    assert seen.card.lines[-1] == (
        "By itself it is no disk: its file holds only what differs from middle, then base. "
        "Let the import of the package make it of all these files."
    )


@pytest.mark.parametrize("what", LOOKS)
def test_a_signed_look_is_recorded_as_signed_and_not_as_seen(platform: ByHandPlatform, what: str) -> None:
    assert look(platform, what, SIGNED) == Seen(
        evidence={
            "signed_by": "R. Fenwold",
            "signed_at": "2026-12-05T20:05:00+00:00",
            "seen": False,
            "note": "as on the card",
        }
    )


def test_looking_keeps_and_changes_nothing(platform: ByHandPlatform, tmp_path: Path) -> None:
    before = snapshot(tmp_path)
    for what in LOOKS:
        look(platform, what, None)
        look(platform, what, SIGNED)
    assert asyncio.run(platform.inventory(TAG)) == ()
    assert isinstance(asyncio.run(platform.read_console(PLAN, MEMBER)), Card)
    assert snapshot(tmp_path) == before


EFFECTS = {
    "deliver a disk": lambda p: p.deliver_disk(PLAN, MEMBER, DISK, None, lambda done, total: None),
    "create a machine": lambda p: p.create_machine(PLAN, MEMBER),
    "attach answers": lambda p: p.attach_answers(PLAN, MEMBER, b""),
    "power on": lambda p: p.power_on(PLAN, MEMBER),
    "eject answers": lambda p: p.eject_answers(PLAN, MEMBER),
    "remove a machine": lambda p: p.remove_machine(PLAN, MEMBER),
    "remove a disk": lambda p: p.remove_disk(PLAN, MEMBER, DISK),
}


@pytest.mark.parametrize("what", EFFECTS)
def test_no_effect_is_ever_carried_out_by_the_program(platform: ByHandPlatform, what: str) -> None:
    with pytest.raises(OurFault) as caught:
        asyncio.run(EFFECTS[what](platform))
    assert str(caught.value) == (
        f"error: the by-hand platform was asked to {what}\n  why:   only people do that there"
    )


def test_a_secret_answer_is_on_the_card_by_its_name_in_the_strongbox_only(platform: ByHandPlatform) -> None:
    seen = look(platform, "answers", None)
    assert isinstance(seen, NeedsPerson)
    assert seen.card.secret_values == (("sluicelog.admin_password", "administrator/first"),)
    assert seen.card.values == (("sluicelog.host_name", "level-1.ousemoor.example"),)


def test_the_tag_is_written_where_a_person_finds_it_and_asked_for_before_removal(
    platform: ByHandPlatform,
) -> None:
    made, gone = look(platform, "machine", None), look(platform, "removed", None)
    assert isinstance(made, NeedsPerson)
    assert isinstance(gone, NeedsPerson)
    assert f'Note in its description: "{TAG}".' in made.card.lines
    assert gone.card.lines[0] == (
        f"On host om-h1: check that the machine's description holds {TAG!r}. If not, stop."
    )


def test_an_address_is_reached_as_it_is(platform: ByHandPlatform) -> None:
    assert platform.reach("192.0.2.11", 8443) == ("192.0.2.11", 8443)
