"""A second, differently shaped appliance: a YAML file of its own is all that is new, and no line of the program."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from staddle.appliances.interpreter import ProfiledAppliance
from staddle.design.profile import Profile
from staddle.design.reader import read_model
from staddle.jobs.wire import RealWire
from staddle.plan.ports import Target
from staddle.rollout.run import fold
from staddle.trust.fingerprints import Fingerprint, find_fingerprints
from staddle.trust.secrets import Secret
from tests.appliances.appliance_suite import ApplianceSuite, Party, form
from tests.appliances.eelgate_package import PROFILE, build_eelgate
from tests.platforms.added_platform import AddedJob
from tests.platforms.bench import until
from tests.platforms.loopback_blocks import own_block

PROGRAM = Path(__file__).with_name("eelgate.py")
WORD = "warden-Word-1"
OVF = "http://schemas.dmtf.org/ovf/environment/1"


def started(folder: Path, block: int, number: int) -> subprocess.Popen[bytes]:
    rows = {
        "full_name": f"eel{number}.example",
        "ip": f"192.0.2.{20 + number}",
        "warden_word": WORD,
    }
    inner = "".join(f'<Property oe:key="eelgate.{k}" oe:value="{v}"/>' for k, v in rows.items())
    document = f'<Environment xmlns="{OVF}" xmlns:oe="{OVF}"><PropertySection>{inner}</PropertySection></Environment>'
    (folder / "answers").write_text(document)
    command = [sys.executable, str(PROGRAM), "--port", "9555", "--processors", "2", "--memory-mib", "2048"]
    for name in ("answers", "state", "console"):
        command += [f"--{name}", str(folder / name)]
    return subprocess.Popen([*command, "--address-map", f"192.0.2.0/24=127.{block}.2.0/24"])


@pytest.fixture(scope="class")
def party(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Party]:
    profile = read_model(PROFILE, Profile, where="eelgate.yaml").value
    with own_block() as block, ExitStack() as stack:
        prints: list[Fingerprint] = []
        for number in (1, 2, 3):
            folder = tmp_path_factory.mktemp(f"eel{number}")
            process = stack.enter_context(started(folder, block, number))
            stack.callback(process.kill)
            console = folder / "console"
            until(lambda shown=console: shown.exists() and "ready" in shown.read_text(), what="ready")  # type: ignore[misc]
            prints += find_fingerprints(console.read_text())
        first, second, third = (
            Target(
                member=f"eel{number}",
                address=f"192.0.2.{20 + number}",
                port=9555,
                pinned=pinned,
                user="warden",
                secret=Secret(WORD),
            )
            for number, pinned in enumerate(prints, 1)
        )
        wire = RealWire(lambda address, port: (f"127.{block}.2.{address.rpartition('.')[2]}", port))
        made = Party(
            appliance=ProfiledAppliance(profile, wire),
            targets=(first, second, third),
            names=("eel1.example", "eel2.example", "eel3.example"),
            version="9.1",
            processors=2,
            memory_mib=2048,
            act="open",
            look="look-open",
        )
        form(made)
        yield made


@pytest.mark.xdist_group("appliance-eelgate")
class TestEelgate(ApplianceSuite):
    pass


def test_a_whole_rollout_needs_the_profile_and_the_package_and_nothing_else(tmp_path: Path) -> None:
    changes = {
        "file: ../sluicelog-4.2.0.ova": "file: ../eelgate/eelgate.ovf",
        "  size: river\n": "",
        "profile: sluicelog": "profile: eelgate.yaml",
        "leads: second, ": "",
        "package: Management,": "package: Backbone,",
        "  - {package: Telemetry, estate: om-telemetry, first: 198.51.100.61}\n": "",
    }
    with own_block() as block:
        job = AddedJob(root=tmp_path, block=block, program=[sys.executable, str(PROGRAM)])
        job.lay_out(changes)
        build_eelgate(tmp_path / "eelgate")
        (job.job / "eelgate.yaml").write_text(PROFILE)
        try:
            job.staddle("place", "--settle", "--yes")
            said = job.staddle("rollout")
            assert "levels-rollout-1 is sealed" in said
            head, entries = job.journal()
            run = fold(head.plan, entries)
            assert run.sealed
            assert head.plan.product == "Eelgate"
            assert "cluster/name-deputy" not in run.known, "the design names no deputy"
            assert run.evidence("cluster/open-ring") == {"open": True}
        finally:
            job.clear()
