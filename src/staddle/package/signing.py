"""Signing a manifest with the organisation's own key. Checking signatures is signature.py's work.

Source: DSP0243, certificate file (RSA PKCS #1 v1.5 over the bytes of the manifest, from memory).
"""

from dataclasses import dataclass, field
from datetime import datetime

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from cryptography.hazmat.primitives.serialization import load_pem_private_key

from staddle.kernel import Fault, InputRefused
from staddle.package.certificatefile import CertificateFile, certificates_in, write_certificate_file

__all__ = ["ManifestSigner", "load_signer", "needs_passphrase"]

_LEAST_BITS = 2048  # NIST SP 800-131A (from memory)


@dataclass(frozen=True, slots=True, kw_only=True)
class ManifestSigner:
    """A key with its certificates, the signer's own first."""

    key: rsa.RSAPrivateKey = field(repr=False)
    certificates: tuple[x509.Certificate, ...]

    def certificate_file(self, manifest: bytes, manifest_name: str) -> bytes:
        """The content of the certificate file for these bytes."""
        return write_certificate_file(
            CertificateFile(
                algorithm="SHA256",
                manifest_name=manifest_name,
                signature=self.key.sign(manifest, padding.PKCS1v15(), hashes.SHA256()),
                certificates=self.certificates,
            )
        )


def needs_passphrase(key: bytes) -> bool:
    """Whether this private key lies encrypted. False for what is no key at all; load_signer tells that."""
    try:
        load_pem_private_key(key, None)
    except TypeError:  # the library's word for a key that is encrypted
        return True
    except (ValueError, UnsupportedAlgorithm):
        return False
    return False


def load_signer(
    key: bytes, certificates: bytes, *, passphrase: bytes | None, now: datetime, where: str
) -> ManifestSigner:
    """The signer from a private key in PEM and its certificates.

    Args: certificates: the signer's own first, then what leads to its issuer; where: the key's file.
    Raises: InputRefused: no RSA key of at least 2048 bits, a wrong passphrase, or a certificate that is another key's or is
        not valid now.
    """
    try:
        loaded = load_pem_private_key(key, passphrase)
    except (ValueError, TypeError, UnsupportedAlgorithm) as exc:
        wrong = passphrase is not None and b"PRIVATE KEY" in key
        raise InputRefused.one(
            "the passphrase does not open the key" if wrong else "this is not a private key in PEM",
            where=where,
            why="" if wrong else str(exc),
            mend="type it again" if wrong else "name the file with the signer's private key",
        ) from exc
    found = certificates_in(certificates, where=where)
    own = found[0]
    faults = []
    if not isinstance(loaded, rsa.RSAPrivateKey) or loaded.key_size < _LEAST_BITS:
        faults.append(
            Fault(
                what="the key is not an RSA key of at least 2048 bits",
                where=where,
                why="a package is signed with RSA (DSP0243), and shorter keys no longer count",
                mend="have a signing key with its certificate issued",
            )
        )
    elif own.public_key() != loaded.public_key():
        faults.append(
            Fault(
                what=f"the certificate {own.subject.rfc4514_string()} is that of another key",
                where=where,
                mend="put the key's own certificate first into the file with certificates",
            )
        )
    if not own.not_valid_before_utc <= now <= own.not_valid_after_utc:
        faults.append(
            Fault(
                what=f"the certificate {own.subject.rfc4514_string()} is not valid now",
                where=where,
                why=f"it is from {own.not_valid_before_utc:%Y-%m-%d} until {own.not_valid_after_utc:%Y-%m-%d}",
                mend="have it renewed",
            )
        )
    if faults or not isinstance(loaded, rsa.RSAPrivateKey):
        raise InputRefused(*faults)
    return ManifestSigner(key=loaded, certificates=found)
