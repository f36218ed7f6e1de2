"""Facts of a certificate, which names it covers, and the making of a self-signed one. Chains are not checked here.

Randomness of keys and serials comes from the operating system through the cryptography library.

Source: RFC 5280 (fields), RFC 9525 §6.3 (names), NIST SP 800-57 part 1 table 2 (strengths).
"""

import ipaddress
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import dsa, ec, ed448, ed25519, rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from staddle.kernel import Fault, InputRefused
from staddle.trust.fingerprints import Fingerprint, fingerprint_of

__all__ = ["CertificateFacts", "covers_name", "der_of", "facts_of", "make_self_signed"]

_BACKDATED: Final = timedelta(minutes=10)  # against clocks that differ; common practice, no source
_COMMON_NAME_MOST: Final = 64  # RFC 5280 appendix A.1, ub-common-name
# (least key bits, strength in bits), strongest first. SP 800-57 part 1 table 2.
_FACTORING: Final = ((15360, 256), (7680, 192), (3072, 128), (2048, 112), (1024, 80))
_ELLIPTIC: Final = ((512, 256), (384, 192), (256, 128), (224, 112), (160, 80))
_PEM: Final = re.compile(rb"-----BEGIN CERTIFICATE-----")


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateFacts:
    """What one certificate says. ``names`` and ``addresses`` are its subjectAltName; instants are UTC.

    ``key_kind`` is "RSA", "EC", "Ed25519", "Ed448", "DSA" or "other"; ``serial`` is upper-case hex;
    ``self_signed`` means that its own key verifies its signature, not only that subject and issuer are alike.
    """

    subject: str
    issuer: str
    names: tuple[str, ...]
    addresses: tuple[str, ...]
    not_before: datetime
    not_after: datetime
    key_kind: str
    key_bits: int
    serial: str
    self_signed: bool
    sha256: Fingerprint

    @property
    def strength_bits(self) -> int:
        """Security strength by SP 800-57 part 1 table 2; 0 where the table has no row."""
        if self.key_kind in ("Ed25519", "Ed448"):
            return 128 if self.key_kind == "Ed25519" else 224  # RFC 8032 §1
        table = {"RSA": _FACTORING, "DSA": _FACTORING, "EC": _ELLIPTIC}.get(self.key_kind, ())
        return next((strength for least, strength in table if self.key_bits >= least), 0)

    def valid_at(self, instant: datetime) -> bool:
        """Whether the instant lies in the validity period, both ends included (RFC 5280 §4.1.2.5)."""
        return self.not_before <= instant <= self.not_after


def facts_of(data: bytes, *, where: str = "") -> CertificateFacts:
    """The facts of a certificate given as DER, or as the first one of a PEM text.

    Raises: InputRefused: not a certificate, or one with fields that cannot be read.
    """
    certificate = _load(data, where)
    try:
        names, addresses = _alternative_names(certificate)
        kind, bits = _key(certificate)
        return CertificateFacts(
            subject=certificate.subject.rfc4514_string(),
            issuer=certificate.issuer.rfc4514_string(),
            names=names,
            addresses=addresses,
            not_before=certificate.not_valid_before_utc,
            not_after=certificate.not_valid_after_utc,
            key_kind=kind,
            key_bits=bits,
            serial=f"{certificate.serial_number:X}",
            self_signed=_is_self_signed(certificate),
            sha256=fingerprint_of(certificate.public_bytes(Encoding.DER)),
        )
    except (ValueError, x509.DuplicateExtension) as exc:
        raise InputRefused.one(
            "a field of the certificate cannot be read",
            where=where,
            why=str(exc),
            mend="have it issued again",
        ) from exc


def der_of(data: bytes, *, where: str = "") -> bytes:
    """The DER of a certificate given as DER or PEM. Raises: InputRefused: not a certificate."""
    return _load(data, where).public_bytes(Encoding.DER)


def covers_name(certificate: CertificateFacts, reference: str) -> bool:
    """Whether the certificate is for this host name or IP address. The common name does not count.

    Args: reference: a host name in ASCII (A-labels), or an IPv4 or IPv6 address; one last dot is ignored.
    Raises: InputRefused: a reference that is no name: empty, not ASCII, or with an asterisk.
    Source: RFC 9525 §6.3 (names, case and wildcard), §6.4 (addresses, octet by octet).
    """
    try:
        address = ipaddress.ip_address(reference)
    except ValueError:
        pass
    else:
        return any(ipaddress.ip_address(entry) == address for entry in certificate.addresses)
    labels = reference.lower().removesuffix(".").split(".")
    if not reference.isascii() or "*" in reference or not all(labels):
        raise InputRefused.one(
            f'"{reference}" is not a host name',
            mend='write it in ASCII ("xn--…" for other scripts), without "*"',
        )
    return any(_matches(name.lower().removesuffix(".").split("."), labels) for name in certificate.names)


def _matches(presented: list[str], reference: list[str]) -> bool:
    if not any("*" in label for label in presented):
        return presented == reference
    # RFC 9525 §6.3: one asterisk, the whole of the left-most label, for exactly one label; otherwise the identifier
    # is ignored. A lone "*" has no domain to stand in, so it is ignored too.
    if presented[0] != "*" or len(presented) < 2 or any("*" in label for label in presented[1:]):
        return False
    return len(presented) == len(reference) and presented[1:] == reference[1:]


def make_self_signed(
    *,
    common_name: str,
    names: Sequence[str],
    addresses: Sequence[str],
    now: datetime,
    days: int,
) -> tuple[bytes, bytes]:
    """A new EC P-256 key and a server certificate that it signs itself, valid from ten minutes before ``now``.

    Args: common_name: 1 to 64 characters; names, addresses: go into subjectAltName, at least one in all; now: aware;
        days: 1 or more, counted from ``now``.
    Returns: (key as unencrypted PKCS #8 PEM, certificate as PEM). The key is a secret: keep it in a file of mode 0600.
    Raises: InputRefused: any of these bounds broken; all faults at once.
    """
    faults = []
    if not 1 <= len(common_name) <= _COMMON_NAME_MOST:
        faults.append(
            Fault(what=f"a common name has 1 to 64 characters, not {len(common_name)}", why="RFC 5280")
        )
    if days < 1:
        faults.append(Fault(what=f"a certificate must be valid for at least 1 day, not {days}"))
    if now.tzinfo is None:
        faults.append(Fault(what="the instant has no time zone", mend="hand in an aware one, in UTC"))
    entries: list[x509.GeneralName] = []
    for name in names:
        try:
            entries.append(x509.DNSName(name))
        except ValueError:
            faults.append(Fault(what=f'"{name}" is not a host name in ASCII', mend='write it with "xn--…"'))
    for address in addresses:
        try:
            entries.append(x509.IPAddress(ipaddress.ip_address(address)))
        except ValueError:
            faults.append(Fault(what=f'"{address}" is not an IP address'))
    if not names and not addresses:
        faults.append(
            Fault(
                what="a certificate needs a name or an address",
                why="RFC 9525: the common name does not count",
            )
        )
    if faults:
        raise InputRefused(*faults)
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common_name)])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())  # positive, 20 octets at most: RFC 5280 §4.1.2.2
        .not_valid_before(now - _BACKDATED)
        .not_valid_after(now + timedelta(days=days))
        .add_extension(x509.SubjectAlternativeName(entries), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_SIGNS_ONLY, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    key_pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return key_pem, certificate.public_bytes(Encoding.PEM)


_SIGNS_ONLY: Final = x509.KeyUsage(
    digital_signature=True,
    content_commitment=False,
    key_encipherment=False,
    data_encipherment=False,
    key_agreement=False,
    key_cert_sign=False,
    crl_sign=False,
    encipher_only=False,
    decipher_only=False,
)


def _load(data: bytes, where: str) -> x509.Certificate:
    try:
        if _PEM.search(data):
            return x509.load_pem_x509_certificate(data)
        return x509.load_der_x509_certificate(data)
    except (ValueError, x509.InvalidVersion) as exc:
        raise InputRefused.one(
            "this is not a certificate",
            where=where,
            why=str(exc),
            mend="hand in an X.509 certificate as DER or PEM",
        ) from exc


def _alternative_names(certificate: x509.Certificate) -> tuple[tuple[str, ...], tuple[str, ...]]:
    try:
        entries = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return (), ()
    return tuple(entries.get_values_for_type(x509.DNSName)), tuple(
        str(address) for address in entries.get_values_for_type(x509.IPAddress)
    )


def _key(certificate: x509.Certificate) -> tuple[str, int]:
    try:
        key = certificate.public_key()
    except (UnsupportedAlgorithm, ValueError):
        return "other", 0
    match key:
        case rsa.RSAPublicKey():
            return "RSA", key.key_size
        case ec.EllipticCurvePublicKey():
            return "EC", key.curve.key_size
        case dsa.DSAPublicKey():
            return "DSA", key.key_size
        case ed25519.Ed25519PublicKey():
            return "Ed25519", 256
        case ed448.Ed448PublicKey():
            return "Ed448", 456
    return "other", 0


def _is_self_signed(certificate: x509.Certificate) -> bool:
    try:
        certificate.verify_directly_issued_by(certificate)
    except (InvalidSignature, UnsupportedAlgorithm, TypeError, ValueError):
        return False
    return True
