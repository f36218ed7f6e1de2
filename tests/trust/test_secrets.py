"""Secrets do not show, are taken out of texts, and are as hard to guess as stated."""

import base64
import copy
import dataclasses
import itertools
import json
import logging
import math
import pickle
import traceback
from collections import Counter

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import InputRefused, OurFault, SystemRandom
from staddle.trust import secrets
from staddle.trust.entropy import PLAIN_HASH_BITS, collision_odds, entropy_bits, guessing_odds
from staddle.trust.secrets import HIDDEN, Redactor, Secret, new_password, new_token, password_entropy_bits

PLAIN = "Tollgate+weir.47"


@dataclasses.dataclass(frozen=True, slots=True)
class Holder:
    secret: Secret


def test_no_way_of_writing_shows_it(caplog: pytest.LogCaptureFixture) -> None:
    secret = Secret(PLAIN)
    logging.getLogger("t").warning("%s %r", secret, secret)
    try:
        raise OurFault.one(f"with {secret}")
    except OurFault:
        trace = traceback.format_exc()
    shown = (
        repr(secret),
        str(secret),
        f"{secret}",
        f"{secret!r:>40}",
        f"{secret:>40}",
        "{}".format(secret),  # noqa: UP032  each way is tried
        "%s" % secret,  # noqa: UP031  each way is tried
        repr(Holder(secret)),
        repr(dataclasses.asdict(Holder(secret))),
        repr([secret]),
        caplog.text,
        trace,
        str(dir(secret)),
    )
    assert not any(PLAIN in text for text in shown)
    assert HIDDEN in str(secret)
    assert secret.unsafe_reveal() == PLAIN


@pytest.mark.parametrize(
    "write", [pickle.dumps, copy.copy, copy.deepcopy, json.dumps, msgspec.json.encode, vars]
)
def test_no_serialiser_takes_it(write: object) -> None:
    secret = Secret(PLAIN)
    assert callable(write)
    if write in (copy.copy, copy.deepcopy):
        assert write(secret) is secret
        return
    with pytest.raises((OurFault, TypeError)) as refused:
        write(secret)
    assert PLAIN not in str(refused.value)


def test_every_pickle_protocol_refuses() -> None:
    for protocol in range(pickle.HIGHEST_PROTOCOL + 1):
        with pytest.raises(OurFault, match="cannot be pickled"):
            pickle.dumps({"a": Secret(PLAIN)}, protocol=protocol)


def test_equal_secrets_are_equal_and_cannot_change() -> None:
    assert Secret(PLAIN) == Secret(PLAIN)
    assert Secret(PLAIN) != Secret(PLAIN + "x")
    assert Secret(PLAIN) != PLAIN
    assert len({Secret(PLAIN), Secret(PLAIN)}) == 1
    with pytest.raises(OurFault, match="cannot be changed"):
        Secret(PLAIN)._text = "x"


@pytest.mark.parametrize("text", ["", "a\udc80"])
def test_what_cannot_be_a_secret_is_refused(text: str) -> None:
    with pytest.raises(InputRefused) as refused:
        Secret(text)
    assert "\udc80" not in str(refused.value)


@settings(deadline=None)
@given(
    plain=st.lists(
        st.text(st.characters(exclude_characters=HIDDEN, exclude_categories=["Cs"]), min_size=1),
        min_size=1,
        max_size=4,
    ),
    between=st.lists(st.text(), min_size=5, max_size=5),
)
def test_no_known_secret_is_left_in_a_text(plain: list[str], between: list[str]) -> None:
    text = "".join(a + b for a, b in itertools.zip_longest(between, plain, fillvalue=""))
    left = Redactor(map(Secret, plain)).redact(text)
    assert not any(secret in left for secret in plain)


@given(
    plain=st.text(st.characters(exclude_categories=["Cs"]), min_size=6, max_size=40), user=st.text(max_size=9)
)
def test_a_basic_authorization_does_not_show_the_secret(plain: str, user: str) -> None:
    # RFC 7617: base64 of user:secret; what is left must not decode to a text with the secret
    header = base64.b64encode(f"{user}:{plain}".encode("utf-8", "surrogatepass")).decode()
    left = Redactor([Secret(plain)]).redact(f"Authorization: Basic {header}")
    assert HIDDEN in left
    assert header not in left


@given(plain=st.text(st.characters(exclude_categories=["Cs"], exclude_characters=HIDDEN), min_size=1))
def test_json_does_not_show_the_secret(plain: str) -> None:
    left = Redactor().with_secrets(Secret(plain)).redact(json.dumps({"password": plain}))
    assert json.dumps(plain)[1:-1] not in left


def test_a_longer_secret_goes_first_and_other_text_stays() -> None:
    assert (
        Redactor([Secret("weir"), Secret("weir-47")]).redact("at weir-47, weir, we")
        == f"at {HIDDEN}, {HIDDEN}, we"
    )
    assert Redactor().redact("as it was") == "as it was"


@pytest.mark.parametrize("length", [12, 24, 128])
def test_a_password_meets_every_class_and_confuses_nobody(length: int) -> None:
    for _ in range(200):
        text = new_password(SystemRandom(), length=length).unsafe_reveal()
        assert len(text) == length
        assert text[0].isalpha()
        assert any(c.isupper() for c in text)
        assert any(c.islower() for c in text)
        assert any(c.isdigit() for c in text)
        assert any(not c.isalnum() for c in text)
        assert not set(text) & set("0Oo1Il|5S2Z8B<>&\"'\\`$ ")


@pytest.mark.parametrize("length", [0, 11, 129])
def test_other_lengths_are_refused(length: int) -> None:
    with pytest.raises(InputRefused, match="12 to 128 characters"):
        new_password(SystemRandom(), length=length)


def test_the_stated_entropy_is_the_counted_one(monkeypatch: pytest.MonkeyPatch) -> None:
    # Brute force over a small world: four classes, passwords of five characters.
    classes = ("AB", "cd", "3", "-.")
    monkeypatch.setattr(secrets, "_CLASSES", classes)
    monkeypatch.setattr(secrets, "_LETTERS", "ABcd")
    monkeypatch.setattr(secrets, "_LENGTHS", (5, 5))
    count = sum(
        word[0] in "ABcd" and all(set(word) & set(group) for group in classes)
        for word in itertools.product("ABcd3-.", repeat=5)
    )
    assert password_entropy_bits(5) == pytest.approx(math.log2(count))


def test_the_usual_password_needs_no_stretching() -> None:
    # SP 800-63B §5.1.2.2 (check value i6): 112 bits
    assert password_entropy_bits(24) == pytest.approx(137.4, abs=0.05)
    assert password_entropy_bits(24) > PLAIN_HASH_BITS


class Counting:
    """Every byte value equally often, in order."""

    def __init__(self) -> None:
        self._bytes = itertools.cycle(range(256))

    def token(self, length_bytes: int) -> bytes:
        return bytes(itertools.islice(self._bytes, length_bytes))


def test_drawing_favours_no_character() -> None:
    # With every byte equally often, every character must come equally often; a plain remainder would fail this.
    for alphabet in (secrets._ALL, "abc", "ab"):
        kept = len(alphabet) * (256 // len(alphabet))
        counts = Counter(secrets._draw(Counting(), alphabet, kept * 2))
        assert len(counts) == len(alphabet)
        assert max(counts.values()) - min(counts.values()) <= 1


def test_a_token_holds_the_bits_asked_for() -> None:
    text = new_token(SystemRandom(), bits=128).unsafe_reveal()
    assert len(base64.urlsafe_b64decode(text + "==")) == 16
    with pytest.raises(InputRefused, match="SP 800-63B asks for 112"):
        new_token(SystemRandom(), bits=64)


@pytest.mark.parametrize(
    ("choices", "length", "bits"),
    [  # computed values for the EFF lists and common alphabets (check value i9)
        (7776, 1, 12.9248),
        (7776, 4, 51.70),
        (7776, 5, 64.62),
        (7776, 6, 77.55),
        (1296, 1, 10.3399),
        (8192, 1, 13),
        (32, 8, 40),
        (62, 22, 130.99),
        (16, 32, 128),
        (10, 6, 19.93),
    ],
)
def test_entropy(choices: int, length: int, bits: float) -> None:
    assert entropy_bits(choices, length) == pytest.approx(bits, abs=0.006)


def test_guessing() -> None:
    # check value i7, from SP 800-63B §5.2.2's 100 tries
    assert guessing_odds(20, 100) == pytest.approx(9.54e-5, rel=1e-3)
    assert guessing_odds(40, 100) == pytest.approx(9.09e-11, rel=1e-3)
    assert guessing_odds(entropy_bits(10, 6), 5) == pytest.approx(5e-6)
    assert guessing_odds(entropy_bits(10, 6), 5, live_secrets=3) == pytest.approx(15e-6)
    assert guessing_odds(1, 100) == 1.0


def test_collisions() -> None:
    # check value i8: the birthday figures; 23 of 365 is 0.507297 exactly, which the approximation meets within 0.01
    assert collision_odds(1000, 10**6) == pytest.approx(0.393166, abs=5e-6)
    assert collision_odds(1000, 2**40) == pytest.approx(4.54e-7, rel=2e-3)
    assert collision_odds(23, 365) == pytest.approx(0.507297, abs=0.01)
