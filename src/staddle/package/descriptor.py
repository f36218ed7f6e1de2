"""The descriptor as a whole: from the path of a package to a ``Package``.

Each section is read by the module of its name; here they are put together. Digests and signatures are checked by
manifest.py; until then a package is read but not verified.

Source: DSP0243 1.0 to 2.1; DSP8023 1.0.0 and 2.0.1.
"""

import dataclasses
import hashlib
from pathlib import Path

from staddle.kernel import InputRefused, Severity
from staddle.package.allocations import read_group_allocations
from staddle.package.archive import Archive, open_archive
from staddle.package.booting import read_boot_order
from staddle.package.bundles import ENVELOPE_LANG, XML_LANG, read_bundles
from staddle.package.configurations import read_sizes
from staddle.package.disks import read_disks
from staddle.package.grouping import (
    placement_group_of,
    read_placement_groups,
    read_scale_out,
    read_start_order,
)
from staddle.package.hardware import disks_named, read_hardware
from staddle.package.markup import MOST_BYTES, Element, local_name, namespace_of, parse_markup
from staddle.package.members import name_fault
from staddle.package.messages import Messages
from staddle.package.model import EnvironmentFile, Licence, Package, PackageFile
from staddle.package.products import read_product, read_properties
from staddle.package.reading import NAMESPACES, Reading
from staddle.package.references import read_references
from staddle.package.sections import judge_sections
from staddle.package.systems import contents_of, find_systems, machine_of, one_of

__all__ = ["read_descriptor", "read_machines", "read_package"]


def read_package(
    path: Path, *, lang: str = "en-US", families: tuple[str, ...] = (), machine: str = ""
) -> Package:
    """Everything the package's descriptor says. Its digests are not checked here (``verify_package``).

    Args: path: an OVA, an .ovf file or a folder that holds one; lang: the wanted language tag; families: virtual
        system types that the platform takes, () for any; machine: the id of the machine that is meant, "" for the only
        one.
    Returns: the package, with departures from the standard that were accepted as findings.
    Raises: InputRefused: with every fault at once, or the package holds several machines and none was named.
        OutsideFailed: the package cannot be opened.
    Source: DSP0243.
    """
    archive = open_archive(path)
    packages = _read(archive, lang=lang, families=families)
    return packages[one_of([package.name for package in packages], machine, where=archive.descriptor_name)]


def read_machines(path: Path, *, lang: str = "en-US", families: tuple[str, ...] = ()) -> tuple[Package, ...]:
    """The same for each machine of the package, in the order of the descriptor; never ()."""
    return _read(open_archive(path), lang=lang, families=families)


def read_descriptor(
    archive: Archive, *, lang: str = "en-US", families: tuple[str, ...] = (), machine: str = ""
) -> Package:
    """One machine of an archive that is open already; "" for the first: files, sizes and texts are the same for all machines.

    Raises: InputRefused: as ``read_package``.
    """
    packages = _read(archive, lang=lang, families=families)
    if not machine:
        return packages[0]
    return packages[one_of([package.name for package in packages], machine, where=archive.descriptor_name)]


def _read(archive: Archive, *, lang: str, families: tuple[str, ...]) -> tuple[Package, ...]:
    data = archive.read(archive.descriptor_name, most_bytes=MOST_BYTES)
    envelope = parse_markup(data, where=archive.descriptor_name)
    namespace = namespace_of(envelope)
    if local_name(envelope) != "Envelope" or namespace not in NAMESPACES:
        raise _no_envelope(envelope, archive.descriptor_name)
    reading = Reading(
        document=archive.descriptor_name,
        namespace=namespace,
        messages=Messages(lang=lang, own_lang=ENVELOPE_LANG, bundles={}),
    )
    files = read_references(reading, envelope, archive)
    own_lang = envelope.get(XML_LANG, ENVELOPE_LANG)
    bundles = read_bundles(reading, envelope, archive, files)
    languages = tuple(dict.fromkeys((own_lang, *bundles)))
    reading.messages = Messages(lang=lang, own_lang=own_lang, bundles=bundles)
    systems = find_systems(reading, envelope)
    for parent in (envelope, *contents_of(systems)):
        judge_sections(reading, parent)
    _judge_archive(reading, envelope, archive, files)
    common = reading.findings
    packages = []
    for system in systems:
        reading.begin_with(common)
        package = _assemble(reading, envelope, system, systems, archive, files, families)
        if package is not None:
            packages.append(
                dataclasses.replace(
                    package,
                    languages=languages,
                    descriptor_sha256=hashlib.sha256(data).hexdigest(),
                    findings=(*archive.findings, *reading.findings),
                )
            )
    if reading.faults or not packages:
        raise InputRefused(*dict.fromkeys(reading.faults))
    return tuple(packages)


def _no_envelope(root: Element, document: str) -> InputRefused:
    if local_name(root) != "Envelope":
        return InputRefused.one(
            f'the root element is "{local_name(root)}", not an OVF Envelope',
            where=f"{document}:{root.sourceline}",
            why="this file is not an OVF descriptor (DSP0243)",
            mend="name the package's .ovf file",
        )
    return InputRefused.one(
        f'the envelope\'s namespace "{namespace_of(root)}" is not one of the standard',
        where=f"{document}:{root.sourceline}",
        why="the standard's are "
        + " and ".join(NAMESPACES)
        + "; drafts before it used others and differ in meaning",
        mend="ask the package's maker for one according to DSP0243 1.0 or later",
    )


def _assemble(
    reading: Reading,
    envelope: Element,
    path: tuple[Element, ...],
    systems: tuple[tuple[Element, ...], ...],
    archive: Archive,
    files: dict[str, PackageFile],
    families: tuple[str, ...],
) -> Package | None:
    system = path[0]
    contents = contents_of(systems)
    sizes = read_sizes(reading, envelope)
    if not sizes:
        return None
    properties = read_properties(reading, path, sizes)
    declared = {
        file_id
        for references in reading.children(envelope, "References")
        for file in reading.children(references, "File")
        if (file_id := reading.attribute(file, "id"))
    }
    disks = read_disks(
        reading,
        envelope,
        files=files,
        declared_files=frozenset(declared),
        properties=properties,
        sizes=sizes,
        used=None if len(systems) == 1 else disks_named(reading, system),
    )
    declared_disks = {
        disk_id
        for section in reading.children(envelope, "DiskSection", "SharedDiskSection")
        for disk in reading.children(section, "Disk", "SharedDisk")
        if (disk_id := reading.attribute(disk, "diskId"))
    }
    networks = _networks(reading, envelope)
    hardware = read_hardware(
        reading,
        system,
        sizes=sizes,
        disk_ids=declared_disks,
        networks=networks,
        file_ids=declared,
        families=families,
    )
    product = read_product(reading, path, properties)
    os_id, os_version = _operating_system(reading, system)
    return Package(
        name=reading.needed(system, "id"),
        product=product.product,
        vendor=product.vendor,
        version=product.version,
        ovf_edition=NAMESPACES[reading.namespace],
        descriptor_name=archive.descriptor_name,
        descriptor_sha256="",
        has_manifest=f"{archive.stem}.mf" in archive.members,
        has_certificate=f"{archive.stem}.cert" in archive.members,
        sizes=sizes,
        hardware=hardware,
        files=tuple(files.values()),
        disks=disks,
        networks=tuple(networks),
        network_descriptions=tuple((name, text) for name, text in networks.items() if text),
        properties=properties,
        licences=tuple(
            Licence(info=reading.text(section, "Info"), text=reading.text(section, "License"))
            for parent in path
            for section in reading.children(parent, "EulaSection")
        ),
        operating_system=os_id,
        operating_system_version=os_version,
        annotation="\n\n".join(
            reading.text(section, "Annotation")
            for parent in path
            for section in reading.children(parent, "AnnotationSection")
        ),
        environment_files=_environment_files(reading, system, declared),
        install_stop_delay_s=_install_delay(reading, system),
        machines=tuple(machine_of(reading, one) for one in systems),
        placement_groups=read_placement_groups(reading, envelope, contents),
        placement_group=placement_group_of(reading, path),
        start_order=read_start_order(reading, path),
        scale_out=read_scale_out(
            reading,
            path,
            sizes,
            frozenset(reading.attribute(content, "id") or "" for content in contents),
        ),
        boot_order=read_boot_order(reading, system),
        group_allocations=read_group_allocations(reading, path, sizes),
        full_version=product.full_version,
        product_url=product.product_url,
        vendor_url=product.vendor_url,
        application_url=product.application_url,
        application_url_keys=product.application_url_keys,
    )


def _networks(reading: Reading, envelope: Element) -> dict[str, str]:
    names: dict[str, str] = {}
    for section in reading.children(envelope, "NetworkSection"):
        for element in reading.children(section, "Network"):
            name = reading.needed(element, "name")
            if name in names:
                reading.fault(f'the network "{name}" stands twice', at=element)
            names[name] = reading.text(element, "Description")
            if (
                next(reading.children(element, "NetworkPortProfile", "NetworkPortProfileURI"), None)
                is not None
            ):
                reading.finding(
                    "network-port-profile",
                    Severity.RISK,
                    f'the maker has wishes about the ports of the network "{name}"',
                    at=element,
                    why="the network's port profile is not carried out by the program",
                    mend="hand it to whoever looks after the network",
                    source="DSP0243 2.x, network section",
                )
    return names


def _operating_system(reading: Reading, system: Element) -> tuple[int | None, str]:
    for section in reading.children(system, "OperatingSystemSection"):
        reading.needed(section, "id")
        return reading.whole(section, "id", most=65535), reading.attribute(section, "version") or ""
    return None, ""


def _environment_files(reading: Reading, system: Element, declared: set[str]) -> tuple[EnvironmentFile, ...]:
    found = []
    for section in reading.children(system, "EnvironmentFilesSection"):
        for element in reading.children(section, "File"):
            file_id, path = reading.needed(element, "fileRef"), reading.needed(element, "path")
            if file_id and file_id not in declared:
                reading.fault(
                    f'the environment file "{path}" refers to the file "{file_id}", which is not declared',
                    at=element,
                )
            if path and (fault := name_fault(path, where=reading.place(element))):
                reading.fault(
                    f'the path "{path}" leads out of /ovffiles/', at=element, why=fault.why, mend=fault.mend
                )
            found.append(EnvironmentFile(file_id=file_id, path=path))
    return tuple(found)


def _install_delay(reading: Reading, system: Element) -> int | None:
    for section in reading.children(system, "InstallSection"):
        reading.finding(
            "installs-at-first-boot",
            Severity.RISK,
            "the machine installs itself in a first boot and is then to be stopped",
            at=section,
            why="it is usable only after its second start",
            mend="plan the longer first start",
            source="DSP0243, install section",
        )
        return reading.whole(section, "initialBootStopDelay", most=65535) or 0
    return None


def _judge_archive(
    reading: Reading, envelope: Element, archive: Archive, files: dict[str, PackageFile]
) -> None:
    if not archive.is_single_file:
        return
    names = list(archive.members)
    if names[0] != archive.descriptor_name:
        reading.finding(
            "archive-order",
            Severity.NOTE,
            f'the archive begins with "{names[0]}", not with its descriptor',
            at=envelope,
            why="an importer that reads a stream cannot use the package",
            source="DSP0243, distribution as a single file",
        )
    known = {member for file in files.values() for member in file.members}
    known |= {archive.descriptor_name, f"{archive.stem}.mf", f"{archive.stem}.cert"}
    for name in names:
        if name not in known and not reading.faults:
            reading.finding(
                "archive-extra-member",
                Severity.RISK,
                f'the archive holds "{name}", to which nothing refers',
                at=envelope,
                why="what it is for is not known; it is not used",
                source="DSP0243, references",
            )
