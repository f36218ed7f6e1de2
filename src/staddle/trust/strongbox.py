"""The strongbox: one encrypted file that holds the secrets of a job, by name. Secrets stand nowhere else on disk.

Three files in a folder of mode 0700, each 0600:

* ``strongbox.age``: the secrets as JSON, in the age format, sealed to an X25519 key;
* the key: ``strongbox.key`` in the clear (KeyFileLock), or ``strongbox.key.age`` under a passphrase (PassphraseLock);
* ``strongbox.age.lock``: empty, held by flock(2) while one process writes.

The passphrase guards the key rather than the secrets, so that age's deliberately slow scrypt (1 to 3 s) is paid once,
at opening, and no process waits that long while it holds the lock. A key file is protected by the file system
alone: who can read it, or becomes root, can read every secret. Neither lock notices that somebody put
an older copy of the file back. flock is not dependable on network file systems: keep the folder on a local disk.

Every call reads the file anew, so that what another process put is seen. Python cannot wipe memory.

Source: age-encryption.org/v1 (C2SP age.md); rename(2) and fsync(2) for the replacing.
"""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

import msgspec
import pyrage

from staddle.kernel import InputRefused, NotAllowed, OutsideFailed
from staddle.trust.guardedfiles import (
    check_folder,
    held,
    make_folder,
    read_guarded,
    remove_guarded,
    replace_guarded,
)
from staddle.trust.secrets import Secret

__all__ = [
    "KeyFileLock",
    "Lock",
    "NoSuchSecret",
    "PassphraseLock",
    "Strongbox",
    "StrongboxDamaged",
    "WrongKey",
    "WrongPassphrase",
]

_AGE_HEAD: Final = b"age-encryption.org/v1\n"
_MOST_BYTES: Final = 16 << 20  # far above any job's secrets; a larger file is not ours


class WrongPassphrase(InputRefused):
    """The passphrase does not open the key."""


class WrongKey(InputRefused):
    """The key beside the strongbox belongs to another one."""


class StrongboxDamaged(OutsideFailed):
    """A file of the strongbox is not what was written. Restore it; nothing was changed."""


class NoSuchSecret(InputRefused):
    """The strongbox holds no secret of that name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassphraseLock:
    """The key lies encrypted under a passphrase; opening takes 1 to 3 s by design."""

    passphrase: Secret


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFileLock:
    """The key lies in the clear in a file of mode 0600: fast, and protected by the file system alone."""


Lock = PassphraseLock | KeyFileLock


class _Content(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    version: int
    secrets: dict[str, str]


class Strongbox:
    """The open strongbox. Made by ``create`` or ``open``; safe for several processes and threads at once."""

    __slots__ = ("_identity", "_lock_timeout_s", "_path")

    def __init__(self, path: Path, identity: pyrage.x25519.Identity, lock_timeout_s: float) -> None:
        self._path: Final = path
        self._identity: Final = identity
        self._lock_timeout_s: Final = lock_timeout_s

    def __repr__(self) -> str:
        return f"Strongbox({str(self._path)!r})"

    @classmethod
    def create(cls, path: Path, lock: Lock, *, lock_timeout_s: float = 10.0) -> Self:
        """Make an empty strongbox. The folder is made (0700) if it is missing; a cut-off earlier try is no obstacle.

        Raises: NotAllowed: one is there already. OutsideFailed: rights too wide, disk full.
        """
        make_folder(path.parent)
        check_folder(path)
        with held(path, lock_timeout_s):
            if os.path.lexists(path):
                raise NotAllowed.one(
                    "there is a strongbox already", where=str(path), mend="open it, or choose another folder"
                )
            identity = pyrage.x25519.Identity.generate()
            key = str(identity).encode()
            # The key first: a strongbox without its key would be lost, a key without one is made anew.
            match lock:
                case KeyFileLock():
                    replace_guarded(_key_path(path), key)
                    remove_guarded(_wrapped_key_path(path))
                case PassphraseLock(passphrase=passphrase):
                    wrapped = pyrage.passphrase.encrypt(key, passphrase.unsafe_reveal())
                    replace_guarded(_wrapped_key_path(path), wrapped)
                    remove_guarded(_key_path(path))
            box = cls(path, identity, lock_timeout_s)
            box._write({})
        return box

    @classmethod
    def open(cls, path: Path, lock: Lock, *, lock_timeout_s: float = 10.0) -> Self:
        """Open an existing strongbox, and read it once so that a wrong key shows now.

        Raises: InputRefused: none there, or it has the other kind of lock. WrongPassphrase, WrongKey, StrongboxDamaged.
            OutsideFailed: rights too wide, or the disk failed.
        """
        check_folder(path)
        present = cls.find_lock(path)
        if present is None:
            raise InputRefused.one("there is no strongbox", where=str(path), mend="create it first")
        if present is not type(lock):
            kinds = {PassphraseLock: "a passphrase", KeyFileLock: "a key file"}
            raise InputRefused.one(
                f"the strongbox is locked with {kinds[present]}, not {kinds[type(lock)]}",
                where=str(path),
                mend=f"open it with {kinds[present]}",
            )
        match lock:
            case KeyFileLock():
                key_path = _key_path(path)
                key = _read(key_path)
            case PassphraseLock(passphrase=passphrase):
                key_path = _wrapped_key_path(path)
                key = _unwrap(_read(key_path), passphrase, key_path)
        try:
            identity = pyrage.x25519.Identity.from_str(key.decode("ascii").strip())
        except (pyrage.IdentityError, UnicodeDecodeError) as exc:
            raise _damaged(key_path, "it does not hold an X25519 key") from exc
        box = cls(path, identity, lock_timeout_s)
        box._load()
        return box

    @staticmethod
    def find_lock(path: Path) -> type[PassphraseLock] | type[KeyFileLock] | None:
        """Which kind of lock the strongbox there has; None if there is none.

        Raises: StrongboxDamaged: the strongbox is there but no key is.
        """
        if not os.path.lexists(path):
            return None
        if os.path.lexists(_wrapped_key_path(path)):
            return PassphraseLock
        if os.path.lexists(_key_path(path)):
            return KeyFileLock
        raise StrongboxDamaged.one(
            "the strongbox has lost its key",
            where=str(_key_path(path)),
            why="without the key nobody can read it",
            mend="restore the key file from its backup",
        )

    def find(self, name: str) -> Secret | None:
        """The secret of that name, None if there is none. Raises: as ``get``, without NoSuchSecret."""
        text = self._load().get(name)
        return None if text is None else Secret(text)

    def get(self, name: str) -> Secret:
        """The secret of that name.

        Raises: NoSuchSecret: none. WrongKey, StrongboxDamaged, OutsideFailed: the file cannot be read.
        """
        found = self.find(name)
        if found is None:
            raise NoSuchSecret.one(
                f'the strongbox holds no secret "{name}"', where=str(self._path), mend="put it there first"
            )
        return found

    def names(self) -> tuple[str, ...]:
        """The names of all secrets, sorted. May be empty."""
        return tuple(sorted(self._load()))

    def put(self, name: str, secret: Secret) -> None:
        """Keep a secret; one of the same name is replaced. When this returns, the secret is on the disk.

        Raises: InputRefused: the name is empty, longer than 200 characters or not printable.
            NotAllowed: another process held the lock all the time. OutsideFailed: not kept (disk full, rights).
            OutcomeUnknown: the file was replaced, but the disk did not confirm it.
        """
        if not name or len(name) > 200 or not name.isprintable():
            raise InputRefused.one(
                f"{name[:200]!r} cannot name a secret", why="1 to 200 printable characters are expected"
            )
        with held(self._path, self._lock_timeout_s):
            kept = self._load()  # under the lock: what others put meanwhile must not be lost
            self._write({**kept, name: secret.unsafe_reveal()})

    def drop(self, name: str) -> None:
        """Forget a secret; one that is not there is no error. Raises: as ``put``."""
        with held(self._path, self._lock_timeout_s):
            kept = self._load()
            if kept.pop(name, None) is not None:
                self._write(kept)

    def _load(self) -> dict[str, str]:
        sealed = _read(self._path)
        if not sealed.startswith(_AGE_HEAD):
            raise _damaged(self._path, "it does not begin as an age file does")
        try:
            plain = pyrage.decrypt(sealed, [self._identity])
        except pyrage.DecryptError as exc:
            if "No matching keys" in str(exc):
                raise WrongKey.one(
                    "this key does not open the strongbox",
                    where=str(self._path),
                    why="the key beside it belongs to another strongbox, or the file's first lines were changed",
                    mend="restore strongbox and key from the same backup",
                ) from exc
            raise _damaged(self._path, "it fails its own check") from exc
        try:
            content = msgspec.json.decode(plain, type=_Content)
        except (msgspec.DecodeError, UnicodeDecodeError):
            # Not chained: the decoder's error may quote what it read.
            raise _damaged(self._path, "what it holds was not written by staddle") from None
        if content.version != 1:
            raise InputRefused.one(
                f"the strongbox has form {content.version}, this staddle reads form 1",
                where=str(self._path),
                mend="use the newer staddle that wrote it",
            )
        return content.secrets

    def _write(self, kept: dict[str, str]) -> None:
        plain = msgspec.json.encode(_Content(version=1, secrets=kept), order="sorted")
        if len(plain) > _MOST_BYTES // 2:
            raise InputRefused.one(
                f"the strongbox would hold {len(plain)} bytes",
                why="it is meant for passwords and keys, not for files",
            )
        replace_guarded(self._path, pyrage.encrypt(plain, [self._identity.to_public()]))


def _key_path(path: Path) -> Path:
    return path.with_suffix(".key")


def _wrapped_key_path(path: Path) -> Path:
    return path.with_suffix(".key.age")


def _read(path: Path) -> bytes:
    content = read_guarded(path, most_bytes=_MOST_BYTES + 1)
    if len(content) > _MOST_BYTES:
        raise _damaged(path, "it is far larger than any strongbox")
    return content


def _damaged(path: Path, why: str) -> StrongboxDamaged:
    return StrongboxDamaged.one(
        "the strongbox is damaged", where=str(path), why=why, mend="restore the file from its backup"
    )


def _unwrap(sealed: bytes, passphrase: Secret, where: Path) -> bytes:
    if not sealed.startswith(_AGE_HEAD):
        raise _damaged(where, "it does not begin as an age file does")
    try:
        return bytes(pyrage.passphrase.decrypt(sealed, passphrase.unsafe_reveal()))
    except pyrage.DecryptError as exc:
        # Only a file key that does not open says "Decryption failed"; the head's and the body's own checks differ.
        if str(exc) == "Decryption failed":
            raise WrongPassphrase.one(
                "the passphrase does not open the strongbox",
                where=str(where),
                why="it is not the one that the strongbox was made with, or the file's first lines were changed",
                mend="enter it again; mind the keyboard's layout and capitals",
            ) from exc
        raise _damaged(where, "it fails its own check") from exc
