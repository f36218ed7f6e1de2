"""Whether a package is signed: the signature over the manifest's exact bytes.

The form of the certificate file is certificatefile.py's, whose the certificate is signer.py's, making signatures signing.py's
work.

Source: DSP0243, certificate file (RSA PKCS #1 v1.5 over the bytes of the manifest, from memory); RFC 8017 §8.2.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa

from staddle.kernel import Fault, Finding, Severity
from staddle.package.certificatefile import CertificateFile
from staddle.package.signer import OriginCheck, judge_signer

__all__ = ["HASHES", "Judged", "Origin", "judge_signature"]

HASHES: Final = {"SHA1": hashes.SHA1(), "SHA256": hashes.SHA256(), "SHA512": hashes.SHA512()}
_LEAST_RSA_BITS: Final = (
    2048  # NIST SP 800-131A rev. 2, table 2 (from memory): below it no new or old signature counts
)
_SOURCE: Final = "DSP0243, certificate file"
_DO_NOT_USE: Final = "do not use this copy; fetch the package again from its maker"


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """The signer, whose signature over the manifest is right.

    ``standing``: "anchored" (leads to ``anchor``, one of the engineer's), "self-signed" or "not anchored". ``sha256`` is the
    fingerprint of the certificate's DER in lower-case hex.
    """

    subject: str
    issuer: str
    not_before: datetime
    not_after: datetime
    sha256: str
    key: str
    algorithm: str
    standing: str
    anchor: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What was found. ``origin`` is None where the signature could not be checked or is wrong."""

    origin: Origin | None
    faults: tuple[Fault, ...] = ()
    findings: tuple[Finding, ...] = ()


def judge_signature(
    file: CertificateFile,
    manifest: bytes,
    *,
    manifest_name: str,
    where: str,
    check: OriginCheck | None,
) -> Judged:
    """Check the signature over these bytes, then whose it is.

    Args: manifest: exactly as it lies in the package; where: the certificate file's name; check: None leaves validity and
        anchors aside, and says so in a finding.
    Returns: faults where the package must not be used, findings where it may be.
    """
    signer = file.certificates[0]
    if file.manifest_name != manifest_name:
        return _refused(
            f'the certificate file signs "{file.manifest_name}", the manifest is "{manifest_name}"', where
        )
    try:
        key = signer.public_key()
    except (UnsupportedAlgorithm, ValueError):
        key = None
    findings = []
    if isinstance(key, rsa.RSAPublicKey):
        told = f"RSA {key.key_size}"
        fault = _verify_rsa(key, file, manifest, where)
        if key.key_size < _LEAST_RSA_BITS:
            findings.append(
                _risk(
                    "signature-key-weak",
                    f"the signer's key has {key.key_size} bits",
                    where,
                    f"below {_LEAST_RSA_BITS} bits others may be able to sign in its name",
                    "NIST SP 800-131A (from memory)",
                )
            )
    elif isinstance(key, ec.EllipticCurvePublicKey):
        told = f"EC {key.curve.key_size}"
        fault = _verify_ec(key, file, manifest, where)
        findings.append(
            _finding(
                "signature-key-kind",
                Severity.NOTE,
                "the signature is made with an EC key",
                where,
                "the standard's text knows RSA only; another importer may refuse it",
            )
        )
    else:
        return _not_checked(where, check)
    if fault is not None:
        return Judged(origin=None, faults=(fault,))
    if file.algorithm == "SHA1":
        findings.append(
            _risk(
                "signature-sha1",
                "the signature is made with SHA-1",
                where,
                "another manifest with the same SHA-1 can be made; the signature would fit it too",
                "NIST SP 800-131A, SHA-1 not for signatures (from memory)",
            )
        )
    whose = judge_signer(file.certificates, where, check)
    origin = Origin(
        subject=signer.subject.rfc4514_string(),
        issuer=signer.issuer.rfc4514_string(),
        not_before=signer.not_valid_before_utc,
        not_after=signer.not_valid_after_utc,
        sha256=signer.fingerprint(hashes.SHA256()).hex(),
        key=told,
        algorithm=file.algorithm,
        standing=whose.standing,
        anchor=whose.anchor,
    )
    return Judged(origin=origin, faults=whose.faults, findings=(*findings, *whose.findings))


def _verify_rsa(key: rsa.RSAPublicKey, file: CertificateFile, manifest: bytes, where: str) -> Fault | None:
    wanted = (key.key_size + 7) // 8  # RFC 8017 §8.2.2 step 1
    if len(file.signature) != wanted:
        return _fault(
            f"the signature has {len(file.signature)} bytes",
            where,
            f"with the certificate's key of {key.key_size} bits it has {wanted}",
        )
    try:
        key.verify(file.signature, manifest, padding.PKCS1v15(), HASHES[file.algorithm])
    except InvalidSignature:
        return _wrong(where)
    return None


def _verify_ec(
    key: ec.EllipticCurvePublicKey, file: CertificateFile, manifest: bytes, where: str
) -> Fault | None:
    try:
        key.verify(file.signature, manifest, ec.ECDSA(HASHES[file.algorithm]))
    except InvalidSignature:
        return _wrong(where)
    return None


def _not_checked(where: str, check: OriginCheck | None) -> Judged:
    what = "the signature is made with a kind of key that is not checked here"
    if check is not None and check.anchors:
        return _refused(what, where)
    finding = _risk(
        "signature-not-checked",
        what,
        where,
        "the digests agree with the manifest; who wrote the manifest is not shown",
        _SOURCE,
    )
    return Judged(origin=None, findings=(finding,))


def _wrong(where: str) -> Fault:
    return _fault(
        "the signature is not that of this manifest",
        where,
        "the manifest was changed after it was signed, or the signature belongs to another certificate",
    )


def _refused(what: str, where: str) -> Judged:
    return Judged(origin=None, faults=(_fault(what, where, "who wrote the manifest is not shown"),))


def _fault(what: str, where: str, why: str, mend: str = _DO_NOT_USE) -> Fault:
    return Fault(what=what, where=where, why=why, mend=mend)


def _risk(rule: str, what: str, where: str, why: str, source: str) -> Finding:
    mend = "compare the package's SHA-256 with one that its maker publishes"
    return _finding(rule, Severity.RISK, what, where, why, mend=mend, source=source)


def _finding(
    rule: str, severity: Severity, what: str, where: str, why: str, *, mend: str = "", source: str = _SOURCE
) -> Finding:
    return Finding(rule=rule, severity=severity, what=what, where=where, why=why, mend=mend, source=source)
