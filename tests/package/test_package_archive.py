"""Archives and folders: GNU tar's are read, hostile ones are refused before their contents are.

Sources: IEEE Std 1003.1 (ustar, pax); DSP0243, distribution as a single file. GNU tar is the independent writer.
"""

import gzip
import io
import os
import subprocess
import tarfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import InputRefused, OutsideFailed
from staddle.package.archive import open_archive
from staddle.package.tarheaders import list_tar
from tests.package.descriptor_pieces import archive

CONTENTS = {"box.ovf": b"<descriptor/>", "box-1.img": bytes(range(256)) * 9, "empty.img": b""}


def gnu_tar(folder: Path, *options: str, names: tuple[str, ...] = tuple(CONTENTS)) -> Path:
    for name, content in CONTENTS.items():
        (folder / name).write_bytes(content)
    subprocess.run(["tar", "-C", str(folder), *options, "-cf", "out.ova", *names], check=True, cwd=folder)
    return folder / "out.ova"


def refusal(path: Path) -> str:
    with pytest.raises(InputRefused) as caught:
        open_archive(path)
    return str(caught.value)


@pytest.mark.parametrize("form", ["ustar", "pax", "gnu", "v7"])
def test_an_archive_of_gnu_tar_is_read_in_every_form(tmp_path: Path, form: str) -> None:
    opened = open_archive(gnu_tar(tmp_path, f"--format={form}"))
    assert opened.is_single_file
    assert opened.descriptor_name == "box.ovf"
    assert opened.findings == ()
    assert {name: m.size_bytes for name, m in opened.members.items()} == {
        name: len(content) for name, content in CONTENTS.items()
    }
    for name, content in CONTENTS.items():
        with opened.open(name) as stream:
            assert stream.read() == content


def test_a_member_stream_ends_at_its_member_and_can_be_sought(tmp_path: Path) -> None:
    opened = open_archive(gnu_tar(tmp_path))
    with opened.open("box-1.img") as stream:
        assert stream.seek(-3, os.SEEK_END) == 2301
        assert stream.read(100) == b"\xfd\xfe\xff"
        stream.seek(1)
        assert stream.read(2) == b"\x01\x02"


@pytest.mark.parametrize("form", ["pax", "gnu"])
def test_a_member_over_8_gib_is_listed_and_its_end_is_read(tmp_path: Path, form: str) -> None:
    # The ustar size field ends at 8^11 − 1 = 8 589 934 591 bytes; larger sizes come in a pax header, or in base 256
    # (GNU). The archive itself is a file with a hole, so that nothing is written.
    size = 8**11 + 5
    header = tarfile.TarInfo("big.img")
    header.size = size
    raw = header.tobuf(tarfile.PAX_FORMAT if form == "pax" else tarfile.GNU_FORMAT)
    first = tarfile.TarInfo("box.ovf").tobuf()
    path = tmp_path / "box.ova"
    with path.open("wb") as file:
        file.write(first + raw)
        start = file.tell()
        file.seek(start + size - 4)
        file.write(b"last")
        file.truncate(start + (size + 511) // 512 * 512 + 1024)
    opened = open_archive(path)
    assert opened.members["big.img"].size_bytes == size
    with opened.open("big.img") as stream:
        stream.seek(size - 4)
        assert stream.read() == b"last"
    listed = subprocess.run(["tar", "-tvf", str(path)], check=True, capture_output=True, text=True).stdout
    assert str(size) in listed  # GNU tar sees the same size


def test_dot_names_and_folders_of_gnu_tar_are_read_with_findings(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    opened = open_archive(gnu_tar(tmp_path, names=("./box.ovf", "./box-1.img", "in")))
    assert list(opened.members) == ["box.ovf", "box-1.img"]
    assert sorted(f.rule for f in opened.findings) == ["archive-dot-names", "archive-folder"]


def test_a_missing_end_is_a_finding(tmp_path: Path) -> None:
    path = gnu_tar(tmp_path, "-b1", names=("box.ovf",))
    path.write_bytes(path.read_bytes()[:1024])
    assert [f.rule for f in open_archive(path).findings] == ["archive-end"]


ASK = "\n  try:   do not use this package; ask its maker for a sound one"


@pytest.mark.parametrize(
    ("name", "shown", "why"),
    [
        ("/etc/motd", "/etc/motd", "it is absolute"),
        ("a/../../b", "a/../../b", 'it holds ".."'),
        ("..", "..", 'it holds ".."'),
        ("a\\b.img", "a\\b.img", "it holds a backslash"),
        ("c:/box.img", "c:/box.img", "it begins with a drive letter"),
        ("a\nb", "a\\x0ab", "it holds a control character"),
        ("a\0b", "a\\x00b", "it holds a NUL"),
        ("x" * 1001, "x" * 1000, "it is longer than 1000 characters"),
    ],
)
def test_a_dangerous_name_is_refused(tmp_path: Path, name: str, shown: str, why: str) -> None:
    info = tarfile.TarInfo(name)
    # The name goes into a pax header, where any byte fits; the ustar field would end at a NUL.
    info.pax_headers = {"path": name}
    info.name = "plain" if "\0" in name else name
    path = archive(tmp_path, [("box.ovf", b""), (info, b"x")])
    assert (
        refusal(path) == f'error: the member name "{shown}" is refused\n  where: {path}\n  why:   {why}{ASK}'
    )


def test_a_name_that_is_not_utf8_is_refused(tmp_path: Path) -> None:
    (tmp_path / "raw").mkdir()
    raw = os.fsencode(tmp_path / "raw") + b"/\xff.img"
    os.close(os.open(raw, os.O_CREAT | os.O_WRONLY))
    (tmp_path / "raw" / "box.ovf").write_bytes(b"")
    subprocess.run(
        ["tar", "-C", "raw", "-cf", "box.ova", "box.ovf", os.fsdecode(b"\xff.img")], check=True, cwd=tmp_path
    )
    assert "  why:   it is not UTF-8" in refusal(tmp_path / "box.ova")


KINDS = {
    tarfile.SYMTYPE: "a symbolic link",
    tarfile.LNKTYPE: "a hard link",
    tarfile.CHRTYPE: "a character device",
    tarfile.BLKTYPE: "a block device",
    tarfile.FIFOTYPE: "a named pipe",
    b"Z": "of an unknown kind",
}


@pytest.mark.parametrize(("kind", "told"), KINDS.items())
def test_what_is_no_plain_file_is_refused(tmp_path: Path, kind: bytes, told: str) -> None:
    info = tarfile.TarInfo("trap.img")
    info.type, info.linkname = kind, "/etc/motd"
    path = archive(tmp_path, [("box.ovf", b""), (info, b"")])
    assert refusal(path) == (
        f'error: the member "trap.img" is {told}\n  where: {path}\n'
        f"  why:   a package holds plain files only; others can point out of it or hide what they hold{ASK}"
    )


@pytest.mark.parametrize("form", ["gnu", "pax"])
def test_a_sparse_member_of_gnu_tar_is_refused(tmp_path: Path, form: str) -> None:
    with (tmp_path / "holes.img").open("wb") as file:
        file.seek(1 << 20)
        file.write(b"end")
    path = gnu_tar(tmp_path, "--sparse", f"--format={form}", names=("box.ovf", "holes.img"))
    assert 'the member "holes.img" is a sparse file' in refusal(path)


def test_links_of_gnu_tar_are_refused(tmp_path: Path) -> None:
    (tmp_path / "soft.img").symlink_to("/etc/motd")
    (tmp_path / "first.img").write_bytes(b"x")
    os.link(tmp_path / "first.img", tmp_path / "hard.img")
    text = refusal(gnu_tar(tmp_path, names=("box.ovf", "soft.img", "first.img", "hard.img")))
    assert 'the member "soft.img" is a symbolic link' in text
    assert 'the member "hard.img" is a hard link' in text


def test_doubles_case_twins_and_a_second_descriptor_are_told_together(tmp_path: Path) -> None:
    names = ("box.ovf", "a.img", "a.img", "B.img", "b.img", "other.OVF")
    path = archive(tmp_path, [(name, b"") for name in names])
    assert refusal(path) == (
        f'error: the member "a.img" stands in the archive twice\n  where: {path}\n'
        f"  why:   two readers may each see another one of them{ASK}\n\n"
        f'error: the members "B.img" and "b.img" differ only by case\n  where: {path}\n'
        f"  why:   on some file systems one would replace the other{ASK}\n\n"
        f'error: there are 2 descriptors: "box.ovf", "other.OVF"\n  where: {path}\n'
        "  why:   a package has exactly one, and nothing tells which is meant\n"
        "  try:   keep one package in one place, or name the .ovf file that is meant"
    )


def test_an_archive_without_a_descriptor_is_refused(tmp_path: Path) -> None:
    path = archive(tmp_path, [("a.img", b"")])
    assert refusal(path) == (
        f"error: there is no descriptor: no file name ends in .ovf\n  where: {path}\n"
        "  why:   a package is an OVF descriptor with its files (DSP0243)\n"
        "  try:   name the .ova file, the .ovf file, or the folder that holds the .ovf file"
    )


@pytest.mark.parametrize(
    ("wrap", "told"),
    [
        (gzip.compress, "gzip"),
        (__import__("bz2").compress, "bzip2"),
        (__import__("lzma").compress, "xz"),
        (lambda data: b"PK\x03\x04" + data, "zip"),
    ],
)
def test_a_wrapped_archive_is_told_by_its_first_bytes(tmp_path: Path, wrap, told: str) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001
    path = archive(tmp_path, [("box.ovf", b"")])
    path.write_bytes(wrap(path.read_bytes()))
    assert refusal(path) == (
        f"error: the archive is wrapped in {told}; an OVA is a plain tar\n  where: {path}\n"
        "  why:   DSP0243 compresses single files of a package, never the whole\n"
        f"  try:   unwrap the {told} layer first, then name the tar inside it"
    )


def test_an_archive_that_breaks_off_is_refused(tmp_path: Path) -> None:
    path = archive(tmp_path, [("box.ovf", b""), ("a.img", b"x" * 5000)])
    path.write_bytes(path.read_bytes()[:3000])
    assert refusal(path).startswith("error: the archive cannot be read\n")


def test_a_damaged_header_in_the_middle_is_refused_not_passed_over(tmp_path: Path) -> None:
    # tarfile would end here without a word; what follows the damage would be silently absent
    path = archive(tmp_path, [("box.ovf", b""), ("a.img", b"x"), ("b.img", b"y")])
    data = bytearray(path.read_bytes())
    data[512 + 100] ^= 0xFF
    path.write_bytes(data)
    assert refusal(path) == (
        f"error: the archive cannot be read\n  where: {path}\n"
        "  why:   the header at byte 512 is damaged; what follows cannot be read\n"
        "  try:   compare its size with the maker's and fetch it again"
    )


def test_a_pax_header_that_claims_gigabytes_is_refused_unread(tmp_path: Path) -> None:
    header = tarfile.TarInfo("pax")
    header.type, header.size = tarfile.XHDTYPE, 4 << 30
    path = tmp_path / "box.ova"
    with path.open("wb") as file:
        file.write(header.tobuf())
        file.truncate(5 << 30)  # a sparse file: nothing is written
    assert "one of its headers is larger than a header can be" in refusal(path)


def test_a_negative_size_does_not_lead_backwards(tmp_path: Path) -> None:
    info = tarfile.TarInfo("loop.img")
    raw = bytearray(info.tobuf(tarfile.GNU_FORMAT))
    raw[124:136] = b"\xff" * 10 + (-1024 & 0xFFFF).to_bytes(2, "big")  # base-256, negative
    raw[148:156] = b" " * 8
    raw[148:156] = b"%06o\0 " % sum(raw)
    path = tmp_path / "box.ova"
    path.write_bytes(tarfile.TarInfo("box.ovf").tobuf() + bytes(raw) + bytes(4096))
    assert "error: the archive cannot be read" in refusal(path)


def test_more_members_than_a_package_can_have_are_refused() -> None:
    data = b"".join(tarfile.TarInfo(f"{n}.img").tobuf() for n in range(12)) + bytes(1024)
    _, faults, _ = list_tar(io.BytesIO(data), where="box.ova", most_members=10)
    assert [fault.why for fault in faults] == ["it has more than 10 members"]


def test_an_empty_or_foreign_file_is_refused(tmp_path: Path) -> None:
    for content in (b"", b"hello", os.urandom(4096)):
        (tmp_path / "x.ova").write_bytes(content)
        assert refusal(tmp_path / "x.ova").startswith("error: the archive cannot be read\n")


@settings(max_examples=150, deadline=None)
@given(position=st.integers(0, 3000), value=st.integers(0, 255), cut=st.integers(0, 4000))
def test_any_damage_is_read_or_refused(position: int, value: int, cut: int) -> None:
    sound = io.BytesIO()
    with tarfile.open(fileobj=sound, mode="w", format=tarfile.PAX_FORMAT) as tar:
        for name in ("box.ovf", "ü" * 90):
            info = tarfile.TarInfo(name)
            info.size = 3
            tar.addfile(info, io.BytesIO(b"abc"))
    data = bytearray(sound.getvalue())
    data[position % len(data)] = value
    members, faults, _ = list_tar(io.BytesIO(bytes(data[: len(data) - cut])), where="x", most_members=10)
    assert faults or all(m.offset_bytes + m.size_bytes <= len(data) - cut for m in members)


def test_a_folder_is_read_by_itself_or_by_its_descriptor(tmp_path: Path) -> None:
    (tmp_path / "disks").mkdir()
    (tmp_path / "box.ovf").write_bytes(b"<x/>")
    (tmp_path / "disks" / "a.img").write_bytes(b"abc")
    (tmp_path / "link.img").symlink_to("/etc/motd")
    for path in (tmp_path, tmp_path / "box.ovf"):
        opened = open_archive(path)
        assert not opened.is_single_file
        assert list(opened.members) == ["box.ovf", "disks/a.img"]
        with opened.open("disks/a.img") as stream:
            assert stream.read() == b"abc"


def test_a_folder_with_two_descriptors_must_be_told_which(tmp_path: Path) -> None:
    for name in ("box.ovf", "tub.ovf"):
        (tmp_path / name).write_bytes(b"<x/>")
    assert 'there are 2 descriptors: "box.ovf", "tub.ovf"' in refusal(tmp_path)
    assert open_archive(tmp_path / "tub.ovf").descriptor_name == "tub.ovf"


def test_a_path_that_is_not_there_is_told_as_such(tmp_path: Path) -> None:
    with pytest.raises(OutsideFailed) as caught:
        open_archive(tmp_path / "none.ova")
    assert str(caught.value) == (
        f"error: the package cannot be opened: No such file or directory\n  where: {tmp_path}/none.ova\n"
        "  try:   check the path and its rights"
    )
