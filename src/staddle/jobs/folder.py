"""The job folder: what lies where, and the rights it must have. Reads and writes files, decides nothing."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from staddle.kernel import InputRefused, NotAllowed, OutsideFailed
from staddle.kernel.wholefile import replace_file

__all__ = ["JobFolder", "find_job", "read_text", "start_text", "write_bytes", "write_text"]

_IGNORED: Final = "private/\njournal.sqlite*\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFolder:
    """Paths of one job. Everything but ``private`` and the journal is plain text for version control."""

    root: Path

    @property
    def design(self) -> Path:
        return self.root / "design.yaml"

    @property
    def waivers(self) -> Path:
        return self.root / "waivers.yaml"

    @property
    def limits(self) -> Path:
        return self.root / "limits.yaml"

    @property
    def rates(self) -> Path:
        return self.root / "rates.yaml"

    @property
    def requests(self) -> Path:
        return self.root / "requests.yaml"

    @property
    def placement(self) -> Path:
        return self.root / "placement.yaml"

    @property
    def records(self) -> Path:
        return self.root / "records"

    @property
    def sheets(self) -> Path:
        return self.root / "sheets"

    @property
    def private(self) -> Path:
        return self.root / "private"

    @property
    def journal(self) -> Path:
        return self.root / "journal.sqlite"

    @property
    def strongbox(self) -> Path:
        return self.private / "strongbox.age"

    @property
    def loopback(self) -> Path:
        return self.private / "loopback"

    def beside_design(self, name: str) -> Path:
        """A path that the design names, seen from design.yaml."""
        return (self.root / name).resolve()

    def make(self) -> None:
        """Make the folder with its private part (owner only) and the list that keeps secrets out of version control.

        Raises: OutsideFailed: the file system refuses.
        """
        try:
            for folder in (self.root, self.records):
                folder.mkdir(parents=True, exist_ok=True)
            self.private.mkdir(mode=0o700, exist_ok=True)
            self.private.chmod(0o700)
            ignored = self.root / ".gitignore"
            if not ignored.exists():
                write_text(ignored, _IGNORED)
        except OSError as exc:
            raise OutsideFailed.one(
                f"the job folder cannot be made: {exc.strerror}", where=str(self.root)
            ) from exc


def find_job(root: Path) -> JobFolder:
    """The job folder at ``root``.

    Raises: InputRefused: there is no design.yaml in it.
    """
    if root.is_file():
        raise InputRefused.one(
            f"{root} is a file",
            why="--job names the job folder, in which design.yaml lies",
            mend=f"--job {root.parent}" if root.name == "design.yaml" else "name the folder",
        )
    folder = JobFolder(root=root.resolve())
    if not folder.design.is_file():
        raise InputRefused.one(
            "there is no design.yaml here",
            where=str(folder.root),
            why="every command works in a job folder",
            mend='make one with "staddle begin DIR", or name it with --job DIR',
        )
    folder.make()
    return folder


def read_text(path: Path) -> str:
    """A file of the job as text. Raises: InputRefused: it cannot be read, or is not UTF-8."""
    try:
        return path.read_text(encoding="utf-8")
    except OSError as exc:
        raise InputRefused.one(f"the file cannot be read: {exc.strerror}", where=path.name) from exc
    except UnicodeDecodeError as exc:
        line = exc.object.count(b"\n", 0, exc.start) + 1
        raise InputRefused.one(
            f"byte {exc.start + 1} of the file is not UTF-8",
            where=f"{path.name}:{line}",
            mend="save the file as UTF-8",
        ) from exc


def start_text(path: Path, text: str) -> str:
    """Write a file that is for people to fill in, and never over what they wrote. Returns: its name.

    Raises: NotAllowed: there is one already; nothing was changed. OutsideFailed: the file system refuses.
    """
    if path.exists():
        raise NotAllowed.one(f"there is a {path.name} already", where=str(path), mend="edit it")
    write_text(path, text)
    return path.name


def write_text(path: Path, text: str) -> None:
    """Write a text file as UTF-8, whole or not at all. Raises: OutsideFailed: the file system refuses."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file whole or not at all. Raises: OutsideFailed: the file system refuses."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        replace_file(path, content)
    except OSError as exc:
        raise OutsideFailed.one(
            f"{path.name} could not be written: {exc.strerror}",
            where=str(path.parent),
            mend="make room or mend the rights",
        ) from exc
