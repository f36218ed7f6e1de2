"""What a machine is to start from, as its maker states it.

Source: DSP0243 2.x, boot device section; CIM_BootConfigSetting and CIM_BootSourceSetting of DMTF CIM Schema 2.49.0. That
the sources may stand inside the configuration is common practice: the configuration's schema lets any element follow.
"""

from typing import Final

from staddle.package.markup import Element, full_text, local_name, namespace_of
from staddle.package.reading import Reading

__all__ = ["read_boot_order"]

_CIM: Final = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/"
_SOURCES: Final = ("StructuredBootString", "BootString", "BIOSBootString")


def read_boot_order(reading: Reading, system: Element) -> tuple[str, ...]:
    """The boot sources in order; where none is named, what the configuration calls itself; () without the section."""
    found: list[str] = []
    for section in reading.children(system, "BootDeviceSection"):
        for setting in section:
            if not namespace_of(setting).startswith(_CIM + "CIM_Boot"):
                continue
            sources = [
                full_text(field).strip()
                for field in setting.iterdescendants("{*}*")
                if local_name(field) in _SOURCES and namespace_of(field).startswith(_CIM)
            ]
            names = [full_text(field).strip() for field in setting if local_name(field) == "ElementName"]
            found += sources or names[:1]
    return tuple(filter(None, found))
