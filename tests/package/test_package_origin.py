"""Who signed a package. Keys, certificates and signatures are made by openssl, and chains are judged by it as well.

Sources: DSP0243, certificate file (from memory); RFC 5280 §4.1.2.5, §4.2.1, §6; RFC 8017 §8.2.2.
"""

import subprocess
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from staddle.kernel import InputRefused
from staddle.package import OriginCheck, Verification, certificates_in, verify_package
from tests.package.signed_packages import DESCRIPTOR, Party, manifest_of, openssl, party, signed

NOW = datetime(2026, 12, 1, tzinfo=UTC)
SIGNS = "keyUsage=critical,digitalSignature"
CODE = "extendedKeyUsage=codeSigning"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("parties")


@pytest.fixture(scope="module")
def root(place: Path) -> Party:
    return party(place, "root", ca=True)


@pytest.fixture(scope="module")
def between(place: Path, root: Party) -> Party:
    return party(place, "between", issuer=root, ca=True)


@pytest.fixture(scope="module")
def maker(place: Path, between: Party) -> Party:
    """The usual case: a signer below an authority below a root."""
    return party(place, "maker", issuer=between, extensions=(SIGNS, CODE))


@pytest.fixture(scope="module")
def alone(place: Path) -> Party:
    return party(place, "alone")


def judged(path: Path, *anchors: Party, now: datetime = NOW) -> Verification:
    trusted = tuple(
        certificate
        for one in anchors
        for certificate in certificates_in(one.certificate.read_bytes(), where="anchor")
    )
    return verify_package(path, origin=OriginCheck(now=now, anchors=trusted))


def rules(found: Verification) -> list[str]:
    return [finding.rule for finding in found.findings]


def whats(caught: pytest.ExceptionInfo[InputRefused]) -> list[str]:
    return [fault.what for fault in caught.value.faults]


# ---- the signature over the manifest's bytes -------------------------------------------------------------------------


@pytest.mark.parametrize("algorithm", ["SHA256", "SHA512"])
def test_a_signature_by_openssl_is_right(tmp_path: Path, maker: Party, root: Party, algorithm: str) -> None:
    found = judged(signed(tmp_path, maker, algorithm=algorithm), root)
    assert rules(found) == []
    assert found.origin is not None
    assert (found.origin.subject, found.origin.issuer) == ("CN=maker", "CN=between")
    assert (found.origin.standing, found.origin.anchor) == ("anchored", "CN=root")
    assert (found.origin.key, found.origin.algorithm) == ("RSA 2048", algorithm)
    said = openssl("x509", "-in", maker.certificate, "-noout", "-fingerprint", "-sha256").decode()
    assert said.strip().partition("=")[2].replace(":", "").lower() == found.origin.sha256


def test_a_signature_with_sha1_is_right_and_a_risk(tmp_path: Path, maker: Party, root: Party) -> None:
    found = judged(signed(tmp_path, maker, algorithm="SHA1"), root)
    assert [(f.rule, f.severity) for f in found.findings] == [("signature-sha1", "risk")]


def test_a_signature_with_an_ec_key_is_right_and_told(tmp_path: Path, place: Path, root: Party) -> None:
    by = party(place, "ec", issuer=root, kind="ec")
    found = judged(signed(tmp_path, by), root)
    assert [(f.rule, f.severity) for f in found.findings] == [("signature-key-kind", "note")]
    assert found.origin is not None
    assert found.origin.key == "EC 256"


def test_a_short_key_is_a_risk(tmp_path: Path, place: Path, root: Party) -> None:
    by = party(place, "short", issuer=root, kind="rsa1024")
    assert rules(judged(signed(tmp_path, by), root)) == ["signature-key-weak"]


def test_a_kind_of_key_that_is_not_checked_is_said_so(tmp_path: Path, place: Path, root: Party) -> None:
    path = signed(tmp_path, party(place, "ed", issuer=root, kind="ed25519"))
    found = judged(path)
    assert (rules(found), found.origin) == (["signature-not-checked"], None)
    with pytest.raises(InputRefused, match="a kind of key that is not checked here"):
        judged(path, root)


def test_one_blank_more_in_the_manifest_breaks_the_signature(tmp_path: Path, maker: Party) -> None:
    # Every digest still agrees, and the manifest is still read: only its exact bytes tell.
    path = signed(tmp_path, maker)
    manifest = tmp_path / "box.mf"
    manifest.write_bytes(manifest.read_bytes().replace(b")= ", b")=  ", 1))
    with pytest.raises(InputRefused) as caught:
        judged(path)
    assert str(caught.value) == (
        "error: the signature is not that of this manifest\n  where: box.cert\n"
        "  why:   the manifest was changed after it was signed, or the signature belongs to another certificate\n"
        "  try:   do not use this copy; fetch the package again from its maker"
    )


def test_the_signature_of_another_key_is_refused(tmp_path: Path, maker: Party, alone: Party) -> None:
    with pytest.raises(InputRefused, match="the signature is not that of this manifest"):
        judged(signed(tmp_path, alone, certificates=maker.chain))


def test_a_signature_of_another_length_is_refused(tmp_path: Path, maker: Party, place: Path) -> None:
    by = party(place, "long-signature", kind="rsa1024")
    with pytest.raises(InputRefused) as caught:
        judged(signed(tmp_path, by, certificates=maker.chain))
    assert whats(caught) == ["the signature has 128 bytes"]
    assert caught.value.faults[0].why == "with the certificate's key of 2048 bits it has 256"


def test_faults_of_digests_and_of_the_signature_are_told_together(
    tmp_path: Path, maker: Party, alone: Party
) -> None:
    path = signed(tmp_path, alone, certificates=maker.chain)
    (tmp_path / "a.img").write_bytes(b"abd")
    with pytest.raises(InputRefused) as caught:
        judged(path)
    assert whats(caught) == [
        "the signature is not that of this manifest",
        'the file "a.img" is not the one that the manifest describes',
    ]


# ---- the form of the certificate file --------------------------------------------------------------------------------

BROKEN: dict[str, tuple[Callable[[str, str], str], str]] = {
    "another-manifest": (
        lambda line, pem: line.replace("box.mf", "chest.mf") + pem,
        'the certificate file signs "chest.mf", the manifest is "box.mf"',
    ),
    "unknown-algorithm": (
        lambda line, pem: line.replace("SHA256", "MD5") + pem,
        'the signature is made with "MD5"',
    ),
    "not-hex": (
        lambda line, pem: line.replace("= ", "= zz") + pem,
        "the signature is not a text of hex digits, two a byte",
    ),
    "odd-digits": (
        lambda line, pem: line.strip()[:-1] + "\n" + pem,
        "the signature is not a text of hex digits, two a byte",
    ),
    "two-signatures": (lambda line, pem: line + line + pem, "the certificate file holds 2 signatures"),
    "no-signature": (lambda _, pem: pem, "the certificate file holds no signature"),
    "no-certificate": (lambda line, _: line, "the certificate file holds no certificate"),
    "stray-line": (
        lambda line, pem: line + "hello\n" + pem,
        "the certificate file holds lines that are neither a signature nor a certificate",
    ),
    "damaged-certificate": (
        lambda line, pem: line + pem.replace("MII", "MIJ", 1),
        "certificate 1 of the certificate file cannot be read",
    ),
}


@pytest.mark.parametrize("form", BROKEN)
def test_each_broken_form_of_the_certificate_file_is_told_by_name(
    tmp_path: Path, maker: Party, form: str
) -> None:
    path = signed(tmp_path, maker)
    line, _, pem = (tmp_path / "box.cert").read_text().partition("\n")
    breaks, told = BROKEN[form]
    (tmp_path / "box.cert").write_text(breaks(line + "\n", pem))
    with pytest.raises(InputRefused) as caught:
        judged(path)
    assert whats(caught) == [told]
    assert caught.value.faults[0].where == "box.cert"


def test_a_certificate_file_that_is_not_text_is_refused(tmp_path: Path, maker: Party) -> None:
    path = signed(tmp_path, maker)
    (tmp_path / "box.cert").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputRefused, match="the certificate file is not text"):
        judged(path)


def test_line_ends_blanks_and_case_of_the_certificate_file_do_not_matter(
    tmp_path: Path, maker: Party, root: Party
) -> None:
    path = signed(tmp_path, maker)
    text = (tmp_path / "box.cert").read_text()
    line, _, pem = text.partition("\n")
    algorithm, _, signature = line.partition("(box.mf)= ")
    assert algorithm == "SHA256"
    written = f"sha-256 (box.mf) = {signature.upper()}\n\n{pem}".replace("\n", "\r\n")
    (tmp_path / "box.cert").write_bytes(b"\xef\xbb\xbf" + written.encode())
    found = judged(path, root)
    assert found.origin is not None
    assert found.origin.standing == "anchored"


# ---- whose the certificate is ----------------------------------------------------------------------------------------


def test_a_self_signed_certificate_is_said_as_such(tmp_path: Path, alone: Party) -> None:
    found = judged(signed(tmp_path, alone))
    assert [(f.rule, f.severity) for f in found.findings] == [("signer-self-signed", "note")]
    assert found.origin is not None
    assert found.origin.standing == "self-signed"


def test_a_self_signed_certificate_can_be_the_anchor_itself(tmp_path: Path, alone: Party) -> None:
    found = judged(signed(tmp_path, alone), alone)
    assert rules(found) == []
    assert found.origin is not None
    assert (found.origin.standing, found.origin.anchor) == ("anchored", "CN=alone")


def test_without_anchors_an_issued_certificate_shows_nobody(tmp_path: Path, maker: Party) -> None:
    found = judged(signed(tmp_path, maker))
    assert rules(found) == ["signer-not-anchored"]
    assert found.findings[0].what == "the signature is right; nothing was given that shows who CN=maker is"


def test_where_nothing_is_asked_about_the_signer_that_is_said(tmp_path: Path, maker: Party) -> None:
    assert rules(verify_package(signed(tmp_path, maker))) == ["signer-not-judged"]


def test_a_certificate_past_its_end_is_a_risk_and_its_chain_still_counts(
    tmp_path: Path, place: Path, root: Party
) -> None:
    by = party(place, "past", issuer=root, days=("20260101000000Z", "20260301000000Z"))
    found = judged(signed(tmp_path, by), root)
    assert [(f.rule, f.severity, f.what) for f in found.findings] == [
        ("signer-expired", "risk", "the signer's certificate was valid until 2026-03-01 00:00 UTC")
    ]
    assert found.origin is not None
    assert found.origin.standing == "anchored"


def test_both_ends_of_the_validity_belong_to_it(tmp_path: Path, place: Path, root: Party) -> None:
    # RFC 5280 §4.1.2.5: "the period of time from notBefore through notAfter, inclusive"
    by = party(place, "ends", issuer=root, days=("20260201000000Z", "20260301000000Z"))
    path = signed(tmp_path, by)
    for day in (datetime(2026, 2, 1, tzinfo=UTC), datetime(2026, 3, 1, tzinfo=UTC)):
        assert rules(judged(path, root, now=day)) == []


def test_a_certificate_before_its_start_is_a_risk(tmp_path: Path, place: Path, root: Party) -> None:
    by = party(place, "early", issuer=root, days=("20270101000000Z", "20280101000000Z"))
    assert rules(judged(signed(tmp_path, by), root)) == ["signer-not-yet-valid"]


@pytest.mark.parametrize(
    ("name", "extensions", "expected"),
    [
        ("code", (SIGNS, CODE), []),
        ("commits", ("keyUsage=nonRepudiation",), []),
        ("any", ("extendedKeyUsage=anyExtendedKeyUsage",), []),
        ("tls", (SIGNS, "extendedKeyUsage=serverAuth,clientAuth"), ["signer-purpose"]),
        ("encrypts", ("keyUsage=keyEncipherment",), ["signer-purpose"]),
    ],
)
def test_a_certificate_for_another_purpose_is_a_risk(
    tmp_path: Path, place: Path, root: Party, name: str, extensions: tuple[str, ...], expected: list[str]
) -> None:
    by = party(place, f"purpose-{name}", issuer=root, extensions=extensions)
    assert rules(judged(signed(tmp_path, by), root)) == expected


# ---- chains, each judged by openssl too ------------------------------------------------------------------------------


def openssl_accepts(by: Party, anchor: Party, folder: Path) -> bool:
    """Whether "openssl verify" builds the chain at the same instant."""
    untrusted = folder / "untrusted.pem"
    untrusted.write_text(by.chain)
    done = subprocess.run(
        [
            "openssl", "verify", "-no-CApath", "-no-CAstore", "-partial_chain", "-attime", str(int(NOW.timestamp())),
            "-CAfile", anchor.certificate, "-untrusted", untrusted, by.certificate,
        ],
        capture_output=True,
        timeout=60,
    )  # fmt: skip
    return done.returncode == 0


def chain(place: Path, root: Party, name: str) -> tuple[Party, Party]:
    """A signer and an anchor."""
    own = place / name
    if name == "sound":
        return party(own, "s", issuer=party(own, "i", issuer=root, ca=True)), root
    if name == "anchor-between":
        middle = party(own, "i", issuer=root, ca=True)
        return party(own, "s", issuer=middle), middle
    if name == "another-root-of-that-name":
        return party(own, "s", issuer=root), party(own, "other", ca=True, subject="root")
    if name == "issuer-may-not-issue":
        return party(own, "s", issuer=party(own, "i", issuer=root, ca=False)), root
    if name == "issuer-key-not-for-certificates":
        usage = ("keyUsage=critical,digitalSignature",)
        return party(own, "s", issuer=party(own, "i", issuer=root, ca=True, extensions=usage)), root
    if name == "issuer-expired":
        days = ("20260101000000Z", "20260201000000Z")
        return party(own, "s", issuer=party(own, "i", issuer=root, ca=True, days=days)), root
    assert name == "issuer-left-out"
    by = party(own, "s", issuer=party(own, "i", issuer=root, ca=True))
    return Party(key=by.key, certificate=by.certificate, chain=by.certificate.read_text()), root


@pytest.mark.parametrize(
    ("name", "sound"),
    [
        ("sound", True),
        ("anchor-between", True),
        ("another-root-of-that-name", False),
        ("issuer-may-not-issue", False),
        ("issuer-key-not-for-certificates", False),
        ("issuer-expired", False),
        ("issuer-left-out", False),
    ],
)
def test_a_chain_is_accepted_exactly_where_openssl_accepts_it(
    tmp_path: Path, place: Path, root: Party, name: str, sound: bool
) -> None:
    by, anchor = chain(place, root, name)
    assert openssl_accepts(by, anchor, tmp_path) is sound
    path = signed(tmp_path / "package", by)
    if sound:
        found = judged(path, anchor)
        assert found.origin is not None
        assert found.origin.standing == "anchored"
        return
    with pytest.raises(InputRefused) as caught:
        judged(path, anchor)
    assert whats(caught) == ["the signer CN=s does not lead to an anchor"]
    assert caught.value.faults[0].why


def test_where_anchors_are_given_an_unsigned_package_is_refused(
    tmp_path: Path, maker: Party, root: Party
) -> None:
    path = signed(tmp_path, maker)
    (tmp_path / "box.cert").unlink()
    with pytest.raises(InputRefused, match="the package is not signed, and anchors are given for its signer"):
        judged(path, root)


def test_an_anchor_may_be_der_and_must_be_a_certificate(maker: Party) -> None:
    der = openssl("x509", "-in", maker.certificate, "-outform", "DER")
    assert certificates_in(der, where="x") == certificates_in(maker.certificate.read_bytes(), where="x")
    with pytest.raises(InputRefused, match="this is not a certificate"):
        certificates_in(b"hello", where="x")


# ---- what the manifest covers ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["box.mf", "box.cert"])
def test_a_manifest_that_lists_itself_or_its_certificate_is_refused(
    tmp_path: Path, maker: Party, name: str
) -> None:
    manifest = (
        manifest_of(box_ovf=DESCRIPTOR.encode(), a_img=b"abc") + f"SHA256({name})= {'0' * 64}\n".encode()
    )
    with pytest.raises(InputRefused) as caught:
        judged(signed(tmp_path, maker, manifest=manifest))
    assert whats(caught) == [f'the manifest lists "{name}"']


def test_a_listed_file_to_which_nothing_refers_is_a_note(tmp_path: Path, maker: Party, root: Party) -> None:
    (tmp_path / "notes.txt").write_bytes(b"hello")
    manifest = manifest_of(box_ovf=DESCRIPTOR.encode(), a_img=b"abc", notes_txt=b"hello")
    found = judged(signed(tmp_path, maker, manifest=manifest), root)
    assert [(f.rule, f.severity, f.what) for f in found.findings] == [
        ("manifest-extra-file", "note", 'the manifest lists "notes.txt", to which nothing refers')
    ]


def test_the_same_line_twice_is_a_note(tmp_path: Path, maker: Party, root: Party) -> None:
    manifest = manifest_of(box_ovf=DESCRIPTOR.encode(), a_img=b"abc")
    doubled = manifest + manifest.splitlines(keepends=True)[-1]
    found = judged(signed(tmp_path, maker, manifest=doubled), root)
    assert [(f.rule, f.severity, f.what) for f in found.findings] == [
        ("manifest-line-twice", "note", 'the manifest has the same line twice for "a.img"')
    ]


@pytest.mark.parametrize("name", ["RSA-SHA2-256", "RSA-SHA256", "SHA2-256"])
def test_the_algorithm_may_be_called_as_openssl_calls_it(tmp_path: Path, alone: Party, name: str) -> None:
    """openssl-dgst prints "RSA-SHA2-256(name)= hex" for a signature since edition 3, "RSA-SHA256(name)= hex" before."""
    path = signed(tmp_path / "package", alone)
    (certificate,) = (tmp_path / "package").glob("*.cert")
    text = certificate.read_text(encoding="ascii")
    assert text.startswith("SHA256(")
    certificate.write_text(name + text.removeprefix("SHA256"), encoding="ascii")
    origin = verify_package(path, origin=OriginCheck(now=NOW)).origin
    assert origin is not None
    assert (origin.algorithm, origin.standing) == ("SHA256", "self-signed")
