"""A proof against real processes that lie on demand, through the real wire and the profile: the liar is named, and its lie.

Loopback block 127.181.0.0/16, a third octet a test.
"""

import asyncio
import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from staddle.appliances.interpreter import ProfiledAppliance
from staddle.design.profile import Profile
from staddle.design.reader import read_model
from staddle.jobs.wire import RealWire
from staddle.kernel import SystemClock
from staddle.plan.ports import Target
from staddle.proof.judge import judge
from staddle.proof.model import Expected, ExpectedMember, Proof
from staddle.proof.observe import observe, planned_probes
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Secret

ROOT = Path(__file__).parents[2]
APPLIANCE = ROOT / "tests" / "misbehaving" / "appliance.py"
PROFILE = ROOT / "src/staddle/appliances/profiles/sluicelog.yaml"
NAMES = ("levels-1", "levels-2", "levels-3")
PASSWORD = "first-Password-1"


def fqdn(name: str) -> str:
    """The member's full name."""
    return f"{name}.levels.ousemoor.example"


@contextmanager
def lying(folder: Path, faults: str, third: int) -> Iterator[list[dict[str, Any]]]:
    """The appliance's members while it runs: name, address, port, fingerprint, journal_fingerprint."""
    rows = ",".join(f"{fqdn(name)}=127.181.{third}.{10 + i}:0" for i, name in enumerate(NAMES, 1))
    command = [sys.executable, str(APPLIANCE), "--faults", faults, "--members", rows]
    command += ["--folder", str(folder), "--password", PASSWORD, "--memory-mib", "16384"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        try:
            yield json.loads(process.stdout.readline())["members"]
        finally:
            process.kill()


def expected_of(members: list[dict[str, Any]], order: tuple[str, ...] = NAMES) -> Expected:
    """The cluster as the journal would have it."""
    rows = {
        name: ExpectedMember(
            member=name,
            fqdn=fqdn(name),
            address=row["address"],
            port=row["port"],
            fingerprint=row["journal_fingerprint"],
            processors=4,
            memory_mib=16384,
            leads=leads,
        )
        for name, row, leads in zip(NAMES, members, ("first", "second", "never"), strict=True)
    }
    return Expected(
        cluster="Ousemoor levels",
        version="4.2.0",
        most_offset_ms=500,
        members=tuple(rows[name] for name in order),
    )


def prove_once(expected: Expected, *, password: str = PASSWORD) -> Proof:
    """One round through everything that is real."""
    wire = RealWire(lambda address, port: (address, port))
    profile = read_model(PROFILE.read_text(encoding="utf-8"), Profile, where="sluicelog").value
    targets = {
        m.member: Target(
            member=m.member,
            address=m.address,
            port=m.port,
            pinned=Fingerprint.parse(m.fingerprint),
            user="admin",
            secret=Secret(password),
        )
        for m in expected.members
    }
    seen = asyncio.run(
        observe(expected, targets, ProfiledAppliance(profile, wire), wire, SystemClock(), mark="7f3a")
    )
    return judge(expected, seen)


def failed(proof: Proof) -> set[tuple[str, str]]:
    """(subject, check) of every check that is not good."""
    return {(check.subject, check.name) for check in proof.failed()}


def test_honest_members_are_proven(tmp_path: Path) -> None:
    with lying(tmp_path, "", 1) as members:
        proof = prove_once(expected_of(members))
    assert (proof.good, failed(proof)) == (True, set())
    assert {(e.writer, e.written, e.reads) for e in proof.exchanges} == {
        (w, True, tuple((r, f"{w} 7f3a") for r in NAMES if r != w)) for w in NAMES
    }


LIES = {
    "clock": {("levels-3", "clock")},
    "split": {
        ("levels-3", "same cluster as the others"),
        ("levels-3", "same leader as the others"),
        ("levels-3", "deputy"),
    },
    "missing": {("levels-3", "lists the members of the design")},
    # Nothing is sent to a stranger: neither its health nor its view is known, and it is neither written nor read through.
    "certificate": {
        ("levels-3", "certificate as in the journal"),
        ("levels-3", "answers"),
        ("levels-3", "view"),
        ("levels-3", "a write through it"),
        ("levels-3", "a read of what levels-1 wrote"),
        ("levels-3", "a read of what levels-2 wrote"),
    },
    "lost-write": {
        ("levels-1", "a read of what levels-3 wrote"),
        ("levels-2", "a read of what levels-3 wrote"),
    },
    "version": {("levels-3", "version")},
    "size": {("levels-3", "size")},
}


@pytest.mark.parametrize(("fault", "third"), [(fault, 2 + i) for i, fault in enumerate(LIES)])
def test_each_lie_is_found_and_its_liar_named(tmp_path: Path, fault: str, third: int) -> None:
    with lying(tmp_path, fault, third) as members:
        proof = prove_once(expected_of(members))
        # The same with the liar first: what stands first is not taken for the truth.
        turned = prove_once(expected_of(members, NAMES[::-1]))
    assert not proof.good
    assert failed(proof) == LIES[fault]
    assert failed(turned) == LIES[fault]


def test_a_member_that_is_gone_is_told_and_not_raised(tmp_path: Path) -> None:
    with lying(tmp_path, "", 20) as members:
        expected = expected_of(members)
        gone = replace(expected.members[2], address="127.181.20.99")
        proof = prove_once(replace(expected, members=(*expected.members[:2], gone)))
    assert not proof.good
    assert {"answers", "view", "a write through it"} <= {n for who, n in failed(proof) if who == "levels-3"}
    refused = next(check for check in proof.failed() if check.name == "answers")
    assert "127.181.20.99 port" in refused.seen


def test_a_wrong_password_proves_nothing_but_the_open_part(tmp_path: Path) -> None:
    with lying(tmp_path, "", 21) as members:
        proof = prove_once(expected_of(members), password="another-Password-1")
    assert not proof.good
    assert failed(proof) == {(who, name) for who in NAMES for name in ("view", "a write through it")}
    refused = next(check for check in proof.failed() if check.name == "view")
    assert refused.seen == "levels-1 refuses: name and password, please"


def test_probes_are_told_before_they_run(tmp_path: Path) -> None:
    with lying(tmp_path, "", 22) as members:
        lines = planned_probes(expected_of(members))
        port = members[0]["port"]
    assert lines[0] == f"read the certificate, health and view of levels-1 at 127.181.22.11 port {port}"
    assert lines[3] == "write staddle-proof-levels-1 through levels-1, read it through each other"
    assert len(lines) == 6
