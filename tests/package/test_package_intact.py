"""Manifests, digests and contents. sha256sum and gzip, bzip2, split of GNU are the independent witnesses.

Sources: DSP0243, manifest file (grammar from memory); FIPS 180-4 by check values i1.
"""

import bz2
import gzip
import hashlib
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import InputRefused
from staddle.package import Verification, open_disk_file, read_package, verify_package, with_digests
from staddle.package.manifesttext import DIGEST_DIGITS, ManifestLine, read_manifest, write_manifest
from tests.package.descriptor_pieces import archive, envelope, folder

# FIPS 180-4 examples: digests of "abc"
ABC_SHA1 = "a9993e364706816aba3e25717850c26c9cd0d89d"
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
EMPTY_SHA256 = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"

ONE_FILE = envelope(files=('ovf:id="f" ovf:href="a.img"',))


def lines_of(text: str) -> list[tuple[str, str, str]]:
    return [(line.algorithm, line.name, line.digest) for line in read_manifest(text.encode(), where="box.mf")]


@pytest.mark.parametrize(
    "text",
    [
        f"SHA256(a.img)= {ABC_SHA256}\n",  # the strict form
        f"SHA256 (a.img) = {ABC_SHA256}\n",
        f"SHA256(a.img)={ABC_SHA256}",  # no last newline
        f"sha256(a.img)= {ABC_SHA256.upper()}\r\n\r\n",
        f"SHA-256(a.img)=\t{ABC_SHA256}  \n",
        f"\ufeffSHA256(a.img)= {ABC_SHA256}\n",
        f"SHA256(a.img)= {ABC_SHA256}\nSHA256(a.img)= {ABC_SHA256}\n",  # the same twice
    ],
)
def test_the_blanks_case_and_line_ends_of_real_manifests_are_read(text: str) -> None:
    assert lines_of(text) == [("SHA256", "a.img", ABC_SHA256)]


def test_names_with_blanks_and_brackets_end_at_the_last_bracket() -> None:
    assert lines_of(f"SHA1(a (copy) (2).img)= {ABC_SHA1}") == [("SHA1", "a (copy) (2).img", ABC_SHA1)]


def test_algorithms_may_be_mixed() -> None:
    sha512 = hashlib.sha512(b"abc").hexdigest()
    text = f"SHA1(a)= {ABC_SHA1}\nSHA512(b)= {sha512}\nSHA256(a)= {ABC_SHA256}\n"
    assert [line[0] for line in lines_of(text)] == ["SHA1", "SHA512", "SHA256"]


def test_every_bad_line_is_told() -> None:
    text = (
        f"SHA256(a)= {ABC_SHA256[:-1]}\nMD5(a)= 900150983cd24fb0d6963f7d28e17f72\nhello\n"
        f"SHA1(b)= {ABC_SHA1}\nSHA1(b)= {'0' * 40}\nSHA1(c)= {'g' * 40}\n"
    )
    with pytest.raises(InputRefused) as caught:
        lines_of(text)
    again = "\n  try:   fetch the package again; if the line stays, ask its maker for a corrected one"
    head = "error: a line of the manifest cannot be read\n  where: box.mf:"
    assert str(caught.value).split("\n\n") == [
        f"{head}1\n  why:   a SHA256 digest has 64 hex digits, this one has 63{again}",
        f'{head}2\n  why:   the algorithm "MD5" is not one of SHA1, SHA256, SHA512{again}',
        f"{head}3\n  why:   SHA256(name)= digest is expected{again}",
        'error: the manifest gives two different SHA1 digests for "b"\n  where: box.mf:5\n'
        "  try:   ask the package's maker for a corrected one",
        f"{head}6\n  why:   SHA256(name)= digest is expected{again}",
    ]


@pytest.mark.parametrize(
    ("data", "told"), [(b"", "the manifest is empty"), (b"\xff\xfe", "is not UTF-8 text")]
)
def test_an_empty_or_binary_manifest_is_refused(data: bytes, told: str) -> None:
    with pytest.raises(InputRefused, match=told):
        read_manifest(data, where="box.mf")


NAMES = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Zl", "Zp", "Cs"]), min_size=1).filter(
    lambda name: name == name.strip()
)


@settings(max_examples=100)
@given(
    st.lists(
        st.sampled_from(sorted(DIGEST_DIGITS)).flatmap(
            lambda algorithm: st.builds(
                ManifestLine,
                algorithm=st.just(algorithm),
                name=NAMES,
                digest=st.text(
                    "0123456789abcdef", min_size=DIGEST_DIGITS[algorithm], max_size=DIGEST_DIGITS[algorithm]
                ),
            )
        ),
        min_size=1,
        max_size=5,
        unique_by=lambda line: (line.algorithm, line.name),
    )
)
def test_a_manifest_survives_the_round_trip(lines: list[ManifestLine]) -> None:
    assert read_manifest(write_manifest(lines), where="x") == tuple(lines)


def test_what_is_written_is_what_sha256sum_writes(tmp_path: Path) -> None:
    # GNU "sha256sum --tag" writes "SHA256 (name) = digest": another writer of the same digest and nearly the same form
    (tmp_path / "a (1).img").write_bytes(b"abc")
    tagged = subprocess.run(
        ["sha256sum", "--tag", "a (1).img"], cwd=tmp_path, check=True, capture_output=True
    ).stdout
    lines = read_manifest(tagged, where="x")
    assert write_manifest(lines) == f"SHA256(a (1).img)= {ABC_SHA256}\n".encode()


# ---- verification ----------------------------------------------------------------------------------------------------


def manifest_for(files: dict[str, bytes], algorithm: str = "SHA256") -> bytes:
    return write_manifest(
        ManifestLine(algorithm=algorithm, name=name, digest=hashlib.new(algorithm, content).hexdigest())
        for name, content in files.items()
    )


def sound(algorithm: str = "SHA256") -> dict[str, bytes]:
    files = {"box.ovf": ONE_FILE.encode(), "a.img": b"abc"}
    return {"box.ovf": files["box.ovf"], "box.mf": manifest_for(files, algorithm), "a.img": b"abc"}


def verified(tmp_path: Path, files: dict[str, bytes], *, single: bool) -> Verification:
    if single:
        return verify_package(archive(tmp_path, files.items()))
    rest = {name: content for name, content in files.items() if name != "box.ovf"}
    return verify_package(folder(tmp_path, files["box.ovf"].decode(), rest))


@pytest.mark.parametrize("single", [True, False])
def test_a_sound_package_is_verified(tmp_path: Path, single: bool) -> None:
    result = verified(tmp_path, sound(), single=single)
    assert dict(result.file_sha256)["a.img"] == ABC_SHA256
    assert result.checked == (("box.ovf", "SHA256", True), ("a.img", "SHA256", True))
    assert [f.rule for f in result.findings] == ["not-signed"]


def test_the_digest_of_an_archive_is_that_of_its_file(tmp_path: Path) -> None:
    result = verified(tmp_path, sound(), single=True)
    said = subprocess.run(
        ["sha256sum", tmp_path / "box.ova"], check=True, capture_output=True, text=True
    ).stdout
    assert said.split()[0] == result.package_sha256


def test_the_digest_of_a_folder_is_that_of_the_listing_of_sha256sum(tmp_path: Path) -> None:
    result = verified(tmp_path, sound(), single=False)
    (tmp_path / "unrelated.txt").write_text("not of the package")
    listing = subprocess.run(
        ["sha256sum", "a.img", "box.mf", "box.ovf"], cwd=tmp_path, check=True, capture_output=True
    ).stdout
    assert result.package_sha256 == hashlib.sha256(listing).hexdigest()
    assert verify_package(tmp_path / "box.ovf").package_sha256 == result.package_sha256


def test_every_digest_of_a_member_larger_than_a_block_is_right(tmp_path: Path) -> None:
    # 10^6 times "a", FIPS 180-4 example (check value i1); the archive is read in blocks of 2^20 bytes
    million = b"a" * 10**6
    files = {"box.ovf": envelope(files=[f'ovf:id="{n}" ovf:href="{n}.img"' for n in "abc"]).encode()}
    files |= {"a.img": million, "b.img": b"", "c.img": million}
    result = verified(tmp_path, files | {"box.mf": manifest_for(files)}, single=True)
    digests = dict(result.file_sha256)
    expected = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"
    assert [digests[f"{n}.img"] for n in "abc"] == [expected, EMPTY_SHA256, expected]


@settings(max_examples=25, deadline=None)
@given(sizes=st.lists(st.integers(0, 3 << 20), min_size=1, max_size=4))
def test_digests_taken_in_one_pass_are_those_of_each_member(
    tmp_path_factory: pytest.TempPathFactory, sizes: list[int]
) -> None:
    folder_path = tmp_path_factory.mktemp("one-pass")
    contents = {f"{n}.img": bytes([n]) * size for n, size in enumerate(sizes)}
    files = {
        "box.ovf": envelope(files=[f'ovf:id="{n}" ovf:href="{n}"' for n in contents]).encode()
    } | contents
    result = verify_package(archive(folder_path, files.items()))
    assert result.file_sha256 == tuple((n, hashlib.sha256(c).hexdigest()) for n, c in files.items())


def test_progress_ends_at_the_whole(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    path = archive(tmp_path, (sound() | {"a.img": b"abc"}).items())
    verify_package(path, progress=lambda done, total: seen.append((done, total)))
    assert seen[-1] == (path.stat().st_size, path.stat().st_size)
    seen.clear()
    folder(tmp_path / "f", ONE_FILE, {"a.img": b"abc"})
    verify_package(tmp_path / "f", progress=lambda done, total: seen.append((done, total)))
    assert seen[-1] == (len(ONE_FILE) + 3, len(ONE_FILE) + 3)


def test_weak_and_missing_proofs_are_findings(tmp_path: Path) -> None:
    def rules(files: dict[str, bytes]) -> list[tuple[str, str]]:
        return [(f.rule, f.severity) for f in verified(tmp_path, files, single=True).findings]

    assert rules(sound("SHA1")) == [("manifest-sha1", "risk"), ("not-signed", "note")]
    assert rules(sound("SHA512")) == [("not-signed", "note")]
    bare = sound()
    del bare["box.mf"]
    assert rules(bare) == [("no-manifest", "risk"), ("not-signed", "note")]


@pytest.mark.parametrize("single", [True, False])
def test_one_changed_byte_is_refused_with_both_digests(tmp_path: Path, single: bool) -> None:
    with pytest.raises(InputRefused) as caught:
        verified(tmp_path, sound() | {"a.img": b"abd"}, single=single)
    assert str(caught.value) == (
        'error: the file "a.img" is not the one that the manifest describes\n  where: box.mf\n'
        f"  why:   its SHA256 is {hashlib.sha256(b'abd').hexdigest()}, the manifest says {ABC_SHA256}\n"
        "  try:   fetch the package again from its maker; do not use this copy"
    )


def test_missing_unlisted_and_changed_files_are_told_together(tmp_path: Path) -> None:
    listed = {"box.ovf": b"another descriptor", "gone.img": b"x"}
    with pytest.raises(InputRefused) as caught:
        verified(tmp_path, sound() | {"box.mf": manifest_for(listed)}, single=True)
    assert [fault.what for fault in caught.value.faults] == [
        'the manifest lists "gone.img", which is not there',
        'the file "a.img" belongs to the package and is not listed in the manifest',
        'the file "box.ovf" is not the one that the manifest describes',
    ]


def test_a_certificate_without_a_manifest_is_refused(tmp_path: Path) -> None:
    files = sound() | {"box.cert": b"x"}
    del files["box.mf"]
    with pytest.raises(InputRefused, match=r'there is a certificate "box\.cert" and no manifest'):
        verified(tmp_path, files, single=True)


def test_chunks_are_listed_each_by_itself(tmp_path: Path) -> None:
    text = envelope(files=('ovf:id="f" ovf:href="a.img" ovf:chunkSize="2"',))
    files = {"box.ovf": text.encode(), "a.img.000000000": b"ab", "a.img.000000001": b"c"}
    result = verified(tmp_path, files | {"box.mf": manifest_for(files)}, single=True)
    assert [name for name, _, _ in result.checked] == list(files)
    with pytest.raises(InputRefused, match=r'"a\.img\.000000001" belongs to the package and is not listed'):
        verified(
            tmp_path,
            files | {"box.mf": manifest_for({n: c for n, c in files.items() if not n.endswith("1")})},
            single=True,
        )


def test_a_verified_package_carries_the_digests_of_its_whole_files(tmp_path: Path) -> None:
    text = envelope(
        files=('ovf:id="f" ovf:href="a.img"', 'ovf:id="g" ovf:href="b.img" ovf:chunkSize="2"'),
    )
    path = folder(tmp_path, text, {"a.img": b"abc", "b.img.000000000": b"ab", "b.img.000000001": b"c"})
    package = with_digests(read_package(path), verify_package(path))
    assert [file.sha256 for file in package.files] == [ABC_SHA256, None]


# ---- contents --------------------------------------------------------------------------------------------------------

PLAIN = b"".join(hashlib.sha256(bytes([n % 256, n // 256])).digest() for n in range(40_000))  # 1.28 MB


def pack(tmp_path: Path, tool: str, chunk_bytes: int) -> Path:
    """A package whose file GNU's own tools compressed and split."""
    stored = (
        subprocess.run([tool, "-c"], input=PLAIN, check=True, capture_output=True).stdout if tool else PLAIN
    )
    (tmp_path / "stored").write_bytes(stored)
    name = {"gzip": ' ovf:compression="gzip"', "bzip2": ' ovf:compression="bzip2"', "": ""}[tool]
    if chunk_bytes:
        name += f' ovf:chunkSize="{chunk_bytes}"'
        subprocess.run(
            ["split", "-b", str(chunk_bytes), "-d", "-a", "9", "stored", "disk.img."],
            cwd=tmp_path,
            check=True,
        )
        (tmp_path / "stored").unlink()
    else:
        (tmp_path / "stored").rename(tmp_path / "disk.img")
    return folder(
        tmp_path, envelope(files=(f'ovf:id="f" ovf:href="disk.img" ovf:size="{len(stored)}"{name}',))
    )


@pytest.mark.parametrize("tool", ["", "gzip", "bzip2"])
@pytest.mark.parametrize("chunk_bytes", [0, 65_537])
@pytest.mark.parametrize("single", [True, False])
def test_a_disk_file_is_joined_and_decompressed(
    tmp_path: Path, tool: str, chunk_bytes: int, single: bool
) -> None:
    path = pack(tmp_path, tool, chunk_bytes)
    if single:
        path = archive(tmp_path, [(p.name, p.read_bytes()) for p in sorted(tmp_path.iterdir())])
    package = read_package(path)
    read = b""
    with open_disk_file(path, package, "f") as stream:
        assert stream.readable()
        while block := stream.read(100_000):
            read += block
    assert read == PLAIN
    assert stream.closed or tool  # the underlying stream is closed either way


def test_several_gzip_members_are_one_content(tmp_path: Path) -> None:
    text = envelope(files=('ovf:id="f" ovf:href="a.gz" ovf:compression="gzip"',))
    path = folder(tmp_path, text, {"a.gz": gzip.compress(b"one ") + gzip.compress(b"two")})  # RFC 1952 §2.2
    with open_disk_file(path, read_package(path), "f") as stream:
        assert stream.read() == b"one two"


@pytest.mark.parametrize("method", ["gzip", "bzip2"])
@pytest.mark.parametrize("damage", ["cut", "changed", "foreign"])
def test_damaged_compression_is_a_fault_of_the_package(tmp_path: Path, method: str, damage: str) -> None:
    stored = bytearray(gzip.compress(PLAIN) if method == "gzip" else bz2.compress(PLAIN))
    if damage == "cut":
        del stored[len(stored) // 2 :]
    elif damage == "changed":
        stored[len(stored) // 2] ^= 0xFF
    else:
        stored[:] = b"not compressed at all"
    text = envelope(files=(f'ovf:id="f" ovf:href="a.z" ovf:compression="{method}"',))
    path = folder(tmp_path, text, {"a.z": bytes(stored)})
    package = read_package(path)
    with (
        open_disk_file(path, package, "f") as stream,
        pytest.raises(InputRefused, match=r'the compressed file "a\.z" is damaged'),
    ):
        sum(len(block) for block in iter(lambda: stream.read(65536), b""))


def test_a_file_that_is_not_referenced_cannot_be_opened(tmp_path: Path) -> None:
    path = folder(tmp_path, envelope())
    with (
        pytest.raises(InputRefused, match='the package refers to no file "f"'),
        open_disk_file(path, read_package(path), "f"),
    ):
        pass


def test_a_bomb_is_read_a_piece_at_a_time(tmp_path: Path) -> None:
    import tracemalloc

    text = envelope(files=('ovf:id="f" ovf:href="a.gz" ovf:compression="gzip"',))
    path = folder(tmp_path, text, {"a.gz": gzip.compress(bytes(64 << 20))})
    package = read_package(path)
    tracemalloc.start()
    try:
        with open_disk_file(path, package, "f") as stream:
            total = 0
            while block := stream.read(1 << 16):
                total += len(block)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert total == 64 << 20
    assert peak < 8 << 20


@pytest.mark.parametrize("tool", ["", "gzip", "bzip2"])
@pytest.mark.parametrize("chunk_bytes", [0, 40_000])
def test_what_is_handed_out_is_what_was_pinned_part_by_part(
    tmp_path: Path, tool: str, chunk_bytes: int
) -> None:
    path = pack(tmp_path, tool, chunk_bytes)
    package = read_package(path)
    members = package.get_file("f").members
    pinned = [hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() for name in members]
    with open_disk_file(path, package, "f", pinned=pinned) as stream:
        assert stream.read() == PLAIN
    for position in range(len(members)):
        other = [*pinned]
        other[position] = hashlib.sha256(b"another").hexdigest()
        with (
            pytest.raises(InputRefused, match="is not the file that was verified"),
            open_disk_file(path, package, "f", pinned=other) as stream,
        ):
            stream.read()


def test_what_stands_behind_the_compressed_content_counts_into_its_digest(tmp_path: Path) -> None:
    text = envelope(files=('ovf:id="f" ovf:href="a.bz2" ovf:compression="bzip2"',))
    whole = bz2.compress(PLAIN)
    path = folder(tmp_path, text, {"a.bz2": whole + b"behind its end"})
    with (
        pytest.raises(InputRefused, match="is not the file that was verified"),
        open_disk_file(path, read_package(path), "f", pinned=[hashlib.sha256(whole).hexdigest()]) as stream,
    ):
        stream.read()


def test_a_manifest_that_openssl_wrote_is_read_and_its_form_is_told(tmp_path: Path) -> None:
    """openssl 3 calls SHA-256 "SHA2-256"; makers make manifests with it. Its earlier editions wrote "SHA256"."""
    path = folder(tmp_path, ONE_FILE, {"a.img": b"abc"})
    written = subprocess.run(
        ["openssl", "dgst", "-sha256", "box.ovf", "a.img"], cwd=tmp_path, check=True, capture_output=True
    ).stdout
    (tmp_path / "box.mf").write_bytes(written)
    verified = verify_package(path)
    assert [(name, algorithm, agrees) for name, algorithm, agrees in verified.checked] == [
        ("box.ovf", "SHA256", True),
        ("a.img", "SHA256", True),
    ]
    told = [finding.rule for finding in verified.findings if finding.rule == "manifest-form"]
    assert told == (["manifest-form"] if written.startswith(b"SHA2-256(") else [])


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda text: text, False),
        (lambda text: text.replace("\n", "\r\n"), True),
        (lambda text: text.replace("(", " ("), True),
        (lambda text: text.removesuffix("\n"), True),
        (lambda text: "\ufeff" + text, True),
        (lambda text: text.replace("SHA256", "sha256"), True),
    ],
)
def test_only_the_form_of_the_standard_is_told_as_nothing(
    tmp_path: Path, change: Callable[[str], str], told: bool
) -> None:
    path = folder(tmp_path, ONE_FILE, {"a.img": b"abc"})
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    text = f"SHA256(box.ovf)= {digest}\nSHA256(a.img)= {ABC_SHA256}\n"
    (tmp_path / "box.mf").write_bytes(change(text).encode())
    rules = [finding.rule for finding in verify_package(path).findings]
    assert ("manifest-form" in rules) is told


def test_a_manifest_of_another_name_is_not_passed_over_in_silence(tmp_path: Path) -> None:
    path = folder(tmp_path, ONE_FILE, {"a.img": b"abc", "BOX.MF": b""})
    found = {finding.rule: finding for finding in verify_package(path).findings}
    assert "no-manifest" in found
    assert (
        found["manifest-by-another-name"].what
        == 'here lies "BOX.MF", which is not taken for the manifest box.mf'
    )
