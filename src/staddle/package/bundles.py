"""The localised texts of a descriptor: its Strings, inline or in files of their own.

Which text belongs to a message is decided in messages.py.

Source: DSP0243, internationalisation; DSP8023, Strings.
"""

from collections.abc import Mapping
from typing import Final

from staddle.kernel import InputRefused, Severity
from staddle.package.archive import Archive
from staddle.package.markup import MOST_BYTES, Element, full_text, parse_markup
from staddle.package.model import PackageFile
from staddle.package.reading import Reading

__all__ = ["ENVELOPE_LANG", "XML_LANG", "read_bundles"]

XML_LANG: Final = "{http://www.w3.org/XML/1998/namespace}lang"
ENVELOPE_LANG: Final = "en-US"  # DSP8023 2.0.1, default of xml:lang on Envelope


def read_bundles(
    reading: Reading, envelope: Element, archive: Archive, files: Mapping[str, PackageFile]
) -> dict[str, dict[str, str]]:
    """Per language tag the texts by message id. Faults go to the reading."""
    bundles: dict[str, dict[str, str]] = {}
    for element in reading.children(envelope, "Strings"):
        source = element
        if file_id := reading.attribute(element, "fileRef"):
            file = files.get(file_id)
            if file is None or file.compression or len(file.members) != 1:
                reading.fault(
                    f'the texts in the file "{file_id}" cannot be read',
                    at=element,
                    why="a declared file, neither compressed nor in chunks, is expected",
                )
                continue
            name = file.members[0]
            try:
                source = parse_markup(archive.read(name, most_bytes=MOST_BYTES), where=name)
            except InputRefused as exc:
                reading.faults += exc.faults
                continue
        texts = bundles.setdefault(element.get(XML_LANG) or source.get(XML_LANG) or ENVELOPE_LANG, {})
        for message in reading.children(source, "Msg"):
            if reading.attribute(message, "fileRef"):
                reading.finding(
                    "text-in-file",
                    Severity.NOTE,
                    "a localised text lies in a file of its own; the element's own text is shown",
                    at=element,
                    source="DSP8023 2.0.1, Msg",
                )
                continue
            texts[reading.needed(message, "msgid")] = full_text(message)
    return bundles
