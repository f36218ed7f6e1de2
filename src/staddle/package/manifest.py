"""Whether a package is intact, and whose it is: every member's digest against the manifest, the manifest's signature.

The manifest's text is read in manifesttext.py, what it must cover is coverage.py's, the signature is signature.py's.

Source: DSP0243, manifest file: where one is present every digest must be checked.
"""

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from staddle.kernel import Fault, Finding, InputRefused, Severity
from staddle.package.archive import Archive, open_archive
from staddle.package.certificatefile import read_certificate_file
from staddle.package.coverage import AGAIN, Coverage, cover
from staddle.package.descriptor import read_descriptor
from staddle.package.digests import Digests, take_digests
from staddle.package.manifesttext import ManifestLine, is_strict, names_twice, read_manifest
from staddle.package.markup import MOST_BYTES
from staddle.package.model import Package
from staddle.package.reading import listed
from staddle.package.signature import Judged, Origin, judge_signature
from staddle.package.signer import OriginCheck

__all__ = ["Verification", "check_package", "verify_package", "with_digests"]

_SOURCE: Final = "DSP0243, manifest file"
_COMPARE: Final = "compare the package's SHA-256 with one that its maker publishes"

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What was verified.

    ``package_sha256`` is that of the OVA file itself; for a folder it is ``contents_sha256``: that of the sorted lines
    ``<sha256>  <name>`` of the package's files, which an OVA and the folder it is unpacked into have in common.
    ``file_sha256`` holds (member, SHA-256); ``checked`` holds (member, algorithm, whether it agreed). ``origin`` is None
    where nothing is signed, or the signature could not be checked.
    """

    package_sha256: str
    file_sha256: tuple[tuple[str, str], ...]
    checked: tuple[tuple[str, str, bool], ...]
    findings: tuple[Finding, ...] = ()
    contents_sha256: str = ""
    origin: Origin | None = None

    def answers_to(self, pinned: str) -> bool:
        """Whether this is the package of that digest: of its file, or of its contents."""
        return pinned in (self.package_sha256, self.contents_sha256)


def verify_package(
    path: Path, *, origin: OriginCheck | None = None, progress: Progress | None = None
) -> Verification:
    """Read every byte of the package once, compare it with the manifest, and check who signed that.

    Args: path: an OVA, an .ovf file or a folder; origin: what the signer is compared with, None to check only that the
        signature fits its own certificate; progress: called with bytes done and bytes in all.
    Raises: InputRefused: with every digest that differs, every listed file that is missing, every referenced file that is
        not listed, a signature that is wrong or leads to none of the anchors, and every fault of descriptor and archive.
        OutsideFailed: the package cannot be read.
    """
    archive = open_archive(path)
    package = read_descriptor(archive)
    members = [package.descriptor_name, *(m for file in package.files for m in file.members)]
    return _verify(archive, members, origin, progress)


def check_package(
    path: Path, *, pinned: str, origin: OriginCheck | None = None, progress: Progress | None = None
) -> Verification:
    """Whether these files are the package of the pinned digest. The descriptor is not read: the manifest is enough.

    Args: path: an OVA, or a folder with the package's files, or with one OVA; pinned: SHA-256 in lower-case hex, of the OVA
        file or of the contents, as the first site was told it.
    Raises: as verify_package; and InputRefused: another digest, or a folder without a manifest.
    """
    ovas = sorted(path.glob("*.ova")) if path.is_dir() and not any(path.glob("*.ovf")) else []
    archive = open_archive(ovas[0] if len(ovas) == 1 else path)
    manifest_name, certificate_name = f"{archive.stem}.mf", f"{archive.stem}.cert"
    if not archive.is_single_file and manifest_name not in archive.members:
        raise InputRefused.one(
            f'there is no manifest "{manifest_name}"',
            where=str(path),
            why="without it nothing tells which files belong to the package",
            mend="bring the manifest along with the files, or the package as one OVA file",
        )
    verified = _verify(archive, [], origin, progress)
    if not verified.answers_to(pinned):
        raise InputRefused.one(
            "this is not the pinned package",
            where=str(archive.path),
            why=f"pinned is {pinned}; the SHA-256 of "
            + (f"this file is {verified.package_sha256}, that of " if archive.is_single_file else "")
            + f"its contents is {verified.contents_sha256}",
            mend="carry the files here again"
            if archive.is_single_file
            else "carry the files here again; where an OVA was pinned and unpacked, compare with the digest of its contents",
        )
    listed = {name for name, _ in verified.file_sha256} | {manifest_name, certificate_name}
    extra = [name for name in archive.members if name not in listed]
    return dataclasses.replace(verified, findings=(*verified.findings, *_strangers(extra, archive)))


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


def _verify(
    archive: Archive, members: Sequence[str], origin: OriginCheck | None, progress: Progress | None
) -> Verification:
    manifest_name, certificate_name = f"{archive.stem}.mf", f"{archive.stem}.cert"
    coverage = Coverage(named=(), faults=(), findings=())
    judged = Judged(origin=None)
    faults: list[Fault] = []
    lines: tuple[ManifestLine, ...] = ()
    data = b""
    has_manifest, has_certificate = manifest_name in archive.members, certificate_name in archive.members
    if has_manifest:
        data = archive.read(manifest_name, most_bytes=MOST_BYTES)
        lines = read_manifest(data, where=manifest_name)
        coverage = cover(
            lines,
            there=archive.members,
            wanted=members,
            manifest_name=manifest_name,
            certificate_name=certificate_name,
            twice=names_twice(data),
        )
        if has_certificate:
            judged = _judge(archive, data, manifest_name, certificate_name, origin)
    elif has_certificate:
        faults.append(
            Fault(
                what=f'there is a certificate "{certificate_name}" and no manifest',
                where=str(archive.path),
                why="a certificate signs the manifest; without it, it proves nothing",
                mend=AGAIN,
            )
        )
    if not has_certificate and origin is not None and origin.anchors:
        faults.append(_unsigned(archive))
    beside = [name for name in (manifest_name, certificate_name) if name in archive.members]
    wanted = {name: frozenset[str]() for name in (*members, *beside)}
    for name, line in coverage.named:
        wanted[name] = wanted.get(name, frozenset()) | {line.algorithm}
    digests = take_digests(archive, wanted, progress)
    checked = tuple(
        (name, line.algorithm, digests.of[name, line.algorithm] == line.digest)
        for name, line in coverage.named
    )
    faults += (*coverage.faults, *judged.faults)
    faults += [
        _differs(name, line, digests, manifest_name)
        for (name, line), (_, _, agrees) in zip(coverage.named, checked, strict=True)
        if not agrees
    ]
    if faults:
        raise InputRefused(*faults)
    return Verification(
        package_sha256=digests.package_sha256,
        contents_sha256=digests.contents_sha256,
        file_sha256=tuple((name, digests.of[name, "SHA256"]) for name in wanted),
        checked=checked,
        findings=(
            *_findings(lines, has_manifest, has_certificate, manifest_name),
            *(_form(data, manifest_name) if has_manifest else _by_another_name(archive, manifest_name)),
            *coverage.findings,
            *judged.findings,
        ),
        origin=judged.origin,
    )


def _judge(
    archive: Archive, manifest: bytes, manifest_name: str, certificate_name: str, origin: OriginCheck | None
) -> Judged:
    try:
        file = read_certificate_file(
            archive.read(certificate_name, most_bytes=MOST_BYTES), where=certificate_name
        )
    except InputRefused as exc:
        return Judged(origin=None, faults=exc.faults)
    return judge_signature(file, manifest, manifest_name=manifest_name, where=certificate_name, check=origin)


def _unsigned(archive: Archive) -> Fault:
    return Fault(
        what="the package is not signed, and anchors are given for its signer",
        where=str(archive.path),
        why="whoever removed the signature could have changed everything else",
        mend="fetch the package again; if its maker does not sign it, give no anchors",
    )


def _differs(name: str, line: ManifestLine, digests: Digests, manifest_name: str) -> Fault:
    return Fault(
        what=f'the file "{name}" is not the one that the manifest describes',
        where=manifest_name,
        why=f"its {line.algorithm} is {digests.of[name, line.algorithm]}, the manifest says {line.digest}",
        mend=AGAIN,
    )


def _strangers(names: Sequence[str], archive: Archive) -> tuple[Finding, ...]:
    if not names:
        return ()
    return (
        Finding(
            rule="file-not-of-the-package",
            severity=Severity.RISK,
            what="here also lies " + ", ".join(f'"{name}"' for name in names),
            where=str(archive.path),
            why="it is not of the package: neither the manifest nor the pinned digest speaks of it",
            mend="do not use it; find out how it came here",
            source="common practice, no source",
        ),
    )


def _form(data: bytes, manifest_name: str) -> tuple[Finding, ...]:
    if is_strict(data):
        return ()
    return (
        Finding(
            rule="manifest-form",
            severity=Severity.NOTE,
            what="the manifest is not written as the standard has it; it was read all the same",
            where=manifest_name,
            why="blanks, case, the algorithm's name or the ends of lines differ from: SHA256(name)= digest; a strict importer may refuse it",
            source=_SOURCE,
        ),
    )


def _by_another_name(archive: Archive, manifest_name: str) -> tuple[Finding, ...]:
    others = [name for name in archive.members if name.lower().endswith(".mf")]
    if not others:
        return ()
    return (
        Finding(
            rule="manifest-by-another-name",
            severity=Severity.RISK,
            what="here lies " + listed(others) + f", which is not taken for the manifest {manifest_name}",
            where=str(archive.path),
            why="the manifest has the descriptor's name with .mf at its end; nothing was compared with this one",
            mend="find out whether the descriptor or the manifest was renamed, and give both the maker's names again",
            source=_SOURCE,
        ),
    )


def _findings(
    lines: tuple[ManifestLine, ...], has_manifest: bool, has_certificate: bool, manifest_name: str
) -> tuple[Finding, ...]:
    found = []
    if not has_manifest:
        found.append(
            Finding(
                rule="no-manifest",
                severity=Severity.RISK,
                what="the package has no manifest; nothing shows that its files are whole",
                why="a file damaged on its way would be deployed",
                mend=_COMPARE,
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
                mend=_COMPARE,
                source="NIST SP 800-131A, SHA-1 not for signatures (from memory)",
            )
        )
    if not has_certificate:
        found.append(
            Finding(
                rule="not-signed",
                severity=Severity.NOTE,
                what="the package is not signed",
                why="its digests show damage, not origin",
                mend=_COMPARE,
                source="DSP0243, certificate file",
            )
        )
    return tuple(found)
