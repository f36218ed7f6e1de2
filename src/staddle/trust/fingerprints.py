"""Fingerprints: SHA-256 of a certificate's DER, as people compare them. No certificate is read in here.

A fingerprint is shown in full, in upper-case pairs, because a shortened one can be matched by search. SHA-1
is only ever shown beside it, marked weak, for old appliances whose console shows no other; it confirms nothing.

Source: FIPS 180-4 (SHA-256, SHA-1); collisions of SHA-1: RFC 6194.
"""

import hashlib
import hmac
import re
from dataclasses import dataclass
from typing import Final, Self

from staddle.kernel import InputRefused, OurFault

__all__ = [
    "Confirmed",
    "Differs",
    "Fingerprint",
    "WeakFingerprint",
    "confirm",
    "find_fingerprints",
    "fingerprint_of",
    "weak_sha1_of",
]

_SHA256_BYTES: Final = 32
_OTHER_DIGESTS: Final = {32: "MD5", 40: "SHA-1", 56: "SHA-224", 96: "SHA-384", 128: "SHA-512"}
_LABEL: Final = re.compile(r"^sha-?256(?:\s*fingerprint)?\s*[:=]?\s*", re.IGNORECASE)
_OTHER_LABEL: Final = re.compile(r"^(md5|sha-?(?:1|224|384|512))(?:\s*fingerprint)?\s*[:=]", re.IGNORECASE)
_MEND: Final = (
    "enter the SHA-256 fingerprint in full: 32 pairs of hex digits, as the appliance's console shows it"
)

# Terminals colour and wrap: escape sequences (ECMA-48 §5.4) are dropped, and one line break may stand anywhere
# in a run of pairs, since a console of 80 columns cannot hold its 95 characters.
_ESCAPE: Final = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]")
_BREAK: Final = r"(?:[ \t]*\r?\n[ \t]*)?"
_PAIR: Final = rf"[0-9A-Fa-f]{_BREAK}[0-9A-Fa-f]"
_IN_TEXT: Final = re.compile(
    rf"(?<![0-9A-Za-z:])(?:{_PAIR}(?:{_BREAK}:{_BREAK}{_PAIR}){{31}}(?!:?[0-9A-Za-z])|[0-9A-Fa-f]{{64}}(?![0-9A-Za-z]))"
    # A label may touch the digits: "SHA256:ab12…".
    rf"|(?<=sha256:)(?:{_PAIR}(?:{_BREAK}:{_BREAK}{_PAIR}){{31}}(?!:?[0-9A-Za-z])|[0-9A-Fa-f]{{64}}(?![0-9A-Za-z]))",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fingerprint:
    """SHA-256 of a certificate's DER. Comparing two takes the same time whatever they hold.

    Args: digest: 32 bytes.
    """

    digest: bytes

    def __post_init__(self) -> None:
        if len(self.digest) != _SHA256_BYTES:
            raise OurFault.one(f"a fingerprint has 32 bytes, not {len(self.digest)}")

    @classmethod
    def parse(cls, text: str, *, where: str = "") -> Self:
        """Read a fingerprint as people write it: any case, blanks, colons, "SHA256:" or "sha256 Fingerprint=" before.

        Raises: InputRefused: another digest (SHA-1 is named as such), a wrong length, a character that is no hex digit.
        """
        other = _OTHER_LABEL.match(text.strip())
        digits = re.sub(r"[\s:]", "", _LABEL.sub("", text.strip()))
        if other is not None:
            kind = other[1].upper()
            raise InputRefused.one(
                f"this is a {kind} fingerprint, SHA-256 is needed", where=where, mend=_MEND
            )
        wrong = re.search(r"[^0-9A-Fa-f]", digits)
        if wrong is not None:
            raise InputRefused.one(
                f'a fingerprint holds hex digits only, not "{wrong[0]}"', where=where, mend=_MEND
            )
        if len(digits) != 2 * _SHA256_BYTES:
            kind = _OTHER_DIGESTS.get(len(digits), "")
            raise InputRefused.one(
                f"a SHA-256 fingerprint has 64 hex digits, not {len(digits)}",
                where=where,
                why=f"that is the length of {kind}"
                + ", which no longer proves anything" * (kind in ("MD5", "SHA-1"))
                if kind
                else "",
                mend=_MEND,
            )
        return cls(digest=bytes.fromhex(digits))

    @property
    def text(self) -> str:
        """The full text: 32 upper-case pairs with colons between, 95 characters."""
        return self.digest.hex(":").upper()

    def __str__(self) -> str:
        return self.text

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Fingerprint):
            return NotImplemented
        return hmac.compare_digest(self.digest, other.digest)

    def __hash__(self) -> int:
        return hash(self.digest)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakFingerprint:
    """SHA-1 of a certificate's DER: to be shown beside the real one, never compared in its place."""

    digest: bytes

    @property
    def text(self) -> str:
        """The pairs, with the words that mark it as weak."""
        return f"{self.digest.hex(':').upper()} (SHA-1, weak)"

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmed:
    """The expected fingerprint was seen."""

    fingerprint: Fingerprint


@dataclass(frozen=True, slots=True, kw_only=True)
class Differs:
    """Another fingerprint was seen: somebody else answers there, or the certificate was made anew."""

    expected: Fingerprint
    seen: Fingerprint


def fingerprint_of(der: bytes) -> Fingerprint:
    """The fingerprint of a certificate given as DER."""
    return Fingerprint(digest=hashlib.sha256(der).digest())


def weak_sha1_of(der: bytes) -> WeakFingerprint:
    """The SHA-1 fingerprint, for showing only. Weak: two certificates with the same one can be made."""
    return WeakFingerprint(digest=hashlib.sha1(der, usedforsecurity=False).digest())


def confirm(expected: Fingerprint, seen: Fingerprint) -> Confirmed | Differs:
    """Compare what a second channel promised with what the wire showed."""
    return Confirmed(fingerprint=seen) if expected == seen else Differs(expected=expected, seen=seen)


def find_fingerprints(console_text: str) -> tuple[Fingerprint, ...]:
    """Every SHA-256 fingerprint in a console's text: colon pairs, also wrapped by the screen, or 64 bare digits.

    Returns: each once, in order of first appearance; () if there is none. More than one means that the text alone
        does not say which certificate is meant: the caller must not pick.
    """
    found = _IN_TEXT.finditer(_ESCAPE.sub("", console_text))
    return tuple(dict.fromkeys(Fingerprint.parse(match[0]) for match in found))
