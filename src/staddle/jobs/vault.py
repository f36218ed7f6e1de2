"""The strongbox of a job, and the part of it that belongs to one rollout."""

import os
from pathlib import Path

from staddle.trust.secrets import Redactor, Secret
from staddle.trust.strongbox import KeyFileLock, Lock, PassphraseLock, Strongbox

__all__ = ["PASSPHRASE_VARIABLE", "RolloutVault", "open_strongbox"]

PASSPHRASE_VARIABLE = "STADDLE_PASSPHRASE"
"""Environment variable: when it is set, the strongbox is locked with it; otherwise with a key file beside it."""


def open_strongbox(path: Path) -> Strongbox:
    """Open the strongbox, making it first if there is none.

    Raises: as Strongbox.create and Strongbox.open.
    """
    passphrase = os.environ.get(PASSPHRASE_VARIABLE)
    lock: Lock = PassphraseLock(passphrase=Secret(passphrase)) if passphrase else KeyFileLock()
    if Strongbox.find_lock(path) is None:
        return Strongbox.create(path, lock)
    return Strongbox.open(path, lock)


class RolloutVault:
    """The Vault port: names are kept apart by rollout, so that a rehearsal's secrets never serve a rollout."""

    def __init__(self, strongbox: Strongbox, rollout_id: str) -> None:
        self._strongbox = strongbox
        self._prefix = f"{rollout_id}/"

    def get(self, name: str) -> Secret:
        return self._strongbox.get(self._prefix + name)

    def find(self, name: str) -> Secret | None:
        return self._strongbox.find(self._prefix + name)

    def put(self, name: str, secret: Secret) -> None:
        self._strongbox.put(self._prefix + name, secret)

    def drop(self, name: str) -> None:
        self._strongbox.drop(self._prefix + name)

    def redactor(self) -> Redactor:
        """Takes everything that the strongbox holds out of a text."""
        return Redactor(self._strongbox.get(name) for name in self._strongbox.names())
