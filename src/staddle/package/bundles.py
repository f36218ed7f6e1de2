"""The localised texts of a descriptor: its Strings, inline or in files of their own.

Which text belongs to a message is decided in messages.py.

Source: DSP0243, internationalisation; DSP8023, Strings; DSP8023 2.0.1, Msg with fileRef.
"""

from collections.abc import Mapping
from typing import Final

from staddle.kernel import InputRefused
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
    return _Bundles(reading, archive, files).read(envelope)


class _Bundles:
    """Descriptor and texts together take no more than one document may: many files must not hold what one could not."""

    def __init__(self, reading: Reading, archive: Archive, files: Mapping[str, PackageFile]) -> None:
        self.reading = reading
        self.archive = archive
        self.files = files
        self.left_bytes = MOST_BYTES - archive.members[archive.descriptor_name].size_bytes

    def read(self, envelope: Element) -> dict[str, dict[str, str]]:
        bundles: dict[str, dict[str, str]] = {}
        for element in self.reading.children(envelope, "Strings"):
            source = element
            if file_id := self.reading.attribute(element, "fileRef"):
                found = self._document(element, file_id)
                if found is None:
                    continue
                source = found
            texts = bundles.setdefault(element.get(XML_LANG) or source.get(XML_LANG) or ENVELOPE_LANG, {})
            for message in self.reading.children(source, "Msg"):
                self.reading.spend(1, at=element)
                text: str | None = full_text(message)
                if file_id := self.reading.attribute(message, "fileRef"):
                    text = self._text(element, file_id)
                message_id = self.reading.needed(message, "msgid")
                if text is not None:
                    texts[message_id] = text
        return bundles

    def _document(self, element: Element, file_id: str) -> Element | None:
        content = self._content(element, file_id)
        if content is None:
            return None
        name, data = content
        try:
            return parse_markup(data, where=name)
        except InputRefused as exc:
            self.reading.add_faults(*exc.faults)
            return None

    def _text(self, element: Element, file_id: str) -> str | None:
        content = self._content(element, file_id)
        if content is None:
            return None
        name, data = content
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as exc:
            self.reading.fault(f'the text in "{name}" is not UTF-8', at=element, why=str(exc))
            return None

    def _content(self, element: Element, file_id: str) -> tuple[str, bytes] | None:
        file = self.files.get(file_id)
        if file is None or file.compression or len(file.members) != 1:
            self.reading.fault(
                f'the texts in the file "{file_id}" cannot be read',
                at=element,
                why="a declared file, neither compressed nor in chunks, is expected",
            )
            return None
        if file.size_bytes > self.left_bytes:
            self.reading.fault(
                f'the texts in the file "{file_id}" have {file.size_bytes} bytes',
                at=element,
                why=f"the descriptor and all texts in files of their own together may have {MOST_BYTES}",
            )
            return None
        self.left_bytes -= file.size_bytes
        name = file.members[0]
        return name, self.archive.read(name, most_bytes=MOST_BYTES)
