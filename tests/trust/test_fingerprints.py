"""Fingerprints against FIPS 180-4's published digests and OpenSSL's own output."""

import hashlib
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.kernel import InputRefused, OurFault
from staddle.trust.certificates import der_of, make_self_signed
from staddle.trust.fingerprints import (
    Confirmed,
    Differs,
    Fingerprint,
    confirm,
    find_fingerprints,
    fingerprint_of,
    weak_sha1_of,
)

DIGESTS = st.binary(min_size=32, max_size=32)
ABC = "BA:78:16:BF:8F:01:CF:EA:41:41:40:DE:5D:AE:22:23:B0:03:61:A3:96:17:7A:9C:B4:10:FF:61:F2:00:15:AD"


@pytest.mark.parametrize(
    ("message", "digest"),
    [  # FIPS 180-4's examples as published by NIST (check value i1)
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_published_digests(message: bytes, digest: str) -> None:
    assert fingerprint_of(message).digest.hex() == digest


def test_sha1_is_published_value_and_marked_weak() -> None:
    # FIPS 180-4's example "abc" (check value i1)
    weak = weak_sha1_of(b"abc")
    assert weak.digest.hex() == "a9993e364706816aba3e25717850c26c9cd0d89d"
    assert str(weak).endswith("(SHA-1, weak)")


def test_text_is_full_length_upper_case_pairs() -> None:
    assert str(fingerprint_of(b"abc")) == ABC
    assert len(ABC) == 95


def test_openssl_prints_the_same_and_is_read_back(tmp_path: Path) -> None:
    _, pem = make_self_signed(
        common_name="brook-1",
        names=["brook-1.example"],
        addresses=[],
        now=datetime(2026, 12, 5, tzinfo=UTC),
        days=90,
    )
    file = tmp_path / "leaf.pem"
    file.write_bytes(pem)
    for option, ours in (
        ("-sha256", str(fingerprint_of(der_of(pem)))),
        ("-sha1", str(weak_sha1_of(der_of(pem))).split()[0]),
    ):
        printed = subprocess.run(
            ["openssl", "x509", "-in", file, "-noout", "-fingerprint", option],
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        assert printed.strip().split("=")[1] == ours
        if option == "-sha256":
            assert Fingerprint.parse(printed) == fingerprint_of(der_of(pem))
            assert find_fingerprints(printed) == (fingerprint_of(der_of(pem)),)


@given(
    digest=DIGESTS,
    lower=st.booleans(),
    colon=st.sampled_from(["", ":", " ", " : "]),
    label=st.sampled_from(
        ["", "SHA256:", "sha256 ", "SHA-256: ", "sha256 Fingerprint=", "SHA256 fingerprint: "]
    ),
)
def test_every_way_of_writing_is_read(digest: bytes, *, lower: bool, colon: str, label: str) -> None:
    text = colon.join(f"{octet:02x}" if lower else f"{octet:02X}" for octet in digest)
    assert Fingerprint.parse(f"  {label}{text}\n").digest == digest


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            hashlib.sha1(b"x").hexdigest(),
            "error: a SHA-256 fingerprint has 64 hex digits, not 40\n"
            "  where: line 3\n"
            "  why:   that is the length of SHA-1, which no longer proves anything\n"
            "  try:   enter the SHA-256 fingerprint in full: 32 pairs of hex digits, as the appliance's console shows it",
        ),
        (
            "SHA1 Fingerprint=" + hashlib.sha1(b"x").hexdigest(),
            "error: this is a SHA1 fingerprint, SHA-256 is needed\n"
            "  where: line 3\n"
            "  try:   enter the SHA-256 fingerprint in full: 32 pairs of hex digits, as the appliance's console shows it",
        ),
        (
            ABC[:-3],
            "error: a SHA-256 fingerprint has 64 hex digits, not 62\n"
            "  where: line 3\n"
            "  try:   enter the SHA-256 fingerprint in full: 32 pairs of hex digits, as the appliance's console shows it",
        ),
        (
            "SHA256:ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0",
            'error: a fingerprint holds hex digits only, not "u"\n'
            "  where: line 3\n"
            "  try:   enter the SHA-256 fingerprint in full: 32 pairs of hex digits, as the appliance's console shows it",
        ),
    ],
)
def test_what_is_no_sha256_is_refused_with_the_reason(text: str, message: str) -> None:
    with pytest.raises(InputRefused) as refused:
        Fingerprint.parse(text, where="line 3")
    assert str(refused.value) == message


@pytest.mark.parametrize(
    "text", ["", "SHA256:", ":", hashlib.sha512(b"x").hexdigest(), hashlib.md5(b"x").hexdigest()]
)
def test_other_lengths_are_refused(text: str) -> None:
    with pytest.raises(InputRefused, match="has 64 hex digits"):
        Fingerprint.parse(text)


def test_a_digest_of_wrong_length_cannot_become_a_fingerprint() -> None:
    with pytest.raises(OurFault, match="has 32 bytes, not 20"):
        Fingerprint(digest=b"x" * 20)


@given(digest=DIGESTS, bit=st.integers(0, 255))
def test_one_changed_bit_differs(digest: bytes, bit: int) -> None:
    changed = (int.from_bytes(digest) ^ (1 << bit)).to_bytes(32)
    expected, seen = Fingerprint(digest=digest), Fingerprint(digest=changed)
    assert confirm(expected, Fingerprint(digest=digest)) == Confirmed(fingerprint=expected)
    assert confirm(expected, seen) == Differs(expected=expected, seen=seen)


@given(
    digests=st.lists(DIGESTS, min_size=1, max_size=3, unique=True),
    columns=st.sampled_from([0, 40, 72, 80, 132]),
)
def test_fingerprints_are_found_on_a_console_also_where_the_screen_wraps(
    digests: list[bytes], columns: int
) -> None:
    prints = tuple(Fingerprint(digest=digest) for digest in digests)
    lines = ["Sluicelog brook-1 login:", "\x1b[1mcertificate\x1b[0m"]
    for seen in (*prints, prints[0]):
        line = f"  SHA-256 fingerprint: {seen}"
        lines += [line[i : i + columns] for i in range(0, len(line), columns)] if columns else [line]
        lines.append("uptime 00:01:02, address 192.0.2.11")
    assert find_fingerprints("\r\n".join(lines)) == prints


def test_bare_digits_are_found_and_other_digests_are_not() -> None:
    sha256, sha512 = hashlib.sha256(b"abc"), hashlib.sha512(b"abc")
    text = f"SHA256:{sha256.hexdigest()}\n{sha512.hexdigest()}\n{sha512.digest().hex(':')}\n{hashlib.sha1(b'a').digest().hex(':')}"
    assert find_fingerprints(text) == (fingerprint_of(b"abc"),)
    assert find_fingerprints("starting up, mac 52:54:00:12:34:56") == ()
