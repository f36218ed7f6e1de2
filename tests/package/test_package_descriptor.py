"""What is read from a descriptor. Rules: DSP0243 (clauses from memory) and DSP8023; named beside each test."""

from pathlib import Path

import pytest

from staddle.kernel import InputRefused, Severity, from_json, pretty_json
from staddle.package import (
    Adapter,
    Controller,
    DiskDevice,
    EnvironmentFile,
    Package,
    QuantityRange,
    read_package,
)
from tests.package.descriptor_pieces import MEMORY as MEM
from tests.package.descriptor_pieces import PROCESSOR as CPU
from tests.package.descriptor_pieces import (
    archive,
    bare_hardware,
    configurations,
    disks,
    envelope,
    folder,
    hardware,
    item,
    networks,
    product,
    system_family,
)

GIB = 1024**3


def read(
    tmp_path: Path, descriptor: str, files: dict[str, bytes] | None = None, lang: str = "en-US"
) -> Package:
    return read_package(folder(tmp_path, descriptor, files), lang=lang)


def rules(package: Package) -> list[str]:
    return [finding.rule for finding in package.findings]


def refusal(tmp_path: Path, descriptor: str, files: dict[str, bytes] | None = None) -> str:
    with pytest.raises(InputRefused) as caught:
        read(tmp_path, descriptor, files)
    return str(caught.value)


# ---- the whole -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("edition", ["1", "2"])
def test_both_namespaces_are_read(tmp_path: Path, edition: str) -> None:
    package = read(tmp_path, envelope(edition=edition))
    assert (package.ovf_edition, package.name, package.findings) == (edition, "vm", ())
    assert (package.hardware[0].processors, package.hardware[0].memory_bytes) == (2, 4 * GIB)


def test_without_configurations_there_is_one_size_without_a_name(tmp_path: Path) -> None:
    package = read(tmp_path, envelope())
    assert [(s.size_id, s.label, s.is_default) for s in package.sizes] == [("", "the only hardware", True)]
    assert package.default_size() == ""
    assert package.get_hardware("").processors == 2


def test_another_prefix_for_the_namespaces_is_the_same_document(tmp_path: Path) -> None:
    text = envelope(system=hardware(item(**MEM | {"InstanceID": "9"})))
    other = text.replace("ovf:", "o:").replace("xmlns:ovf=", "xmlns:o=").replace("rasd", "zz")
    first, second = read(tmp_path, text), read(tmp_path, other)
    assert first.hardware == second.hardware
    assert first.hardware[0].memory_bytes == 8 * GIB


def test_a_package_survives_the_way_through_json(tmp_path: Path) -> None:
    package = read(tmp_path, envelope(product('<Property ovf:key="a" ovf:type="string"/>')))
    assert from_json(pretty_json(package), Package) == package


def test_unqualified_attributes_are_read_with_one_finding(tmp_path: Path) -> None:
    package = read(tmp_path, envelope(sections=networks("Front", "Back").replace("ovf:name", "name")))
    assert package.networks == ("Front", "Back")
    assert rules(package) == ["unqualified-attribute"]


def test_operating_system_annotation_product_and_licences(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            product("<Product>Weir</Product>", "<Vendor>Makers</Vendor>", "<Version>3.1</Version>"),
            "<EulaSection><Info>first</Info><License> Be kind.\n  Always. </License></EulaSection>",
            "<EulaSection><Info>second</Info><License>Be brief.</License></EulaSection>",
            "<AnnotationSection><Info>i</Info><Annotation>A note.</Annotation></AnnotationSection>",
            '<OperatingSystemSection ovf:id="101" ovf:version="12"><Info>i</Info></OperatingSystemSection>',
        ),
    )
    assert (package.product, package.vendor, package.version) == ("Weir", "Makers", "3.1")
    assert [(lic.info, lic.text) for lic in package.licences] == [
        ("first", "Be kind.\n  Always."),
        ("second", "Be brief."),
    ]
    assert package.annotation == "A note."
    assert (package.operating_system, package.operating_system_version) == (101, "12")


# ---- sizes and items -------------------------------------------------------------------------------------------------


def test_the_first_configuration_is_the_default_when_none_is_marked(tmp_path: Path) -> None:
    # DSP0243, deployment option section
    assert read(tmp_path, envelope(sections=configurations("small", "large"))).default_size() == "small"
    marked = configurations("small", "large", default="large")
    assert read(tmp_path, envelope(sections=marked)).default_size() == "large"


def test_an_item_of_the_size_replaces_the_general_one_as_a_whole(tmp_path: Path) -> None:
    # DSP0243: no field-by-field merge; the replacing memory item has no unit, so the general one's is not used.
    package = read(
        tmp_path,
        envelope(
            sections=configurations("s", "m", "l"),
            system=bare_hardware(
                item(**CPU),
                item(**MEM),
                item('ovf:configuration="l"', **CPU | {"VirtualQuantity": "8"}),
                item(
                    'ovf:configuration="m, l"',
                    ElementName="M",
                    InstanceID="2",
                    ResourceType="4",
                    VirtualQuantity="9",
                ),
                item('ovf:configuration="s"', ElementName="CD", InstanceID="7", ResourceType="15"),
            ),
        ),
    )
    assert [(h.size_id, h.processors, h.memory_bytes, h.has_cd) for h in package.hardware] == [
        ("s", 2, 4 * GIB, True),
        ("m", 2, 9 * 1024**2, False),
        ("l", 8, 9 * 1024**2, False),
    ]
    assert rules(package) == ["memory-without-unit"]


def test_the_general_item_may_stand_after_that_of_the_size(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            sections=configurations("s", "l"),
            system=bare_hardware(
                item('ovf:configuration="l"', **CPU | {"VirtualQuantity": "8"}), item(**CPU), item(**MEM)
            ),
        ),
    )
    assert [h.processors for h in package.hardware] == [2, 8]


@pytest.mark.parametrize("first", [True, False])
def test_range_markers_make_no_device(tmp_path: Path, first: bool) -> None:
    # DSP0243: a reader that counts items without looking at ovf:bound doubles the processors, or takes a marker for one.
    markers = (
        item('ovf:bound="min"', **CPU | {"VirtualQuantity": "1"}),
        item('ovf:bound="max"', **CPU | {"VirtualQuantity": "16"}),
        item('ovf:bound="min"', **MEM | {"VirtualQuantity": "2048"}),
    )
    devices = (item(**CPU), item(**MEM))
    package = read(
        tmp_path, envelope(system=bare_hardware(*(markers + devices if first else devices + markers)))
    )
    machine = package.hardware[0]
    assert (machine.processors, machine.memory_bytes) == (2, 4 * GIB)
    assert machine.ranges == (
        QuantityRange(of="processors", least=1, most=16),
        QuantityRange(of="memory", least=2 * GIB),
    )


def test_several_processor_and_memory_items_add_up(tmp_path: Path) -> None:
    more = hardware(item(**CPU | {"InstanceID": "8"}), item(**MEM | {"InstanceID": "9"}))
    machine = read(tmp_path, envelope(system=more)).hardware[0]
    assert (machine.processors, machine.memory_bytes) == (4, 8 * GIB)


def test_adapters_disks_drives_and_other_devices(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            sections=disks('ovf:diskId="d" ovf:capacity="8"') + networks("Front"),
            system=hardware(
                item(ElementName="Ctl", InstanceID="3", ResourceSubType="virtio", ResourceType="20"),
                item(ElementName="Disk", HostResource="ovf:/disk/d", InstanceID="4", ResourceType="17"),
                item(
                    AutomaticAllocation="false",
                    Connection="Front",
                    ElementName="Nic",
                    InstanceID="5",
                    ResourceSubType="virtio",
                    ResourceType="10",
                ),
                item(ElementName="DVD", InstanceID="6", ResourceType="16"),
                attributes='ovf:transport="iso, other"',
                system=system_family("fam-7 fam-8"),
            ),
        ),
    )
    machine = package.hardware[0]
    assert machine.disks == (DiskDevice(name="Disk", disk_id="d"),)
    assert machine.adapters == (Adapter(name="Nic", network="Front", model="virtio", connected=False),)
    assert machine.has_cd
    assert machine.transports == ("iso", "other")  # split at commas (1.0.0) and blanks (2.0.1)
    assert machine.system_types == ("fam-7", "fam-8")
    assert machine.controllers == (Controller(name="Ctl", kind="Other Storage Device", model="virtio"),)
    assert machine.other_devices == ()
    assert package.findings == ()


def test_items_of_edition_2_for_ports_and_storage(tmp_path: Path) -> None:
    port = "".join(
        f"<epasd:{k}>{v}</epasd:{k}>"
        for k, v in (
            ("Connection", "Front"),
            ("ElementName", "Port"),
            ("InstanceID", "5"),
            ("ResourceType", "33"),
        )
    )
    disk = "".join(
        f"<sasd:{k}>{v}</sasd:{k}>"
        for k, v in (
            ("ElementName", "D"),
            ("HostResource", "ovf:/disk/d"),
            ("InstanceID", "6"),
            ("ResourceType", "17"),
        )
    )
    package = read(
        tmp_path,
        envelope(
            edition="2",
            sections=disks('ovf:diskId="d" ovf:capacity="8"') + networks("Front"),
            system=hardware(f"<EthernetPortItem>{port}</EthernetPortItem><StorageItem>{disk}</StorageItem>"),
        ),
    )
    assert package.hardware[0].adapters == (Adapter(name="Port", network="Front"),)
    assert package.hardware[0].disks == (DiskDevice(name="D", disk_id="d"),)


def test_accepted_departures_of_devices_are_findings(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            sections=disks('ovf:diskId="d" ovf:capacity="8"') + networks("A", "B"),
            system=hardware(
                item(ElementName="D1", HostResource="/disk/d", InstanceID="4", ResourceType="17"),
                item(ElementName="D2", InstanceID="5", ResourceType="17"),
                item(ElementName="N0", InstanceID="6", ResourceType="10"),
                item(InstanceID="7", ResourceType="22"),
                attributes='ovf:transport="iso"',
            ),
        ),
    )
    assert package.hardware[0].disks == (DiskDevice(name="D1", disk_id="d"),)
    assert package.hardware[0].adapters == (Adapter(name="N0", network=""),)
    assert sorted(rules(package)) == [
        "adapter-connections",
        "disk-device-unbacked",
        "host-resource-form",
        "iso-without-drive",
        "item-without-name",
    ]


def two_machines(first: str, second: str) -> str:
    return envelope(
        system=hardware(item(**MEM | {"InstanceID": "9"}), system=system_family("fam-1"), attributes=first)
        + hardware(system=system_family("fam-2 Fam-1"), attributes=second)
    )


def test_of_alternative_machines_the_first_acceptable_is_taken(tmp_path: Path) -> None:
    text = two_machines('ovf:id="a"', 'ovf:id="b"')
    package = read(tmp_path, text)
    assert package.hardware[0].memory_bytes == 8 * GIB
    assert rules(package) == ["hardware-alternatives"]
    # CIM_VirtualSystemSettingData: the family is compared with regard to case
    path = folder(tmp_path, text)
    assert read_package(path, families=("Fam-1",)).hardware[0].memory_bytes == 4 * GIB
    with pytest.raises(
        InputRefused,
        match="alternative 2 of the hardware cannot be met: it is for fam-2 Fam-1, not for fam-9",
    ):
        read_package(path, families=("fam-9",))


def test_a_required_device_of_a_vendor_moves_to_the_next_alternative(tmp_path: Path) -> None:
    odd = item(ElementName="Odd", InstanceID="9", ResourceType="40000")
    optional = item('ovf:required="false"', ElementName="Odd", InstanceID="9", ResourceType="40000")
    package = read(
        tmp_path,
        envelope(system=hardware(odd) + bare_hardware(item(**CPU | {"VirtualQuantity": "6"}), item(**MEM))),
    )
    assert package.hardware[0].processors == 6
    kept = read(tmp_path, envelope(system=hardware(optional)))
    assert kept.hardware[0].other_devices == ("vendor's own type 40000: Odd",)


# ---- disks and files -------------------------------------------------------------------------------------------------


def test_capacity_has_units_and_populated_size_is_always_bytes(tmp_path: Path) -> None:
    row = 'ovf:diskId="d" ovf:capacity="8" ovf:capacityAllocationUnits="byte * 2^30" ovf:populatedSize="5000"'
    disk = read(tmp_path, envelope(sections=disks(row))).disks[0]
    assert (disk.capacity_bytes, disk.populated_bytes, disk.file_id) == (8_589_934_592, 5000, None)
    assert disk.capacity_for("any") == 8_589_934_592


def test_capacity_by_property_follows_the_size(tmp_path: Path) -> None:
    prop = (
        '<Property ovf:key="gib" ovf:type="uint32" ovf:value="1"><Value ovf:value="2" ovf:configuration="m"/>'
        '<Value ovf:value="3" ovf:configuration="l"/></Property>'
    )
    for name in ("x.gib", "gib"):
        disk = read(
            tmp_path,
            envelope(
                product(prop, attributes='ovf:class="x"'),
                sections=disks(
                    f'ovf:diskId="d" ovf:capacity="${{{name}}}" ovf:capacityAllocationUnits="byte * 2^30"'
                )
                + configurations("s", "m", "l", default="m"),
            ),
        ).disks[0]
        assert disk.capacity_bytes == 2 * GIB
        assert [disk.capacity_for(size) for size in ("s", "m", "l")] == [GIB, 2 * GIB, 3 * GIB]
        assert disk.capacity_property == "x.gib"


def test_a_chain_of_disks_and_its_files(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            files=('ovf:id="f" ovf:href="base.img" ovf:size="3"', 'ovf:id="g" ovf:href="top.img"'),
            sections=disks(
                'ovf:diskId="base" ovf:fileRef="f" ovf:capacity="9" ovf:format="https://x.example/f#1"',
                'ovf:diskId="top" ovf:fileRef="g" ovf:capacity="9" ovf:parentRef="base" ovf:format="https://x.example/f"',
            ),
        ),
        {"base.img": b"abc", "top.img": b"defgh"},
    )
    assert [(f.file_id, f.size_bytes, f.members) for f in package.files] == [
        ("f", 3, ("base.img",)),
        ("g", 5, ("top.img",)),  # a missing ovf:size is never 0
    ]
    assert [(d.disk_id, d.parent_id) for d in package.disks] == [("base", None), ("top", "base")]


def test_chunks_are_found_and_counted(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(files=('ovf:id="f" ovf:href="big%20disk.img" ovf:size="7" ovf:chunkSize="3"',)),
        {f"big disk.img.00000000{n}": part for n, part in enumerate((b"abc", b"def", b"g"))},
    )
    assert package.files[0].members == tuple(f"big disk.img.00000000{n}" for n in range(3))
    assert package.files[0].size_bytes == 7


@pytest.mark.parametrize(
    ("href", "member", "found"),
    [
        ("a%20b.img", "a b.img", []),
        ("./a.img", "a.img", []),
        ("sub/a.img", "sub/a.img", []),
        ("100%25.img", "100%.img", []),
        ("a%20b.img", "a%20b.img", ["href-not-encoded"]),
        ("u\u0308ber.img", "über.img", ["href-normal-form"]),  # decomposed against composed form
    ],
)
def test_a_reference_is_matched_with_its_member(
    tmp_path: Path, href: str, member: str, found: list[str]
) -> None:
    package = read(tmp_path, envelope(files=(f'ovf:id="f" ovf:href="{href}"',)), {member: b"x"})
    assert package.files[0].members == (member,)
    assert rules(package) == found


def test_departures_of_disks_are_findings(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            files=('ovf:id="f" ovf:href="a.img"', 'ovf:id="g" ovf:href="a.img"'),
            sections=disks(
                'ovf:diskId="a" ovf:fileRef="f" ovf:capacity="1" ovf:capacityAllocationUnits="GigaBytes"',
                'ovf:diskId="b" ovf:capacity="10" ovf:populatedSize="11"',
            ),
        ),
        {"a.img": b"x"},
    )
    assert rules(package) == [
        "href-twice",
        "unit-word",
        "disk-without-format",
        "empty-disk-populated",
        "populated-above-capacity",
    ]


# ---- properties ------------------------------------------------------------------------------------------------------


def test_the_full_key_joins_class_key_and_instance(tmp_path: Path) -> None:
    prop = '<Property ovf:key="port" ovf:type="uint16"/>'
    package = read(
        tmp_path,
        envelope(
            product(prop),
            product(prop, attributes='ovf:class="c"'),
            product(prop, attributes='ovf:class="c" ovf:instance="2"'),
            product(prop, attributes='ovf:instance="3"'),
        ),
    )
    assert [p.key for p in package.properties] == ["port", "c.port", "c.port.2", "port.3"]


def test_a_property_with_everything(tmp_path: Path) -> None:
    prop = (
        '<Property ovf:key="mode" ovf:type="string" ovf:userConfigurable="1" ovf:configuration="m l"'
        ' ovf:qualifiers=\'MinLen(1), MaxLen(9), ValueMap{"low","high, or so"}\' ovf:value="low">'
        "<Label>Mode</Label><Description>How.</Description>"
        '<Value ovf:value="high, or so" ovf:configuration="l"/></Property>'
    )
    package = read(
        tmp_path,
        envelope(
            product('<Property ovf:key="first" ovf:type="boolean"/>', "<Category>Work</Category>", prop),
            sections=configurations("s", "m", "l"),
        ),
    )
    first, mode = package.properties
    assert (first.category, first.label, first.user_configurable, first.default_for("s")) == (
        "",
        "first",
        False,
        "",
    )
    assert (mode.label, mode.description, mode.category) == ("Mode", "How.", "Work")
    assert (mode.user_configurable, mode.min_length, mode.max_length) == (True, 1, 9)
    assert mode.allowed == ("low", "high, or so")
    assert [mode.offered_in(size) for size in ("s", "m", "l")] == [False, True, True]
    assert [mode.default_for(size) for size in ("m", "l")] == ["low", "high, or so"]
    assert rules(package) == ["property-default"]  # "high, or so" is longer than MaxLen(9)


def test_a_value_without_a_size_beats_the_attribute(tmp_path: Path) -> None:
    prop = '<Property ovf:key="a" ovf:type="string" ovf:value="x"><Value ovf:value="y"/></Property>'
    assert read(tmp_path, envelope(product(prop))).properties[0].default_for("") == "y"


def test_departures_of_properties_are_findings(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            product(
                '<Property ovf:key="a.b" ovf:type="string" ovf:qualifiers="Key"/>',
                '<Property ovf:key="addr" ovf:type="address"/>',
                '<Property ovf:key="pw" ovf:type="string" ovf:password="true" ovf:value="letmein"/>',
                '<Property ovf:key="n" ovf:type="uint8" ovf:value="256"/>',
            )
        ),
    )
    assert rules(package) == [
        "property-key-dot",
        "property-qualifier",
        "property-type",
        "password-default",
        "property-default",
    ]
    assert package.properties[1].type == "string"
    assert "letmein" not in "".join(f"{f.what}{f.why}{f.mend}" for f in package.findings)
    assert {f.severity for f in package.findings if "default" in f.rule} == {Severity.RISK}


def collection(outer: str, inner: str, more: str = "") -> str:
    return envelope(
        sections=configurations("s", "l"),
        content=f'<VirtualSystemCollection ovf:id="all"><Info>all</Info>{outer}'
        f'<VirtualSystem ovf:id="vm"><Info>vm</Info>{inner}{hardware()}</VirtualSystem>{more}'
        "</VirtualSystemCollection>",
    )


def test_a_collection_with_one_machine_lends_its_properties(tmp_path: Path) -> None:
    outer = product(
        '<Property ovf:key="zone" ovf:type="string" ovf:value="a.example">'
        '<Value ovf:value="b.example" ovf:configuration="l"/></Property>',
        '<Property ovf:key="odd" ovf:type="string" ovf:value="${zone}"/>',
    )
    inner = product(
        '<Property ovf:key="host" ovf:type="string" ovf:value="vm.${zone}"/>'
        '<Property ovf:key="raw" ovf:type="string" ovf:value="${odd}"/>'
    )
    package = read(tmp_path, collection(outer, inner))
    by_key = {p.key: p for p in package.properties}
    assert list(by_key) == ["zone", "odd", "host", "raw"]
    assert [by_key["host"].default_for(size) for size in ("s", "l")] == ["vm.a.example", "vm.b.example"]
    assert by_key["raw"].default_for("s") == "${zone}"  # expanded once, never again


# ---- sections --------------------------------------------------------------------------------------------------------


def test_an_optional_unknown_section_is_skipped_with_its_info(tmp_path: Path) -> None:
    text = envelope(
        '<x:Tide xmlns:x="https://tide.example/1" ovf:required="false"><Info>High at noon</Info></x:Tide>'
    )
    package = read(tmp_path, text)
    assert [(f.rule, f.severity) for f in package.findings] == [("section-unknown", "note")]
    assert package.findings[0].what == "the section Tide is not known and is skipped: High at noon"


def test_sections_that_are_handed_on_or_left_undone_are_risks(tmp_path: Path) -> None:
    package = read(
        tmp_path,
        envelope(
            '<PlacementSection ovf:group="g"><Info>apart</Info></PlacementSection>',
            '<BootDeviceSection ovf:required="false"><Info>disk first</Info></BootDeviceSection>',
            '<InstallSection ovf:initialBootStopDelay="300"><Info>installs</Info></InstallSection>',
            '<EnvironmentFilesSection><Info>files</Info><File ovf:fileRef="f" ovf:path="etc/a.txt"/></EnvironmentFilesSection>',
            files=('ovf:id="f" ovf:href="a.txt"',),
            sections='<PlacementGroupSection ovf:id="g" ovf:policy="availability"><Info>keep apart</Info></PlacementGroupSection>',
            edition="2",
        ),
        {"a.txt": b"x"},
    )
    assert sorted(rules(package)) == ["installs-at-first-boot", "section-handed-on"]
    group = package.get_placement_group()  # the placement honours it
    assert group is not None
    assert group.policy == "apart"
    assert package.install_stop_delay_s == 300
    assert package.environment_files == (EnvironmentFile(file_id="f", path="etc/a.txt"),)


def test_a_section_without_info_is_a_finding(tmp_path: Path) -> None:
    assert rules(read(tmp_path, envelope(sections="<NetworkSection/>"))) == ["section-without-info"]


# ---- languages -------------------------------------------------------------------------------------------------------

SPOKEN = product(
    '<Property ovf:key="a" ovf:type="string"><Label ovf:msgid="l">Depth</Label>'
    '<Description ovf:msgid="none">Own text</Description></Property>'
)
STRINGS = (
    '<Strings xml:lang="de-DE"><Msg ovf:msgid="l">Tiefe</Msg></Strings>'
    '<Strings xml:lang="cy"><Msg ovf:msgid="l">Dyfnder</Msg></Strings>'
    '<Strings xml:lang="en-GB"><Msg ovf:msgid="l">Deepness</Msg></Strings>'
)


@pytest.mark.parametrize(
    ("lang", "label"),
    [
        ("de-DE", "Tiefe"),  # the exact tag
        ("DE-de", "Tiefe"),  # tags have no case (RFC 5646 §2.1.1)
        ("de-AT", "Tiefe"),  # the primary part
        ("cy-GB", "Dyfnder"),
        ("fr", "Depth"),  # the element's own text
        ("en-US", "Depth"),  # the envelope's own language beats a relative of it
        ("en-GB", "Deepness"),
    ],
)
def test_texts_are_shown_in_the_wanted_language(tmp_path: Path, lang: str, label: str) -> None:
    prop = read(tmp_path, envelope(SPOKEN, strings=STRINGS), lang=lang).properties[0]
    assert (prop.label, prop.description) == (label, "Own text")


def test_texts_may_lie_in_a_file_of_their_own(tmp_path: Path) -> None:
    bundle = (
        '<Strings xmlns="http://schemas.dmtf.org/ovf/envelope/1" xmlns:ovf="http://schemas.dmtf.org/ovf/envelope/1"'
        ' xml:lang="de"><Msg ovf:msgid="l">Tiefe</Msg></Strings>'
    )
    package = read(
        tmp_path,
        envelope(
            SPOKEN,
            files=('ovf:id="b" ovf:href="de.xml"',),
            strings='<Strings xml:lang="de" ovf:fileRef="b"/>',
        ),
        {"de.xml": bundle.encode()},
        lang="de",
    )
    assert package.properties[0].label == "Tiefe"


# ---- archives --------------------------------------------------------------------------------------------------------


def test_order_and_extra_members_of_an_archive_are_findings(tmp_path: Path) -> None:
    path = archive(
        tmp_path, [("extra.txt", b"x"), ("box.ovf", envelope().encode()), ("box.cert", b""), ("box.mf", b"")]
    )
    package = read_package(path)
    assert rules(package) == ["archive-order", "archive-extra-member"]
    assert (package.has_manifest, package.has_certificate) == (True, True)


# ---- hostile documents -----------------------------------------------------------------------------------------------

LAUGHS = '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>\n<Envelope>&b;</Envelope>'
OUTSIDE = '<?xml version="1.0"?>\n<!DOCTYPE x SYSTEM "file:///etc/motd">\n<Envelope/>'


@pytest.mark.parametrize(
    ("text", "line"),
    [(LAUGHS, 1), (OUTSIDE, 2), (LAUGHS.replace("&b;", "").replace("<Env", '<Env a="&b;" '), 1)],
)
def test_a_document_type_is_refused_before_it_is_read(tmp_path: Path, text: str, line: int) -> None:
    assert refusal(tmp_path, text) == (
        "error: the document has a document type definition (DTD)\n"
        f"  where: box.ovf:{line}\n"
        "  why:   entities and external files named there can exhaust or spy on the reader; OVF needs none\n"
        "  try:   do not use this file; ask its maker for a sound one"
    )


def test_a_document_type_in_utf16_is_refused_too(tmp_path: Path) -> None:
    folder(tmp_path, "")
    (tmp_path / "box.ovf").write_bytes(('<?xml version="1.0" encoding="UTF-16"?>' + LAUGHS).encode("utf-16"))
    with pytest.raises(InputRefused, match="document type definition"):
        read_package(tmp_path)


def test_depth_size_and_broken_documents_are_refused(tmp_path: Path) -> None:
    assert "error: elements are nested more than 64 deep" in refusal(tmp_path, "<a>" * 100_000)
    assert "error: the document has more than 50000 elements" in refusal(
        tmp_path, "<a>" + "<b/>" * 50_001 + "</a>"
    )
    assert '"box.ovf" has 4194305 bytes; at most 4194304 are read' in refusal(tmp_path, " " * ((4 << 20) + 1))
    for broken in (
        "",
        "<a>",
        "<a></b>",
        "<a:b/>",
        "<a>\x00</a>",
        "<?xml version='1.0' encoding='cp037'?><a/>",
    ):
        assert "error: the document is not well-formed XML" in refusal(tmp_path, broken), broken


def test_xinclude_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("secret")
    text = envelope(
        "<AnnotationSection><Info>i</Info><Annotation>"
        '<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="secret.txt" parse="text"/>'
        "</Annotation></AnnotationSection>"
    )
    assert read(tmp_path, text).annotation == ""
