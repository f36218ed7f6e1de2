"""The command package: what a package holds and whether it is intact."""

import getpass
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final, cast

from cyclopts import CycloptsError, Parameter

from staddle.cli.bytebar import ByteBars
from staddle.cli.options import Options
from staddle.cli.packagelines import allowed, machine_lines, texts_line, together_lines, used_lines
from staddle.cli.screen import Screen
from staddle.jobs.package import PackageReport, look_into_package
from staddle.kernel import Finding, SystemClock, format_binary, format_decimal
from staddle.package import Form, Package, SizeFigures, Verification

__all__ = ["package"]

_DISK_HEADS: Final = ("thick", "thin at first", "to transfer")


def package(
    file: Path | None = None,
    *,
    check: Path | None = None,
    sha256: str = "",
    anchor: Annotated[tuple[Path, ...], Parameter(negative=(), consume_multiple=False)] = (),
    bundle: Path | None = None,
    as_: Annotated[Form, Parameter(name="--as")] = "folder",
    secrets: Annotated[bool, Parameter(negative=())] = False,
    sign_key: Path | None = None,
    sign_certificate: Path | None = None,
    lang: str = "en-US",
    machine: str = "",
    verify: bool = True,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Tell what a package holds, what it will ask, and whether it is intact.

    Machines, sizes, true disk bytes, networks, every question, licence texts, digests, who signed it.

    Example: staddle package sluicelog-4.2.0.ova

    Parameters
    ----------
    file
        The OVA, the OVF descriptor, or the folder that holds it.
    check
        Tell whether the files in this folder are the pinned package. Its manifest and the pinned digest are enough.
    sha256
        With --check: the pinned digest; without it that of the job's design.
    anchor
        A file with certificates that you trust: the package's signer must lead to one. May be given several times.
    bundle
        Write the job's packages, one a member and filled in, into this new folder.
    as_
        With --bundle: a folder or an ova a member. A folder links the disks where it can.
    secrets
        With --bundle: fill in the secrets of the rollout that is under way too, in clear text.
    sign_key
        With --bundle: sign the manifests with this private key (RSA, PEM); its passphrase is asked.
    sign_certificate
        With --sign-key: its certificate, and those that lead to its issuer (PEM).
    lang
        Language of the package's texts, where it has several.
    machine
        Tell of this machine only, where the package holds several.
    verify
        Read every byte, compare it with the manifest, and check the signature.
    """
    screen = Screen("package", as_json=options.json)
    if (file is not None) + (check is not None) + (bundle is not None) != 1:
        raise CycloptsError(msg="name a package, or a folder with --check, or a new folder with --bundle")
    if (sign_key is None) != (sign_certificate is None):
        raise CycloptsError(msg="--sign-key and --sign-certificate belong together")
    if bundle is None and (secrets or sign_key is not None):
        raise CycloptsError(msg="--secrets and --sign-key belong to --bundle")
    if bundle is not None:
        return _bundle(screen, options, bundle, as_, secrets, (sign_key, sign_certificate))
    if check is not None:
        return _check(screen, check, sha256, anchor, options.job)
    if sha256:
        raise CycloptsError(msg="--sha256 belongs to --check")
    return _look(screen, cast("Path", file), lang, machine, verify, anchor)


def _check(screen: Screen, path: Path, sha256: str, anchors: Sequence[Path], job: Path) -> int:
    from staddle.jobs.carried import check_carried

    with ByteBars(screen) as bars:
        bar = bars.bar("reading")
        found = check_carried(
            path, sha256=sha256, job=job, now=SystemClock().now(), anchors=anchors, progress=bar
        )
    screen.say(f"read {bar.told()}")
    screen.show(f"this is the pinned package: {len(found.file_sha256)} files")
    _verified(screen, found)
    if found.findings:
        screen.show()
        screen.findings(found.findings)
    screen.document("pinned package", found)
    return 0


def _bundle(
    screen: Screen,
    options: Options,
    out: Path,
    form: Form,
    secrets: bool,
    sign: tuple[Path | None, Path | None],
) -> int:
    from staddle.jobs.bundle import bundle_job, signer_of

    folder, now = options.folder(), SystemClock().now()
    key, certificate = sign
    signer = (
        signer_of(key, certificate, now=now, ask=_passphrase)
        if key is not None and certificate is not None
        else None
    )
    with ByteBars(screen) as bars:
        reading, writing = bars.bar("reading"), bars.bar("writing")
        report = bundle_job(
            folder,
            out,
            form=form,
            now=now,
            actor=getpass.getuser(),
            with_secrets=secrets,
            signer=signer,
            reading=reading,
            writing=writing,
        )
    screen.say(f"read {reading.told()}; written {writing.told()}")
    for member in report.members:
        linked = f", {format_decimal(member.linked_bytes)} linked" if member.linked_bytes else ""
        screen.show(f"{out / member.path}: {format_decimal(member.written_bytes)} written{linked}")
    screen.show(f"what an importer will still ask: {report.sheet}")
    screen.show(f"made from {report.package}, SHA-256 {report.original_sha256}; kept in {report.record}")
    screen.say(
        "No signature of the maker's covers these: descriptors and manifests are new. The maker's own package with the answer "
        "sheets stays the usual way."
    )
    if any(member.linked_bytes for member in report.members):
        screen.say("Linked disks are one file under several names: never change one in place.")
    if report.with_secrets:
        screen.say("THESE PACKAGES HOLD SECRETS in clear text. Delete them once the machines are imported.")
    screen.document("bundled", report)
    return 0


def _passphrase(question: str) -> str:
    """Asked without an echo on a terminal; otherwise the first line of standard input."""
    if sys.stdin.isatty():
        return getpass.getpass(question, stream=sys.stderr)
    return sys.stdin.readline().rstrip("\n")


def _look(screen: Screen, file: Path, lang: str, machine: str, verify: bool, anchors: Sequence[Path]) -> int:
    with ByteBars(screen) as bars:
        bar = bars.bar("reading")
        report = look_into_package(
            file,
            lang=lang,
            machine=machine,
            verify=verify,
            now=SystemClock().now(),
            anchors=anchors,
            progress=bar,
        )
    found = report.package
    screen.show(
        f"{' '.join(filter(None, (found.product or found.name, found.version)))}"
        f" by {found.vendor or 'an unnamed maker'} (OVF {found.ovf_edition}.x)"
    )
    if report.verification is not None:
        screen.say(f"read {bar.told()}")
        checked = len(report.verification.checked)
        screen.show(
            f"intact: {checked} files have the digest of the manifest"
            if checked
            else "no manifest to compare with"
        )
        _verified(screen, report.verification)
    if told := texts_line(found, lang):
        screen.show(told)
    for one, figures in ((found, report.figures), *report.others):
        _machine(screen, one, figures, several=bool(report.others))
    if found.annotation:
        screen.show()
        screen.show("the maker's note:")
        screen.show(found.annotation)
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


def _verified(screen: Screen, found: Verification) -> None:
    """Who signed it, and its digests."""
    if (signer := found.origin) is not None:
        whose = {
            "anchored": f"which leads to the anchor {signer.anchor}",
            "self-signed": "which signed itself: nothing shows who that is",
        }.get(signer.standing, f"issued by {signer.issuer}: no anchor was given that shows who that is")
        screen.show(f"signed by {signer.subject} ({signer.key}, {signer.algorithm}), {whose}")
        screen.show(f"  certificate SHA-256 {signer.sha256}, until {signer.not_after:%Y-%m-%d}")
    screen.show(f"SHA-256 {found.package_sha256}")
    if found.contents_sha256 != found.package_sha256:
        screen.show(f"SHA-256 {found.contents_sha256} of its contents, the same once unpacked")


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
    for line in used_lines(figures):
        screen.show(line)
    _sizes(screen, found, figures)
    screen.show()
    if disks := _disks(figures):
        screen.table("disks", ("size", "disk", "hangs on", *_DISK_HEADS), disks)
    else:
        screen.show("disks: none")
    screen.show()
    texts = dict(found.network_descriptions)
    named = (f"{name} ({texts[name]})" if name in texts else name for name in found.networks)
    screen.show("networks: " + (", ".join(named) or "none"))
    for line in (*machine_lines(found), *together_lines(found)):
        screen.show(line)
    screen.show()
    heads = ("question", "key", "type", "default", "allowed")
    if questions := _questions(found):
        screen.table("questions it will ask", heads, questions, whole="key")
    else:
        screen.show("questions it will ask: none")


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
        adapters = (
            f"{a.name} on {a.network or 'no network'}{'' if a.connected else ' (not connected)'}"
            for a in found.get_hardware(figure.size_id).adapters
        )
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


def _questions(found: Package) -> list[tuple[str, ...]]:
    default = found.default_size()
    rows: list[tuple[str, ...]] = []
    for prop in found.properties:
        if prop.user_configurable:
            shown = "(secret)" if prop.password else prop.default_for(default)
            rows.append((prop.label, prop.key, prop.type, shown, allowed(prop)))
    return rows
