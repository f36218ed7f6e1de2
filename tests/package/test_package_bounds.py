"""What a hostile package can cost: memory stays below 100 MiB above the interpreter's own, and nothing grows without end.

The bounds are ours (common practice, no source). Each case is read in a process of its own, whose peak is what the
system counted for it; speed is not judged.
"""

import subprocess
import sys
import tarfile
from collections.abc import Callable
from pathlib import Path

import pytest

from staddle.kernel import InputRefused
from staddle.package import read_package
from tests.package.descriptor_pieces import (
    archive,
    configurations,
    disks,
    envelope,
    folder,
    hardware,
    item,
    networks,
    product,
)

MOST_ABOVE_BYTES = 100 << 20
READ = """\
import sys
from pathlib import Path
if len(sys.argv) > 1:
    from staddle.kernel import InputRefused
    from staddle.package import read_machines
    try:
        print(len(read_machines(Path(sys.argv[1]))))
    except InputRefused as refused:
        print(refused.faults[-1].what)
"""
# Not getrusage: what it counts began with the process that started this one.
COUNT = """
import re
from pathlib import Path
print(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
"""


def peak(*path: str) -> tuple[str, int]:
    """What came of it, and the most bytes that the process held."""
    done = subprocess.run(
        [sys.executable, "-c", READ + COUNT, *path], capture_output=True, text=True, check=True
    )
    *told, kibibytes = done.stdout.splitlines()
    return " ".join(told), int(kibibytes) * 1024


def doubling(levels: int) -> str:
    """Collections in collections, each with a property that stands twice in the next one's."""
    inner = f'<VirtualSystem ovf:id="vm"><Info>i</Info>{hardware()}</VirtualSystem>'
    for level in range(levels, -1, -1):
        value = f"${{a{level - 1}}}" * 2 if level else "tide" * 250
        asked = product(f'<Property ovf:key="a{level}" ovf:type="string" ovf:value="{value}"/>')
        inner = f'<VirtualSystemCollection ovf:id="c{level}"><Info>i</Info>{asked}{inner}</VirtualSystemCollection>'
    return envelope(content=inner)


def many_machines() -> str:
    asked = product(*(f'<Property ovf:key="k{n}" ovf:type="string"/>' for n in range(20_000)))
    machines = "".join(
        f'<VirtualSystem ovf:id="v{n}"><Info>i</Info>{hardware()}</VirtualSystem>' for n in range(99)
    )
    return envelope(
        content=f'<VirtualSystemCollection ovf:id="c"><Info>i</Info>{asked}{machines}</VirtualSystemCollection>'
    )


def many_sizes() -> str:
    devices = (item(ElementName="x", InstanceID=str(n), ResourceType="1") for n in range(10, 2500))
    return envelope(sections=configurations(*(f"s{n}" for n in range(99))), system=hardware(*devices))


def many_names() -> str:
    adapter = (
        item(Connection="zz", ElementName="x", InstanceID=str(n), ResourceType="10") for n in range(10, 3000)
    )
    return envelope(sections=networks(*(f"n{n}" for n in range(20_000))), system=hardware(*adapter))


HOSTILE: dict[str, tuple[Callable[[], str], str]] = {
    "one text of the largest size": (
        lambda: envelope(product(f"<Product>{'x' * 4_000_000}</Product>")),
        "1",
    ),
    "attributes without end": (
        lambda: f"<a {' '.join(f'a{n}=' + chr(34) * 2 for n in range(390_000))}/>",
        "a tag or comment has more than 262144 bytes",
    ),
    "as many elements as are read": (
        lambda: envelope(sections=f"<DiskSection><Info/>{'<b>x</b>y' * 49_000}</DiskSection>"),
        "1",
    ),
    "as many questions as are read": (
        lambda: envelope(
            product(
                *(
                    f'<Property ovf:key="k{n}" ovf:type="string" ovf:value="{"v" * 60}"><Label>l{n}</Label></Property>'
                    for n in range(20_000)
                )
            )
        ),
        "1",
    ),
    "a value that doubles at each of 50 levels": (
        lambda: doubling(50),
        "the descriptor makes more than 4194304 characters in values out of what it says",
    ),
    "questions times machines": (
        many_machines,
        "the descriptor makes more than 150000 parts out of what it says",
    ),
    "devices times sizes": (many_sizes, "the descriptor makes more than 150000 parts out of what it says"),
    "faults without end": (
        lambda: envelope(sections=disks(*['ovf:diskId="d"'] * 40_000)),
        "there are more than 100 faults; the rest is not told",
    ),
    "messages that list everything": (many_names, "there are more than 100 faults; the rest is not told"),
    "a unit without end": (
        lambda: envelope(
            sections=disks(
                f'ovf:diskId="d" ovf:capacity="9" ovf:capacityAllocationUnits="{"byte * " * 30_000}byte"'
            )
        ),
        'capacity of the disk "d": "' + ("byte * " * 72)[:500] + '…" is not a programmatic unit',
    ),
}


@pytest.fixture(scope="module")
def own_bytes() -> int:
    """The peak of an interpreter that reads nothing."""
    return peak()[1]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_descriptor_costs_no_more_than_it_may(tmp_path: Path, name: str, own_bytes: int) -> None:
    make, expected = HOSTILE[name]
    told, most_bytes = peak(str(folder(tmp_path, make())))
    assert told == expected
    assert most_bytes - own_bytes < MOST_ABOVE_BYTES


def test_an_archive_of_50_gib_costs_no_more_than_it_may(tmp_path: Path, own_bytes: int) -> None:
    # Ten thousand members but one with the longest names, then a disk of 50 GiB that is a hole: nothing is written.
    size = 50 << 30
    path = tmp_path / "box.ova"
    with path.open("wb") as file:
        descriptor = envelope(files=('ovf:id="f" ovf:href="big.img"',)).encode()
        members = [("box.ovf", len(descriptor)), *((f"{n:05d}-{'x' * 900}", 0) for n in range(9_998))]
        for name, length in members:
            info = tarfile.TarInfo(name)
            info.size = length
            file.write(info.tobuf(tarfile.PAX_FORMAT))
            if length:
                file.write(descriptor.ljust((length + 511) // 512 * 512, b"\0"))
        info = tarfile.TarInfo("big.img")
        info.size = size
        file.write(info.tobuf(tarfile.GNU_FORMAT))
        file.truncate(file.tell() + size + 1024)
    told, most_bytes = peak(str(path))
    assert told == "1"
    assert most_bytes - own_bytes < MOST_ABOVE_BYTES


def test_the_measure_sees_what_is_held(own_bytes: int) -> None:
    # A check of the check: a process that holds as much as is forbidden is seen to do so.
    code = f"held = b'x' * {MOST_ABOVE_BYTES}\n{COUNT}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert int(done.stdout) * 1024 - own_bytes >= MOST_ABOVE_BYTES * 95 // 100


def test_many_findings_end_with_one_that_says_so(tmp_path: Path) -> None:
    drives = (item(ElementName="d", InstanceID=str(n), ResourceType="17") for n in range(10, 900))
    findings = read_package(folder(tmp_path, envelope(system=hardware(*drives)))).findings
    assert (len(findings), findings[-1].rule) == (501, "more-findings")


def test_texts_in_files_share_one_bound(tmp_path: Path) -> None:
    text = b"<Strings/>" + b" " * 1_500_000
    names = [f"t{n}.xml" for n in range(3)]
    descriptor = envelope(
        files=[f'ovf:id="{name}" ovf:href="{name}"' for name in names],
        strings="".join(f'<Strings xml:lang="de" ovf:fileRef="{name}"/>' for name in names),
    )
    with pytest.raises(InputRefused, match=r'"t2\.xml" have 1500010 bytes') as caught:
        read_package(folder(tmp_path, descriptor, dict.fromkeys(names, text)))
    assert len(caught.value.faults) == 1


def test_a_long_chain_of_disks_is_refused(tmp_path: Path) -> None:
    rows = (f'ovf:diskId="d{n}" ovf:capacity="9" ovf:parentRef="d{n + 1}"' for n in range(66))
    last = 'ovf:diskId="d66" ovf:capacity="9"'
    with pytest.raises(InputRefused, match='the disk "d0" has more than 64 ancestors'):
        read_package(folder(tmp_path, envelope(sections=disks(*rows, last))))


def test_more_sizes_and_machines_than_a_package_has_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="more than 100 configurations"):
        read_package(folder(tmp_path, envelope(sections=configurations(*(f"s{n}" for n in range(101))))))
    machines = "".join(f'<VirtualSystem ovf:id="v{n}"><Info>i</Info></VirtualSystem>' for n in range(101))
    content = f'<VirtualSystemCollection ovf:id="c"><Info>i</Info>{machines}</VirtualSystemCollection>'
    with pytest.raises(InputRefused, match="holds 101 virtual machines"):
        read_package(folder(tmp_path, envelope(content=content)))


def test_the_faults_of_an_archive_end(tmp_path: Path) -> None:
    links = []
    for number in range(300):
        info = tarfile.TarInfo(f"{number}.img")
        info.type, info.linkname = tarfile.SYMTYPE, "x"
        links.append((info, b""))
    with pytest.raises(InputRefused) as caught:
        read_package(archive(tmp_path, [("box.ovf", b""), *links]))
    assert len(caught.value.faults) == 100
