"""Frozen values to JSON and back, and the digest of a value.

Each arrow between the rooms is a frozen dataclass that survives this round trip. The canonical form has
sorted keys and no blanks, so that equal values have equal bytes and therefore equal digests.
"""

import hashlib
from typing import Any, TypeVar

import msgspec

from staddle.kernel.errors import InputRefused

__all__ = ["canonical_json", "digest_of", "from_json", "pretty_json"]

T = TypeVar("T")


def canonical_json(value: object) -> bytes:
    """The value as UTF-8 JSON with sorted keys and no blanks."""
    return msgspec.json.encode(value, order="sorted")


def pretty_json(value: object) -> str:
    """The value as indented JSON with sorted keys and a last newline, for people and version control."""
    return msgspec.json.format(canonical_json(value), indent=2).decode() + "\n"


def from_json(data: bytes | str, kind: type[T], *, where: str = "") -> T:
    """The value read back, checked against its type.

    Raises: InputRefused: not JSON, or not of this kind; the message names the path inside the document.
    """
    try:
        return msgspec.json.decode(data, type=kind, strict=True)
    except (msgspec.DecodeError, UnicodeDecodeError) as exc:
        raise InputRefused.one(
            f"this is not a {kind.__name__}: {exc}",
            where=where,
            mend="restore the file; it is written by staddle",
        ) from exc


def digest_of(value: Any) -> str:  # noqa: ANN401  any value that JSON can hold
    """SHA-256 of the canonical JSON, 64 lower-case hex digits."""
    return hashlib.sha256(canonical_json(value)).hexdigest()
