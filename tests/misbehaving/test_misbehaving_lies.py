"""Each lie of the misbehaving stand-in is really told, and nothing else is: otherwise a proof that fails on it proves nothing."""

import base64
import hashlib
import http.client
import json
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

APPLIANCE = Path(__file__).with_name("appliance.py")
NAMES = [f"level{number}.ousemoor.example" for number in (1, 2, 3)]
BASIC = "Basic " + base64.b64encode(b"admin:first-Password-1").decode()


class Liar:
    """The running appliance, its ready line, and calls to its members by number."""

    def __init__(self, members: list[dict[str, Any]]) -> None:
        self.members = members
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        self.context.check_hostname = False
        self.context.verify_mode = ssl.CERT_NONE

    def ask(self, index: int, method: str, path: str, body: object = None) -> tuple[int, dict[str, Any]]:
        """(status, JSON)."""
        place = self.members[index]
        link = http.client.HTTPSConnection(place["address"], place["port"], timeout=10, context=self.context)
        try:
            text = None if body is None else json.dumps(body)
            link.request(method, f"/v1/{path}", text, {"Authorization": BASIC})
            answer = link.getresponse()
            return answer.status, json.loads(answer.read())
        finally:
            link.close()

    def view(self, index: int) -> dict[str, Any]:
        """The member's view."""
        return self.ask(index, "GET", "view")[1]

    def clock_ahead_s(self, index: int) -> float:
        """The member's clock minus ours."""
        told = datetime.fromisoformat(self.ask(index, "GET", "health")[1]["time"])
        return (told - datetime.now(UTC)).total_seconds()


@contextmanager
def lying(folder: Path, faults: str) -> Iterator[Liar]:
    """The appliance with these faults, on ports the system chose."""
    rows = ",".join(f"{name}=127.0.0.1:0@192.0.2.{11 + index}" for index, name in enumerate(NAMES))
    command = [sys.executable, str(APPLIANCE), "--faults", faults, "--members", rows, "--folder", str(folder)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        try:
            yield Liar(json.loads(process.stdout.readline())["members"])
        finally:
            process.kill()


def facts(liar: Liar) -> dict[str, object]:
    """One yes or no for each thing that a proof looks at: True where the member set is in order."""
    views = [liar.view(index) for index in range(3)]
    healths = [liar.ask(index, "GET", "health")[1] for index in range(3)]
    written = [liar.ask(index, "PUT", f"values/probe-{index}", {"value": "x"})[0] for index in range(3)]
    read = [liar.ask(r, "GET", f"values/probe-{w}")[0] for w in range(3) for r in range(3)]
    wire = [
        hashlib.sha256(
            ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate((m["address"], m["port"])))
        ).digest()
        for m in liar.members
    ]
    assert [digest.hex(":").upper() for digest in wire] == [m["fingerprint"] for m in liar.members]
    return {
        "clock": all(abs(liar.clock_ahead_s(index)) < 2 for index in range(3))
        and all(row["clock_offset_ms"] == 0 for view in views for row in view["members"]),
        "split": len({(v["cluster"]["id"], v["leader"], v["term"]) for v in views}) == 1,
        "missing": all([row["name"] for row in view["members"]] == NAMES for view in views),
        "certificate": all(m["fingerprint"] == m["journal_fingerprint"] for m in liar.members),
        "lost-write": read == [200] * 9,
        "acknowledged": written == [200] * 3,
        "version": {h["version"] for h in healths} == {"4.2.0"},
        "size": {(h["processors"], h["memory_mib"]) for h in healths} == {(4, 8192)},
    }


def test_without_faults_all_is_in_order(tmp_path: Path) -> None:
    with lying(tmp_path, "") as liar:
        assert all(facts(liar).values())


@pytest.mark.parametrize(
    "fault", ["clock", "split", "missing", "certificate", "lost-write", "version", "size"]
)
def test_exactly_this_lie_is_told(tmp_path: Path, fault: str) -> None:
    with lying(tmp_path, fault) as liar:
        assert [fact for fact, holds in facts(liar).items() if not holds] == [fault]


def test_clock_is_three_seconds_ahead_and_the_others_measure_it(tmp_path: Path) -> None:
    with lying(tmp_path, "clock") as liar:
        assert liar.clock_ahead_s(2) == pytest.approx(3, abs=1)
        assert [row["clock_offset_ms"] for row in liar.view(0)["members"]] == [0, 0, 3000]
        assert [row["clock_offset_ms"] for row in liar.view(2)["members"]] == [-3000, -3000, 0]


def test_lost_write_is_seen_through_its_own_member_only(tmp_path: Path) -> None:
    with lying(tmp_path, "lost-write") as liar:
        assert liar.ask(2, "PUT", "values/a", {"value": "1"})[0] == 200
        assert [liar.ask(index, "GET", "values/a")[0] for index in range(3)] == [404, 404, 200]


def test_several_lies_at_once(tmp_path: Path) -> None:
    with lying(tmp_path, "clock,version,size") as liar:
        told = facts(liar)
        assert [fact for fact, holds in told.items() if not holds] == ["clock", "version", "size"]


def test_unknown_lie_is_wrong_usage(tmp_path: Path) -> None:
    command = [sys.executable, str(APPLIANCE), "--faults", "gossip", "--members", "a=127.0.0.1:0", "--folder"]
    done = subprocess.run([*command, str(tmp_path)], capture_output=True, text=True, timeout=20)
    assert done.returncode == 2
    assert "unknown: gossip" in done.stderr


def test_view_has_the_fields_of_the_protocol(tmp_path: Path) -> None:
    with lying(tmp_path, "") as liar:
        view, health = liar.view(1), liar.ask(1, "GET", "health")[1]
    assert set(view) == {"cluster", "term", "leader", "deputy", "started", "me", "committed", "members"}
    row = "name address port telemetry_address fingerprint version processors memory_mib state last_heard_ms"
    assert {*row.split(), "clock_offset_ms"} == set(view["members"][0])
    top = "name product version processors memory_mib state time up_since started healthy"
    assert set(top.split()) == set(health)
