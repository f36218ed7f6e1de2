"""The sheet that lies beside packages which were filled in: what an importer will still ask, and whose signature counts.

Pure: values in, text out.

Source: what importers ask is common practice, no source; DSP0243 leaves host, storage and acceptance to the deployment.
"""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from staddle.package.bundle import Bundled
from staddle.package.model import Package

__all__ = ["BUNDLE_SHEET", "SheetMember", "bundle_sheet"]

BUNDLE_SHEET: Final = "bundle.txt"
_WIDTH: Final = 96


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetMember:
    """One member on the sheet: ``disks`` holds (disk, pool or "", what to choose), ``left`` the questions that stay open."""

    machine: str
    size: str
    host: str
    disks: tuple[tuple[str, str, str], ...]
    networks: tuple[tuple[str, str], ...]
    answered: int
    left: tuple[str, ...]


def bundle_sheet(
    *,
    cluster: str,
    file_name: str,
    package: Package,
    bundled: Bundled,
    members: Sequence[SheetMember],
    made_at: datetime,
    made_by: str,
    signed_by: str,
    with_secrets: bool,
) -> str:
    """The sheet as text.

    Args: members: in the order of ``bundled.members``; signed_by: the signer's subject, "" where nothing is signed.
    """
    lines = [
        f"{cluster}: packages filled in, a member each",
        f"made {made_at:%Y-%m-%d %H:%M} UTC by {made_by}",
        "",
    ]
    lines += _origin(file_name, package, bundled, signed_by)
    if with_secrets:
        lines += _wrapped(
            "THESE PACKAGES HOLD SECRETS in clear text, in their descriptors. Delete them once the machines are "
            "imported, and keep them out of backups and version control."
        )
    lines += ["", "WHAT AN IMPORTER WILL STILL ASK", ""]
    for member, written in zip(members, bundled.members, strict=True):
        lines += [f"{member.machine}    {written.path}", *_asked(member, package), ""]
    for written in bundled.members:
        for name in written.over_ustar:
            lines += _wrapped(
                f"{written.path}: {name} is larger than 8 GiB. A plain ustar archive cannot hold it, so its size stands in "
                "a pax header; an importer that does not know these needs the form of a folder."
            )
    lines += ["WHAT WAS WRITTEN", ""]
    for written in bundled.members:
        lines += [
            f"{written.path}",
            *(
                [f"  SHA-256 of the file      {written.package_sha256}"]
                if written.path.endswith(".ova")
                else []
            ),
            f"  SHA-256 of its contents  {written.contents_sha256}",
        ]
    return "\n".join(lines) + "\n"


def _origin(file_name: str, package: Package, bundled: Bundled, signed_by: str) -> Iterator[str]:
    original = bundled.original
    yield f"made from {package.product} {package.version}, {file_name}"
    yield f"  SHA-256 of the original  {original.package_sha256}"
    if original.contents_sha256 != original.package_sha256:
        yield f"  SHA-256 of its contents  {original.contents_sha256}"
    yield ""
    if original.origin is not None:
        signer = f"The maker's signature ({original.origin.subject}) ends here: it covers the original only."
    elif package.has_certificate:
        signer = "The maker's signature ends here: it covers the original only, and was not checked."
    else:
        signer = "The original is not signed."
    own = (
        f"These packages are signed by {signed_by}."
        if signed_by
        else "These packages are not signed: their manifests show damage, not origin."
    )
    yield from _wrapped(
        f"{signer} The disks are the maker's, byte for byte; the descriptor and the manifest are not. {own} If the maker "
        "supports only its own package, deploy that, with the answer sheets."
    )


def _asked(member: SheetMember, package: Package) -> Iterator[str]:
    yield from _item("name", f"{member.machine} (set)")
    if len(package.machines) > 1:
        yield from _item(
            "machine", f"{package.name} is the member; the package holds others too: import this one only"
        )
    yield from _item("host", member.host or "not placed yet: staddle place --settle")
    for disk, pool, choice in member.disks:
        yield from _item(f"disk {disk}", f"{pool or 'pool not placed yet'}; {choice}")
    for name, estate in member.networks:
        yield from _item(
            "network", f"{estate} (in the maker's package: {name}); attach it to that of the same name"
        )
    if member.size:
        yield from _item("size", f"{member.size} is the default now; take no other")
    if package.licences:
        yield from _item("licence", f"{len(package.licences)} to accept, by whoever may")
    yield from _item("answers", f"{member.answered} are in place; leave them as they are")
    for label in member.left:
        yield from _item("to type", label)


def _item(label: str, text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=f"  {label:<14}", subsequent_indent=" " * 16)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH)
