"""Whether files that were carried to another site are the pinned package: manifest and digest are enough.

sha256sum and tar of GNU are the witnesses; threads are checked against one pass a file.
"""

import hashlib
import os
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo.sluicelog_package import build_package
from staddle.kernel import InputRefused, OutsideFailed
from staddle.package import check_package, verify_package
from staddle.package.archive import open_archive
from staddle.package.digests import take_digests
from tests.package.descriptor_pieces import envelope, folder


@pytest.fixture(scope="module")
def ova(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_package(tmp_path_factory.mktemp("ova"))


def unpacked(ova: Path, place: Path) -> Path:
    """The package's folder as GNU tar unpacks it."""
    place.mkdir(parents=True)
    subprocess.run(["tar", "-xf", ova], cwd=place, check=True)
    return place


def sha256sum(path: Path) -> str:
    return subprocess.run(["sha256sum", path], check=True, capture_output=True, text=True).stdout.split()[0]


def contents_by_sha256sum(place: Path) -> str:
    """The digest of the contents, by the command that docs/package.md names."""
    command = "sha256sum * | sha256sum"
    environment = {**os.environ, "LC_ALL": "C"}
    done = subprocess.run(
        command, shell=True, cwd=place, check=True, capture_output=True, text=True, env=environment
    )
    return done.stdout.split()[0]


def test_the_digest_of_the_contents_is_the_same_packed_and_unpacked(ova: Path, tmp_path: Path) -> None:
    place = unpacked(ova, tmp_path / "u")
    packed, loose = verify_package(ova), verify_package(place)
    assert packed.contents_sha256 == loose.contents_sha256 == contents_by_sha256sum(place)
    assert packed.package_sha256 == sha256sum(ova)
    assert loose.package_sha256 == loose.contents_sha256


def test_the_carried_ova_is_known_by_either_digest(ova: Path, tmp_path: Path) -> None:
    for pinned in (sha256sum(ova), contents_by_sha256sum(unpacked(ova, tmp_path / "u"))):
        assert check_package(ova, pinned=pinned).answers_to(pinned)
        assert len(check_package(ova.parent, pinned=pinned).checked) == 3  # the folder that holds it


def test_carried_files_need_no_readable_descriptor(tmp_path: Path) -> None:
    # The descriptor is only one of the files here: a later edition of the standard would do as well.
    files = {"box.ovf": b"not even XML", "a.img": b"abc"}
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    lines = [f"SHA256({n})= {hashlib.sha256(c).hexdigest()}\n" for n, c in files.items()]
    (tmp_path / "box.mf").write_text("".join(lines))
    found = check_package(tmp_path, pinned=contents_by_sha256sum(tmp_path))
    assert found.checked == (("box.ovf", "SHA256", True), ("a.img", "SHA256", True))


def test_another_package_of_the_same_names_is_not_the_pinned_one(ova: Path, tmp_path: Path) -> None:
    place = unpacked(ova, tmp_path / "u")
    pinned = contents_by_sha256sum(place)
    image = next(place.glob("*-data.img"))
    image.write_bytes(b"another disk")
    name = place / "sluicelog-4.2.0.mf"
    text = name.read_text()
    old = next(line for line in text.splitlines() if image.name in line)
    name.write_text(text.replace(old, f"SHA256({image.name})= {sha256sum(image)}"))
    with pytest.raises(InputRefused) as caught:
        check_package(place, pinned=pinned)
    assert str(caught.value) == (
        f"error: this is not the pinned package\n  where: {place}\n"
        f"  why:   pinned is {pinned}; the SHA-256 of its contents is {contents_by_sha256sum(place)}\n"
        "  try:   carry the files here again; where an OVA was pinned and unpacked, compare with the digest of its contents"
    )


def test_a_damaged_file_is_named(ova: Path, tmp_path: Path) -> None:
    place = unpacked(ova, tmp_path / "u")
    with next(place.glob("*-data.img")).open("r+b") as file:
        file.write(b"X")
    with pytest.raises(InputRefused, match=r'"sluicelog-4\.2\.0-data\.img" is not the one that the manifest'):
        check_package(place, pinned="0" * 64)


def test_a_file_that_was_left_behind_is_named(ova: Path, tmp_path: Path) -> None:
    place = unpacked(ova, tmp_path / "u")
    next(place.glob("*-data.img")).unlink()
    with pytest.raises(InputRefused, match=r'lists "sluicelog-4\.2\.0-data\.img", which is not there'):
        check_package(place, pinned="0" * 64)


def test_a_file_that_came_along_is_a_risk(ova: Path, tmp_path: Path) -> None:
    place = unpacked(ova, tmp_path / "u")
    pinned = contents_by_sha256sum(place)
    (place / "setup.sh").write_text("echo")
    found = check_package(place, pinned=pinned)
    assert [(f.rule, f.severity, f.what) for f in found.findings] == [
        ("not-signed", "note", "the package is not signed"),
        ("file-not-of-the-package", "risk", 'here also lies "setup.sh"'),
    ]


def test_files_without_their_manifest_cannot_be_checked(ova: Path, tmp_path: Path) -> None:
    place = unpacked(ova, tmp_path / "u")
    (place / "sluicelog-4.2.0.mf").unlink()
    with pytest.raises(InputRefused, match=r'there is no manifest "sluicelog-4\.2\.0\.mf"'):
        check_package(place, pinned="0" * 64)


def test_names_in_the_manifest_cannot_lead_out(tmp_path: Path) -> None:
    (tmp_path / "outside").write_bytes(b"abc")
    place = tmp_path / "p"
    place.mkdir()
    folder(place, envelope())
    (place / "box.mf").write_text(f"SHA256(../outside)= {hashlib.sha256(b'abc').hexdigest()}\n")
    with pytest.raises(InputRefused, match=r'lists "\.\./outside", which is not there'):
        check_package(place, pinned="0" * 64)


@settings(max_examples=20, deadline=None)
@given(
    sizes=st.lists(st.integers(0, 3 << 20), min_size=1, max_size=12),
    algorithms=st.sets(st.sampled_from(["SHA1", "SHA512"])),
)
def test_digests_of_many_files_at_once_are_those_of_each(
    tmp_path_factory: pytest.TempPathFactory, sizes: list[int], algorithms: set[str]
) -> None:
    place = tmp_path_factory.mktemp("many")
    folder(place, envelope(), {f"{n}.img": bytes([n]) * size for n, size in enumerate(sizes)})
    told: list[tuple[int, int]] = []
    wanted = {f"{n}.img": frozenset(algorithms) for n in range(len(sizes))}
    found = take_digests(open_archive(place), wanted, lambda done, total: told.append((done, total)))
    for name in wanted:
        content = (place / name).read_bytes()
        for algorithm in ("SHA256", *algorithms):
            assert found.of[name, algorithm] == hashlib.new(algorithm, content).hexdigest()
    assert told == sorted(told)  # in growing order, whichever thread tells it
    assert not told or told[-1] == (sum(sizes), sum(sizes))


def test_a_file_that_grows_or_shrinks_meanwhile_is_told(tmp_path: Path) -> None:
    folder(tmp_path, envelope(), {"a.img": b"abc", "b.img": b"abc"})
    archive = open_archive(tmp_path)
    for content in (b"ab", b"abcd"):
        (tmp_path / "b.img").write_bytes(content)
        with pytest.raises(OutsideFailed, match="the package changed its length while it was read"):
            take_digests(archive, {"a.img": frozenset(), "b.img": frozenset()})


def test_after_a_failure_no_thread_reads_on(tmp_path: Path) -> None:
    # The large file is begun first and the lost one fails at once: what is told afterwards is far below the whole.
    folder(tmp_path, envelope(), {"lost.img": b"abc"})
    with (tmp_path / "large.img").open("wb") as file:
        file.truncate(8 << 30)  # sparse: 8 GiB that would take seconds to read
    archive = open_archive(tmp_path)
    (tmp_path / "lost.img").unlink()
    done = 0

    def tell(now: int, _total: int) -> None:
        nonlocal done
        done = now

    with pytest.raises(OutsideFailed, match="the package cannot be opened"):
        take_digests(archive, {"large.img": frozenset(), "lost.img": frozenset()}, tell)
    assert done < 8 << 30
