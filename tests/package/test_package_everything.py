"""One descriptor with every section of edition 2, valid by the published schema, and its disks by an independent tool.

Sources: DSP8023 2.0.1 (the published schema); qemu-img (Debian's qemu-utils) makes and compares disks.
"""

import bz2
import gzip
import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from lxml import etree

from staddle.package import (
    open_disk_file,
    read_machines,
    read_package,
    size_figures,
)
from tests.fuzz.parts import CORPUS
from tests.package.descriptor_pieces import disks, envelope, folder
from tests.package.published_schemas import schema

EVERYTHING = (CORPUS / "descriptor" / "together.ovf").read_text(encoding="utf-8")
TEXTS = (
    b'<Strings xmlns="http://schemas.dmtf.org/ovf/envelope/2" xmlns:ovf="http://schemas.dmtf.org/ovf/envelope/2">'
    b'<Msg ovf:msgid="l">Jusant</Msg></Strings>'
)
FILES = {"texts.xml": TEXTS, "a.img": b"abc", "c.img.000000000": b"ab", "c.img.000000001": b"c"}


@pytest.mark.needs_reference
def test_the_descriptor_with_everything_is_valid_by_the_published_schema() -> None:
    schema("dsp8023_2.0.1.xsd").assertValid(etree.fromstring(EVERYTHING.encode()))


def test_everything_is_read(tmp_path: Path) -> None:
    store, gate = read_machines(folder(tmp_path, EVERYTHING, FILES))
    assert [(m.machine_id, m.collections) for m in store.machines] == [
        ("store", ("works",)),
        ("gate", ("works", "gates")),
    ]
    assert [(s.size_id, store.get_hardware(s.size_id).processors) for s in store.sizes] == [
        ("brook", 2),
        ("river", 4),
    ]
    assert store.default_size() == "river"
    group = store.get_placement_group()
    assert group is not None
    assert (group.group_id, group.policy, group.contents) == ("dry", "apart", ("store",))
    near = gate.get_placement_group()
    assert near is not None
    assert (near.group_id, near.policy, near.contents) == ("near", "together", ("gates",))
    assert [(start.content_id, start.order) for start in store.start_order] == [("store", 0), ("gates", 1)]
    assert store.scale_out[0].count_for("river") == store.scale_out[0].counts[0]
    assert [p.default_for("brook") for p in store.properties if p.bare_key == "where"] == ["store in upper"]
    assert [p.default_for("river") for p in store.properties if p.bare_key == "where"] == ["store in tidal"]
    secret = next(p for p in store.properties if p.bare_key == "secret")
    assert (secret.password, secret.offered_in("brook"), secret.offered_in("river")) == (True, False, True)
    assert [(r.of, r.least, r.most) for r in store.get_hardware("river").ranges] == [("processors", None, 16)]
    figures = size_figures(store, "river")
    assert [(d.disk_id, d.thick_bytes, d.thin_bytes, d.transfer_bytes) for d in figures.disks] == [
        ("root", 4 << 30, 6, 6),
        ("levels", 8 << 30, 0, 0),
    ]
    assert (gate.hardware[0].memory_bytes, gate.disks, len(gate.licences)) == (512 << 20, (), 1)


@pytest.mark.parametrize(
    ("lang", "label"), [("en-GB", "Zone"), ("de-AT", "Ebbe"), ("fr", "Jusant"), ("cy", "Zone")]
)
def test_everything_is_told_in_the_wanted_language(tmp_path: Path, lang: str, label: str) -> None:
    package = read_package(
        folder(tmp_path, EVERYTHING.replace('xml:lang="fr" ovf', 'xml:lang="fr-FR" ovf'), FILES),
        lang=lang,
        machine="store",
    )
    assert package.properties[0].label == label


def test_a_text_may_lie_in_a_file_of_its_own(tmp_path: Path) -> None:
    strings = '<Strings xml:lang="de"><Msg ovf:msgid="l" ovf:fileRef="texts">not this</Msg></Strings>'
    text = EVERYTHING.replace('<Strings xml:lang="fr" ovf:fileRef="texts"/>', "")
    text = text.replace('<Strings xml:lang="de"><Msg ovf:msgid="l">Ebbe</Msg></Strings>', strings)
    path = folder(tmp_path, text, FILES | {"texts.xml": "Übergabe\n".encode()})
    assert read_package(path, lang="de", machine="gate").licences[0].text == "Übergabe"


# ---- disks -----------------------------------------------------------------------------------------------------------


def qemu_img(*words: str) -> str:
    if shutil.which("qemu-img") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("qemu-img is not installed, and nothing may be skipped here")
        pytest.skip("qemu-img (Debian's qemu-utils) is not installed")
    return subprocess.run(["qemu-img", *words], check=True, capture_output=True, text=True).stdout


@pytest.mark.parametrize(("method", "pack"), [("", bytes), ("gzip", gzip.compress), ("bzip2", bz2.compress)])
@pytest.mark.parametrize("chunk_bytes", [0, 70_000])
def test_a_disk_comes_out_as_qemu_img_made_it(
    tmp_path: Path, method: str, pack: Callable[[bytes], bytes], chunk_bytes: int
) -> None:
    plain = tmp_path / "plain.raw"
    block = bytes(range(256)) * 64
    plain.write_bytes(block + bytes(900 << 10) + block[::-1] + bytes(100 << 10))
    made = tmp_path / "made.qcow2"
    qemu_img("convert", "-f", "raw", "-O", "qcow2", str(plain), str(made))
    content = pack(made.read_bytes())
    files = {"d.img": content}
    if chunk_bytes:
        pieces = range(0, len(content), chunk_bytes)
        files = {f"d.img.{n:09d}": content[at : at + chunk_bytes] for n, at in enumerate(pieces)}
    attributes = f'ovf:id="f" ovf:href="d.img" ovf:size="{len(content)}" ovf:compression="{method}"'
    attributes += f' ovf:chunkSize="{chunk_bytes}"' if chunk_bytes else ""
    size = plain.stat().st_size
    descriptor = envelope(
        files=(attributes,),
        sections=disks(f'ovf:diskId="d" ovf:fileRef="f" ovf:capacity="{size}" ovf:format="x:y"'),
    )
    (tmp_path / "box").mkdir()
    path = folder(tmp_path / "box", descriptor, files)
    package = read_package(path)
    out = tmp_path / "out.qcow2"
    with open_disk_file(path, package, "f") as stream, out.open("wb") as written:
        shutil.copyfileobj(stream, written)
    assert "Images are identical." in qemu_img("compare", "-f", "raw", "-F", "qcow2", str(plain), str(out))
    assert f"({package.get_disk('d').capacity_bytes} bytes)" in qemu_img("info", str(out))
