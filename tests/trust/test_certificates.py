"""Certificates against OpenSSL, the cryptography library, RFC 9525's rules and SP 800-57's table."""

import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from cryptography.hazmat.primitives.serialization import Encoding, load_pem_private_key
from cryptography.x509.oid import NameOID
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import InputRefused
from staddle.trust.certificates import CertificateFacts, covers_name, der_of, facts_of, make_self_signed
from staddle.trust.fingerprints import fingerprint_of

NOW = datetime(2026, 12, 5, 20, 0, tzinfo=UTC)


def made(names: tuple[str, ...] = ("brook-1.ousemoor.example",), addresses: tuple[str, ...] = ()) -> bytes:
    return make_self_signed(common_name="brook-1", names=names, addresses=addresses, now=NOW, days=90)[1]


def with_names(*names: str, addresses: tuple[str, ...] = ()) -> CertificateFacts:
    return CertificateFacts(
        subject="CN=brook-1.example.com",
        issuer="CN=brook-1.example.com",
        names=names,
        addresses=addresses,
        not_before=NOW,
        not_after=NOW,
        key_kind="EC",
        key_bits=256,
        serial="1",
        self_signed=True,
        sha256=fingerprint_of(b""),
    )


def test_facts_of_what_we_made() -> None:
    pem = made(("brook-1.ousemoor.example", "sluicelog.ousemoor.example"), ("192.0.2.11", "2001:db8::11"))
    facts = facts_of(pem)
    assert facts.subject == facts.issuer == "CN=brook-1"
    assert facts.names == ("brook-1.ousemoor.example", "sluicelog.ousemoor.example")
    assert facts.addresses == ("192.0.2.11", "2001:db8::11")
    assert (facts.not_before, facts.not_after) == (NOW - timedelta(minutes=10), NOW + timedelta(days=90))
    assert (facts.key_kind, facts.key_bits, facts.self_signed) == ("EC", 256, True)
    assert facts.sha256 == fingerprint_of(der_of(pem))
    assert facts == facts_of(der_of(pem))


def test_the_cryptography_library_agrees() -> None:
    pem = made()
    outside = x509.load_pem_x509_certificate(pem)
    facts = facts_of(pem)
    assert facts.sha256.digest == outside.fingerprint(hashes.SHA256())
    assert int(facts.serial, 16) == outside.serial_number
    # RFC 5280 §4.1.2.2 (check value i11): positive, at most 20 octets
    assert 0 < outside.serial_number < 1 << 159


def test_openssl_reads_what_we_made(tmp_path: Path) -> None:
    key_pem, pem = make_self_signed(
        common_name="brook-1", names=["brook-1.example"], addresses=["192.0.2.11"], now=NOW, days=90
    )
    file = tmp_path / "leaf.pem"
    file.write_bytes(pem + key_pem)
    shown = openssl(file, "-text")
    assert "DNS:brook-1.example, IP Address:192.0.2.11" in shown
    assert "NIST CURVE: P-256" in shown
    assert "CA:FALSE" in shown
    assert "Not Before: Dec  5 19:50:00 2026 GMT" in shown
    assert "TLS Web Server Authentication" in shown
    own_key = load_pem_private_key(key_pem, None).public_key()
    assert own_key == x509.load_pem_x509_certificate(pem).public_key()
    verified = subprocess.run(
        ["openssl", "verify", "-CAfile", file, "-attime", str(int(NOW.timestamp())), file],
        capture_output=True,
        text=True,
    )
    assert verified.stdout.strip().endswith("OK"), verified.stderr


@pytest.mark.parametrize(
    ("presented", "reference", "covered"),
    [  # RFC 9525 §6.3 (check value i10)
        ("*.example.com", "a.example.com", True),
        ("*.example.com", "example.com", False),
        ("*.example.com", "a.b.example.com", False),
        ("f*.example.com", "foo.example.com", False),
        ("*f.example.com", "of.example.com", False),
        ("a.*.com", "a.example.com", False),
        ("*.*.com", "a.example.com", False),
        ("**.example.com", "a.example.com", False),
        ("*", "example", False),
        ("A.Example.COM", "a.eXample.com", True),
        ("*.EXAMPLE.com", "a.example.com", True),
        ("a.example.com", "a.example.com.", True),
        ("a.example.com", "b.a.example.com", False),
        ("xn--mhle-0ra.example.com", "XN--MHLE-0RA.example.com", True),
        ("192.0.2.11", "192.0.2.11", False),  # an address matches only an iPAddress entry
    ],
)
def test_names_by_rfc_9525(presented: str, reference: str, *, covered: bool) -> None:
    assert covers_name(with_names(presented), reference) is covered


def test_the_common_name_does_not_count() -> None:
    assert not covers_name(with_names("other.example.com"), "brook-1.example.com")
    assert not covers_name(with_names(), "brook-1.example.com")


def test_addresses_match_octet_by_octet() -> None:
    facts = facts_of(made((), ("192.0.2.11", "2001:db8::11")))
    assert covers_name(facts, "192.0.2.11")
    assert covers_name(facts, "2001:DB8:0:0:0:0:0:11")
    assert not covers_name(facts, "192.0.2.12")
    assert not covers_name(facts, "::ffff:192.0.2.11")  # RFC 9525 §6.4: 16 octets are not 4


@pytest.mark.parametrize("reference", ["", ".", "a..example", "*.example.com", "mühle.example"])
def test_what_is_no_host_name_is_refused(reference: str) -> None:
    with pytest.raises(InputRefused, match="is not a host name"):
        covers_name(with_names("a.example"), reference)


LABEL = st.sampled_from(["a", "b", "A", "example", "foo"])


@settings(deadline=None, max_examples=60)
@given(
    presented=st.builds(
        lambda head, rest: ".".join([head, *rest]),
        st.one_of(st.just("*"), LABEL),
        st.lists(LABEL, min_size=2, max_size=2),
    ),
    reference=st.builds(".".join, st.lists(LABEL, min_size=2, max_size=4)),
)
def test_names_agree_with_openssl(
    tmp_path_factory: pytest.TempPathFactory, presented: str, reference: str
) -> None:
    # OpenSSL's X509_check_host follows the same rules for a whole-label asterisk under two further labels.
    file = tmp_path_factory.mktemp("names") / "leaf.pem"
    file.write_bytes(made((presented,)))
    says = openssl(file, "-checkhost", reference)
    assert ("does match" in says) is covers_name(facts_of(file.read_bytes()), reference)


def test_addresses_agree_with_openssl(tmp_path: Path) -> None:
    file = tmp_path / "leaf.pem"
    file.write_bytes(made((), ("192.0.2.11", "2001:db8::11")))
    for reference in ("192.0.2.11", "192.0.2.12", "2001:db8:0::11", "2001:db8::12"):
        assert ("does match" in openssl(file, "-checkip", reference)) is covers_name(
            facts_of(file.read_bytes()), reference
        )


@pytest.mark.parametrize(
    ("kind", "bits", "strength"),
    [  # NIST SP 800-57 part 1 table 2 (check value i13)
        ("RSA", 1024, 80),
        ("RSA", 2048, 112),
        ("RSA", 3072, 128),
        ("RSA", 4096, 128),
        ("RSA", 7680, 192),
        ("RSA", 15360, 256),
        ("EC", 224, 112),
        ("EC", 256, 128),
        ("EC", 384, 192),
        ("EC", 521, 256),
        ("RSA", 512, 0),
        ("other", 0, 0),
        ("Ed25519", 256, 128),
    ],
)
def test_strength_by_sp_800_57(kind: str, bits: int, strength: int) -> None:
    facts = with_names()
    assert (
        CertificateFacts(
            **{**{f: getattr(facts, f) for f in facts.__slots__}, "key_kind": kind, "key_bits": bits}
        ).strength_bits
        == strength
    )


def issued(
    key: rsa.RSAPrivateKey | ed25519.Ed25519PrivateKey | ec.EllipticCurvePrivateKey, *, by_other: bool
) -> bytes:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "same name")])
    signer = ec.generate_private_key(ec.SECP384R1()) if by_other else key
    builder = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    builder = builder.serial_number(7).not_valid_before(NOW).not_valid_after(NOW + timedelta(days=1))
    digest = None if isinstance(signer, ed25519.Ed25519PrivateKey) else hashes.SHA256()
    return builder.sign(signer, digest).public_bytes(Encoding.DER)


def test_self_signed_is_what_its_own_key_verifies() -> None:
    key = ec.generate_private_key(ec.SECP384R1())
    assert facts_of(issued(key, by_other=False)).self_signed
    assert not facts_of(issued(key, by_other=True)).self_signed  # though subject and issuer are alike


def test_kinds_of_key() -> None:
    rsa_facts = facts_of(issued(rsa.generate_private_key(65537, 2048), by_other=False))
    assert (rsa_facts.key_kind, rsa_facts.key_bits, rsa_facts.strength_bits) == ("RSA", 2048, 112)
    ed_facts = facts_of(issued(ed25519.Ed25519PrivateKey.generate(), by_other=False))
    assert (ed_facts.key_kind, ed_facts.strength_bits, ed_facts.names) == ("Ed25519", 128, ())


def test_validity_includes_both_ends() -> None:
    # RFC 5280 §4.1.2.5: from notBefore through notAfter, inclusive
    facts = facts_of(made())
    second = timedelta(seconds=1)
    assert [
        facts.valid_at(t)
        for t in (facts.not_before - second, facts.not_before, facts.not_after, facts.not_after + second)
    ] == [
        False,
        True,
        True,
        False,
    ]


@pytest.mark.parametrize(
    "data", [b"", b"abc", b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"]
)
def test_what_is_no_certificate_is_refused(data: bytes) -> None:
    with pytest.raises(InputRefused, match=r"this is not a certificate\n  where: leaf\.pem"):
        facts_of(data, where="leaf.pem")


WHOLE = der_of(made())


@settings(deadline=None)
@given(cut=st.integers(0, 300), value=st.integers(0, 255))
def test_a_changed_certificate_is_read_or_refused_never_anything_else(cut: int, value: int) -> None:
    der = bytearray(WHOLE)
    der[cut % len(der)] = value
    try:
        facts_of(bytes(der))
    except InputRefused:
        return


def test_all_faults_of_an_order_are_told_at_once() -> None:
    with pytest.raises(InputRefused) as refused:
        make_self_signed(
            common_name="x" * 65, names=["mühle.example"], addresses=["192.0.2.300"], now=NOW, days=0
        )
    assert [fault.what for fault in refused.value.faults] == [
        "a common name has 1 to 64 characters, not 65",  # RFC 5280, ub-common-name (check value i11)
        "a certificate must be valid for at least 1 day, not 0",
        '"mühle.example" is not a host name in ASCII',
        '"192.0.2.300" is not an IP address',
    ]
    with pytest.raises(InputRefused, match="needs a name or an address"):
        make_self_signed(common_name="brook-1", names=[], addresses=[], now=NOW, days=1)


def openssl(file: Path, *options: str) -> str:
    return subprocess.run(
        ["openssl", "x509", "-in", file, "-noout", *options], check=True, capture_output=True, text=True
    ).stdout
