"""Packages with several machines: collections that nest, groups, order of start, how often each shall stand.

Sources: DSP8023 2.0.1 for elements, attributes and their defaults; DSP0243 2.x for their meaning (from memory).
"""

from pathlib import Path

import pytest

from staddle.kernel import InputRefused, Severity, canonical_json, from_json
from staddle.package import (
    Allocation,
    InstanceCount,
    Machine,
    Package,
    PlacementGroup,
    ScaleOut,
    StartUp,
    read_machines,
    read_package,
    verify_package,
)
from tests.package.descriptor_pieces import (
    configurations,
    disks,
    envelope,
    folder,
    hardware,
    item,
    product,
)


def machine(name: str, *sections: str, system: str = "") -> str:
    inner = "".join(sections) + (system or hardware())
    return f'<VirtualSystem ovf:id="{name}"><Info>i</Info><Name>{name.title()}</Name>{inner}</VirtualSystem>'


def collection(name: str, *inner: str) -> str:
    return (
        f'<VirtualSystemCollection ovf:id="{name}"><Info>i</Info>{"".join(inner)}</VirtualSystemCollection>'
    )


def group(group_id: str, policy: str) -> str:
    return (
        f'<PlacementGroupSection ovf:id="{group_id}" ovf:policy="{policy}">'
        f"<Info>group</Info><Description>why {group_id}</Description></PlacementGroupSection>"
    )


def put_into(group_id: str) -> str:
    return f'<PlacementSection ovf:group="{group_id}"><Info>i</Info></PlacementSection>'


def read_all(path: Path, content: str, **pieces: str) -> tuple[Package, ...]:
    return read_machines(folder(path, envelope(content=content, edition="2", **pieces)))


NESTED = collection(
    "works",
    machine("gate"),
    collection("store", machine("left"), collection("far", machine("right"))),
)


def test_every_machine_of_nested_collections_is_read(tmp_path: Path) -> None:
    found = read_all(tmp_path, NESTED)
    assert [package.name for package in found] == ["gate", "left", "right"]
    assert all(package.machines == found[0].machines for package in found)
    assert found[0].machines == (
        Machine(machine_id="gate", name="Gate", collections=("works",)),
        Machine(machine_id="left", name="Left", collections=("works", "store")),
        Machine(machine_id="right", name="Right", collections=("works", "store", "far")),
    )


def test_the_machine_that_is_meant_is_named(tmp_path: Path) -> None:
    path = folder(tmp_path, envelope(content=NESTED))
    assert read_package(path, machine="right").name == "right"
    with pytest.raises(
        InputRefused, match=r'holds no virtual machine "middle"\n.*\n.*"gate", "left", "right"'
    ):
        read_package(path, machine="middle")


def test_a_package_with_several_machines_is_verified(tmp_path: Path) -> None:
    path = folder(tmp_path, envelope(content=NESTED))
    assert [name for name, _ in verify_package(path).file_sha256] == ["box.ovf"]


def test_each_machine_has_its_own_questions_hardware_and_disks(tmp_path: Path) -> None:
    def with_disk(disk_id: str) -> str:
        return hardware(
            item(ElementName="D", HostResource=f"ovf:/disk/{disk_id}", InstanceID="9", ResourceType="17")
        )

    wide, narrow = read_all(
        tmp_path,
        collection(
            "works",
            product(
                '<Property ovf:key="zone" ovf:type="string" ovf:value="tidal"/>', attributes='ovf:class="c"'
            ),
            machine(
                "wide",
                product('<Property ovf:key="gib" ovf:type="uint16" ovf:value="7"/>'),
                system=with_disk("grows"),
            ),
            machine("narrow", system=with_disk("child")),
        ),
        sections=disks(
            'ovf:diskId="grows" ovf:capacity="${gib}" ovf:capacityAllocationUnits="byte * 2^30"',
            'ovf:diskId="base" ovf:capacity="5"',
            'ovf:diskId="child" ovf:capacity="5" ovf:parentRef="base"',
        ),
    )
    assert [prop.key for prop in wide.properties] == ["c.zone", "gib"]
    assert [prop.key for prop in narrow.properties] == ["c.zone"]
    assert [(disk.disk_id, disk.capacity_bytes) for disk in wide.disks] == [("grows", 7 << 30)]
    assert [disk.disk_id for disk in narrow.disks] == ["base", "child"]


def test_findings_of_one_machine_are_not_told_of_another(tmp_path: Path) -> None:
    odd = hardware(item(ElementName="D", InstanceID="9", ResourceType="17"))
    plain, unbacked = read_all(tmp_path, collection("works", machine("a"), machine("b", system=odd)))
    assert [finding.rule for finding in plain.findings] == []
    assert [finding.rule for finding in unbacked.findings] == ["disk-device-unbacked"]


def test_a_fault_of_any_machine_refuses_the_package_once(tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as caught:
        read_all(
            tmp_path,
            collection("works", machine("a"), machine("b")),
            sections=configurations("s", "s"),
        )
    assert [fault.what for fault in caught.value.faults] == ['the configuration id "s" stands twice']


# ---- placement groups ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("written", "policy"), [("availability", "apart"), ("affinity", "together")])
def test_a_placement_group_becomes_a_value(tmp_path: Path, written: str, policy: str) -> None:
    (package,) = read_all(
        tmp_path, machine("gate", put_into("g")), sections=group("g", written) + group("h", "affinity")
    )
    assert package.get_placement_group() == PlacementGroup(
        group_id="g",
        policy=policy,  # type: ignore[arg-type]  # one of the two literals
        contents=("gate",),
        info="why g",
    )
    assert [g.contents for g in package.placement_groups] == [("gate",), ()]
    assert from_json(canonical_json(package), Package) == package


def test_the_nearest_group_around_a_machine_counts(tmp_path: Path) -> None:
    alone, inner, outer = read_all(
        tmp_path,
        collection(
            "works",
            machine("alone"),
            collection("store", put_into("g"), machine("inner", put_into("h")), machine("outer")),
        ),
        sections=group("g", "availability") + group("h", "affinity"),
    )
    assert alone.get_placement_group() is None
    assert (inner.placement_group, outer.placement_group) == ("h", "g")
    assert [g.contents for g in alone.placement_groups] == [("store",), ("inner",)]


def test_an_optional_group_of_an_unknown_policy_is_a_risk(tmp_path: Path) -> None:
    section = group("g", "nearby").replace(
        "<PlacementGroupSection", '<PlacementGroupSection ovf:required="0"'
    )
    (package,) = read_all(tmp_path, machine("gate", put_into("g")), sections=section)
    assert package.get_placement_group() is None
    assert "placement-policy" in [finding.rule for finding in package.findings]


# ---- order of start --------------------------------------------------------------------------------------------------


def test_the_order_of_start_with_the_defaults_of_the_schema(tmp_path: Path) -> None:
    first, _ = read_all(
        tmp_path,
        collection(
            "works",
            "<StartupSection><Info>i</Info>"
            '<Item ovf:id="b" ovf:order="2" ovf:startDelay="30" ovf:stopDelay="9" ovf:waitingForGuest="true"'
            ' ovf:startAction="none" ovf:stopAction="guestShutdown"/>'
            '<Item ovf:id="a" ovf:order="0"/></StartupSection>',
            machine("a"),
            machine("b"),
        ),
    )
    assert first.start_order == (
        StartUp(content_id="a", order=0, collection="works"),
        StartUp(
            content_id="b",
            order=2,
            start_delay_s=30,
            stop_delay_s=9,
            waits_for_guest=True,
            start_action="none",
            stop_action="guestShutdown",
            collection="works",
        ),
    )
    # DSP8023: startDelay 0, stopDelay 0, waitingForGuest false, startAction powerOn, stopAction powerOff
    least = first.start_order[0]
    assert (least.start_delay_s, least.stop_delay_s, least.waits_for_guest) == (0, 0, False)
    assert (least.start_action, least.stop_action) == ("powerOn", "powerOff")


def test_an_unknown_action_is_a_risk(tmp_path: Path) -> None:
    (package,) = read_all(
        tmp_path,
        collection(
            "works",
            '<StartupSection><Info>i</Info><Item ovf:id="a" ovf:order="0" ovf:stopAction="flood"/></StartupSection>',
            machine("a"),
        ),
    )
    assert package.start_order[0].stop_action == "powerOff"
    assert ("start-action", Severity.RISK) in [(f.rule, f.severity) for f in package.findings]


# ---- how often -------------------------------------------------------------------------------------------------------


def test_counts_follow_the_size(tmp_path: Path) -> None:
    gate, store = read_all(
        tmp_path,
        collection(
            "works",
            '<ScaleOutSection ovf:id="store"><Info>i</Info><Description>stores</Description>'
            '<InstanceCount ovf:default="3" ovf:maximum="9"/>'
            '<InstanceCount ovf:default="5" ovf:minimum="5" ovf:configuration="l"/></ScaleOutSection>',
            machine("gate"),
            machine("store"),
        ),
        sections=configurations("s", "l"),
    )
    assert gate.scale_out == ()
    assert store.scale_out == (
        ScaleOut(
            content_id="store",
            description="stores",
            counts=(
                InstanceCount(size_id="", least=1, default=3, most=9),  # DSP8023: minimum defaults to 1
                InstanceCount(size_id="l", least=5, default=5, most=None),
            ),
        ),
    )
    assert store.scale_out[0].count_for("s") == InstanceCount(size_id="", least=1, default=3, most=9)
    assert store.scale_out[0].count_for("l") == InstanceCount(size_id="l", least=5, default=5)


def test_what_a_collection_reserves_together_follows_bound_and_size(tmp_path: Path) -> None:
    def share(attributes: str, number: str, quantity: str) -> str:
        return item(
            attributes,
            AllocationUnits="hertz * 10^6",
            ElementName="share",
            InstanceID=number,
            Reservation=quantity,
            ResourceType="3",
            Weight="7",
        )

    (package,) = read_all(
        tmp_path,
        collection(
            "works",
            "<ResourceAllocationSection><Info>i</Info>"
            + share("", "1", "500")
            + share('ovf:configuration="l"', "1", "900")
            + share('ovf:bound="max"', "1", "9999")
            + "</ResourceAllocationSection>",
            machine("gate"),
        ),
        sections=configurations("s", "l", default="l"),
    )
    assert package.group_allocations == (
        Allocation(of="Processor", unit="hertz", reservation=900_000_000, weight=7),
    )


# ---- other sections of edition 2 -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("required", "severity"), [("true", Severity.STOP), ("false", Severity.RISK)])
def test_shared_disks_are_read_and_stop_a_rollout(tmp_path: Path, required: str, severity: Severity) -> None:
    (package,) = read_all(
        tmp_path,
        machine("gate"),
        sections=f'<SharedDiskSection ovf:required="{required}"><Info>quorum</Info>'
        '<SharedDisk ovf:diskId="q" ovf:capacity="9" ovf:readOnly="true"/></SharedDiskSection>',
    )
    assert [(disk.disk_id, disk.shared, disk.read_only) for disk in package.disks] == [("q", True, True)]
    assert [(f.rule, f.severity) for f in package.findings] == [("shared-disk", severity)]


def test_what_the_machine_starts_from_is_told(tmp_path: Path) -> None:
    cim = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/"
    boot = (
        f'<BootDeviceSection xmlns:c="{cim}CIM_BootConfigSetting" xmlns:s="{cim}CIM_BootSourceSetting"><Info>i</Info>'
        "<c:CIM_BootConfigSetting><c:ElementName>from CD</c:ElementName><c:InstanceID>1</c:InstanceID>{}"
        "</c:CIM_BootConfigSetting></BootDeviceSection>"
    )
    source = (
        "<s:CIM_BootSourceSetting><s:ElementName>e</s:ElementName><s:InstanceID>2</s:InstanceID>"
        "<s:StructuredBootString>CIM:CD/DVD:1</s:StructuredBootString></s:CIM_BootSourceSetting>"
    )
    (package,) = read_all(tmp_path, machine("gate", boot.format(source)))
    assert package.boot_order == ("CIM:CD/DVD:1",)
    (package,) = read_all(tmp_path, machine("gate", boot.format("")))
    assert package.boot_order == ("from CD",)


def test_networks_tell_what_they_are_for(tmp_path: Path) -> None:
    (package,) = read_all(
        tmp_path,
        machine("gate"),
        sections='<NetworkSection><Info>i</Info><Network ovf:name="Front"><Description>people</Description>'
        "<NetworkPortProfileURI>https://ports.example/1</NetworkPortProfileURI></Network></NetworkSection>",
    )
    assert package.network_descriptions == (("Front", "people"),)
    assert [finding.rule for finding in package.findings] == ["network-port-profile"]
