"""Header blocks: what the standard library's writer and GNU tar write is read alike, and hostile headers end soon.

Sources: IEEE Std 1003.1 (ustar, pax); GNU tar's manual. The standard library's reader is the independent one where the
archive is sound; GNU tar writes the headers of a file above 8 GiB itself.
"""

import io
import subprocess
import tarfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.package.archive import open_archive
from staddle.package.tarblocks import NotTar, read_headers
from staddle.package.tarheaders import list_tar

FORMATS = {"ustar": tarfile.USTAR_FORMAT, "pax": tarfile.PAX_FORMAT, "gnu": tarfile.GNU_FORMAT}
NAMES = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="/\\"),
    min_size=1,
    max_size=150,
)


def header(kind: bytes, size: int = 0, name: str = "x") -> bytes:
    info = tarfile.TarInfo(name)
    info.type, info.size = kind, size
    return info.tobuf(tarfile.GNU_FORMAT)


def extended(kind: bytes, text: bytes) -> bytes:
    return header(kind, len(text)) + text.ljust((len(text) + 511) // 512 * 512, b"\0")


def record(key: str, value: str) -> bytes:
    rest = f" {key}={value}\n".encode()
    length = len(rest) + 1
    while len(str(length)) + len(rest) != length:
        length = len(str(length)) + len(rest)
    return str(length).encode() + rest


def reasons(raw: bytes) -> list[str]:
    _, faults, _ = list_tar(io.BytesIO(raw), where="x.ova", most_members=10_000)
    return [fault.why for fault in faults]


@settings(max_examples=150, deadline=None)
@given(
    form=st.sampled_from(sorted(FORMATS)),
    files=st.lists(st.tuples(NAMES, st.integers(0, 1100)), min_size=1, max_size=4, unique_by=lambda f: f[0]),
    everywhere=st.dictionaries(st.sampled_from(["comment", "uname"]), NAMES, max_size=2),
)
def test_sound_archives_are_listed_as_the_standard_library_lists_them(
    form: str, files: list[tuple[str, int]], everywhere: dict[str, str]
) -> None:
    out = io.BytesIO()
    try:
        with tarfile.open(fileobj=out, mode="w", format=FORMATS[form], pax_headers=everywhere) as tar:
            for name, size in files:
                info = tarfile.TarInfo(name)
                info.size = size
                tar.addfile(info, io.BytesIO(bytes(size)))
    except ValueError:
        return  # the name does not fit into ustar
    out.seek(0)
    with tarfile.open(fileobj=out) as tar:
        expected = [(info.name, info.size, info.offset_data) for info in tar]
    assert [(h.name, h.size, h.offset) for h in read_headers(out)] == expected


@pytest.mark.parametrize("form", ["pax", "gnu"])
def test_a_header_that_gnu_tar_writes_for_a_member_above_8_gib_is_read(tmp_path: Path, form: str) -> None:
    # 8^11 - 1 bytes is the most that ustar's size field holds. Only the header is taken from GNU tar: the file is a
    # hole, its content is never written.
    size = 8**11 + 4096
    with (tmp_path / "big.img").open("wb") as hole:
        hole.truncate(size)
    (tmp_path / "box.ovf").write_bytes(b"<x/>")
    tar = subprocess.Popen(
        ["tar", f"--format={form}", "-b1", "-cf", "-", "box.ovf", "big.img"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
    )
    assert tar.stdout is not None
    head = tar.stdout.read(4096)
    tar.stdout.close()
    tar.terminate()
    tar.wait()
    path = tmp_path / "box.ova"
    with path.open("wb") as archive:
        archive.write(head)
    *_, big = read_headers(io.BytesIO(head))
    with path.open("r+b") as archive:
        archive.truncate(big.offset + size + 1024)
    opened = open_archive(path)
    assert opened.members["big.img"].size_bytes == size
    with opened.open("big.img") as stream:
        stream.seek(-1, io.SEEK_END)
        assert (stream.tell(), stream.read()) == (size - 1, b"\0")


@pytest.mark.parametrize("kind", [b"L", b"x", b"g"])
def test_a_chain_of_extended_headers_ends_soon(kind: bytes) -> None:
    # The standard library's reader calls itself for each of them until the interpreter gives up.
    text = b"name\0" if kind == b"L" else record("comment", "tide")
    raw = extended(kind, text) * 2000 + header(b"0") + bytes(1024)
    assert reasons(raw) == ["it has more extended headers than a package can have"]


def test_a_global_header_of_many_records_is_refused() -> None:
    # The standard library's reader copies them for every member that follows.
    text = b"".join(record(f"key{number}", "v") for number in range(5000))
    raw = extended(b"g", text) + b"".join(header(b"0", name=f"{n}.img") for n in range(9000)) + bytes(1024)
    assert reasons(raw) == ["one of its headers is larger than a header can be"]


def test_large_extended_headers_before_every_member_are_refused() -> None:
    text = record("comment", "x" * 500_000)
    raw = b"".join(extended(b"x", text) + header(b"0", name=f"{n}.img") for n in range(40)) + bytes(1024)
    assert reasons(raw) == ["it has more extended headers than a package can have"]


@pytest.mark.parametrize(
    "text",
    [
        b"no record\n",
        b"12 path=x\n",
        b"0 path=x\n",
        b"99999999999 path=x\n",
        b"9 path=x\n9",
        b"10 path=x\n\xff",
    ],
)
def test_an_extended_header_that_is_no_list_of_records_is_refused(text: bytes) -> None:
    assert reasons(extended(b"x", text) + header(b"0") + bytes(1024)) == [
        "one of its extended headers cannot be read"
    ]


@pytest.mark.parametrize("size", ["-1", "1.5", "0x10", "9" * 20, "\u0663"])
def test_a_size_in_an_extended_header_is_digits(size: str) -> None:
    raw = extended(b"x", record("size", size)) + header(b"0", name="a.img") + bytes(1024)
    assert reasons(raw) == ['the header of "a.img" has an impossible size']


def test_two_names_for_one_member_are_refused() -> None:
    raw = extended(b"L", b"good.img\0") + extended(b"x", record("path", "evil.img")) + header(b"0")
    _, faults, _ = list_tar(io.BytesIO(raw + bytes(1024)), where="x.ova", most_members=9)
    assert [fault.what for fault in faults] == [
        'the member "evil.img" has a second name in another header: "good.img"'
    ]


@pytest.mark.parametrize(("cut", "why"), [(512, "it breaks off after"), (700, "it breaks off inside")])
def test_an_archive_that_ends_with_an_extended_header_is_refused(cut: int, why: str) -> None:
    raw = header(b"0") + extended(b"x", record("path", "y" * 300))
    whole = raw if why.endswith("after") else raw[: 512 + cut]
    with pytest.raises(NotTar, match=why):
        list(read_headers(io.BytesIO(whole)))
