"""Whose a signer's certificate is: validity, purpose, and the way to an anchor of the engineer's.

Chains are built and checked by the cryptography library; what it is told here is which certificates may stand in one. The
signature itself is signature.py's work.

Source: RFC 5280 §4.1.2.5 (validity), §4.2.1.3 and §4.2.1.12 (key usages), §6 (chains).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.x509.oid import ExtendedKeyUsageOID
from cryptography.x509.verification import (
    Criticality,
    ExtensionPolicy,
    Policy,
    PolicyBuilder,
    Store,
    VerificationError,
)

from staddle.kernel import Fault, Finding, Severity

__all__ = ["OriginCheck", "Signer", "judge_signer"]

_MAKERS_OWN: Final = "compare the package's SHA-256 with one that its maker publishes"


@dataclass(frozen=True, slots=True, kw_only=True)
class OriginCheck:
    """What a signer is compared with. ``now``: aware; ``anchors``: certificates that the engineer trusts, () for none."""

    now: datetime
    anchors: tuple[x509.Certificate, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Signer:
    """``standing`` is "anchored" (it leads to ``anchor``), "self-signed" or "not anchored"."""

    standing: str
    anchor: str = ""
    faults: tuple[Fault, ...] = ()
    findings: tuple[Finding, ...] = ()


def judge_signer(certificates: Sequence[x509.Certificate], where: str, check: OriginCheck | None) -> Signer:
    """Whose the first certificate is, and what is wrong or risky about it.

    Args: certificates: the signer's, then those that may lead to its issuer; where: the certificate file's name; check: None
        leaves validity and anchors aside, and says so in a finding.
    """
    signer = certificates[0]
    self_signed = _is_self_signed(signer)
    standing = "self-signed" if self_signed else "not anchored"
    if check is None:
        why = "whether the certificate was valid, and whose it is, was not asked"
        told = _told(
            "signer-not-judged", Severity.NOTE, "the signer's certificate was not judged", where, why
        )
        return Signer(standing=standing, findings=(*_purpose(signer, where), told))
    findings = (*_purpose(signer, where), *_validity(signer, check.now, where))
    if not check.anchors:
        if self_signed:
            told = _told(
                "signer-self-signed",
                Severity.NOTE,
                "the signature is right, and its certificate is signed by itself",
                where,
                "the files are those that the signer signed; who the signer is, is not shown: anybody can make such a certificate",
                mend="get the certificate from the maker by another way and name it with --anchor, or in package.anchors",
            )
        else:
            told = _told(
                "signer-not-anchored",
                Severity.NOTE,
                f"the signature is right; nothing was given that shows who {signer.subject.rfc4514_string()} is",
                where,
                "a certificate's names are worth what its issuer's word is worth",
                mend="name the certificate of an authority that you trust with --anchor, or in package.anchors",
            )
        return Signer(standing=standing, findings=(*findings, told))
    # Past its end a certificate proves nothing about today, but the chain may still have held while it was valid; that it
    # is past its end is a finding of its own.
    instant = min(max(check.now, signer.not_valid_before_utc), signer.not_valid_after_utc)
    try:
        chain = (
            PolicyBuilder()
            .store(Store(list(check.anchors)))
            .time(instant)
            .extension_policies(ca_policy=_ISSUERS, ee_policy=ExtensionPolicy.permit_all())
            .build_client_verifier()
            .verify(signer, list(certificates[1:]))
            .chain
        )
    except VerificationError as exc:
        fault = Fault(
            what=f"the signer {signer.subject.rfc4514_string()} does not lead to an anchor",
            where=where,
            why=str(exc).removeprefix("validation failed: ").removeprefix("candidates exhausted: "),
            mend="do not use this package before its maker has told you by another way who signs its packages",
        )
        return Signer(standing=standing, faults=(fault,), findings=findings)
    anchor = chain[-1].subject.rfc4514_string()
    return Signer(standing="anchored", anchor=anchor, findings=findings)


def _may_issue(_policy: Policy, _certificate: x509.Certificate, extension: x509.BasicConstraints) -> None:
    if not extension.ca:
        raise ValueError("an issuer's certificate does not say that it may issue (RFC 5280 §4.2.1.9)")


def _may_sign(_policy: Policy, _certificate: x509.Certificate, extension: x509.KeyUsage | None) -> None:
    if extension is not None and not extension.key_cert_sign:
        raise ValueError("an issuer's key is not for signing certificates (RFC 5280 §4.2.1.3)")


# Not the rules of the public web: an organisation's authority is not bound by them.
_ISSUERS: Final = (
    ExtensionPolicy.permit_all()
    .require_present(x509.BasicConstraints, Criticality.AGNOSTIC, _may_issue)
    .may_be_present(x509.KeyUsage, Criticality.AGNOSTIC, _may_sign)
)


def _validity(signer: x509.Certificate, now: datetime, where: str) -> list[Finding]:
    if now > signer.not_valid_after_utc:
        return [
            _risk(
                "signer-expired",
                f"the signer's certificate was valid until {signer.not_valid_after_utc:%Y-%m-%d %H:%M} UTC",
                where,
                "nothing shows that the signature was made before; a key is no longer guarded after that day",
                "RFC 5280 §4.1.2.5",
            )
        ]
    if now < signer.not_valid_before_utc:
        return [
            _risk(
                "signer-not-yet-valid",
                f"the signer's certificate is valid from {signer.not_valid_before_utc:%Y-%m-%d %H:%M} UTC",
                where,
                "a clock is wrong: the signer's or this machine's",
                "RFC 5280 §4.1.2.5",
            )
        ]
    return []


def _purpose(signer: x509.Certificate, where: str) -> list[Finding]:
    why = ""
    try:
        usage = signer.extensions.get_extension_for_class(x509.KeyUsage).value
        if not (usage.digital_signature or usage.content_commitment):
            why = "its key usage does not name signatures (RFC 5280 §4.2.1.3)"
    except x509.ExtensionNotFound:
        pass
    except (ValueError, x509.DuplicateExtension) as exc:
        why = f"its extensions cannot be read: {exc}"
    if not why:
        try:
            purposes = set(signer.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value)
            if not purposes & {
                ExtendedKeyUsageOID.CODE_SIGNING,
                ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE,
            }:
                why = "it is for other purposes, and signing code is not among them (RFC 5280 §4.2.1.12)"
        except x509.ExtensionNotFound:
            pass
    if not why:
        return []
    return [
        _risk(
            "signer-purpose",
            "the signer's certificate is not for signing packages",
            where,
            why,
            "RFC 5280 §4.2.1",
        )
    ]


def _is_self_signed(certificate: x509.Certificate) -> bool:
    try:
        certificate.verify_directly_issued_by(certificate)
    except (InvalidSignature, UnsupportedAlgorithm, TypeError, ValueError):
        return False
    return True


def _risk(rule: str, what: str, where: str, why: str, source: str) -> Finding:
    return _told(rule, Severity.RISK, what, where, why, mend=_MAKERS_OWN, source=source)


def _told(
    rule: str,
    severity: Severity,
    what: str,
    where: str,
    why: str,
    *,
    mend: str = "",
    source: str = "RFC 5280",
) -> Finding:
    return Finding(rule=rule, severity=severity, what=what, where=where, why=why, mend=mend, source=source)
