"""The descriptor as a whole: from the path of a package to a ``Package``.

Each section is read by the module of its name; here they are put together. Digests and signatures are checked by
manifest.py; until then a package is read but not verified.

Source: DSP0243 1.0 to 2.1; DSP8023 1.0.0 and 2.0.1.
"""

import dataclasses
import hashlib
from pathlib import Path

from staddle.kernel import InputRefused, Severity
from staddle.package.archive import Archive, open_archive
from staddle.package.bundles import ENVELOPE_LANG, XML_LANG, read_bundles
from staddle.package.configurations import read_sizes
from staddle.package.disks import read_disks
from staddle.package.hardware import read_hardware
from staddle.package.markup import MOST_BYTES, Element, local_name, namespace_of, parse_markup
from staddle.package.members import name_fault
from staddle.package.messages import Messages
from staddle.package.model import EnvironmentFile, Licence, Package, PackageFile
from staddle.package.products import read_product, read_properties
from staddle.package.reading import NAMESPACES, Reading
from staddle.package.references import read_references
from staddle.package.sections import judge_sections
from staddle.package.systems import find_system

__all__ = ["read_descriptor", "read_package"]


def read_package(path: Path, *, lang: str = "en-US", families: tuple[str, ...] = ()) -> Package:
    """Everything the package's descriptor says. Its digests are not checked here (``verify_package``).

    Args: path: an OVA, an .ovf file or a folder that holds one; lang: the wanted language tag; families: virtual
        system types that the platform takes, () for any.
    Returns: the package, with departures from the standard that were accepted as findings.
    Raises: InputRefused: with every fault at once. OutsideFailed: the package cannot be opened.
    Source: DSP0243.
    """
    return read_descriptor(open_archive(path), lang=lang, families=families)


def read_descriptor(archive: Archive, *, lang: str = "en-US", families: tuple[str, ...] = ()) -> Package:
    """The same from an archive that is open already."""
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
    reading.messages = Messages(
        lang=lang,
        own_lang=envelope.get(XML_LANG, ENVELOPE_LANG),
        bundles=read_bundles(reading, envelope, archive, files),
    )
    systems = find_system(reading, envelope)
    for parent in (envelope, *reversed(systems)):
        judge_sections(reading, parent)
    _judge_archive(reading, envelope, archive, files)
    package = _assemble(reading, envelope, systems, archive, files, families) if systems else None
    if reading.faults or package is None:
        raise InputRefused(*dict.fromkeys(reading.faults))
    digest = hashlib.sha256(data).hexdigest()
    return dataclasses.replace(
        package, descriptor_sha256=digest, findings=(*archive.findings, *reading.findings)
    )


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
    systems: tuple[Element, ...],
    archive: Archive,
    files: dict[str, PackageFile],
    families: tuple[str, ...],
) -> Package | None:
    system = systems[0]
    sizes = read_sizes(reading, envelope)
    if not sizes:
        return None
    properties = read_properties(reading, systems, sizes)
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
    )
    declared_disks = {
        disk_id
        for section in reading.children(envelope, "DiskSection")
        for disk in reading.children(section, "Disk")
        if (disk_id := reading.attribute(disk, "diskId"))
    }
    networks = _networks(reading, envelope)
    hardware = read_hardware(
        reading, system, sizes=sizes, disk_ids=declared_disks, networks=networks, families=families
    )
    product = read_product(reading, systems)
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
        networks=networks,
        properties=properties,
        licences=tuple(
            Licence(info=reading.text(section, "Info"), text=reading.text(section, "License"))
            for parent in systems
            for section in reading.children(parent, "EulaSection")
        ),
        operating_system=os_id,
        operating_system_version=os_version,
        annotation="\n\n".join(
            reading.text(section, "Annotation")
            for parent in systems
            for section in reading.children(parent, "AnnotationSection")
        ),
        environment_files=_environment_files(reading, system, declared),
        install_stop_delay_s=_install_delay(reading, system),
    )


def _networks(reading: Reading, envelope: Element) -> tuple[str, ...]:
    names: dict[str, None] = {}
    for section in reading.children(envelope, "NetworkSection"):
        for element in reading.children(section, "Network"):
            name = reading.needed(element, "name")
            if name in names:
                reading.fault(f'the network "{name}" stands twice', at=element)
            names[name] = None
    return tuple(names)


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
