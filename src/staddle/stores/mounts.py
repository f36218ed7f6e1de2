"""Which file system a path lies on, and whether its locks hold between processes. Linux's mount table only.

Source: proc(5), /proc/pid/mountinfo. The names of file systems are from memory of the kernel's own list.
"""

import re
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from staddle.kernel import InputRefused

__all__ = ["LOCAL_TYPES", "NETWORK_TYPES", "Mount", "mount_of", "own_mounts", "refuse_shared_disk"]

# Locks of these are kept by the kernel of this machine alone, so they hold between its processes.
LOCAL_TYPES: Final = frozenset(
    [
        "bcachefs",
        "btrfs",
        "exfat",
        "ext2",
        "ext3",
        "ext4",
        "f2fs",
        "fuseblk",
        "jfs",
        "jffs2",
        "nilfs2",
        "ntfs3",
        "overlay",
        "ramfs",
        "reiserfs",
        "rootfs",
        "tmpfs",
        "ubifs",
        "vfat",
        "xfs",
        "zfs",
    ]
)
# Another machine may write the same file, and locks are late, advisory for one side only, or absent.
NETWORK_TYPES: Final = frozenset(
    [
        "9p",
        "afs",
        "ceph",
        "cifs",
        "coda",
        "gfs2",
        "glusterfs",
        "lustre",
        "ncpfs",
        "nfs",
        "nfs4",
        "ocfs2",
        "orangefs",
        "smb3",
        "smbfs",
        "virtiofs",
    ]
)
_OCTAL: Final = re.compile(r"\\([0-7]{3})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """One line of the mount table."""

    mount_id: int
    parent_id: int
    point: PurePosixPath
    kind: str


def own_mounts() -> str:
    """The mount table as this process sees it; "" where the system keeps none in this form."""
    try:
        return Path("/proc/self/mountinfo").read_text(encoding="utf-8", errors="surrogateescape")
    except FileNotFoundError:
        return ""


def mount_of(path: PurePosixPath, mountinfo: str) -> Mount | None:
    """The mount on which that path lies. None if the table does not tell.

    Args: path: absolute, with links resolved; mountinfo: the table's text.
    """
    mounts = [mount for line in mountinfo.splitlines() if (mount := _mount(line)) is not None]
    ids = {mount.mount_id for mount in mounts}
    tops = [m for m in mounts if m.parent_id not in ids or m.parent_id == m.mount_id]
    at: Mount | None = next((m for m in tops if m.point == PurePosixPath("/")), None)
    # As the kernel walks: at each part of the path, step onto what is mounted there on top of where we stand.
    # The longest matching mount point would be wrong where a later mount covers an earlier, deeper one.
    for part in (*reversed(path.parents), path):
        while (
            above := next((m for m in mounts if _steps_onto(m, at, part, tops)), None)
        ) is not None and above != at:
            at = above
    return at


def _steps_onto(mount: Mount, at: Mount | None, part: PurePosixPath, tops: list[Mount]) -> bool:
    if mount.point != part:
        return False
    return mount in tops if at is None else mount.parent_id == at.mount_id and mount.mount_id != at.mount_id


def _mount(line: str) -> Mount | None:
    # id parent major:minor root point options [optional…] - type source options
    before, dash, after = line.partition(" - ")
    fields, rest = before.split(" "), after.split(" ")
    if not dash or len(fields) < 6 or not (fields[0].isdigit() and fields[1].isdigit()):
        return None
    point = _OCTAL.sub(lambda found: chr(int(found[1], 8)), fields[4])
    return Mount(mount_id=int(fields[0]), parent_id=int(fields[1]), point=PurePosixPath(point), kind=rest[0])


def refuse_shared_disk(folder: Path, mountinfo: str) -> None:
    """Refuse a folder whose file system is on the network, or not known to keep locks between processes.

    Where the system has no such table ("" is handed in) nothing can be told, and the folder is let pass.

    Args: folder: an existing folder; mountinfo: see ``own_mounts``.
    Raises: InputRefused: with the file system's type and what to do.
    """
    if not mountinfo:
        return
    resolved = folder.resolve()
    mount = mount_of(PurePosixPath(resolved), mountinfo)
    if mount is not None and mount.kind in LOCAL_TYPES:
        return
    kind = "unknown" if mount is None else mount.kind
    shared = kind in NETWORK_TYPES
    raise InputRefused.one(
        f'the folder lies on {"a network" if shared else "a"} file system of the type "{kind}", a local one is '
        "expected",
        where=str(resolved),
        why="two processes could be promised the same room: locks do not hold between machines there"
        if shared
        else "two processes could be promised the same room: nothing is known of its locks",
        mend="keep the estate's folder on a local disk of the one machine on which staddle is run; "
        "a register that several machines share needs a database server",
    )
