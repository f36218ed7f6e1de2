"""The command package: what a package holds and whether it is intact."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Final

from cyclopts import Parameter

from staddle.cli.screen import Screen
from staddle.jobs.package import PackageReport, look_into_package
from staddle.kernel import Finding, format_binary, format_decimal
from staddle.package import Package, Property, SizeFigures

__all__ = ["package"]

_DISK_HEADS: Final = ("thick", "thin at first", "to transfer")


def package(
    file: Path,
    *,
    lang: str = "en-US",
    machine: str = "",
    verify: bool = True,
    json: Annotated[bool, Parameter(negative=())] = False,
) -> int:
    """Tell what a package holds, what it will ask, and whether it is intact.

    Machines, sizes, true disk bytes, networks, every question, licence texts, digests.

    Example: staddle package sluicelog-4.2.0.ova

    Parameters
    ----------
    file
        The OVA, the OVF descriptor, or the folder that holds it.
    lang
        Language of the package's texts, where it has several.
    machine
        Tell of this machine only, where the package holds several.
    verify
        Read every byte and compare it with the manifest.
    json
        Print one JSON document instead of text.
    """
    screen = Screen("package", as_json=json)
    report = look_into_package(file, lang=lang, machine=machine, verify=verify)
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
    for one, figures in ((found, report.figures), *report.others):
        _machine(screen, one, figures, several=bool(report.others))
    for licence in found.licences:
        screen.show()
        screen.show("licence to accept:")
        screen.show(licence.text.strip())
    findings = (
        *_findings(report),
        *(report.verification.findings if report.verification is not None else ()),
    )
    if findings:
        screen.show()
        screen.findings(findings)
    screen.document(_outcome(report), report)
    return 0


def _outcome(report: PackageReport) -> str:
    if report.verification is None:
        return "not verified"
    return "intact" if report.verification.checked else "no manifest"


def _findings(report: PackageReport) -> tuple[Finding, ...]:
    every = (report.package, *(other for other, _ in report.others))
    return tuple(dict.fromkeys(finding for package in every for finding in package.findings))


def _machine(screen: Screen, found: Package, figures: Sequence[SizeFigures], *, several: bool) -> None:
    screen.show()
    if several:
        around = next(m.collections for m in found.machines if m.machine_id == found.name)
        screen.show(f"machine {found.name}" + (f" in {' / '.join(around)}" if around else ""))
    _sizes(screen, found, figures)
    screen.show()
    screen.table("disks", ("size", "disk", "hangs on", *_DISK_HEADS), _disks(figures))
    screen.show()
    texts = dict(found.network_descriptions)
    named = (f"{name} ({texts[name]})" if name in texts else name for name in found.networks)
    screen.show("networks: " + (", ".join(named) or "none"))
    for line in _together(found):
        screen.show(line)
    screen.show()
    heads = ("question", "key", "type", "default", "allowed")
    screen.table("questions it will ask", heads, _questions(found), whole="key")


def _sizes(screen: Screen, found: Package, figures: Sequence[SizeFigures]) -> None:
    rows = [
        (
            f"{size.size_id or '(only one)'}{' (default)' if size.is_default else ''}",
            str(figure.processors),
            format_binary(figure.memory_bytes),
            _decimal(figure.thick_bytes),
            _decimal(figure.thin_bytes),
            _decimal(figure.transfer_bytes),
        )
        for size, figure in zip(found.sizes, figures, strict=True)
    ]
    screen.table("sizes", ("size", "processors", "memory", *_DISK_HEADS), rows)
    for size in found.sizes:
        screen.show(f"{size.size_id or 'it'} is: {size.description or size.label}")
    devices: dict[tuple[str, str], list[str]] = {}
    for figure in figures:
        adapters = (f"{a.name} on {a.network}" for a in found.get_hardware(figure.size_id).adapters)
        controllers = (f"{c.name} ({c.model or c.kind})" for c in figure.controllers)
        devices.setdefault((", ".join(adapters), ", ".join(controllers)), []).append(figure.size_id)
    for (wires, hung), sizes in devices.items():
        where = "" if len(devices) == 1 else f" in {', '.join(sizes)}"
        screen.show(f"adapters{where}: {wires or 'none'}")
        screen.show(f"controllers{where}: {hung or 'none'}")


def _disks(figures: Sequence[SizeFigures]) -> list[tuple[str, ...]]:
    rows: dict[tuple[str, ...], list[str]] = {}
    for figure in figures:
        for disk in figure.disks:
            row = (
                disk.disk_id,
                disk.controller,
                _exact(disk.thick_bytes),
                _exact(disk.thin_bytes),
                _exact(disk.transfer_bytes),
            )
            rows.setdefault(row, []).append(figure.size_id)
    return [
        (", ".join(filter(None, sizes)) if len(sizes) < len(figures) else "every", *row)
        for row, sizes in rows.items()
    ]


def _decimal(amount_bytes: int | None) -> str:
    return "not stated" if amount_bytes is None else format_decimal(amount_bytes)


def _exact(amount_bytes: int | None) -> str:
    return _decimal(amount_bytes) + ("" if amount_bytes is None else f"\n{amount_bytes} B")


def _together(found: Package) -> Iterator[str]:
    group = found.get_placement_group()
    if group is not None:
        yield f"placement group {group.group_id}: {group.policy}" + (f", {group.info}" if group.info else "")
    for scale in found.scale_out:
        for count in scale.counts:
            most = "any number" if count.most is None else count.most
            of_size = f" in size {count.size_id}" if count.size_id else ""
            yield f"meant to stand{of_size}: {scale.content_id} {count.default} times, from {count.least} to {most}"
    for start in found.start_order:
        waits = " or when the guest is ready" if start.waits_for_guest else ""
        yield (
            f"start {start.order}: {start.content_id} ({start.start_action}), then {start.start_delay_s} s{waits}; "
            f"stop: {start.stop_action}, then {start.stop_delay_s} s"
        )
    if found.boot_order:
        yield "starts from: " + ", ".join(found.boot_order)


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
