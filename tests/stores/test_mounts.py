"""The mount table: which mount a path lies on, and which file systems are refused. Tables are made up.

Format: proc(5), /proc/pid/mountinfo.
"""

import os
import subprocess
import sys
from pathlib import Path, PurePosixPath

import pytest

from staddle.kernel import InputRefused
from staddle.stores.mounts import LOCAL_TYPES, NETWORK_TYPES, mount_of, own_mounts, refuse_shared_disk

TABLE = r"""
21 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
22 21 0:20 / /proc rw - proc proc rw
30 21 0:40 / /srv rw shared:7 master:2 - nfs4 files.example:/srv rw,vers=4.2
31 30 0:41 / /srv/fast rw - xfs /dev/sdb1 rw
32 21 0:42 / /mnt/two\040words rw - cifs //files.example/two rw
33 21 0:43 / /srvother rw - tmpfs tmpfs rw
34 21 0:44 / /cover/inner rw - ext4 /dev/sdc1 rw
35 21 0:45 / /cover rw - nfs files.example:/cover rw
36 21 0:46 / /twice rw - ext4 /dev/sdd1 rw
37 36 0:47 / /twice rw - fuse.sshfs user@files.example: rw
38 21 8:1 /data /bound rw - ext4 /dev/sda1 rw
garbage that is no line of the table
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/", "ext4"),
        ("/home/estate", "ext4"),
        ("/srv", "nfs4"),
        ("/srv/slow/estate", "nfs4"),
        ("/srv/fast/estate", "xfs"),
        ("/srvother/estate", "tmpfs"),
        ("/mnt/two words/estate", "cifs"),
        ("/mnt/two", "ext4"),
        ("/cover/inner/estate", "nfs"),  # the later mount hides the deeper one
        ("/twice/estate", "fuse.sshfs"),  # the upper of two on one point
        ("/bound/estate", "ext4"),
    ],
)
def test_path_lies_on_the_mount_that_the_kernel_would_reach(path: str, kind: str) -> None:
    mount = mount_of(PurePosixPath(path), TABLE)
    assert mount is not None
    assert mount.kind == kind


def test_table_without_a_root_tells_nothing() -> None:
    assert mount_of(PurePosixPath("/srv"), "31 30 0:41 / /other rw - xfs /dev/sdb1 rw") is None
    assert mount_of(PurePosixPath("/srv"), "") is None


def table(kind: str) -> str:
    return f"21 1 8:1 / / rw shared:1 - {kind} source rw\n"


@pytest.mark.parametrize("kind", sorted(LOCAL_TYPES))
def test_local_types_pass(kind: str, tmp_path: Path) -> None:
    refuse_shared_disk(tmp_path, table(kind))


@pytest.mark.parametrize("kind", sorted(NETWORK_TYPES))
def test_network_types_are_refused(kind: str, tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as caught:
        refuse_shared_disk(tmp_path, table(kind))
    assert caught.value.faults[0].lines() == (
        f'the folder lies on a network file system of the type "{kind}", a local one is expected',
        f"  where: {tmp_path.resolve()}",
        "  why:   two processes could be promised the same room: locks do not hold between machines there",
        "  try:   keep the estate's folder on a local disk of the one machine on which staddle is run; "
        "a register that several machines share needs a database server",
    )


@pytest.mark.parametrize("kind", ["fuse.sshfs", "fuse.anything", "fuse", "newfs"])
def test_types_whose_locks_are_not_known_are_refused(kind: str, tmp_path: Path) -> None:
    with pytest.raises(
        InputRefused, match=f'a file system of the type "{kind}".*\n.*\n.*nothing is known of its'
    ):
        refuse_shared_disk(tmp_path, table(kind))


def test_links_are_followed_before_the_table_is_asked(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    (tmp_path / "near").symlink_to(tmp_path / "far")
    text = table("ext4") + f"30 21 0:40 / {tmp_path.resolve()}/far rw - nfs files.example:/far rw\n"
    with pytest.raises(InputRefused, match='"nfs"'):
        refuse_shared_disk(tmp_path / "near", text)


@pytest.mark.skipif(sys.platform != "linux", reason="compares with the mount table and stat of Linux")
def test_own_table_agrees_with_stat_of_the_system(tmp_path: Path) -> None:
    # Outside check: stat(1) of coreutils names the mount point of a path.
    for path in (Path("/"), Path("/proc"), Path("/dev"), tmp_path.resolve()):
        mount = mount_of(PurePosixPath(path), own_mounts())
        assert mount is not None
        point = subprocess.run(
            ["stat", "--format=%m", str(path)], check=True, capture_output=True, text=True
        ).stdout.strip()
        assert str(mount.point) == point
        assert os.stat(mount.point).st_dev == os.stat(path).st_dev
