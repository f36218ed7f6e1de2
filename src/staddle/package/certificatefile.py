"""The text of a certificate file: the signature of the manifest, then certificates. Whether it is right: signature.py.

Source: DSP0243, certificate file (from memory): one line ``SHA256(name.mf)= signature in hex``, then X.509 in PEM (RFC 7468).
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from staddle.kernel import Fault, InputRefused
from staddle.package.manifesttext import DIGEST_DIGITS, algorithm_of

__all__ = ["CertificateFile", "certificates_in", "read_certificate_file", "write_certificate_file"]

_LINE: Final = re.compile(r"\s*(?P<algorithm>[A-Za-z0-9-]+)\s*\((?P<name>.+)\)\s*=\s*(?P<hex>\S*)\s*")
_PEM: Final = re.compile(r"-----BEGIN CERTIFICATE-----.*?-----END CERTIFICATE-----", re.DOTALL)
_AGAIN: Final = "fetch the package again; if the file stays, ask its maker for a corrected one"


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateFile:
    """``algorithm`` is SHA1, SHA256 or SHA512; the first certificate is the signer's, others may lead on to its issuer."""

    algorithm: str
    manifest_name: str
    signature: bytes
    certificates: tuple[x509.Certificate, ...]


def read_certificate_file(data: bytes, *, where: str) -> CertificateFile:
    """The file, read with the same tolerance of blanks, case and line ends as a manifest.

    Raises: InputRefused: with everything that is wrong with its form.
    """
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as exc:
        raise InputRefused.one(
            "the certificate file is not text", where=where, why=str(exc), mend=_AGAIN
        ) from exc
    faults: list[Fault] = []

    def fault(what: str, why: str = "") -> None:
        faults.append(Fault(what=what, where=where, why=why, mend=_AGAIN))

    certificates = _certificates(text, fault)
    lines = [line for line in _PEM.sub("", text).split("\n") if line.strip()]
    matches = [match for line in lines if (match := _LINE.fullmatch(line))]
    if len(matches) < len(lines):
        fault(
            "the certificate file holds lines that are neither a signature nor a certificate",
            "SHA256(name.mf)= and the signature in hex is expected, then certificates in PEM",
        )
    if len(matches) > 1:
        fault(
            f"the certificate file holds {len(matches)} signatures",
            "one line is expected; nothing tells which counts",
        )
    if not matches:
        fault("the certificate file holds no signature")
    if faults:
        raise InputRefused(*faults)
    match = matches[0]
    # openssl 3 puts the kind of the key before the algorithm: RSA-SHA2-256.
    algorithm = algorithm_of(match["algorithm"].upper().removeprefix("RSA-"))
    if algorithm not in DIGEST_DIGITS:
        fault(
            f'the signature is made with "{match["algorithm"]}"', f"{', '.join(DIGEST_DIGITS)} can be checked"
        )
    if re.fullmatch(r"(?:[0-9A-Fa-f]{2})+", match["hex"]) is None:
        fault("the signature is not a text of hex digits, two a byte")
    if faults:
        raise InputRefused(*faults)
    return CertificateFile(
        algorithm=algorithm,
        manifest_name=match["name"].strip(),
        signature=bytes.fromhex(match["hex"]),
        certificates=certificates,
    )


def _certificates(text: str, fault: Callable[[str, str], None]) -> tuple[x509.Certificate, ...]:
    blocks = _PEM.findall(text)
    if not blocks:
        fault("the certificate file holds no certificate", "")
    found = []
    for number, block in enumerate(blocks, 1):
        try:
            found.append(x509.load_pem_x509_certificate(block.encode()))
        except (ValueError, x509.InvalidVersion) as exc:
            fault(f"certificate {number} of the certificate file cannot be read", str(exc))
    return tuple(found)


def certificates_in(data: bytes, *, where: str) -> tuple[x509.Certificate, ...]:
    """All certificates of a file, PEM or one in DER: anchors, or a signer's own with what leads on to its issuer.

    Raises: InputRefused: there is none, or one cannot be read.
    """
    try:
        if b"-----BEGIN CERTIFICATE-----" in data:
            return tuple(x509.load_pem_x509_certificates(data))
        return (x509.load_der_x509_certificate(data),)
    except (ValueError, x509.InvalidVersion) as exc:
        raise InputRefused.one(
            "this is not a certificate",
            where=where,
            why=str(exc),
            mend="name a file with X.509 certificates in PEM, or one in DER",
        ) from exc


def write_certificate_file(file: CertificateFile) -> bytes:
    """The file in the strict form."""
    pem = b"".join(certificate.public_bytes(Encoding.PEM) for certificate in file.certificates)
    return f"{file.algorithm}({file.manifest_name})= {file.signature.hex()}\n".encode() + pem
