"""The environment document on a disc: an ISO 9660 image for the machine's CD drive, there only while it is used.

The image carries secrets in clear text. As a file it is made with owner-only rights, under a name that nobody can foresee, and
removed when the block that uses it ends, however it ends; who attaches the bytes otherwise looks after the same. That the bytes are gone from the medium below is not promised:
journals and flash keep copies. What stands in the document is environment.py's business.

Source: DSP0243, ISO transport: ``ovf-env.xml`` in the root directory, the files of the environment files section below
``/ovffiles/``; ISO 9660:1988 with the Joliet and Rock Ridge names, of which a guest reads what it knows.
"""

import io
import os
import secrets
import struct
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

from staddle.kernel import Fault, InputRefused, OutsideFailed
from staddle.package.contents import open_disk_file
from staddle.package.environment import ENVIRONMENT_NAME
from staddle.package.members import name_fault
from staddle.package.model import Package

if TYPE_CHECKING:
    import pycdlib

__all__ = [
    "EnvironmentDisc",
    "environment_files",
    "environment_image_file",
    "read_environment_image",
    "remove_environment_images",
    "write_environment_image",
]

_PREFIX: Final = "staddle-answers-"
_SUFFIX: Final = ".iso"
_FOLDER: Final = "ovffiles"
_MOST_DEPTH: Final = 6  # ISO 9660 §6.8.2.1: eight levels with the root and /ovffiles/
_MOST_NAME: Final = 64  # Joliet: 64 characters a name
_READ_ONLY: Final = 0o100400
# ours, for all of them together: keys and settings are small; their lengths must be known, so they are read whole
_MOST_FILE_BYTES: Final = 16 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class EnvironmentDisc:
    """What lies on the disc: the document, and the maker's files per path below ``/ovffiles/``. Both may hold secrets."""

    document: bytes = field(repr=False)
    files: Mapping[str, bytes] = field(default_factory=dict, repr=False)


def write_environment_image(
    out: BinaryIO,
    document: bytes,
    *,
    made_at: datetime,
    files: Mapping[str, tuple[BinaryIO, int]] | None = None,
) -> None:
    """Write the image.

    Args: out: a seekable file; document: the environment document, which lies in the image byte for byte; made_at: the
        date of everything in it, aware; files: per path below ``/ovffiles/`` its content and length in bytes.
    Raises: InputRefused: a path leads out, or does not fit on a disc of this form.
    """
    import pycdlib  # only who makes an image needs it
    from pycdlib.pycdlibexception import PyCdlibException

    files = files or {}
    faults = [fault for path in files if (fault := _path_fault(path))]
    if faults:
        raise InputRefused(*faults)
    disc = pycdlib.PyCdlib()
    disc.new(interchange_level=3, vol_ident="OVF_ENV", joliet=3, rock_ridge="1.09")
    try:
        at = made_at.astimezone(UTC).timestamp()
        disc.add_fp(
            io.BytesIO(document),
            len(document),
            "/OVFENV.XML;1",
            rr_name=ENVIRONMENT_NAME,
            joliet_path=f"/{ENVIRONMENT_NAME}",
            file_mode=_READ_ONLY,
            creation_time=at,
        )
        made: dict[str, str] = {}  # path of a folder -> its path of ISO 9660 names
        for number, (path, (content, length)) in enumerate(files.items()):
            *folders, name = f"{_FOLDER}/{path}".split("/")
            above = _make_folders(disc, folders, made, at)
            disc.add_fp(
                content,
                length,
                f"{above}/F{number:07d}.;1",
                rr_name=name,
                joliet_path=f"/{_FOLDER}/{path}",
                file_mode=_READ_ONLY,
                creation_time=at,
            )
        disc.write_fp(out)
    except PyCdlibException as exc:
        raise InputRefused.one(
            f"the disc with the answers cannot be made: {exc}",
            mend="hand the answers to the machine in another way, and report this",
        ) from exc
    finally:
        disc.close()


def _make_folders(disc: "pycdlib.PyCdlib", folders: list[str], made: dict[str, str], at: float) -> str:
    for depth in range(1, len(folders) + 1):
        path = "/".join(folders[:depth])
        if path not in made:
            made[path] = f"{made.get('/'.join(folders[: depth - 1]), '')}/D{len(made):07d}"
            disc.add_directory(
                made[path], rr_name=folders[depth - 1], joliet_path=f"/{path}", creation_time=at
            )
    return made["/".join(folders)]


def _path_fault(path: str) -> Fault | None:
    if fault := name_fault(path, where=f"/{_FOLDER}/"):
        return fault
    parts = path.split("/")
    reasons = (
        ("" in parts or "." in parts, "a part of it is empty"),
        (len(parts) > _MOST_DEPTH, f"it is more than {_MOST_DEPTH} folders deep"),
        (
            any(len(part) > _MOST_NAME for part in parts),
            f"a part of it has more than {_MOST_NAME} characters",
        ),
    )
    found = [reason for broken, reason in reasons if broken]
    if not found:
        return None
    return Fault(
        what=f'the environment file "{path}" does not fit on a disc',
        where=f"/{_FOLDER}/",
        why="; ".join(found),
        mend="ask the package's maker for a shorter path",
    )


@contextmanager
def environment_image_file(
    folder: Path,
    document: bytes,
    *,
    made_at: datetime,
    path: Path | None = None,
    package: Package | None = None,
) -> Iterator[Path]:
    """The image as a file that only its owner may read, and that is gone when the block ends.

    Args: folder: where it is made, an existing one; path, package: where the package lies and what it holds, for the
        files that its maker wants on the disc; without them there is the document alone.
    Yields: the image's path.
    Raises: InputRefused: as ``write_environment_image``. OutsideFailed: it cannot be written. In both cases nothing is left.
    """
    image = folder / f"{_PREFIX}{secrets.token_hex(16)}{_SUFFIX}"
    try:
        # O_EXCL follows no link and opens nothing that somebody else has put there.
        handle = os.open(image, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_CLOEXEC", 0), 0o600)
    except OSError as exc:
        raise _cannot_write(folder, exc) from exc
    try:
        with os.fdopen(handle, "w+b") as out:
            try:
                contents = {} if path is None or package is None else environment_files(path, package)
                files: dict[str, tuple[BinaryIO, int]] = {
                    name: (io.BytesIO(data), len(data)) for name, data in contents.items()
                }
                write_environment_image(out, document, made_at=made_at, files=files)
                out.flush()
                os.fsync(out.fileno())
            except OSError as exc:
                raise _cannot_write(folder, exc) from exc
        yield image
    finally:
        with suppress(FileNotFoundError):
            image.unlink()


def environment_files(path: Path, package: Package) -> dict[str, bytes]:
    """What the maker wants on the disc beside the document, per path below ``/ovffiles/``; {} where nothing is wanted.

    Args: path: where the package lies. Raises: InputRefused: they are larger than any disc of answers needs to be.
    """
    found: dict[str, bytes] = {}
    left = _MOST_FILE_BYTES
    for file in package.environment_files:
        with open_disk_file(path, package, file.file_id) as content:
            found[file.path] = content.read(left + 1)
        left -= len(found[file.path])
        if left < 0:
            raise InputRefused.one(
                f'the environment files up to "{file.path}" have more than {_MOST_FILE_BYTES} bytes',
                why="they are put on a disc together with the answers of each member",
                mend="hand them to the machine in another way",
            )
    return found


def read_environment_image(image: BinaryIO) -> EnvironmentDisc:
    """What lies on a disc that ``write_environment_image`` made.

    Raises: InputRefused: it is no such disc.
    """
    import pycdlib
    from pycdlib.pycdlibexception import PyCdlibException

    disc = pycdlib.PyCdlib()
    try:
        disc.open_fp(image)
        try:
            names = [
                f"{folder.rstrip('/')}/{name}"
                for folder, _, files in disc.walk(joliet_path="/")
                for name in files
            ]
            contents = {name: io.BytesIO() for name in names}
            for name, content in contents.items():
                disc.get_file_from_iso_fp(content, joliet_path=name)
        finally:
            disc.close()
        document = contents.pop(f"/{ENVIRONMENT_NAME}").getvalue()
    except (PyCdlibException, struct.error, OSError, LookupError, ValueError) as exc:
        raise InputRefused.one(
            "the disc with the answers cannot be read back", why=str(exc), mend="attach the answers again"
        ) from exc
    return EnvironmentDisc(
        document=document,
        files={name.removeprefix(f"/{_FOLDER}/"): content.getvalue() for name, content in contents.items()},
    )


def remove_environment_images(folder: Path) -> int:
    """Remove images that a killed process left behind. Returns how many. Only while no other process makes any there."""
    left = [path for path in folder.glob(f"{_PREFIX}*{_SUFFIX}") if path.is_file() or path.is_symlink()]
    for path in left:
        path.unlink(missing_ok=True)
    return len(left)


def _cannot_write(folder: Path, exc: OSError) -> OutsideFailed:
    return OutsideFailed.one(
        f"the disc with the answers cannot be written: {exc.strerror}",
        where=str(folder),
        mend="check the folder's rights and the room on its disk",
    )
