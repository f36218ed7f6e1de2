"""Bad descriptors and the whole message that each one earns: what, where, why, the mend."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from staddle.kernel import InputRefused
from staddle.package import markup, read_package
from tests.package.descriptor_pieces import MEMORY as MEM
from tests.package.descriptor_pieces import PROCESSOR as CPU
from tests.package.descriptor_pieces import (
    bare_hardware,
    configurations,
    disks,
    envelope,
    folder,
    hardware,
    item,
    networks,
    product,
)

TWO = "".join(f'<VirtualSystem ovf:id="{n}"><Info>i</Info>{hardware()}</VirtualSystem>' for n in ("a", "b"))
ONE = f'<VirtualSystem ovf:id="a"><Info>i</Info>{hardware()}</VirtualSystem>'
FILES = {"a.img": b"abc", "b.img": b"x", "c.img.000000000": b"ab", "c.img.000000001": b"c"}


@dataclass(frozen=True)
class Case:
    name: str
    descriptor: str
    message: str


def collection(inner: str, *sections: str) -> str:
    return f'<VirtualSystemCollection ovf:id="all"><Info>i</Info>{"".join(sections)}{inner}</VirtualSystemCollection>'


def group(policy: str, attributes: str = "") -> str:
    return f'<PlacementGroupSection ovf:id="g" ovf:policy="{policy}" {attributes}><Info>i</Info></PlacementGroupSection>'


def startup(*items: str) -> str:
    return f"<StartupSection><Info>i</Info>{''.join(items)}</StartupSection>"


def scale_out(*counts: str, content_id: str = "a") -> str:
    return f'<ScaleOutSection ovf:id="{content_id}"><Info>i</Info>{"".join(counts)}</ScaleOutSection>'


CASES = [
    Case(
        "not an envelope",
        "<html/>",
        """\
error: the root element is "html", not an OVF Envelope
  where: box.ovf:1
  why:   this file is not an OVF descriptor (DSP0243)
  try:   name the package's .ovf file
""",
    ),
    Case(
        "draft namespace",
        envelope(edition="").replace('/envelope/"', '/envelope"'),
        """\
error: the envelope's namespace "http://schemas.dmtf.org/ovf/envelope" is not one of the standard
  where: box.ovf:2
  why:   the standard's are http://schemas.dmtf.org/ovf/envelope/1 and http://schemas.dmtf.org/ovf/envelope/2; drafts before it used others and differ in meaning
  try:   ask the package's maker for one according to DSP0243 1.0 or later
""",
    ),
    Case(
        "no machine",
        envelope(content=""),
        """\
error: the package holds no virtual machine
  where: box.ovf:2
  why:   a VirtualSystem is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "two machines",
        envelope(
            content='<VirtualSystemCollection ovf:id="all"><Info>i</Info>'
            + TWO
            + "</VirtualSystemCollection>"
        ),
        """\
error: the package holds 2 virtual machines: "a", "b"
  where: box.ovf
  why:   a cluster is made of members of one machine; nothing tells which of these it is
  try:   name one in design.yaml: package.machine; look at all with: staddle package FILE
""",
    ),
    Case(
        "no hardware",
        envelope(system=""),
        """\
error: the virtual system has no VirtualHardwareSection
  where: box.ovf:5
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "no id",
        envelope().replace('<VirtualSystem ovf:id="vm">', "<VirtualSystem>"),
        """\
error: VirtualSystem has no ovf:id
  where: box.ovf:5
  why:   the schema requires it (DSP8023)
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "required section unknown",
        envelope('<x:Tide xmlns:x="https://tide.example/1"><Info>High at noon</Info></x:Tide>'),
        """\
error: the section Tide is not known and is required
  where: box.ovf:6
  why:   a reader that does not understand a required section must not import the package (DSP0243); the section says: "High at noon"
  try:   ask the package's maker for one that can be deployed without this section
""",
    ),
    Case(
        "section misplaced",
        envelope(sections=product()),
        """\
error: the ProductSection does not belong in the Envelope
  where: box.ovf:4
  why:   another reader would not find it there (DSP0243, table of sections)
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "section not carried out",
        envelope(sections="<EncryptionSection><Info>i</Info></EncryptionSection>", edition="2"),
        """\
error: the package needs its EncryptionSection
  where: box.ovf:4
  why:   encrypted packages cannot be read
  try:   ask the package's maker for one that can be deployed without this section
""",
    ),
    Case(
        "file without href",
        envelope(files=('ovf:id="f"',)),
        """\
error: File has no ovf:href
  where: box.ovf:3
  why:   the schema requires it (DSP8023)
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "file id twice",
        envelope(files=('ovf:id="f" ovf:href="a.img"', 'ovf:id="f" ovf:href="b.img"')),
        """\
error: the file id "f" stands twice
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "file missing",
        envelope(files=('ovf:id="f" ovf:href="no%20where.img"',)),
        """\
error: the file "no where.img" is not there
  where: box.ovf:3
  why:   the descriptor refers to it as "no%20where.img"; links are not followed
  try:   put all files of the package side by side, or fetch it again
""",
    ),
    Case(
        "chunk missing",
        envelope(files=('ovf:id="f" ovf:href="a.img" ovf:chunkSize="3"',)),
        """\
error: the first chunk "a.img.000000000" is not there
  where: box.ovf:3
  why:   the descriptor refers to it as "a.img"; links are not followed
  try:   put all files of the package side by side, or fetch it again
""",
    ),
    Case(
        "chunk uneven",
        envelope(files=('ovf:id="f" ovf:href="c.img" ovf:chunkSize="3"',)),
        """\
error: the chunk "c.img.000000000" has 2 bytes
  where: box.ovf:3
  why:   ovf:chunkSize is 3: every chunk but the last has that size, the last at most that
  try:   fetch the package again; a chunk is incomplete or missing
""",
    ),
    Case(
        "file elsewhere",
        envelope(files=('ovf:id="f" ovf:href="https://box.example/a.img"',)),
        """\
error: the reference "https://box.example/a.img" is not relative
  where: box.ovf:3
  why:   it would be fetched from elsewhere; this program reads what lies in the package only
  try:   put the file beside the descriptor and ask the maker for a package that is complete in itself
""",
    ),
    Case(
        "file by file scheme",
        envelope(files=('ovf:id="f" ovf:href="file:///etc/motd"',)),
        """\
error: the reference "file:///etc/motd" is not relative
  where: box.ovf:3
  why:   it would be fetched from elsewhere; this program reads what lies in the package only
  try:   put the file beside the descriptor and ask the maker for a package that is complete in itself
""",
    ),
    Case(
        "file out of the package",
        envelope(files=('ovf:id="f" ovf:href="../a.img"',)),
        """\
error: the reference "../a.img" leads out of the package
  where: box.ovf:3
  why:   it holds ".."
  try:   do not use this package; ask its maker for a sound one
""",
    ),
    Case(
        "file out of the package, hidden",
        envelope(files=('ovf:id="f" ovf:href="%2e%2e/a.img"',)),
        """\
error: the reference "%2e%2e/a.img" leads out of the package
  where: box.ovf:3
  why:   it holds ".."
  try:   do not use this package; ask its maker for a sound one
""",
    ),
    Case(
        "file size differs",
        envelope(files=('ovf:id="f" ovf:href="a.img" ovf:size="4"',)),
        """\
error: the file "a.img" has 3 bytes, its ovf:size says 4
  where: box.ovf:3
  why:   the file is not the one that was described
  try:   fetch the package again; if the size stays, ask its maker for a corrected one
""",
    ),
    Case(
        "file size no number",
        envelope(files=('ovf:id="f" ovf:href="a.img" ovf:size="-4"',)),
        """\
error: ovf:size of File is "-4"
  where: box.ovf:3
  why:   a whole number from 0 to 18446744073709551615 is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "compression unknown",
        envelope(files=('ovf:id="f" ovf:href="a.img" ovf:compression="xz"',)),
        """\
error: the file "f" is compressed with "xz"
  where: box.ovf:3
  why:   gzip and bzip2 are the methods that can be read
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk without capacity",
        envelope(sections=disks('ovf:diskId="d"')),
        """\
error: Disk has no ovf:capacity
  where: box.ovf:4
  why:   the schema requires it (DSP8023)
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk capacity no number",
        envelope(sections=disks('ovf:diskId="d" ovf:capacity="8 GB"')),
        """\
error: the capacity of the disk "d" is "8 GB"
  where: box.ovf:4
  why:   a whole number or ${property} is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk capacity zero",
        envelope(sections=disks('ovf:diskId="d" ovf:capacity="0"')),
        """\
error: the capacity of the disk "d" is 0 bytes
  where: box.ovf:4
  why:   it must be above 0 and below 2^63
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk capacity too large",
        envelope(sections=disks('ovf:diskId="d" ovf:capacity="9" ovf:capacityAllocationUnits="byte * 2^60"')),
        """\
error: the capacity of the disk "d" is 10376293541461622784 bytes
  where: box.ovf:4
  why:   it must be above 0 and below 2^63
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk capacity units",
        envelope(sections=disks('ovf:diskId="d" ovf:capacity="9" ovf:capacityAllocationUnits="barrel"')),
        """\
error: capacity of the disk "d": "barrel" is not a programmatic unit
  where: box.ovf:4
  why:   a base unit is expected, then at most one number and one power; base units are bit, byte, count, hertz, percent, second
  try:   the maker must write for example "byte * 2^30"
""",
    ),
    Case(
        "disk capacity in hertz",
        envelope(sections=disks('ovf:diskId="d" ovf:capacity="9" ovf:capacityAllocationUnits="hertz"')),
        """\
error: the capacity of the disk "d" is counted in hertz
  where: box.ovf:4
  why:   bytes or a multiple of them are expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk capacity without property",
        envelope(sections=disks('ovf:diskId="d" ovf:capacity="${gib}"')),
        """\
error: the capacity of the disk "d" is ${gib}, and there is no such property
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk capacity without default",
        envelope(
            product('<Property ovf:key="gib" ovf:type="uint32"/>'),
            sections=configurations("s") + disks('ovf:diskId="d" ovf:capacity="${gib}"'),
        ),
        """\
error: the capacity of the disk "d" in size "s" is ""
  where: box.ovf:4
  why:   a whole number or ${property} is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk id twice",
        envelope(sections=disks('ovf:diskId="d" ovf:capacity="9"', 'ovf:diskId="d" ovf:capacity="9"')),
        """\
error: the disk id "d" stands twice
  where: box.ovf:5
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk file undeclared",
        envelope(sections=disks('ovf:diskId="d" ovf:fileRef="f" ovf:capacity="9"')),
        """\
error: the disk "d" refers to the file "f", which is not declared
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk parent unknown",
        envelope(sections=disks('ovf:diskId="d" ovf:parentRef="p" ovf:capacity="9"')),
        """\
error: the disk "d" has the parent "p", which is not declared
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk is its own ancestor",
        envelope(
            sections=disks(
                'ovf:diskId="d" ovf:parentRef="e" ovf:capacity="9"',
                'ovf:diskId="e" ovf:parentRef="d" ovf:capacity="9"',
            )
        ),
        """\
error: the disk "d" is its own ancestor
  where: box.ovf:4
  why:   ovf:parentRef must lead to a disk without a parent
  try:   ask the package's maker for a corrected one

error: the disk "e" is its own ancestor
  where: box.ovf:5
  why:   ovf:parentRef must lead to a disk without a parent
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "configuration id twice",
        envelope(sections=configurations("s", "s")),
        """\
error: the configuration id "s" stands twice
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "two defaults",
        envelope(sections=configurations("s", "l", default="l").replace('"s"', '"s" ovf:default="1"')),
        """\
error: the configuration "l" is marked as default, and so is another
  where: box.ovf:4
  why:   at most one can be the default
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "no configuration",
        envelope(sections=configurations()),
        """\
error: the DeploymentOptionSection holds no configuration
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "configuration id with blank",
        envelope(sections=configurations("so big")),
        """\
error: the configuration id "so big" holds a blank or a comma
  where: box.ovf:4
  why:   items name configurations in a list separated by these
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "flag",
        envelope(sections=configurations("s", default="s").replace('"true"', '"yes"')),
        """\
error: ovf:default of Configuration is "yes"
  where: box.ovf:4
  why:   true, false, 1 or 0 is expected (xs:boolean)
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "unknown configuration",
        envelope(
            sections=configurations("s", "l"),
            system=hardware(
                item('ovf:configuration="xl"', ElementName="CD", InstanceID="9", ResourceType="15")
            ),
        ),
        """\
error: ovf:configuration names "xl", which the package does not have
  where: box.ovf:9
  why:   its configurations are "l", "s"
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "item twice",
        envelope(system=hardware(item(**CPU))),
        """\
error: the hardware item 1 stands twice
  where: box.ovf:9
  why:   an InstanceID stands once for each bound and configuration
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "item twice for a size",
        envelope(
            sections=configurations("s", "l"),
            system=hardware(item('ovf:configuration="s l"', **CPU), item('ovf:configuration="l"', **CPU)),
        ),
        """\
error: the hardware item 1 stands twice for the configuration "l"
  where: box.ovf:10
  why:   an InstanceID stands once for each bound and configuration
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "item without id",
        envelope(system=hardware(item(ElementName="CD", ResourceType="15"))),
        """\
error: a hardware item has no InstanceID
  where: box.ovf:9
  why:   CIM makes it the key
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "item without type",
        envelope(system=hardware(item(ElementName="CD", InstanceID="9"))),
        """\
error: the hardware item 9 has the ResourceType ""
  where: box.ovf:9
  why:   a number of the CIM value map is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "item bound",
        envelope(
            system=hardware(item('ovf:bound="low"', ElementName="CD", InstanceID="9", ResourceType="15"))
        ),
        """\
error: the hardware item 9 has the bound "low"
  where: box.ovf:9
  why:   min, max or normal is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "item of a vendor",
        envelope(system=hardware(item(ElementName="Odd", InstanceID="9", ResourceType="32768"))),
        """\
error: the hardware cannot be met: it needs a vendor's own type 32768: Odd
  where: box.ovf:9
  why:   a required device that cannot be met fails the import
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "no processor",
        envelope(system=bare_hardware(item(**MEM))),
        """\
error: the machine has no processor
  where: box.ovf:6
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "no memory in a size",
        envelope(
            sections=configurations("s", "l"),
            system=bare_hardware(item(**CPU), item('ovf:configuration="l"', **MEM)),
        ),
        """\
error: the machine has no memory in size "s"
  where: box.ovf:6
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "processors no number",
        envelope(system=bare_hardware(item(**CPU | {"VirtualQuantity": "2.5"}), item(**MEM))),
        """\
error: the processor item 1 has the VirtualQuantity "2.5"
  where: box.ovf:7
  why:   the number of processors, from 1 to 65535, is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "memory zero",
        envelope(system=bare_hardware(item(**CPU), item(**MEM | {"VirtualQuantity": "0"}))),
        """\
error: the memory item 2 has the VirtualQuantity "0"
  where: box.ovf:8
  why:   a whole number above 0 is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "memory units",
        envelope(system=bare_hardware(item(**CPU), item(**MEM | {"AllocationUnits": "hertz * 10^6"}))),
        """\
error: the memory item 2: "hertz * 10^6" is not a unit of memory
  where: box.ovf:8
  why:   it counts hertz, bytes are expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "disk device unknown",
        envelope(
            system=hardware(
                item(ElementName="D", HostResource="ovf:/disk/d", InstanceID="9", ResourceType="17")
            )
        ),
        """\
error: the disk device "D" names "ovf:/disk/d", which is not a disk of the package
  where: box.ovf:9
  why:   ovf:/disk/ and the id of a declared disk is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "adapter network unknown",
        envelope(
            sections=networks("Front"),
            system=hardware(item(Connection="front", ElementName="N", InstanceID="9", ResourceType="10")),
        ),
        """\
error: the adapter "N" is connected to "front", which is not a declared network
  where: box.ovf:9
  why:   declared networks are "Front"
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "network twice",
        envelope(sections=networks("Front", "Front")),
        """\
error: the network "Front" stands twice
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "property without type",
        envelope(product('<Property ovf:key="a"/>')),
        """\
error: Property has no ovf:type
  where: box.ovf:6
  why:   the schema requires it (DSP8023)
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "property key colon",
        envelope(product('<Property ovf:key="a:b" ovf:type="string"/>')),
        """\
error: the property key "a:b" holds a colon
  where: box.ovf:6
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "property twice",
        envelope(product('<Property ovf:key="a" ovf:type="string"/>' * 2)),
        """\
error: the property "a" stands twice
  where: box.ovf:6
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "product section twice",
        envelope(product(attributes='ovf:class="c"'), product(attributes='ovf:class="c"')),
        """\
error: there are two product sections with the class "c" and the instance ""
  where: box.ovf:7
  why:   class and instance together must be unique
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "class colon",
        envelope(product(attributes='ovf:class="c:d"')),
        """\
error: the class "c:d" holds a colon
  where: box.ovf:6
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "qualifiers",
        envelope(product('<Property ovf:key="a" ovf:type="string" ovf:qualifiers="MinLen("/>')),
        """\
error: the property "a": the qualifiers 'MinLen(' cannot be read at character 8
  where: box.ovf:6
  why:   a value is expected
  try:   the maker must write for example MinLen(1), MaxLen(64), ValueMap{"a","b"}
""",
    ),
    Case(
        "two values for a size",
        envelope(
            product(
                '<Property ovf:key="a" ovf:type="string">'
                + '<Value ovf:value="1" ovf:configuration="s"/>' * 2
                + "</Property>"
            ),
            sections=configurations("s"),
        ),
        """\
error: the property "a" has two values for the size "s"
  where: box.ovf:6
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "reference to no property",
        envelope(
            content='<VirtualSystemCollection ovf:id="all"><Info>i</Info><VirtualSystem ovf:id="vm"><Info>i</Info>'
            + product('<Property ovf:key="a" ovf:type="string" ovf:value="${zone}"/>')
            + hardware()
            + "</VirtualSystem></VirtualSystemCollection>"
        ),
        """\
error: the property "a" refers to ${zone}, and what encloses it has no such property
  where: box.ovf:5
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "operating system",
        envelope('<OperatingSystemSection ovf:id="70000"><Info>i</Info></OperatingSystemSection>'),
        """\
error: ovf:id of OperatingSystemSection is "70000"
  where: box.ovf:6
  why:   a whole number from 0 to 65535 is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "environment file",
        envelope(
            '<EnvironmentFilesSection><Info>i</Info><File ovf:fileRef="f" ovf:path="../../etc/motd"/></EnvironmentFilesSection>',
            edition="2",
        ),
        """\
error: the environment file "../../etc/motd" refers to the file "f", which is not declared
  where: box.ovf:6
  try:   ask the package's maker for a corrected one

error: the path "../../etc/motd" leads out of /ovffiles/
  where: box.ovf:6
  why:   it holds ".."
  try:   do not use this package; ask its maker for a sound one
""",
    ),
    Case(
        "bundle",
        envelope(strings='<Strings xml:lang="de" ovf:fileRef="b"/>'),
        """\
error: the texts in the file "b" cannot be read
  where: box.ovf:9
  why:   a declared file, neither compressed nor in chunks, is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "second content element",
        envelope(content=TWO),
        """\
error: the envelope holds a second content element
  where: box.ovf:7
  why:   exactly one is expected: a VirtualSystem, or a VirtualSystemCollection around several (DSP8023)
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "content id twice",
        envelope(content=collection(TWO.replace('"b"', '"a"'))),
        """\
error: the content id "a" stands twice
  where: box.ovf:7
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "placement policy",
        envelope(sections=group("nearby"), edition="2"),
        """\
error: the placement group "g" has the policy "nearby"
  where: box.ovf:4
  why:   the standard's are "availability" and "affinity"
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "placement group twice",
        envelope(sections=group("affinity") * 2, edition="2"),
        """\
error: the placement group "g" stands twice
  where: box.ovf:4
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "placement group unknown",
        envelope('<PlacementSection ovf:group="h"><Info>i</Info></PlacementSection>', edition="2"),
        """\
error: the placement group "h" is not declared
  where: box.ovf:6
  why:   declared are none
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "start order of a stranger",
        envelope(content=collection(ONE, startup('<Item ovf:id="c" ovf:order="0"/>'))),
        """\
error: the order of start names "c", which the collection does not hold
  where: box.ovf:5
  why:   the collection "all" holds "a"
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "start order twice",
        envelope(content=collection(ONE, startup('<Item ovf:id="a" ovf:order="0"/>' * 2))),
        """\
error: the order of start names "a" twice
  where: box.ovf:5
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "scale-out of a stranger",
        envelope(
            content=collection(ONE, scale_out('<InstanceCount ovf:default="3"/>', content_id="c")),
            edition="2",
        ),
        """\
error: the scale-out section names "c", which the package does not hold
  where: box.ovf:5
  why:   ovf:id names the machine or collection that stands several times
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "scale-out outside its bounds",
        envelope(
            content=collection(ONE, scale_out('<InstanceCount ovf:default="3" ovf:minimum="4"/>')),
            edition="2",
        ),
        """\
error: "a" shall stand 3 times, from 4 to any number
  where: box.ovf:5
  why:   the default lies between minimum and maximum
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "scale-out twice",
        envelope(content=collection(ONE, scale_out('<InstanceCount ovf:default="3"/>' * 2)), edition="2"),
        """\
error: "a" has two counts without a configuration
  where: box.ovf:5
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "scale-out without a count",
        envelope(content=collection(ONE, scale_out()), edition="2"),
        """\
error: a ScaleOutSection has no InstanceCount
  where: box.ovf:5
  why:   the schema requires one
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "drive with a file that is not there",
        envelope(
            system=hardware(
                item(ElementName="CD", HostResource="ovf:/file/x", InstanceID="9", ResourceType="15")
            )
        ),
        """\
error: the drive "CD" holds "ovf:/file/x", which is not a file of the package
  where: box.ovf:9
  why:   ovf:/file/ and the id of a declared file is expected
  try:   ask the package's maker for a corrected one
""",
    ),
    Case(
        "reservation in no unit",
        envelope(
            system=bare_hardware(item(**CPU | {"AllocationUnits": "barrel", "Reservation": "1"}), item(**MEM))
        ),
        """\
error: the hardware item 1: "barrel" is not a programmatic unit
  where: box.ovf:7
  why:   a base unit is expected, then at most one number and one power; base units are bit, byte, count, hertz, percent, second
  try:   the maker must write for example "byte * 2^30"
""",
    ),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_whole_message(tmp_path: Path, case: Case) -> None:
    with pytest.raises(InputRefused) as caught:
        read_package(folder(tmp_path, case.descriptor, FILES))
    assert str(caught.value) + "\n" == case.message


def test_the_names_of_the_cases_are_unique() -> None:
    assert len({case.name for case in CASES}) == len(CASES)


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    descriptor = envelope(
        product('<Property ovf:key="a:b" ovf:type="string"/>', '<Property ovf:key="c"/>'),
        files=('ovf:id="f" ovf:href="../a.img"',),
        sections=disks('ovf:diskId="d" ovf:fileRef="f" ovf:capacity="x"') + networks("N", "N"),
        system=bare_hardware(
            item(**CPU | {"VirtualQuantity": "0"}), item(**MEM | {"AllocationUnits": "barrel"})
        ),
    )
    with pytest.raises(InputRefused) as caught:
        read_package(folder(tmp_path, descriptor, FILES))
    assert [fault.what for fault in caught.value.faults] == [
        'the reference "../a.img" leads out of the package',
        'the property key "a:b" holds a colon',
        "Property has no ovf:type",
        'the capacity of the disk "d" is "x"',
        'the network "N" stands twice',
        'the processor item 1 has the VirtualQuantity "0"',
        'the memory item 2: "barrel" is not a programmatic unit',
    ]


def test_nothing_is_written_when_a_package_is_refused(tmp_path: Path) -> None:
    folder(tmp_path, CASES[0].descriptor, FILES)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputRefused):
        read_package(tmp_path)
    assert sorted(tmp_path.rglob("*")) == before


# ---- the short way past the pass over every tag -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "data",
    [
        b"<!DOCTYPE a><a/>",
        b"<a><!-- <!DOCTYPE b> --></a>",  # not even in a comment
        "<a/>".encode("utf-16"),
        "<a/>".encode("utf-16-le"),
        "<a/>".encode("utf-32"),
        # Encodings in which the bytes of "<!DOCTYPE" are others: RFC 2152, and EBCDIC (IBM code page 037)
        b'<?xml version="1.0" encoding="UTF-7"?>+ADwAIQ-DOCTYPE a+AD4-<a/>',
        '<?xml version="1.0" encoding="cp037"?><a/>'.encode("cp037"),
        b'<?xml version="1.0" encoding="UTF-16"?><a/>',
        b'<?xml version="1.1"?><a/>',
        b"<a>" + b"<b/>" * 50_000 + b"</a>",
        b"<a " + b" ".join(b'b%d="1"' % n for n in range(100_001)) + b"/>",
        b'<a b="' + b"x" * (130 << 10) + b'"/>',
        b"<a>" + b"<b>xxxxxxxxxxxxxxxxxxxxxxx</b>" * 40_000 + b"</a>",
        b"<a>\0</a>",
        b" <a/>",
        b"",
    ],
)
def test_whatever_could_hide_something_takes_the_long_way(data: bytes) -> None:
    assert not markup._is_plain(data)


@pytest.mark.parametrize(
    "head",
    [
        b"",
        b"\xef\xbb\xbf",
        b'<?xml version="1.0" encoding="UTF-8"?>\n',
        b"<?xml version='1.0' encoding='utf-8' ?>",
        b'<?xml version="1.0"?>',
    ],
)
def test_a_usual_document_takes_the_short_way_and_its_depth_is_still_bounded(head: bytes) -> None:
    deep = head + b"<a>" * 64 + b"</a>" * 64
    assert markup._is_plain(deep)
    assert markup.parse_markup(deep, where="x").tag == "a"
    with pytest.raises(InputRefused, match="elements are nested more than 64 deep"):
        markup.parse_markup(head + b"<a>" * 65 + b"</a>" * 65, where="x")
