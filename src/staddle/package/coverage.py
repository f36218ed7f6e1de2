"""What a manifest covers: the files that its lines name, and everything that is wrong with the set of them.

Digests are compared in manifest.py.

Source: DSP0243, manifest file: it lists the descriptor and every referenced file, each chunk by itself, but neither
itself nor the certificate.
"""

from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import unquote

from staddle.kernel import Fault, Finding, Severity
from staddle.package.manifesttext import ManifestLine

__all__ = ["AGAIN", "Coverage", "cover"]

AGAIN: Final = "fetch the package again from its maker; do not use this copy"
_SOURCE: Final = "DSP0243, manifest file"


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """``named`` holds (member, line) for every line whose file is there, in the manifest's order."""

    named: tuple[tuple[str, ManifestLine], ...]
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]


def cover(
    lines: Sequence[ManifestLine],
    *,
    there: Container[str],
    wanted: Sequence[str],
    manifest_name: str,
    certificate_name: str,
    twice: Sequence[str] = (),
) -> Coverage:
    """Compare the manifest's names with the package's.

    Args: there: names of all files that lie there; wanted: those that the descriptor asks for, itself among them; () where
        the descriptor is not read; twice: names for which the same line stands there more than once.
    """
    named: list[tuple[str, ManifestLine]] = []
    faults: list[Fault] = []
    for line in lines:
        # Some makers list the reference as it stands in the descriptor, percent-encoded.
        name = next((n for n in (line.name, unquote(line.name)) if n in there), None)
        if line.name in (manifest_name, certificate_name):
            faults.append(_circular(line.name, manifest_name))
        elif name is None:
            faults.append(
                Fault(
                    what=f'the manifest lists "{line.name}", which is not there',
                    where=manifest_name,
                    why="a part of the package is missing",
                    mend=AGAIN,
                )
            )
        else:
            named.append((name, line))
    listed = dict.fromkeys(name for name, _ in named)
    faults += [_unlisted(name, manifest_name) for name in dict.fromkeys(wanted) if name not in listed]
    extra = [name for name in listed if wanted and name not in wanted]
    return Coverage(named=tuple(named), faults=tuple(faults), findings=_findings(extra, twice, manifest_name))


def _circular(name: str, manifest_name: str) -> Fault:
    why = (
        "no digest of it can be right there: writing it changes the file"
        if name == manifest_name
        else "the certificate file signs the manifest, so it is made after it, and no digest of it can be right there"
    )
    return Fault(what=f'the manifest lists "{name}"', where=manifest_name, why=why, mend=AGAIN)


def _unlisted(name: str, manifest_name: str) -> Fault:
    return Fault(
        what=f'the file "{name}" belongs to the package and is not listed in the manifest',
        where=manifest_name,
        why="nothing shows that it is the maker's",
        mend=AGAIN,
    )


def _findings(extra: Sequence[str], twice: Sequence[str], manifest_name: str) -> tuple[Finding, ...]:
    found = []
    if extra:
        found.append(
            Finding(
                rule="manifest-extra-file",
                severity=Severity.NOTE,
                what="the manifest lists "
                + ", ".join(f'"{name}"' for name in extra)
                + ", to which nothing refers",
                where=manifest_name,
                why="the file is intact; what it is for is not known, and it is not used",
                source=_SOURCE,
            )
        )
    if twice:
        found.append(
            Finding(
                rule="manifest-line-twice",
                severity=Severity.NOTE,
                what="the manifest has the same line twice for " + ", ".join(f'"{name}"' for name in twice),
                where=manifest_name,
                why="another importer may refuse it",
                source=_SOURCE,
            )
        )
    return tuple(found)
