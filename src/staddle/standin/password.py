"""The administrator's password: stretched for keeping, compared in constant time, wrong tries made to wait."""

import base64
import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable

__all__ = ["Gate", "stretch"]

_COST = {"n": 1 << 14, "r": 8, "p": 1}  # RFC 7914 §2; 16 MiB and some 50 ms a try
_FREE_TRIES = 4
_LONGEST_WAIT_S = 60.0


def stretch(password: str, salt: bytes | None = None) -> str:
    """What is kept of a password: ``salt$key``, both in hexadecimal."""
    salt = secrets.token_bytes(16) if salt is None else salt
    return f"{salt.hex()}${hashlib.scrypt(password.encode(), salt=salt, **_COST).hex()}"


class Gate:
    """Decides on HTTP Basic headers (RFC 7617), with a growing wait for each address after wrong tries.

    Args: kept: gives the stretched password that holds now; now: monotonic seconds.
    """

    def __init__(self, kept: Callable[[], str], now: Callable[[], float] = time.monotonic) -> None:
        self._kept = kept
        self._now = now
        self._lock = threading.Lock()
        self._wrong: dict[str, tuple[int, float]] = {}
        # A right password is remembered as a keyed digest, so that polling does not stretch it each time.
        self._memory_key = secrets.token_bytes(32)
        self._right: tuple[str, bytes] | None = None

    def wait_s(self, address: str) -> float:
        """Seconds this address must still wait; 0 when it may try."""
        with self._lock:
            count, since = self._wrong.get(address, (0, 0.0))
        if count <= _FREE_TRIES:
            return 0.0
        return max(0.0, since + min(2.0 ** (count - _FREE_TRIES - 1), _LONGEST_WAIT_S) - self._now())

    def admits(self, header: str | None, address: str) -> bool:
        """True for the administrator with the right password; a wrong try is counted, a right one forgets them."""
        if header is None:
            return False  # asking without a password is how a client learns the scheme, not a try
        right = self._is_right(header)
        with self._lock:
            if right:
                self._wrong.pop(address, None)
            else:
                self._wrong[address] = (self._wrong.get(address, (0, 0.0))[0] + 1, self._now())
        return right

    def _is_right(self, header: str) -> bool:
        scheme, _, coded = header.partition(" ")
        try:
            user, _, password = base64.b64decode(coded, validate=True).decode().partition(":")
        except ValueError:
            return False
        kept = self._kept()
        digest = hmac.digest(self._memory_key, password.encode(), "sha256")
        with self._lock:
            known = self._right
        if known is not None and known[0] == kept and hmac.compare_digest(known[1], digest):
            same = True
        else:
            salt = bytes.fromhex(kept.partition("$")[0])
            same = hmac.compare_digest(stretch(password, salt), kept)
            if same:
                with self._lock:
                    self._right = (kept, digest)
        return same and scheme.lower() == "basic" and hmac.compare_digest(user.encode(), b"admin")
