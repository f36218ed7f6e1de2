"""Descriptors filled in for one member. The published schemas judge what comes out, the reader what it says.

Sources: DSP0243, product section (which default counts), deployment options; DSP8023 1.0.0 and 2.0.1.
"""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from staddle.kernel import InputRefused
from staddle.package import Package, read_package
from staddle.package.filling import Filling, fill_descriptor
from staddle.package.likeness import unlike
from tests.package.descriptor_pieces import (
    configurations,
    disks,
    envelope,
    hardware,
    item,
    networks,
    product,
)
from tests.package.published_schemas import schema

ADAPTERS = [
    item(ElementName=f"{name} adapter", InstanceID=str(10 + n), ResourceType="10", Connection=name)
    for n, name in enumerate(("Inner", "Outer"))
]
QUESTIONS = product(
    '<Property ovf:key="host" ovf:type="string" ovf:userConfigurable="true"/>',
    '<Property ovf:key="days" ovf:type="uint16" ovf:userConfigurable="true" ovf:value="1">'
    '<Label>Days</Label><Value ovf:value="2"/><Value ovf:value="3" ovf:configuration="big"/></Property>',
    '<Property ovf:key="gib" ovf:type="uint32" ovf:value="40">'
    '<Label>GiB</Label><Value ovf:value="80" ovf:configuration="big"/></Property>',
    attributes='ovf:class="box"',
)
SECTIONS = (
    disks('ovf:diskId="d" ovf:capacity="${box.gib}" ovf:capacityAllocationUnits="byte * 2^30"')
    + networks("Inner", "Outer")
    + configurations("small", "big", default="small")
)
WHOLE = envelope(QUESTIONS, sections=SECTIONS, system=hardware(*ADAPTERS))
FILLING = Filling(
    name="levels-1",
    system_id="vm",
    size_id="big",
    answers={"box.host": "levels-1.ousemoor.example", "box.days": "400"},
    networks={"Inner": "om-inner", "Outer": "om-outer"},
    remark="filled in for levels-1",
)


def read(place: Path, data: bytes) -> Package:
    place.mkdir(parents=True, exist_ok=True)
    (place / "box.ovf").write_bytes(data)
    return read_package(place / "box.ovf")


def filled(place: Path, text: str, filling: Filling = FILLING) -> tuple[Package, Package]:
    """The package before and after."""
    return read(place / "before", text.encode()), read(
        place / "after", fill_descriptor(text.encode(), filling, where="box.ovf")
    )


def test_size_answers_networks_and_name_are_in_place(tmp_path: Path) -> None:
    before, after = filled(tmp_path, WHOLE)
    assert (before.default_size(), after.default_size()) == ("small", "big")
    questions = {prop.key: prop for prop in after.properties}
    for size in ("small", "big"):
        assert questions["box.host"].default_for(size) == "levels-1.ousemoor.example"
        assert questions["box.days"].default_for(size) == "400"
        assert [a.network for a in after.get_hardware(size).adapters] == ["om-inner", "om-outer"]
    assert after.networks == ("om-inner", "om-outer")
    # what is the maker's stays: the fixed property and the capacity that hangs on it
    assert questions["box.gib"].default_for("big") == "80"
    assert after.get_disk("d").capacity_by_size == before.get_disk("d").capacity_by_size
    assert unlike(before, after, FILLING) == ()


@pytest.mark.needs_reference
@pytest.mark.parametrize(("edition", "published"), [("1", "dsp8023_1.0.0.xsd"), ("2", "dsp8023_2.0.1.xsd")])
def test_what_was_valid_stays_valid_by_the_published_schema(edition: str, published: str) -> None:
    text = envelope(QUESTIONS, sections=SECTIONS, system=hardware(*ADAPTERS), edition=edition)
    text = text.replace(
        ' ovf:userConfigurable="true"/>', ' ovf:userConfigurable="true"><Label>x</Label></Property>'
    )
    schema(published).assertValid(etree.fromstring(text.encode()))
    out = fill_descriptor(text.encode(), FILLING, where="box.ovf")
    schema(published).assertValid(etree.fromstring(out))
    assert b">levels-1</Name>" in out


def test_what_is_not_asked_for_is_not_touched() -> None:
    text = WHOLE.replace("<References>", "<!-- the maker's own words --><References>")
    out = fill_descriptor(text.encode(), FILLING, where="box.ovf")
    assert b"<!-- the maker's own words -->" in out
    # Read by another program, element by element: only what the filling names is different.
    old, new = etree.fromstring(text.encode()), etree.fromstring(out)
    ovf = "{http://schemas.dmtf.org/ovf/envelope/1}"
    for root in (old, new):
        for tag in ("Configuration", "Network", "Property", "Name"):
            for element in list(root.iter(ovf + tag)):
                element.getparent().remove(element)  # type: ignore[union-attr]
        for element in root.iter("{*}Connection"):
            element.text = ""
        root.tail = None
    assert etree.tostring(old, method="c14n2") == etree.tostring(new, method="c14n2")


def test_a_name_that_would_be_translated_is_not(tmp_path: Path) -> None:
    text = WHOLE.replace(
        '<VirtualSystem ovf:id="vm"><Info>vm</Info>',
        '<VirtualSystem ovf:id="vm"><Info>vm</Info><Name ovf:msgid="n">Box</Name>',
    )
    out = fill_descriptor(text.encode(), FILLING, where="box.ovf")
    assert out.count(b"<Name") == 1
    assert b"<Name>levels-1</Name>" in out


def test_attributes_without_a_prefix_are_written_once(tmp_path: Path) -> None:
    # A common departure: unqualified attributes. Twice, with and without prefix, two readers would differ.
    text = WHOLE.replace('ovf:key="host"', 'ovf:key="host" value="old"').replace(
        'ovf:default="true"', 'default="true"'
    )
    out = fill_descriptor(text.encode(), FILLING, where="box.ovf")
    assert b'"old"' not in out
    assert b' default="true"' not in out
    assert read(tmp_path, out).default_size() == "big"


def test_the_machines_own_property_is_answered_not_that_of_the_collection(tmp_path: Path) -> None:
    outer = product(
        '<Property ovf:key="host" ovf:type="string" ovf:userConfigurable="true" ovf:value="outer"/>'
    )
    inner = product(
        '<Property ovf:key="host" ovf:type="string" ovf:userConfigurable="true" ovf:value="inner"/>'
    )
    content = (
        '<VirtualSystemCollection ovf:id="all"><Info>all</Info>{}<VirtualSystem ovf:id="vm"><Info>vm</Info>{}{}'
        "</VirtualSystem>{}</VirtualSystemCollection>"
    )
    one = Filling(name="m", system_id="vm", size_id="", answers={"host": "mine"}, networks={}, remark="")
    for before, after in ((outer, ""), ("", outer)):
        text = envelope(content=content.format(before, inner, hardware(), after))
        out = fill_descriptor(text.encode(), one, where="box.ovf")
        assert (b'"outer"' in out, b'"inner"' in out) == (True, False)
        assert [p.default_for("") for p in read(tmp_path, out).properties] == ["mine"]


def test_two_networks_on_one_of_the_estate_are_declared_once(tmp_path: Path) -> None:
    one = Filling(
        name="m",
        system_id="vm",
        size_id="big",
        answers={},
        networks={"Inner": "om", "Outer": "om"},
        remark="",
    )
    before, after = filled(tmp_path, WHOLE, one)
    assert after.networks == ("om",)
    assert [a.network for a in after.get_hardware("big").adapters] == ["om", "om"]
    assert unlike(before, after, one) == ()


def test_networks_may_change_their_names_with_each_other(tmp_path: Path) -> None:
    one = Filling(
        name="m",
        system_id="vm",
        size_id="big",
        answers={},
        networks={"Inner": "Outer", "Outer": "Inner"},
        remark="",
    )
    _, after = filled(tmp_path, WHOLE, one)
    assert after.networks == ("Outer", "Inner")
    assert [a.network for a in after.get_hardware("big").adapters] == ["Outer", "Inner"]


def test_a_name_taken_by_a_network_that_is_not_attached_is_refused() -> None:
    one = Filling(name="m", system_id="vm", size_id="big", answers={}, networks={"Inner": "Outer"}, remark="")
    with pytest.raises(InputRefused) as caught:
        fill_descriptor(WHOLE.encode(), one, where="box.ovf")
    assert caught.value.faults[0].what == (
        'the networks "Inner" and "Outer" of the package would both be called "Outer"'
    )


def test_what_cannot_be_written_is_named_and_not_shown() -> None:
    one = Filling(
        name="m", system_id="vm", size_id="big", answers={"box.host": "secret\x00"}, networks={}, remark=""
    )
    with pytest.raises(InputRefused) as caught:
        fill_descriptor(WHOLE.encode(), one, where="box.ovf")
    assert "secret" not in str(caught.value)
    assert caught.value.faults[0].what == 'the answer to "box.host" cannot be written into a descriptor'
    assert "secret" not in repr(one)


def test_a_remark_cannot_end_the_comment_it_stands_in(tmp_path: Path) -> None:
    one = Filling(
        name="m", system_id="vm", size_id="big", answers={}, networks={}, remark="a --> <Network/> --\n<!-- -"
    )
    out = fill_descriptor(WHOLE.encode(), one, where="box.ovf")
    assert read(tmp_path, out).networks == ("Inner", "Outer")


# Every character that XML 1.0 §2.2 allows, but for a carriage return, which §2.11 turns into a line feed in the file itself.
TEXTS = st.text(st.characters(codec="utf-8", exclude_characters="\r￾￿", exclude_categories=["Cs", "Cc"]))


@settings(max_examples=60, deadline=None)
@given(host=TEXTS, days=st.integers(0, 65535).map(str), name=TEXTS.filter(lambda text: text.strip() == text))
def test_any_answer_reads_back_as_it_was_given(
    tmp_path_factory: pytest.TempPathFactory, host: str, days: str, name: str
) -> None:
    one = Filling(
        name=name,
        system_id="vm",
        size_id="big",
        answers={"box.host": host, "box.days": days},
        networks={},
        remark=name,
    )
    out = fill_descriptor(WHOLE.encode(), one, where="box.ovf")
    after = read(tmp_path_factory.mktemp("any"), out)
    got = {prop.key: prop.default_for("big") for prop in after.properties}
    assert (got["box.host"], got["box.days"]) == (host, days)
    assert etree.fromstring(out).findtext(".//{*}VirtualSystem/{*}Name") == (name or None or "")


def test_likeness_sees_what_it_is_for(tmp_path: Path) -> None:
    _, after = filled(tmp_path, WHOLE)
    planted = {
        "hardware": WHOLE.replace("<rasd:VirtualQuantity>2<", "<rasd:VirtualQuantity>4<"),
        "networks": WHOLE.replace('ovf:name="Inner"', 'ovf:name="Other"').replace(">Inner<", ">Other<"),
        "property box.gib": WHOLE.replace('ovf:key="gib"', 'ovf:key="gib" ovf:password="true"'),
        "properties": WHOLE.replace(
            '<Property ovf:key="host" ovf:type="string" ovf:userConfigurable="true"/>', ""
        ),
        "annotation": WHOLE.replace(
            "<VirtualHardwareSection",
            "<AnnotationSection><Info>i</Info><Annotation>new</Annotation></AnnotationSection><VirtualHardwareSection",
        ),
    }
    for name, text in planted.items():
        assert name in unlike(read(tmp_path / "planted", text.encode()), after, FILLING), name
    other = Filling(
        name="m",
        system_id="vm",
        size_id="big",
        answers={"box.host": "another"},
        networks=FILLING.networks,
        remark="",
    )
    before = read(tmp_path / "planted", WHOLE.encode())
    assert "property box.host" in unlike(before, after, other)


def test_a_machine_that_is_not_there_is_refused() -> None:
    one = Filling(name="m", system_id="other", size_id="", answers={}, networks={}, remark="")
    with pytest.raises(InputRefused, match='the descriptor has no virtual machine "other"'):
        fill_descriptor(WHOLE.encode(), one, where="box.ovf")


def test_only_the_named_machine_of_several_is_filled_in() -> None:
    machine = '<VirtualSystem ovf:id="{}"><Info>vm</Info>{}{}</VirtualSystem>'
    ask = product('<Property ovf:key="host" ovf:type="string" ovf:userConfigurable="true" ovf:value="old"/>')
    both = "".join(machine.format(name, ask, hardware()) for name in ("one", "two"))
    text = envelope(
        content=f'<VirtualSystemCollection ovf:id="c"><Info>c</Info>{both}</VirtualSystemCollection>'
    )
    one = Filling(name="m", system_id="two", size_id="", answers={"host": "mine"}, networks={}, remark="")
    root = etree.fromstring(fill_descriptor(text.encode(), one, where="box.ovf"))
    value = "{http://schemas.dmtf.org/ovf/envelope/1}value"
    assert [
        (system.findtext("{*}Name"), system.find("{*}ProductSection/{*}Property").get(value))  # type: ignore[union-attr]
        for system in root.iter("{*}VirtualSystem")
    ] == [(None, "old"), ("m", "mine")]
