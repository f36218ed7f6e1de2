"""The strongbox of a job: made once, with the lock that the environment asks for; each rollout sees its own part."""

from pathlib import Path

import pytest

from staddle.jobs.vault import PASSPHRASE_VARIABLE, RolloutVault, open_strongbox
from staddle.kernel import InputRefused, StaddleError
from staddle.trust.secrets import HIDDEN, Secret
from staddle.trust.strongbox import KeyFileLock, PassphraseLock, Strongbox

FIRST, OTHER = Secret("first-Password-1"), Secret("other-Password-2")


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv(PASSPHRASE_VARIABLE, raising=False)
    folder = tmp_path / "private"
    folder.mkdir(mode=0o700)
    return folder / "strongbox.age"


def test_it_is_made_at_the_first_opening_and_found_at_the_next(path: Path) -> None:
    open_strongbox(path).put("a", FIRST)
    assert Strongbox.find_lock(path) is KeyFileLock
    assert open_strongbox(path).get("a") == FIRST


def test_a_passphrase_in_the_environment_locks_it(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PASSPHRASE_VARIABLE, "a long passphrase of several words")
    open_strongbox(path).put("a", FIRST)
    assert Strongbox.find_lock(path) is PassphraseLock
    assert open_strongbox(path).get("a") == FIRST
    monkeypatch.setenv(PASSPHRASE_VARIABLE, "another passphrase of several words")
    with pytest.raises(StaddleError, match="the passphrase does not open the strongbox"):
        open_strongbox(path)
    monkeypatch.delenv(PASSPHRASE_VARIABLE)
    with pytest.raises(InputRefused, match="locked with a passphrase, not a key file"):
        open_strongbox(path)


def test_a_rehearsals_secret_never_serves_a_rollout(path: Path) -> None:
    box = open_strongbox(path)
    rehearsal, rollout = RolloutVault(box, "levels-rehearsal-1"), RolloutVault(box, "levels-rollout-1")
    rehearsal.put("administrator/first", FIRST)
    assert rollout.find("administrator/first") is None
    with pytest.raises(
        StaddleError, match='the strongbox holds no secret "levels-rollout-1/administrator/first"'
    ):
        rollout.get("administrator/first")
    rollout.put("administrator/first", OTHER)
    assert (rehearsal.get("administrator/first"), rollout.find("administrator/first")) == (FIRST, OTHER)
    rollout.drop("administrator/first")
    rollout.drop("administrator/first")
    assert box.names() == ("levels-rehearsal-1/administrator/first",)


def test_putting_replaces_and_is_there_for_whoever_opens_it_next(path: Path) -> None:
    vault = RolloutVault(open_strongbox(path), "r")
    vault.put("a", FIRST)
    vault.put("a", OTHER)
    assert RolloutVault(open_strongbox(path), "r").get("a") == OTHER


def test_the_redactor_knows_every_secret_of_the_job(path: Path) -> None:
    box = open_strongbox(path)
    RolloutVault(box, "a").put("x", FIRST)
    RolloutVault(box, "b").put("y", OTHER)
    redactor = RolloutVault(box, "a").redactor()
    text = f"{FIRST.unsafe_reveal()} and {OTHER.unsafe_reveal()}"
    assert redactor.redact(text) == f"{HIDDEN} and {HIDDEN}"
