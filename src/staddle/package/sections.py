"""Which sections may stand where, and what happens to those that this program does not read.

Source: DSP0243, table of sections (from memory); ``ovf:required`` defaults to true, and a required section that is not
understood must make the import fail (DSP8023).
"""

from typing import Final

from staddle.kernel import Severity
from staddle.package.markup import Element, local_name, namespace_of
from staddle.package.reading import Reading

__all__ = ["CONTENT", "judge_sections"]

CONTENT: Final = ("VirtualSystem", "VirtualSystemCollection")
_EITHER: Final = {"ProductSection", "EulaSection", "AnnotationSection", "PlacementSection"}
_PLACES: Final = {
    "Envelope": {
        "DiskSection",
        "NetworkSection",
        "DeploymentOptionSection",
        "SharedDiskSection",
        "PlacementGroupSection",
        "EncryptionSection",
    },
    "VirtualSystem": _EITHER
    | {
        "OperatingSystemSection",
        "VirtualHardwareSection",
        "InstallSection",
        "EnvironmentFilesSection",
        "BootDeviceSection",
    },
    "VirtualSystemCollection": _EITHER | {"ResourceAllocationSection", "StartupSection", "ScaleOutSection"},
}
_PLAIN: Final = {
    "Envelope": {"References", "Strings", *CONTENT},
    "VirtualSystem": {"Info", "Name"},
    "VirtualSystemCollection": {"Info", "Name", *CONTENT},
}
# Standard sections that cannot be read at all: refused where they are required.
_NOT_CARRIED: Final = {"EncryptionSection": "encrypted packages cannot be read"}
# Standard sections that are read and shown; a finding hands on to the engineer what the program does not do by itself.
_HANDED_ON: Final = {
    "ResourceAllocationSection": "the maker limits or reserves resources for the whole collection",
    "ScaleOutSection": "the maker states how many machines are meant",
    "BootDeviceSection": "the maker states what the machine starts from",
}
_SOURCE: Final = "DSP0243, table of sections"


def judge_sections(reading: Reading, parent: Element) -> None:
    """Note what is unknown, misplaced or not carried out among the children of an envelope or content element."""
    kind = local_name(parent)
    for child in parent:
        name = local_name(child)
        standard = namespace_of(child) == reading.namespace
        if standard and name in _PLAIN[kind]:
            continue
        required = reading.flag(child, "required", default=True)
        if not standard or not any(name in names for names in _PLACES.values()):
            _unknown(reading, child, required)
        elif name not in _PLACES[kind]:
            reading.fault(
                f"the {name} does not belong in the {kind}",
                at=child,
                why="another reader would not find it there (DSP0243, table of sections)",
            )
        elif name in _NOT_CARRIED:
            _not_carried(reading, child, required)
        elif name in _HANDED_ON:
            reading.finding(
                "section-handed-on",
                Severity.RISK,
                f"{_HANDED_ON[name]}: {reading.text(child, 'Info')}",
                at=child,
                why=f"the {name} is not carried out by itself",
                mend="state the same in the design",
                source=_SOURCE,
            )
        if standard and next(reading.children(child, "Info"), None) is None:
            reading.finding(
                "section-without-info",
                Severity.NOTE,
                f"the {name} has no Info",
                at=child,
                source="DSP8023, Section",
            )


def _unknown(reading: Reading, child: Element, required: bool) -> None:
    name = local_name(child)
    info = reading.text(child, "Info")
    if required:
        reading.fault(
            f"the section {name} is not known and is required",
            at=child,
            why="a reader that does not understand a required section must not import the package (DSP0243)"
            + (f'; the section says: "{info}"' if info else ""),
            mend="ask the package's maker for one that can be deployed without this section",
        )
        return
    reading.finding(
        "section-unknown",
        Severity.NOTE,
        f"the section {name} is not known and is skipped" + (f": {info}" if info else ""),
        at=child,
        why='the package marks it ovf:required="false"',
        source=_SOURCE,
    )


def _not_carried(reading: Reading, child: Element, required: bool) -> None:
    name = local_name(child)
    if required:
        reading.fault(
            f"the package needs its {name}",
            at=child,
            why=_NOT_CARRIED[name],
            mend="ask the package's maker for one that can be deployed without this section",
        )
        return
    reading.finding(
        "section-not-carried-out",
        Severity.RISK,
        f"the {name} is skipped: {reading.text(child, 'Info')}",
        at=child,
        why=_NOT_CARRIED[name],
        source=_SOURCE,
    )
