"""Packages a member: written whole or not at all, the disks the maker's byte for byte.

GNU tar, cmp and sha256sum read what was written; openssl checks the signatures; the published schema the descriptors.
"""

import fcntl
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from lxml import etree

from demo.sluicelog_package import build_package
from staddle.kernel import InputRefused, NotAllowed, OutsideFailed
from staddle.package import (
    Bundled,
    BundleOrder,
    Filling,
    Form,
    ManifestSigner,
    OriginCheck,
    certificates_in,
    load_signer,
    needs_passphrase,
    read_package,
    verify_package,
    write_bundle,
)
from staddle.package.staging import MARK
from staddle.package.tarwriting import END, MOST_USTAR_BYTES, tar_header
from tests.package.bundle_runner import MADE_AT, order
from tests.package.descriptor_pieces import envelope, folder
from tests.package.published_schemas import schema
from tests.package.signed_packages import openssl, party

ROOT = Path(__file__).parents[2]
ORIGIN = OriginCheck(now=MADE_AT)
ORDERS = (order("levels-1", host_name="levels-1.ousemoor.example"), order("levels-2", size="estuary"))


@pytest.fixture(scope="module")
def ova(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_package(tmp_path_factory.mktemp("ova"))


@pytest.fixture(scope="module")
def unpacked(ova: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same package as a folder, as GNU tar unpacks it."""
    place = tmp_path_factory.mktemp("unpacked")
    subprocess.run(["tar", "-xf", ova], cwd=place, check=True)
    return place


def bundle(path: Path, out: Path, form: Form = "folder", *, pinned: str = "") -> Bundled:
    return write_bundle(path, ORDERS, out, form=form, made_at=MADE_AT, origin=ORIGIN, pinned=pinned)


def opened(written: Path, place: Path) -> Path:
    """A written package as a folder: an OVA as GNU tar unpacks it."""
    if written.is_dir():
        return written
    place.mkdir(parents=True)
    subprocess.run(["tar", "-xf", written], cwd=place, check=True)
    return place


def sha256sum(path: Path) -> str:
    return subprocess.run(["sha256sum", path], check=True, capture_output=True, text=True).stdout.split()[0]


@pytest.mark.parametrize("form", ["folder", "ova"])
@pytest.mark.parametrize("source", ["ova", "unpacked"])
def test_the_disks_are_the_makers_byte_for_byte(
    source: str, form: Form, tmp_path: Path, ova: Path, unpacked: Path
) -> None:
    path = ova if source == "ova" else unpacked
    before = sha256sum(ova), {p.name: (p.stat().st_mtime_ns, sha256sum(p)) for p in unpacked.iterdir()}
    bundled = bundle(path, tmp_path / "out", form)
    for member in bundled.members:
        place = opened(tmp_path / "out" / member.path, tmp_path / "opened" / member.stem)
        for disk in unpacked.glob("*.img*"):
            subprocess.run(["cmp", disk, place / disk.name], check=True)
        tagged = (place / f"{member.stem}.mf").read_text().replace("(", " (").replace(")=", ") =")
        subprocess.run(
            ["sha256sum", "--check", "--strict", "-"], input=tagged, text=True, cwd=place, check=True
        )
        assert len(tagged.splitlines()) == 3
    assert before == (
        sha256sum(ova),
        {p.name: (p.stat().st_mtime_ns, sha256sum(p)) for p in unpacked.iterdir()},
    )
    assert sorted(p.name for p in tmp_path.iterdir() if p.name != "opened") == ["out"]


@pytest.mark.parametrize("form", ["folder", "ova"])
def test_what_was_written_is_verified_like_any_package(form: Form, tmp_path: Path, ova: Path) -> None:
    bundled = bundle(ova, tmp_path / "out", form)
    for member, size in zip(bundled.members, ("river", "estuary"), strict=True):
        path = tmp_path / "out" / member.path
        verified = verify_package(path)
        assert (verified.package_sha256, verified.contents_sha256) == (
            member.package_sha256,
            member.contents_sha256,
        )
        assert form == "folder" or sha256sum(path) == member.package_sha256
        package = read_package(path)
        assert (package.default_size(), package.networks) == (size, ("om-management", "om-telemetry"))
        assert package.findings == ()
    assert bundled.original == verify_package(ova, origin=ORIGIN)


@pytest.mark.needs_reference
def test_descriptors_are_valid_by_the_published_schema(tmp_path: Path, ova: Path) -> None:
    bundle(ova, tmp_path / "out")
    for stem in ("levels-1", "levels-2"):
        root = etree.fromstring((tmp_path / "out" / stem / f"{stem}.ovf").read_bytes())
        schema("dsp8023_1.0.0.xsd").assertValid(root)


def test_an_archive_has_the_order_of_the_standard_and_plain_headers(tmp_path: Path, ova: Path) -> None:
    bundle(ova, tmp_path / "out", "ova")
    path = tmp_path / "out" / "levels-1.ova"
    listed = subprocess.run(["tar", "-tvf", path], check=True, capture_output=True, text=True).stdout
    rows = [line.split() for line in listed.splitlines()]
    assert [row[-1] for row in rows] == [
        "levels-1.ovf",
        "levels-1.mf",
        "sluicelog-4.2.0-system.img.gz",
        "sluicelog-4.2.0-data.img",
    ]
    assert {row[0] for row in rows} == {"-rw-r--r--"}
    # IEEE 1003.1: every header says "ustar", NUL, "00"; none is a pax header
    assert path.read_bytes()[257:265] == b"ustar\x0000"
    assert path.read_bytes()[156:157] == b"0"
    assert path.stat().st_size % 512 == 0


@pytest.mark.parametrize("size", [MOST_USTAR_BYTES, MOST_USTAR_BYTES + 1, 50 << 30])
def test_gnu_tar_reads_the_size_of_a_member_over_eight_gib(tmp_path: Path, size: int) -> None:
    # IEEE 1003.1: 11 octal digits are 8 589 934 591; above, the size stands in a pax header. Content sparse.
    path = tmp_path / "x.tar"
    with path.open("wb") as file:
        file.write(tar_header("disk.img", size, made_at=MADE_AT))
        file.seek(size + -size % 512, os.SEEK_CUR)
        file.write(tar_header("after", 0, made_at=MADE_AT) + END)
    done = subprocess.run(["tar", "-tvf", path], check=True, capture_output=True, text=True)
    assert [line.split()[2] for line in done.stdout.splitlines()] == [str(size), "0"]
    assert done.stderr == ""


def test_disks_are_linked_where_they_can_be(tmp_path: Path, ova: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    subprocess.run(["tar", "-xf", ova], cwd=source, check=True)
    bundled = bundle(source, tmp_path / "out")
    assert [(m.written_bytes, m.linked_bytes > 0) for m in bundled.members] == [(0, True), (0, True)]
    name = "sluicelog-4.2.0-data.img"
    same = {(tmp_path / "out" / stem / name).stat().st_ino for stem in ("levels-1", "levels-2")}
    assert same == {(source / name).stat().st_ino}
    # from an OVA the first member's are written, the others are linked to them
    other = bundle(ova, tmp_path / "from-ova")
    assert [m.written_bytes > 0 for m in other.members] == [True, False]


def test_chunks_and_folders_inside_are_kept(tmp_path: Path) -> None:
    text = envelope(
        files=(
            'ovf:id="f" ovf:href="disks/a%20b.img" ovf:chunkSize="2"',
            'ovf:id="g" ovf:href="c.img"',
        )
    )
    source = tmp_path / "source"
    folder(
        source,
        text,
        {"disks/a b.img.000000000": b"ab", "disks/a b.img.000000001": b"c", "c.img": b"", "stray.txt": b"x"},
    )
    one = BundleOrder(
        stem="m", filling=Filling(name="m", system_id="vm", size_id="", answers={}, networks={}, remark="")
    )
    for form in ("folder", "ova"):
        out = tmp_path / form
        write_bundle(
            source, (one,), out, form="ova" if form == "ova" else "folder", made_at=MADE_AT, origin=ORIGIN
        )
        place = opened(out / ("m.ova" if form == "ova" else "m"), tmp_path / "opened")
        assert sorted(p.relative_to(place).as_posix() for p in place.rglob("*") if p.is_file()) == [
            "c.img",
            "disks/a b.img.000000000",
            "disks/a b.img.000000001",
            "m.mf",
            "m.ovf",
        ]


# ---- whole or not at all ---------------------------------------------------------------------------------------------


def test_what_lies_there_is_not_written_over(tmp_path: Path, ova: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine").write_text("mine")
    with pytest.raises(InputRefused, match="there is something already"):
        bundle(ova, out)
    assert [p.name for p in tmp_path.rglob("*")] == ["out", "mine"]
    (out / "mine").unlink()
    bundle(ova, out)  # an empty folder is taken


def test_another_package_than_the_pinned_one_is_not_bundled(tmp_path: Path, ova: Path) -> None:
    with pytest.raises(NotAllowed, match="the package is not the one that the design pins"):
        bundle(ova, tmp_path / "out", pinned="0" * 64)
    assert list(tmp_path.iterdir()) == []
    bundle(ova, tmp_path / "out", pinned=verify_package(ova).contents_sha256)


@pytest.mark.parametrize("form", ["folder", "ova"])
def test_a_package_that_is_changed_meanwhile_leaves_nothing(form: Form, tmp_path: Path, ova: Path) -> None:
    source = tmp_path / "source.ova"
    shutil.copy(ova, source)

    def spoil(_done: int, _total: int) -> None:
        with source.open("r+b") as file:
            file.seek(-3000, os.SEEK_END)  # in the last disk
            file.write(b"changed")

    with pytest.raises(OutsideFailed, match=r"data\.img\" was replaced while the packages were written"):
        write_bundle(
            source, ORDERS, tmp_path / "out", form=form, made_at=MADE_AT, origin=ORIGIN, writing=spoil
        )
    assert [p.name for p in tmp_path.iterdir()] == ["source.ova"]


def test_a_linked_disk_that_was_replaced_meanwhile_leaves_nothing(tmp_path: Path, ova: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    subprocess.run(["tar", "-xf", ova], cwd=source, check=True)
    name = source / "sluicelog-4.2.0-data.img"
    read: list[int] = []

    def replace(done: int, total: int) -> None:
        if done == total and not read:
            read.append(done)
            other = source / "other"
            other.write_bytes(name.read_bytes())  # even the same bytes: nobody verified that file
            other.rename(name)

    with pytest.raises(OutsideFailed, match="was replaced while the packages were written"):
        write_bundle(
            source, ORDERS, tmp_path / "out", form="folder", made_at=MADE_AT, origin=ORIGIN, reading=replace
        )
    assert [p.name for p in tmp_path.iterdir()] == ["source"]


def test_a_full_disk_leaves_nothing(tmp_path: Path, ova: Path) -> None:
    # A limit on the size of files stands for it: the write fails in the same place, with another errno (setrlimit(2)).
    code = (
        "import resource, signal, sys\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 20, 1 << 20))\n"
        "from pathlib import Path\n"
        "from tests.package.bundle_runner import write\n"
        "write(Path(sys.argv[1]), Path(sys.argv[2]), 'folder', 1 << 40)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, ova, tmp_path / "out"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert "the packages cannot be written: File too large" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("form", ["folder", "ova"])
@pytest.mark.parametrize("at", [0, 1, 2_500_000, 5_000_000])
def test_kill_9_leaves_a_named_leftover_that_the_next_run_clears(
    form: Form, at: int, tmp_path: Path, ova: Path
) -> None:
    out = tmp_path / "out"
    command: list[str | Path] = [sys.executable, "-m", "tests.package.bundle_runner", ova, out, form, str(at)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, timeout=60)
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    assert [p.name for p in tmp_path.iterdir()] == ["out.unfinished"]
    assert (tmp_path / "out.unfinished" / MARK).read_text().startswith("staddle was writing packages here")
    bundle(ova, out, form)
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
    assert len(list(out.iterdir())) == 2


def test_a_folder_of_that_name_that_is_not_ours_is_left_alone(tmp_path: Path, ova: Path) -> None:
    stranger = tmp_path / "out.unfinished"
    stranger.mkdir()
    (stranger / "thesis.txt").write_text("mine")
    with pytest.raises(InputRefused, match="a folder of the name for unfinished work holds something else"):
        bundle(ova, tmp_path / "out")
    assert (stranger / "thesis.txt").read_text() == "mine"


def test_a_second_run_does_not_clear_what_the_first_is_writing(tmp_path: Path, ova: Path) -> None:
    stage = tmp_path / "out.unfinished"
    stage.mkdir()
    (stage / MARK).write_text("")
    handle = os.open(stage, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        with pytest.raises(NotAllowed, match="another run is writing there"):
            bundle(ova, tmp_path / "out")
        assert (stage / MARK).exists()
    finally:
        os.close(handle)


def test_a_private_bundle_is_the_owners_alone(tmp_path: Path, ova: Path) -> None:
    for form in ("folder", "ova"):
        out = tmp_path / form
        write_bundle(
            ova,
            ORDERS,
            out,
            form="ova" if form == "ova" else "folder",
            made_at=MADE_AT,
            origin=ORIGIN,
            private=True,
            beside=lambda _: {"bundle.txt": "x"},
        )
        for path in (out, *out.rglob("*")):
            assert path.stat().st_mode & 0o077 == 0, path


# ---- signed with the organisation's key ------------------------------------------------------------------------------


def test_openssl_verifies_the_signature_over_the_manifest(tmp_path: Path, ova: Path) -> None:
    authority = party(tmp_path / "keys", "authority", ca=True)
    own = party(tmp_path / "keys", "packages", issuer=authority)
    signer = load_signer(
        own.key.read_bytes(), own.chain.encode(), passphrase=None, now=MADE_AT, where="packages.key"
    )
    write_bundle(ova, ORDERS, tmp_path / "out", form="folder", made_at=MADE_AT, origin=ORIGIN, signer=signer)
    place = tmp_path / "out" / "levels-1"
    line, _, pem = (place / "levels-1.cert").read_text().partition("\n")
    assert line.startswith("SHA256(levels-1.mf)= ")
    assert pem == own.chain
    (tmp_path / "signature").write_bytes(bytes.fromhex(line.partition("= ")[2]))
    (tmp_path / "public").write_bytes(openssl("x509", "-in", own.certificate, "-noout", "-pubkey"))
    check = ("dgst", "-sha256", "-verify", tmp_path / "public", "-signature", tmp_path / "signature")
    assert openssl(*check, place / "levels-1.mf") == b"Verified OK\n"
    # and so does the program, up to the organisation's own authority
    anchors = certificates_in(authority.certificate.read_bytes(), where="authority")
    found = verify_package(place, origin=OriginCheck(now=MADE_AT, anchors=anchors))
    assert found.origin is not None
    assert (found.origin.standing, found.origin.anchor) == ("anchored", "CN=authority")


def loaded(key: bytes, certificates: bytes, passphrase: bytes | None = None) -> ManifestSigner:
    return load_signer(key, certificates, passphrase=passphrase, now=MADE_AT, where="k")


def test_an_encrypted_key_needs_its_passphrase(tmp_path: Path) -> None:
    own = party(tmp_path, "own")
    key = openssl("pkcs8", "-topk8", "-in", own.key, "-passout", "pass:pond weed")
    certificate = own.certificate.read_bytes()
    assert needs_passphrase(key)
    assert not needs_passphrase(own.key.read_bytes())
    assert loaded(key, certificate, b"pond weed").certificates
    with pytest.raises(InputRefused, match="the passphrase does not open the key"):
        loaded(key, certificate, b"duck weed")


def test_each_unfit_key_or_certificate_is_told(tmp_path: Path) -> None:
    own, other, short, elliptic = (
        party(tmp_path, name, kind=kind)
        for name, kind in (("own", "rsa"), ("other", "rsa"), ("short", "rsa1024"), ("elliptic", "ec"))
    )
    past = party(tmp_path, "past", days=("20250101000000Z", "20260101000000Z"))
    unfit = "the key is not an RSA key of at least 2048 bits"
    for key, certificate, told in (
        (own, other, "the certificate CN=other is that of another key"),
        (short, short, unfit),
        (elliptic, elliptic, unfit),
        (past, past, "the certificate CN=past is not valid now"),
    ):
        with pytest.raises(InputRefused) as caught:
            loaded(key.key.read_bytes(), certificate.certificate.read_bytes())
        assert [fault.what for fault in caught.value.faults] == [told]
    with pytest.raises(InputRefused, match="this is not a private key in PEM"):
        loaded(b"hello", own.certificate.read_bytes())
