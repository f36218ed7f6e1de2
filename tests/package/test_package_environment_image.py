"""Answers on a disc: an independent reader finds the very bytes, only the owner may read them, and nothing stays.

Sources: ISO 9660, Joliet and Rock Ridge through isoinfo (Debian's genisoimage), which shares no code with the writer;
DSP0243, ISO transport, for the names.
"""

import io
import logging
import os
import shutil
import stat
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from staddle.kernel import InputRefused, OutsideFailed
from staddle.package import (
    PlatformFacts,
    environment_document,
    environment_image_file,
    read_environment,
    read_package,
    remove_environment_images,
    write_environment_image,
)
from tests.package.descriptor_pieces import envelope, folder

AT = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)
SECRET = "ebb-and-flow-42"
DOCUMENT = environment_document(
    entity_id="vm",
    platform=PlatformFacts(kind="box"),
    properties={"a.password": SECRET, "a.name": "Wehr Süd"},
)


def isoinfo(*words: str) -> bytes:
    if shutil.which("isoinfo") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("isoinfo is not installed, and nothing may be skipped here")
        pytest.skip("isoinfo (Debian's genisoimage) is not installed")
    return subprocess.run(["isoinfo", *words], check=True, capture_output=True).stdout


@pytest.mark.parametrize("names", ["-J", "-R"])
def test_an_independent_reader_finds_the_very_bytes(tmp_path: Path, names: str) -> None:
    with environment_image_file(tmp_path, DOCUMENT, made_at=AT) as image:
        assert isoinfo(names, "-f", "-i", str(image)).decode().split() == ["/ovf-env.xml"]
        assert isoinfo(names, "-x", "/ovf-env.xml", "-i", str(image)) == DOCUMENT
        assert dict(read_environment(DOCUMENT).properties)["a.password"] == SECRET


@pytest.mark.parametrize("names", ["-J", "-R"])
def test_the_makers_files_lie_below_their_folder(tmp_path: Path, names: str) -> None:
    contents = {"etc/keys/Site Key.txt": b"key" * 900, "etc/motd": b"", "top.bin": bytes(range(256)) * 9}
    image = tmp_path / "x.iso"
    with image.open("w+b") as out:
        files = {path: (io.BytesIO(data), len(data)) for path, data in contents.items()}
        write_environment_image(out, DOCUMENT, made_at=AT, files=files)
    listed = set(isoinfo(names, "-f", "-i", str(image)).decode().splitlines())
    assert {f"/ovffiles/{path}" for path in contents} | {"/ovf-env.xml"} <= listed
    for path, data in contents.items():
        assert isoinfo(names, "-x", f"/ovffiles/{path}", "-i", str(image)) == data


def test_the_names_of_the_standard_itself_are_sound(tmp_path: Path) -> None:
    # A guest that knows neither Joliet nor Rock Ridge sees names of ISO 9660 level 1: capitals, eight and three.
    with environment_image_file(tmp_path, DOCUMENT, made_at=AT) as image:
        assert isoinfo("-f", "-i", str(image)).decode().split() == ["/OVFENV.XML;1"]
        assert b"OVF_ENV" in isoinfo("-d", "-i", str(image))


def test_files_of_the_package_come_from_the_package(tmp_path: Path) -> None:
    descriptor = envelope(
        '<EnvironmentFilesSection><Info>i</Info><File ovf:fileRef="f" ovf:path="etc/key"/></EnvironmentFilesSection>',
        files=('ovf:id="f" ovf:href="key.bin"',),
        edition="2",
    )
    (tmp_path / "box").mkdir()
    path = folder(tmp_path / "box", descriptor, {"key.bin": b"maker's"})
    package = read_package(path)
    with environment_image_file(tmp_path, DOCUMENT, made_at=AT, path=path, package=package) as image:
        assert isoinfo("-J", "-x", "/ovffiles/etc/key", "-i", str(image)) == b"maker's"


def test_only_the_owner_may_read_it_and_it_is_gone_afterwards(tmp_path: Path) -> None:
    earlier = os.umask(0)  # the rights must not hang on the caller's mask
    try:
        with environment_image_file(tmp_path, DOCUMENT, made_at=AT) as image:
            assert stat.S_IMODE(image.stat().st_mode) == 0o600
            assert list(tmp_path.iterdir()) == [image]
    finally:
        os.umask(earlier)
    assert list(tmp_path.iterdir()) == []


def test_it_is_gone_when_its_use_fails(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), environment_image_file(tmp_path, DOCUMENT, made_at=AT):
        raise RuntimeError("the drive jammed")
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_left_when_it_cannot_be_made(tmp_path: Path) -> None:
    descriptor = envelope(
        '<EnvironmentFilesSection><Info>i</Info><File ovf:fileRef="f" ovf:path="1/2/3/4/5/6/7"/></EnvironmentFilesSection>',
        files=('ovf:id="f" ovf:href="key.bin"',),
        edition="2",
    )
    (tmp_path / "box").mkdir()
    (tmp_path / "out").mkdir()
    path = folder(tmp_path / "box", descriptor, {"key.bin": b"x"})
    made = environment_image_file(
        tmp_path / "out", DOCUMENT, made_at=AT, path=path, package=read_package(path)
    )
    with pytest.raises(InputRefused, match="more than 6 folders deep"), made:
        pass
    assert list((tmp_path / "out").iterdir()) == []


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutsideFailed, match="cannot be written: No such file") as caught:
        environment_image_file(tmp_path / "no", DOCUMENT, made_at=AT).__enter__()
    assert SECRET not in str(caught.value)


def test_what_a_killed_process_leaves_is_cleared_away(tmp_path: Path) -> None:
    code = (
        "import os, sys; from pathlib import Path; from datetime import UTC, datetime;"
        "from staddle.package import environment_image_file as f\n"
        "with f(Path(sys.argv[1]), b'<x/>', made_at=datetime.now(UTC)): os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=False)
    assert len(list(tmp_path.iterdir())) == 1
    (tmp_path / "other.iso").write_bytes(b"not ours")
    assert remove_environment_images(tmp_path) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["other.iso"]


def test_the_secret_is_never_logged(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG), environment_image_file(tmp_path, DOCUMENT, made_at=AT) as image:
        assert SECRET.encode() in image.read_bytes()
    assert SECRET not in caplog.text
    assert SECRET not in repr(read_environment(DOCUMENT))


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("../x", 'it holds ".."'),
        ("/x", "it is absolute"),
        ("a//b", "a part of it is empty"),
        ("x" * 65, "more than 64 characters"),
    ],
)
def test_paths_that_lead_out_or_do_not_fit_are_refused(path: str, why: str) -> None:
    with pytest.raises(InputRefused, match=why):
        write_environment_image(io.BytesIO(), DOCUMENT, made_at=AT, files={path: (io.BytesIO(b""), 0)})
