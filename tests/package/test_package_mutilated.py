"""Any mutilation of a sound descriptor is read or refused; nothing else comes out."""

import tarfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from demo.sluicelog_package import build_package
from staddle.kernel import InputRefused
from staddle.package import read_package
from tests.package.descriptor_pieces import folder

ODD_TEXTS = st.sampled_from(
    [
        "",
        " ",
        "0",
        "-1",
        "9" * 25,
        "1.5",
        "true",
        "${x}",
        "..",
        "a,b",
        "MinLen(",
        "byte * 2^99",
        "٣",
        "https://x.example/",
    ]
) | st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\ufffe\uffff"),
    max_size=8,
)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's package unpacked, with files of one byte."""
    path = tmp_path_factory.mktemp("sound")
    with tarfile.open(build_package(path)) as tar:
        stream = tar.extractfile("sluicelog-4.2.0.ovf")
        assert stream is not None
        text = stream.read().decode()
    for file in etree.fromstring(text.encode()).iterfind(".//{*}File"):
        href = file.get("{http://schemas.dmtf.org/ovf/envelope/1}href")
        size = file.get("{http://schemas.dmtf.org/ovf/envelope/1}size")
        assert href
        (path / href).write_bytes(b"x")
        text = text.replace(f'"{size}"', '"1"')
    folder(path, text)
    read_package(path / "box.ovf")
    return path


@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_any_mutilation_is_read_or_refused(sound: Path, data: st.DataObject) -> None:
    root = etree.fromstring((sound / "box.ovf").read_bytes())
    for _ in range(data.draw(st.integers(1, 3), label="changes")):
        elements = [element for element in root.iter() if element is not root]
        element = elements[data.draw(st.integers(0, len(elements) - 1), label="element")]
        parent = element.getparent()
        assert parent is not None
        match data.draw(
            st.sampled_from(["attribute", "no attribute", "text", "away", "twice", "inside"]), label="how"
        ):
            case "attribute" if element.attrib:
                element.set(
                    data.draw(st.sampled_from(sorted(map(str, element.attrib)))), data.draw(ODD_TEXTS)
                )
            case "no attribute" if element.attrib:
                del element.attrib[data.draw(st.sampled_from(sorted(map(str, element.attrib))))]
            case "text":
                element.text = data.draw(ODD_TEXTS)
            case "twice":
                parent.append(etree.fromstring(etree.tostring(element)))
            case "inside" if element not in (root[0], root[-1]):
                root[0].append(element)
            case _:
                parent.remove(element)
    mutilated = sound / "mutilated.ovf"
    mutilated.write_bytes(etree.tostring(root))
    try:
        package = read_package(mutilated)
    except InputRefused as refused:
        faults = refused.faults
    else:
        faults = ()
        assert {h.size_id for h in package.hardware} == {s.size_id for s in package.sizes}
        assert all(h.processors > 0 and h.memory_bytes > 0 for h in package.hardware)
        assert all(disk.capacity_for(size.size_id) > 0 for disk in package.disks for size in package.sizes)
    assert all(fault.what and fault.where.startswith("mutilated.ovf") for fault in faults)


@settings(max_examples=100, deadline=None)
@given(position=st.integers(0, 12_000), new=st.binary(max_size=4))
def test_any_changed_byte_is_read_or_refused(sound: Path, position: int, new: bytes) -> None:
    text = (sound / "box.ovf").read_bytes()
    changed = sound / "changed.ovf"
    changed.write_bytes(text[:position] + new + text[position + len(new) + 1 :])
    try:
        package = read_package(changed)
    except InputRefused:
        return
    assert package.hardware
