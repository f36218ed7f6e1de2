"""Whether a package is intact: every member's digest against the manifest.

The manifest's text is read in manifesttext.py. The signature in a certificate file is not checked here, and the
verification says so in a finding.

Source: DSP0243, manifest file: it lists the descriptor and every referenced file, each chunk by itself, but neither
itself nor the certificate; where one is present every digest must be checked.
"""

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import unquote

from staddle.kernel import Fault, Finding, InputRefused, Severity
from staddle.package.archive import Archive, open_archive
from staddle.package.descriptor import read_descriptor
from staddle.package.digests import Digests, take_digests
from staddle.package.manifesttext import ManifestLine, read_manifest
from staddle.package.markup import MOST_BYTES
from staddle.package.model import Package

__all__ = ["Verification", "verify_package", "with_digests"]

_SOURCE: Final = "DSP0243, manifest file"
_AGAIN: Final = "fetch the package again from its maker; do not use this copy"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What was verified.

    ``package_sha256`` is that of the OVA file itself; for a folder, that of the sorted lines ``<sha256>  <name>`` of the
    package's files. ``file_sha256`` holds (member, SHA-256); ``checked`` holds (member, algorithm, whether it agreed).
    """

    package_sha256: str
    file_sha256: tuple[tuple[str, str], ...]
    checked: tuple[tuple[str, str, bool], ...]
    findings: tuple[Finding, ...] = ()


def verify_package(path: Path, *, progress: Callable[[int, int], None] | None = None) -> Verification:
    """Read every byte of the package once and compare it with the manifest.

    Args: path: an OVA, an .ovf file or a folder; progress: called with bytes done and bytes in all.
    Raises: InputRefused: with every digest that differs, every listed file that is missing, every referenced file
        that is not listed, and every fault of descriptor and archive. OutsideFailed: the package cannot be read.
    """
    archive = open_archive(path)
    package = read_descriptor(archive)
    manifest_name, certificate_name = f"{archive.stem}.mf", f"{archive.stem}.cert"
    members = [package.descriptor_name, *(m for file in package.files for m in file.members)]
    lines: tuple[ManifestLine, ...] = ()
    if package.has_manifest:
        lines = read_manifest(archive.read(manifest_name, most_bytes=MOST_BYTES), where=manifest_name)
    named, faults = _resolve(archive, lines, manifest_name)
    if package.has_manifest:
        listed = {name for name, _ in named}
        faults += [_unlisted(name, manifest_name) for name in dict.fromkeys(members) if name not in listed]
    elif package.has_certificate:
        faults.append(
            Fault(
                what=f'there is a certificate "{certificate_name}" and no manifest',
                where=str(path),
                why="a certificate signs the manifest; without it, it proves nothing",
                mend=_AGAIN,
            )
        )
    beside = [name for name in (manifest_name, certificate_name) if name in archive.members]
    wanted = {name: frozenset[str]() for name in (*members, *beside)}
    for name, line in named:
        wanted[name] = wanted.get(name, frozenset()) | {line.algorithm}
    digests = take_digests(archive, wanted, progress)
    checked = tuple(
        (name, line.algorithm, digests.of[name, line.algorithm] == line.digest) for name, line in named
    )
    faults += [
        _differs(name, line, digests, manifest_name)
        for (name, line), (_, _, agrees) in zip(named, checked, strict=True)
        if not agrees
    ]
    if faults:
        raise InputRefused(*faults)
    return Verification(
        package_sha256=digests.package_sha256,
        file_sha256=tuple((name, digests.of[name, "SHA256"]) for name in wanted),
        checked=checked,
        findings=_findings(
            lines, package.has_manifest, package.has_certificate, manifest_name, certificate_name
        ),
    )


def with_digests(package: Package, verification: Verification) -> Package:
    """The package with the SHA-256 of every file that lies in one member; a file in chunks has one for each chunk only."""
    digests = dict(verification.file_sha256)
    return dataclasses.replace(
        package,
        files=tuple(
            dataclasses.replace(file, sha256=digests.get(file.members[0]) if len(file.members) == 1 else None)
            for file in package.files
        ),
    )


def _resolve(
    archive: Archive, lines: tuple[ManifestLine, ...], manifest_name: str
) -> tuple[list[tuple[str, ManifestLine]], list[Fault]]:
    named, faults = [], []
    for line in lines:
        # Some makers list the reference as it stands in the descriptor, percent-encoded.
        name = next((n for n in (line.name, unquote(line.name)) if n in archive.members), None)
        if name is None:
            faults.append(
                Fault(
                    what=f'the manifest lists "{line.name}", which is not there',
                    where=manifest_name,
                    why="a part of the package is missing",
                    mend=_AGAIN,
                )
            )
        else:
            named.append((name, line))
    return named, faults


def _unlisted(name: str, manifest_name: str) -> Fault:
    return Fault(
        what=f'the file "{name}" belongs to the package and is not listed in the manifest',
        where=manifest_name,
        why="nothing shows that it is the maker's",
        mend=_AGAIN,
    )


def _differs(name: str, line: ManifestLine, digests: Digests, manifest_name: str) -> Fault:
    return Fault(
        what=f'the file "{name}" is not the one that the manifest describes',
        where=manifest_name,
        why=f"its {line.algorithm} is {digests.of[name, line.algorithm]}, the manifest says {line.digest}",
        mend=_AGAIN,
    )


def _findings(
    lines: tuple[ManifestLine, ...],
    has_manifest: bool,
    has_certificate: bool,
    manifest_name: str,
    certificate_name: str,
) -> tuple[Finding, ...]:
    found = []
    if not has_manifest:
        found.append(
            Finding(
                rule="no-manifest",
                severity=Severity.RISK,
                what="the package has no manifest; nothing shows that its files are whole",
                why="a file damaged on its way would be deployed",
                mend="compare the package's SHA-256 with one that its maker publishes",
                source=_SOURCE,
            )
        )
    strong = {line.name for line in lines if line.algorithm != "SHA1"}
    weak = [line.name for line in lines if line.name not in strong]
    if weak:
        found.append(
            Finding(
                rule="manifest-sha1",
                severity=Severity.RISK,
                what="the manifest has SHA-1 digests only for " + ", ".join(f'"{name}"' for name in weak),
                where=manifest_name,
                why="SHA-1 shows damage; it no longer shows that nobody changed the file on purpose",
                mend="compare the package's SHA-256 with one that its maker publishes",
                source="NIST SP 800-131A, SHA-1 not for signatures (from memory)",
            )
        )
    if has_certificate:
        found.append(
            Finding(
                rule="signature-not-checked",
                severity=Severity.RISK,
                what="the package is signed, and the signature has not been checked",
                where=certificate_name,
                why="the digests agree with the manifest; who wrote the manifest is not shown",
                mend="check the signature with the maker's instructions",
                source="DSP0243, certificate file",
            )
        )
    else:
        found.append(
            Finding(
                rule="not-signed",
                severity=Severity.NOTE,
                what="the package is not signed",
                why="its digests show damage, not origin",
                mend="compare the package's SHA-256 with one that its maker publishes",
                source="DSP0243, certificate file",
            )
        )
    return tuple(found)
