"""The header blocks of a tar archive, one member after another, in bounded memory and time. Contents are not read.

What may stand in a package is judged in tarheaders.py. The standard library's reader is not used: hostile headers make
it call itself without end (a chain of long-name headers), keep every header it saw, and copy a global header for each
member; a listing of 9,000 members behind one of 5,000 records took it half a minute.

Source: IEEE Std 1003.1, pax utility: ustar interchange format, pax extended header. GNU tar's manual, "Basic Tar
Format", for long names (types L, K), sparse members (S) and sizes in base 256. The bounds are ours.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Final

from staddle.package.members import printable

__all__ = ["BLOCK", "Header", "NotTar", "read_headers"]

BLOCK: Final = 512
_MOST_EXTENDED_BYTES: Final = 1 << 20  # an extended header holds a name and a size, never a mebibyte
_MOST_EXTENDED_ALL: Final = 16 << 20
_MOST_EXTENDED_IN_A_ROW: Final = 8
_MOST_RECORDS: Final = 1000
_KEPT: Final = (b"path", b"size")


class NotTar(Exception):
    """The headers cannot be followed any further. The text says why."""


@dataclass(frozen=True, slots=True)
class Header:
    """One member: ``kind`` is its type flag, ``start`` where its header begins, ``offset`` where its content does.

    ``names`` are all that its headers give it; the first one counts.
    """

    names: tuple[str, ...]
    kind: bytes
    size: int
    start: int
    offset: int
    sparse: bool

    @property
    def name(self) -> str:
        """The name that counts; bytes that are no UTF-8 are lone surrogates in it."""
        return self.names[0]

    @property
    def is_folder(self) -> bool:
        """A directory; before ustar it was a plain file whose name ends in a slash."""
        return self.kind == b"5" or (self.kind == b"\0" and self.name.endswith("/"))

    @property
    def end(self) -> int:
        """Where the next header begins."""
        # Links, devices and folders have no content, whatever their size field says (IEEE 1003.1, ustar, typeflag).
        if self.is_folder or self.kind in b"123456":
            return self.offset
        return self.offset + (self.size + BLOCK - 1) // BLOCK * BLOCK


def read_headers(file: BinaryIO) -> Iterator[Header]:
    """The members until the end blocks, the end of the file, or a block that is no header.

    Raises: NotTar: the first block is no header, or an extended header is larger or stranger than one can be.
    """
    at = spent = in_a_row = 0
    everywhere: dict[bytes, bytes] = {}  # pax global header
    here: dict[bytes, bytes] = {}  # pax extended header of the next member
    long_name: bytes | None = None
    start = 0
    while True:
        file.seek(at)
        block = file.read(BLOCK)
        if len(block) < BLOCK or not block.strip(b"\0") or not _is_header(block):
            if at == 0 or (in_a_row and len(block) == BLOCK and not _is_header(block)):
                raise NotTar("it is not a sound tar archive: " + _no_header(block, at))
            if in_a_row:
                raise NotTar("it breaks off after an extended header")
            return
        if not in_a_row:
            start = at
        kind, size = block[156:157], _number(block[124:136])
        at += BLOCK
        if kind not in b"xXgLK" or not kind:
            member = _member(block, size, start=start, offset=at, pax=everywhere | here, long_name=long_name)
            yield member
            if member.size < 0:
                raise NotTar(f'the header of "{printable(member.name)}" has an impossible size')
            here, long_name, in_a_row, at = {}, None, 0, member.end
            continue
        if not 0 <= size <= _MOST_EXTENDED_BYTES:
            raise NotTar("one of its headers is larger than a header can be")
        in_a_row, spent = in_a_row + 1, spent + size
        if spent > _MOST_EXTENDED_ALL or in_a_row > _MOST_EXTENDED_IN_A_ROW:
            raise NotTar("it has more extended headers than a package can have")
        text = file.read(size)
        if len(text) < size:
            raise NotTar("it breaks off inside an extended header")
        if kind == b"L":
            long_name = text.split(b"\0", 1)[0]
        elif kind in b"xX":
            here |= _records(text)
        elif kind == b"g":
            everywhere |= _records(text)
        at += (size + BLOCK - 1) // BLOCK * BLOCK


def _is_header(block: bytes) -> bool:
    # The sum over the block with blanks in place of the sum itself; some writers summed signed bytes.
    told = _number(block[148:156])
    plain = block[:148] + b" " * 8 + block[156:]
    return told == sum(plain) or told == sum(byte - 256 * (byte > 127) for byte in plain)


def _no_header(block: bytes, at: int) -> str:
    if not block:
        return "it is empty"
    if len(block) < BLOCK:
        return "it is shorter than a header"
    return f"there is no header at byte {at}"


def _number(field: bytes) -> int:
    """Octal digits, or base 256 behind a first byte of 128 (255: negative); -1 for what is neither."""
    if field[0] in (0x80, 0xFF):
        return int.from_bytes(field[1:], "big") - (1 << 8 * (len(field) - 1) if field[0] == 0xFF else 0)
    digits = field.split(b"\0", 1)[0].strip()
    if not digits:
        return 0
    return int(digits, 8) if all(byte in b"01234567" for byte in digits) else -1


def _member(
    block: bytes, size: int, *, start: int, offset: int, pax: dict[bytes, bytes], long_name: bytes | None
) -> Header:
    name = block[:100].split(b"\0", 1)[0]
    # Only POSIX archives have a prefix there; GNU's own form keeps times in that place ("ustar" and two blanks).
    if block[257:263] == b"ustar\0" and (prefix := block[345:500].split(b"\0", 1)[0]):
        name = prefix + b"/" + name
    told = [text for text in (pax.get(b"path"), long_name) if text]
    if b"size" in pax:
        digits = pax[b"size"]
        size = int(digits) if digits.isdigit() and len(digits) < 20 else -1
    return Header(
        names=tuple(text.decode("utf-8", "surrogateescape") for text in told or [name]),
        kind=block[156:157],
        size=size,
        start=start,
        offset=offset,
        sparse=block[156:157] == b"S" or b"GNU.sparse" in pax,
    )


def _records(text: bytes) -> dict[bytes, bytes]:
    """The records that are needed: ``length key=value`` and a newline each; an empty value takes the key away."""
    found: dict[bytes, bytes] = {}
    at = count = 0
    while at < len(text) and text[at] != 0:
        blank = text.find(b" ", at, at + 8)
        digits = text[at:blank] if blank > 0 else b""
        length = int(digits) if digits.isdigit() else 0
        record = text[blank + 1 : at + length]
        key, equals, value = record.partition(b"=")
        if length < 5 or at + length > len(text) or not equals or not value.endswith(b"\n"):
            raise NotTar("one of its extended headers cannot be read")
        count += 1
        if count > _MOST_RECORDS:
            raise NotTar("one of its headers is larger than a header can be")
        if key in _KEPT:
            found[key] = value[:-1]
        elif key.startswith(b"GNU.sparse"):
            found[b"GNU.sparse"] = b"1"
            if key == b"GNU.sparse.name":
                found[b"path"] = value[:-1]
        at += length
    return found
