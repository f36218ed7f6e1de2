"""Whom a step speaks to: never somebody whose fingerprint was not confirmed, and with the password that is in force."""

from collections.abc import Mapping
from types import SimpleNamespace
from typing import cast

import pytest

from staddle.kernel import OurFault
from staddle.plan.ports import Tools
from staddle.plan.targets import ROTATED, fingerprint_of_member, target_of
from staddle.trust.secretnames import FIRST_PASSWORD, PASSWORD
from staddle.trust.secrets import Secret
from tests.rollout.plans import plan_of

PRINT = ":".join(["AB"] * 32)
SECRETS = {FIRST_PASSWORD: Secret("first-Password-1"), PASSWORD: Secret("second-Word-34.7")}


def tools(*seen: str) -> Tools:
    """What a target needs of the tools: the plan, the vault, the appliance's user, and what the journal has seen."""

    def evidence(step_id: str) -> Mapping[str, object] | None:
        return {"fingerprint": PRINT} if step_id in seen else None

    made = SimpleNamespace(
        plan=plan_of(2),
        vault=SimpleNamespace(get=SECRETS.__getitem__),
        appliance=SimpleNamespace(user="admin"),
        evidence=evidence,
    )
    return cast("Tools", made)


def test_a_member_that_was_not_confirmed_cannot_be_spoken_to() -> None:
    for ask in (target_of, fingerprint_of_member):
        with pytest.raises(OurFault) as caught:
            ask("level-2", tools("level-1/confirm-fingerprint"))
        assert str(caught.value) == (
            "error: level-2 has no confirmed fingerprint\n  why:   the plan lets a step speak to it too early"
        )


def test_without_a_secret_no_user_is_named() -> None:
    target = target_of("level-1", tools("level-1/confirm-fingerprint"))
    assert (target.user, target.secret) == ("", None)
    assert (target.address, target.port, target.pinned.text) == ("192.0.2.11", 8443, PRINT)


def test_the_new_password_holds_once_its_replacement_was_seen() -> None:
    before = target_of("level-1", tools("level-1/confirm-fingerprint"), secret=True)
    after = target_of("level-1", tools("level-1/confirm-fingerprint", ROTATED), secret=True)
    assert (before.user, before.secret) == ("admin", SECRETS[FIRST_PASSWORD])
    assert (after.user, after.secret) == ("admin", SECRETS[PASSWORD])


def test_a_given_secret_is_taken_as_it_is() -> None:
    mine = Secret("tried-Word-99")
    assert target_of("level-1", tools("level-1/confirm-fingerprint"), secret=mine).secret is mine
