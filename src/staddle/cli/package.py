"""The command package: what a package holds and whether it is intact."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.screen import Screen
from staddle.jobs.package import PackageReport, look_into_package
from staddle.kernel import format_binary, format_decimal
from staddle.package import Package, Property

__all__ = ["package"]


def package(
    file: Path,
    *,
    lang: str = "en-US",
    verify: bool = True,
    json: Annotated[bool, Parameter(negative=())] = False,
) -> int:
    """Tell what a package holds, what it will ask, and whether it is intact.

    Sizes, true disk bytes, networks, every question, licence texts, digests.

    Example: staddle package sluicelog-4.2.0.ova

    Parameters
    ----------
    file
        The OVA, the OVF descriptor, or the folder that holds it.
    lang
        Language of the package's texts, where it has several.
    verify
        Read every byte and compare it with the manifest.
    json
        Print one JSON document instead of text.
    """
    screen = Screen("package", as_json=json)
    report = look_into_package(file, lang=lang, verify=verify)
    found = report.package
    screen.show(
        f"{found.product} {found.version} by {found.vendor or 'an unnamed maker'} (OVF {found.ovf_edition}.x)"
    )
    if report.verification is not None:
        checked = len(report.verification.checked)
        screen.show(
            f"intact: {checked} files have the digest of the manifest"
            if checked
            else "no manifest to compare with"
        )
        screen.show(f"SHA-256 {report.verification.package_sha256}")
    screen.show()
    _sizes(screen, found)
    screen.show()
    screen.show("networks: " + ", ".join(found.networks))
    screen.show()
    heads = ("question", "key", "type", "default", "allowed")
    screen.table("questions it will ask", heads, _questions(found), whole="key")
    for licence in found.licences:
        screen.show()
        screen.show("licence to accept:")
        screen.show(licence.text.strip())
    findings = (*found.findings, *(report.verification.findings if report.verification is not None else ()))
    if findings:
        screen.show()
        screen.findings(findings)
    screen.document(_outcome(report), report)
    return 0


def _outcome(report: PackageReport) -> str:
    if report.verification is None:
        return "not verified"
    return "intact" if report.verification.checked else "no manifest"


def _sizes(screen: Screen, found: Package) -> None:
    rows = []
    for size in found.sizes:
        hardware = found.get_hardware(size.size_id)
        disks = [found.get_disk(device.disk_id) for device in hardware.disks]
        thick = sum(disk.capacity_for(size.size_id) for disk in disks)
        thin = sum(disk.populated_bytes or 0 for disk in disks)
        known = all(disk.populated_bytes is not None or disk.file_id is None for disk in disks)
        rows.append(
            (
                f"{size.size_id or '(only one)'}{' (default)' if size.is_default else ''}",
                str(hardware.processors),
                format_binary(hardware.memory_bytes),
                f"{format_decimal(thick)} ({thick} B)",
                f"{format_decimal(thin)}" if known else "not stated",
                size.description or size.label,
            )
        )
    heads = ("size", "processors", "memory", "disks thick", "thin at first", "for")
    screen.table("sizes", heads, rows)
    screen.show(f"to transfer: {format_decimal(sum(file.size_bytes for file in found.files))} a member")


def _questions(found: Package) -> list[tuple[str, ...]]:
    default = found.default_size()
    rows: list[tuple[str, ...]] = []
    for prop in found.properties:
        if prop.user_configurable:
            shown = "(secret)" if prop.password else prop.default_for(default)
            rows.append((prop.label, prop.key, prop.type, shown, _allowed(prop)))
    return rows


def _allowed(prop: Property) -> str:
    if prop.allowed:
        return ", ".join(prop.allowed)
    bounds = [
        f"at least {prop.min_length} characters" if prop.min_length else "",
        f"at most {prop.max_length} characters" if prop.max_length else "",
    ]
    return ", ".join(filter(None, bounds))
