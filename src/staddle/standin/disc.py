"""The CD in the member's drive: finds one file in the root of an ISO 9660 image. Nothing else of it is read.

Source: ISO 9660:1988 (also ECMA-119): volume descriptors from sector 16 on, each one sector; directory records that cross no sector.
Joliet: a supplementary descriptor whose names are UCS-2, so that a name with small letters and a hyphen can be asked for as it is.
"""

from pathlib import Path
from typing import BinaryIO

from staddle.standin.refusal import StartRefused

__all__ = ["is_disc", "read_from_disc"]

_SECTOR = 2048
_MOST_DESCRIPTORS = 16
_MOST_DIRECTORY_BYTES = 1 << 20
_JOLIET = (b"%/@", b"%/C", b"%/E")
_MARK = b"CD001"


def is_disc(path: Path) -> bool:
    """Whether the file is an ISO 9660 image. Raises: OSError: it cannot be read."""
    with path.open("rb") as file:
        file.seek(16 * _SECTOR + 1)
        return file.read(len(_MARK)) == _MARK


def read_from_disc(path: Path, name: str, *, most_bytes: int) -> bytes:
    """The content of one file in the root directory.

    Raises: StartRefused: no such file, a larger one, or the image is damaged. OSError: it cannot be read.
    """
    with path.open("rb") as file:
        place, size = _root(file)
        if size > _MOST_DIRECTORY_BYTES:
            raise StartRefused("the CD's root directory is damaged")
        directory = _extent(file, place, size)
        for record in _records(directory):
            if record[33 : 33 + record[32]].decode("utf-16-be", "replace").partition(";")[0] == name:
                place, size = _place_of(record)
                if size > most_bytes:
                    raise StartRefused(f"the CD's {name} is larger than {most_bytes} bytes")
                return _extent(file, place, size)
    raise StartRefused(f"the CD holds no {name} in its root directory")


def _root(file: BinaryIO) -> tuple[int, int]:
    for number in range(16, 16 + _MOST_DESCRIPTORS):
        descriptor = _extent(file, number, _SECTOR)
        if descriptor[1:6] != _MARK or descriptor[0] == 255:
            break
        if descriptor[0] == 2 and descriptor[88:91] in _JOLIET:
            if int.from_bytes(descriptor[128:130], "little") != _SECTOR:
                raise StartRefused("the CD has blocks of another size than 2048 bytes")
            return _place_of(descriptor[156:190])
    raise StartRefused("the CD has no Joliet names")


def _records(directory: bytes) -> list[bytes]:
    found = []
    for start in range(0, len(directory), _SECTOR):
        at, end = start, min(start + _SECTOR, len(directory))
        while at < end and (length := directory[at]):  # the rest of a sector is filled with zeros
            if length < 34 or at + length > end:
                raise StartRefused("the CD's root directory is damaged")
            found.append(directory[at : at + length])
            at += length
    return found


def _place_of(record: bytes) -> tuple[int, int]:
    """First sector and length in bytes; both stand twice, here the little-endian ones are read."""
    return int.from_bytes(record[2:6], "little"), int.from_bytes(record[10:14], "little")


def _extent(file: BinaryIO, place: int, size: int) -> bytes:
    file.seek(place * _SECTOR)
    data = file.read(size)
    if len(data) != size:
        raise StartRefused("the CD is shorter than it says")
    return data
