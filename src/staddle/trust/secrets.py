"""Secrets as values that cannot be shown by accident, their removal from texts, and their making.

Python cannot wipe memory: a secret lives in the process until it is collected. What this file promises is that
no text, log, traceback or file gets it without the word ``unsafe_reveal``. Where secrets lie: strongbox.py.
"""

import base64
import hmac
import html
import json
import math
import re
import urllib.parse
from collections.abc import Iterable
from itertools import combinations
from typing import Final, NoReturn, Self

from staddle.kernel import InputRefused, OurFault, Random

__all__ = ["HIDDEN", "Redactor", "Secret", "new_password", "new_token", "password_entropy_bits"]

HIDDEN: Final = "▮▮▮"

# No character that is read as another (0 O o, 1 I l, 5 S, 2 Z, 8 B), and only marks that need no escape in XML, URLs,
# YAML or a shell: a first password is typed by a person from a screen. Common practice, no source.
_UPPER: Final = "ACDEFGHJKLMNPQRTUVWXY"
_LOWER: Final = "abcdefghijkmnpqrstuvwxyz"
_DIGITS: Final = "34679"
_MARKS: Final = "-_.+"
_LETTERS: Final = _UPPER + _LOWER
_ALL: Final = _LETTERS + _DIGITS + _MARKS
_CLASSES: Final = (_UPPER, _LOWER, _DIGITS, _MARKS)
_LENGTHS: Final = (12, 128)


class Secret:
    """A text that repr, str, format, pickle and JSON never show. Equal secrets compare equal, in constant time."""

    __slots__ = ("_text",)
    _text: str

    def __init__(self, text: str) -> None:
        if not text:
            raise InputRefused.one("a secret cannot be empty", mend="enter it again")
        try:
            text.encode()
        except UnicodeEncodeError:  # not chained: the error quotes the text
            raise InputRefused.one(
                "a secret must be text that UTF-8 can write", mend="enter it again"
            ) from None
        object.__setattr__(self, "_text", text)

    def unsafe_reveal(self) -> str:
        """The secret itself. Hand it to what needs it, and keep it in no variable that outlives the call."""
        return self._text

    def __repr__(self) -> str:
        return f"Secret({HIDDEN})"

    def __str__(self) -> str:
        return HIDDEN

    def __format__(self, spec: str) -> str:
        return HIDDEN

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Secret):
            return NotImplemented
        return hmac.compare_digest(self._text.encode(), other._text.encode())

    def __hash__(self) -> int:
        return hash((Secret, self._text))

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise OurFault.one("a secret cannot be changed")

    def __delattr__(self, name: str) -> NoReturn:
        raise OurFault.one("a secret cannot be changed")

    def __copy__(self) -> Self:
        return self

    def __deepcopy__(self, memo: object) -> Self:
        return self

    def __reduce_ex__(self, protocol: object) -> NoReturn:
        raise OurFault.one(
            "a secret cannot be pickled", mend="pass the name under which the strongbox holds it"
        )

    def __getstate__(self) -> NoReturn:
        self.__reduce_ex__(0)


class Redactor:
    """Takes known secrets out of a text: as they are, and as JSON, XML, URLs, hex and base64 write them.

    Args: secrets: those that may occur. Long ones are replaced first, so that no rest of one shows.
    """

    def __init__(self, secrets: Iterable[Secret] = ()) -> None:
        self._secrets: Final = tuple(secrets)
        forms = {form for secret in self._secrets for form in _forms(secret.unsafe_reveal())}
        longest_first = sorted(forms, key=lambda form: (-len(form), form))
        self._pattern: Final = re.compile("|".join(map(re.escape, longest_first))) if forms else None

    def __repr__(self) -> str:
        return f"Redactor({len(self._secrets)} secrets)"

    def with_secrets(self, *more: Secret) -> "Redactor":
        """One that knows these secrets too."""
        return Redactor((*self._secrets, *more))

    def redact(self, text: str) -> str:
        """The text with each known secret replaced by ``HIDDEN``."""
        return text if self._pattern is None else self._pattern.sub(HIDDEN, text)


def _forms(text: str) -> set[str]:
    raw = text.encode()
    forms = {
        text,
        json.dumps(text)[1:-1],
        json.dumps(text, ensure_ascii=False)[1:-1],
        html.escape(text),
        html.escape(text, quote=False),
        urllib.parse.quote(text, safe=""),
        urllib.parse.quote_plus(text),
        repr(text)[1:-1],
    }
    # Below six bytes an encoded form is too short to tell from other text.
    if len(raw) >= 6:
        forms |= {raw.hex(), raw.hex().upper()}
        for lead in range(
            3
        ):  # where the secret starts within a group of three, as in "user:secret" of RFC 7617
            whole = base64.b64encode(b"\0" * lead + raw).decode()
            first = math.ceil(lead * 8 / 6)
            core = whole[first : (lead + len(raw)) * 8 // 6]
            forms |= {core, core.replace("+", "-").replace("/", "_")}
    return forms


def new_password(random: Random, *, length: int = 24) -> Secret:
    """A random password with upper-case, lower-case, digit and mark, starting with a letter; none reads as another.

    Args: length: 12 to 128 characters. Strength: password_entropy_bits(length), 137.4 bits for 24.
    Raises: InputRefused: a length outside that range.
    """
    _check_length(length)
    while True:  # whole passwords are thrown away, so that those kept are equally likely
        text = "".join(_draw(random, _ALL, length))
        if text[0] in _LETTERS and all(any(c in group for c in text) for group in _CLASSES):
            return Secret(text)


def password_entropy_bits(length: int) -> float:
    """Exact bits of a new_password of that length: the logarithm of how many there are, by inclusion and exclusion.

    Raises: InputRefused: a length outside 12 to 128.
    """
    _check_length(length)
    count = 0
    for missing_count in range(len(_CLASSES) + 1):
        for missing in combinations(_CLASSES, missing_count):
            left = "".join(group for group in _CLASSES if group not in missing)
            first = sum(letter in left for letter in _LETTERS)
            count += (-1) ** missing_count * first * len(left) ** (length - 1)
    return math.log2(count)


def new_token(random: Random, *, bits: int = 128) -> Secret:
    """A random secret that no person types, as unpadded base64url (RFC 4648 §5).

    Args: bits: at least 112, the least that may be stored plainly hashed (SP 800-63B §5.1.2.2); rounded up to whole bytes.
    Raises: InputRefused: fewer bits.
    """
    if bits < 112:
        raise InputRefused.one(
            f"a token of {bits} bits is too weak", why="SP 800-63B asks for 112", mend="ask for 128"
        )
    return Secret(base64.urlsafe_b64encode(random.token(math.ceil(bits / 8))).decode().rstrip("="))


def _draw(random: Random, alphabet: str, count: int) -> list[str]:
    # Bytes at or above the largest multiple are dropped: a plain remainder would favour the first characters.
    limit = 256 - 256 % len(alphabet)
    drawn: list[str] = []
    while len(drawn) < count:
        drawn.extend(alphabet[byte % len(alphabet)] for byte in random.token(2 * count) if byte < limit)
    return drawn[:count]


def _check_length(length: int) -> None:
    least, most = _LENGTHS
    if not least <= length <= most:
        raise InputRefused.one(
            f"a password of {length} characters is not made",
            why=f"{least} to {most} characters are allowed here",
            mend=f"choose a length from {least} to {most}; 24 is the usual",
        )
