"""review --live: listed first, sent only when agreed to, and what sockets on loopback answer comes out as findings."""

import asyncio
import functools
import json
import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from staddle.jobs.folder import find_job
from staddle.jobs.live import LivePlan, look_live, planned_live
from staddle.jobs.review import ReviewReport, review_job
from staddle.kernel import InputRefused, SystemClock, SystemRandom
from tests.cli.demo_job import free_block, loopback_job, staddle
from tests.platforms.loopback_blocks import own_block
from tests.probes.name_server import Records, name_server
from tests.probes.time_server import answer, time_server

ZONE = "ousemoor.example."


@pytest.fixture(scope="module")
def block() -> Iterator[int]:
    with own_block():  # one run of this file at a time takes a block of members' addresses
        yield free_block()


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory, block: int) -> Path:
    """The demo's job on loopback addresses, its name server and its one time server on loopback too."""
    folder = loopback_job(tmp_path_factory.mktemp("live"), block=block)
    path = folder / "design.yaml"
    design = path.read_text(encoding="utf-8")
    design = design.replace("  ttl: 300 s\n", f"  ttl: 300 s\n  servers: [127.{block}.2.53]\n")
    old = "servers: [192.0.2.4, 192.0.2.5, 192.0.2.6, 192.0.2.7]"
    assert old in design
    path.write_text(design.replace(old, "servers: [time-1.ousemoor.example]"), encoding="utf-8")
    return folder


def records(block: int) -> Records:
    """The time server's name, one member's name right, one wrong, the rest free."""
    return {
        (f"time-1.{ZONE}", "A"): ("127.0.0.1",),
        (f"levels-1.{ZONE}", "A"): (f"127.{block}.2.61",),
        (f"levels-2.{ZONE}", "A"): (f"127.{block}.2.99",),
        (f"61.2.{block}.127.in-addr.arpa.", "PTR"): (f"old.{ZONE}",),
    }


def planned(job: Path, reach: tuple[str, ...] = (), ntp_port: int = 123) -> LivePlan:
    return planned_live(find_job(job), datetime.now(UTC), reach=reach, ntp_port=ntp_port)


def reviewed(job: Path, block: int, *, ahead_s: float = 0.0, reach: tuple[str, ...] = ()) -> ReviewReport:
    table = records(block)
    with (
        name_server(table, address=f"127.{block}.2.53") as dns_port,
        time_server(functools.partial(answer, ahead_s=ahead_s)) as ntp_port,
    ):
        plan = planned(job, reach, ntp_port)
        sights = asyncio.run(look_live(plan, clock=SystemClock(), random=SystemRandom(), dns_port=dns_port))
    return review_job(find_job(job), datetime.now(UTC), verify=False, sights=sights)


def told(report: ReviewReport) -> dict[str, list[str]]:
    rules: dict[str, list[str]] = {}
    for finding in report.review.kept:
        rules.setdefault(finding.rule, []).append(finding.what)
    return rules


def test_what_the_servers_say_comes_out_as_findings(job: Path, block: int) -> None:
    found = told(reviewed(job, block, ahead_s=600.0))
    server = f"127.{block}.2.53"
    assert found["name-points-elsewhere"] == [
        f"levels-2.ousemoor.example is not 127.{block}.2.62 at {server}: it is 127.{block}.2.99"
    ]
    assert found["address-named-otherwise"] == [
        f"127.{block}.2.61 is not levels-1.ousemoor.example at {server}: it is old.ousemoor.example"
    ]
    (free,) = found["name-not-in-dns"]
    assert free.startswith(f"{server} does not know levels-3.ousemoor.example") or "levels-3" in free
    assert f"127.{block}.2.62" in free
    assert "levels-1.ousemoor.example" not in free
    (clock,) = found["clock-differs"]
    assert clock.startswith("time-1.ousemoor.example: its time less ours is +600")
    assert "time-server-useless" not in found


def test_a_clock_that_agrees_is_no_finding(job: Path, block: int) -> None:
    report = reviewed(job, block)
    assert report.sights is not None
    (time,) = [one for one in report.sights if one.offset_ms is not None]
    # The same clock on both sides: nothing but the way there and back is between them, however slow this machine is.
    assert abs(time.offset_ms or 0) <= time.bound_ms + 1
    assert "clock-differs" not in told(report)


def silence(address: str, port: int) -> list[socket.socket]:
    """Make an address and port that do not answer: whoever listens there takes nobody in, and its queue is full."""
    server = socket.socket()
    server.bind((address, port))
    server.listen(0)
    held = [server]
    for _ in range(4):  # beyond the queue's length Linux drops what asks for a connection
        one = socket.socket()
        one.setblocking(False)
        one.connect_ex((address, port))
        held.append(one)
    return held


def test_an_address_in_use_stops_and_a_silent_one_does_not(job: Path, block: int) -> None:
    held = silence(f"127.{block}.2.61", 8443)
    try:
        with socket.create_server((f"127.{block}.2.62", 8443)):
            found = told(reviewed(job, block))["address-in-use"]
    finally:
        for one in held:
            one.close()
    member_2 = f"127.{block}.2.62, meant for levels-2, is in use: something answers on port 8443"
    assert member_2 in found
    assert not [one for one in found if one.startswith(f"127.{block}.2.61,")]
    # Nobody listens at the third, and the system says so: a machine is there.
    assert any(
        one.startswith(f"127.{block}.2.63, meant for levels-3, is in use: the connection was refused")
        for one in found
    )


def test_places_that_must_answer(job: Path, block: int) -> None:
    with socket.create_server((f"127.{block}.2.1", 0)) as gateway:
        port = gateway.getsockname()[1]
        found = told(reviewed(job, block, reach=(f"127.{block}.2.1:{port}", f"127.{block}.2.3:{port}")))
    lines = found["place-unreachable"]
    assert not [one for one in lines if one.startswith(f"127.{block}.2.1 ")]
    refused = "the connection was refused: nothing listens there"
    assert f"127.{block}.2.3 does not answer on TCP port {port}: {refused}" in lines
    # The name server of this test speaks UDP only.
    assert f"127.{block}.2.53 does not answer on TCP port 53: {refused}" in lines


@pytest.mark.parametrize("place", ["192.0.2.1", "gateway.example:22", "192.0.2.1:0", "192.0.2.1:"])
def test_a_place_that_is_none_is_refused_before_anything_is_sent(job: Path, place: str) -> None:
    with pytest.raises(InputRefused):
        planned(job, (place,))


def test_the_list_says_what_to_whom_and_on_which_port(job: Path, block: int) -> None:
    lines = planned(job, ("[::1]:22",)).lines()
    assert f"a connection to 127.{block}.2.61:8443/tcp, opened and closed: nothing must answer" in lines
    assert f"a question to 127.{block}.2.53:53/udp: is levels-1.ousemoor.example 127.{block}.2.61?" in lines
    assert (
        f"a question to time-1.ousemoor.example port 123/udp: what time is it?"
        f" (its address is asked of 127.{block}.2.53 first)" in lines
    )
    assert "a connection to [::1]:22/tcp, opened and closed: something must answer" in lines


def test_without_an_agreement_nothing_is_sent(job: Path, block: int) -> None:
    with socket.create_server((f"127.{block}.2.61", 8443)) as member:
        done = staddle("review", "--live", "--no-verify", "--json", job=job, typed="n\n")
        member.settimeout(0)
        with pytest.raises(BlockingIOError):
            member.accept()
    assert done.returncode == 1
    body = json.loads(done.stdout)
    assert body["outcome"] == "not confirmed"
    assert any(f"127.{block}.2.61:8443/tcp" in line for line in body["data"]["probes"])
    assert f"a connection to 127.{block}.2.61:8443/tcp" in done.stderr
    assert "Send them? [y/N]" in done.stderr


def test_agreed_to_beforehand_it_is_listed_and_sent(job: Path, block: int) -> None:
    with socket.create_server((f"127.{block}.2.61", 8443)) as member:
        done = staddle("review", "--live", "--yes", "--no-verify", job=job)
        member.settimeout(40)
        member.accept()[0].close()
    assert done.returncode == 1
    assert f"a connection to 127.{block}.2.61:8443/tcp" in done.stderr
    assert f"127.{block}.2.61, meant for levels-1, is in use: something answers on port 8443" in done.stdout
    assert "more look with --live" not in done.stdout


def test_without_live_its_rules_are_told_not_to_have_looked(job: Path) -> None:
    done = staddle("review", "--no-verify", job=job)
    assert ", 9 more look with --live" in done.stdout.splitlines()[0]
    assert staddle("review", "--reach", "127.0.0.1:22", job=job).returncode == 2
