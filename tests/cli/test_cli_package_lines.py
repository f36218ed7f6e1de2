"""What the command package says of a machine beside its tables. Packages are written by hand, not by our own writer.

Sources: DSP0004 Annex C.1 for units (10^6 hertz, 2^20 bytes); DSP8023 for what the elements are called.
"""

import subprocess
from pathlib import Path

import pytest

from staddle.cli.packagelines import allowed, machine_lines, texts_line, used_lines
from staddle.package import Package, Property, read_package, size_figures
from tests.cli.demo_job import staddle
from tests.package.descriptor_pieces import (
    bare_hardware,
    configurations,
    disks,
    envelope,
    folder,
    item,
    networks,
    product,
    system_family,
)

MORE = (
    item("", AllocationUnits="hertz * 10^6", ElementName="Two", InstanceID="1", Reservation="500", ResourceType="3", VirtualQuantity="2"),
    item('ovf:configuration="large"', ElementName="Eight", InstanceID="1", ResourceType="3", VirtualQuantity="8"),
    item('ovf:bound="min"', ElementName="Least", InstanceID="1", ResourceType="3", VirtualQuantity="1"),
    item('ovf:bound="max"', ElementName="Most", InstanceID="1", ResourceType="3", VirtualQuantity="16"),
    item("", ElementName="Controller", InstanceID="3", ResourceType="6"),
    item("", ElementName="Disk", HostResource="ovf:/disk/top", InstanceID="4", Parent="3", ResourceType="17"),
    item("", ElementName="CD", HostResource="ovf:/file/tools", InstanceID="5", ResourceType="15"),
    item("", ElementName="Console", InstanceID="6", ResourceType="21"),
    item("", AutomaticAllocation="false", Connection="back", ElementName="Second", InstanceID="7", ResourceType="10"),
)  # fmt: skip
MEMORY = item(
    "",
    AllocationUnits="byte * 2^20",
    ElementName="Memory",
    InstanceID="2",
    Limit="1024",
    ResourceType="4",
    VirtualQuantity="2048",
)
DESCRIPTOR = envelope(
    product(
        '<Product ovf:msgid="name">Pump register</Product>',
        "<AppUrl>https://${name}:8443/</AppUrl>",
        '<Property ovf:key="name" ovf:type="string" ovf:userConfigurable="true" ovf:value="pump">'
        '<Value ovf:value="pumps" ovf:configuration="large"/></Property>',
    ),
    "<AnnotationSection><Info>i</Info><Annotation>Keep it dry.</Annotation></AnnotationSection>",
    '<OperatingSystemSection ovf:id="101" ovf:version="12"><Info>i</Info></OperatingSystemSection>',
    files=(
        'ovf:id="b" ovf:href="b.img"',
        'ovf:id="t" ovf:href="t.img"',
        'ovf:id="tools" ovf:href="tools.iso"',
    ),
    sections=disks(
        'ovf:diskId="base" ovf:fileRef="b" ovf:capacity="1048576" ovf:format="http://x.example/f"',
        'ovf:diskId="top" ovf:fileRef="t" ovf:parentRef="base" ovf:capacity="1048576" ovf:format="http://x.example/f"',
    )
    + networks("back")
    + configurations("small", "large"),
    system=bare_hardware(*MORE, MEMORY, attributes='ovf:transport="iso"', system=system_family("one two")),
    strings='<Strings xml:lang="fr"><Msg ovf:msgid="name">Registre de pompes</Msg></Strings>',
    edition="2",
    attributes='xml:lang="en-GB"',
)
FILES = {"b.img": b"b" * 512, "t.img": b"t" * 512, "tools.iso": b"i" * 512}


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder(tmp_path_factory.mktemp("pump"), DESCRIPTOR, FILES)


@pytest.fixture(scope="module")
def pump(path: Path) -> Package:
    return read_package(path)


def test_the_machine_is_told_with_all_that_it_has(pump: Package) -> None:
    assert list(machine_lines(pump)) == [
        "operating system: CIM OSType 101, version 12",
        "made for: one, two",
        "takes its answers by: iso",
        "processors allowed: 1 to 16",
        "Processor: 500 MHz kept for it (in small)",  # 500 * 10^6 hertz
        "Memory: at most 1 GiB",  # 1024 * 2^20 bytes
        "in the drive CD: tools.iso",
        "more devices: Serial Port: Console",
        "disk top: its file holds only what differs from the disk base",
    ]


def test_where_it_is_used_is_told_for_each_size_that_differs(pump: Package) -> None:
    figures = [size_figures(pump, size.size_id) for size in pump.sizes]
    assert list(used_lines(figures)) == [
        "used at in small: https://pump:8443/ (by the package's defaults)",
        "used at in large: https://pumps:8443/ (by the package's defaults)",
    ]


@pytest.mark.parametrize(
    ("lang", "told"),
    [
        ("fr-CA", "texts in en-GB, fr: choose with --lang"),
        ("en-US", "texts in en-GB, fr: choose with --lang"),
        ("de", "no texts in de, those in en-GB are shown; it has them in en-GB, fr"),
    ],
)
def test_the_languages_of_the_texts_are_told(pump: Package, lang: str, told: str) -> None:
    assert texts_line(pump, lang) == told


@pytest.mark.parametrize(
    ("values", "told"),
    [(("a, b", "c"), '"a, b", c'), (("", "x "), '"", "x "'), (("1", "2"), "1, 2")],
)
def test_allowed_values_are_told_so_that_each_is_seen_whole(values: tuple[str, ...], told: str) -> None:
    assert allowed(Property(key="k", type="string", label="l", allowed=values)) == told


def test_one_character_is_no_characters() -> None:
    prop = Property(key="k", type="string", label="l", min_length=1, max_length=9)
    assert allowed(prop) == "at least 1 character, at most 9 characters"


def test_an_archive_of_gnu_tar_is_told_as_a_person_sees_it(path: Path, tmp_path: Path) -> None:
    ova = tmp_path / "pump.ova"
    subprocess.run(
        ["tar", "--format=ustar", "-cf", ova, "-C", path.parent, "box.ovf", *sorted(FILES)], check=True
    )
    done = staddle("package", str(ova), "--lang", "fr")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Registre de pompes")
    at = lines.index("the maker's note:")
    assert lines[at + 1] == "Keep it dry."
    assert "adapters: Second on back (not connected)" in lines
    assert "takes its answers by: iso" in lines


def test_memory_that_may_not_be_used_whole_is_told_in_its_units(pump: Package) -> None:
    (found,) = [finding for finding in pump.findings if finding.rule == "memory-limit"]
    assert (
        found.what == "the memory item 2 has 2 GiB and may use only 1 GiB of it"
    )  # 2048 and 1024 * 2^20 bytes


def test_a_package_that_says_little_is_told_without_empty_tables(tmp_path: Path) -> None:
    done = staddle("package", str(folder(tmp_path, envelope())), "--no-verify")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == "vm by an unnamed maker (OVF 1.x)"
    assert {"disks: none", "networks: none", "questions it will ask: none"} <= set(lines)
