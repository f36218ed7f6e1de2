"""The cluster under failure: agreement, take-over, stepping down, values that must not be lost. Real kills and stops."""

import http.client
import resource
import signal
import socket
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from staddle.standin.heartbeat import offset_and_delay
from tests.standin.cluster import Member, StandIns, call, until


@pytest.fixture
def three(tmp_path: Path) -> Iterator[StandIns]:
    """Three members, formed, second is deputy, started."""
    with StandIns(tmp_path, count=3) as members:
        members.form()
        yield members


def put(member: Member, key: str, value: str) -> bool:
    """One write; True where it was acknowledged."""
    try:
        return member.ask("PUT", f"values/{key}", {"value": value}, timeout_s=10)[0] == 200
    except (OSError, http.client.HTTPException):
        return False


def test_all_views_agree(three: StandIns) -> None:
    views = three.views()
    assert [view["me"] for view in views] == [member.name for member in three]
    for view in views:
        assert view["cluster"] == views[0]["cluster"]
        assert (view["leader"], view["deputy"], view["term"]) == (three[0].name, three[1].name, 1)
        for row, member in zip(view["members"], three, strict=True):
            assert row["fingerprint"] == member.fingerprint()
            assert row["address"] == member.address
            assert row["state"] == ("self" if row["name"] == view["me"] else "heard")
            assert abs(row["clock_offset_ms"]) < 100  # one machine, one clock


def test_offset_formula() -> None:
    # RFC 5905 §8 with T1 10.000, T2 10.070, T3 10.075, T4 10.045: offset +0.050 s, delay 0.040 s (by hand)
    offset_s, delay_s = offset_and_delay(10.000, 10.070, 10.075, 10.045)
    assert offset_s == pytest.approx(0.050, abs=1e-9)
    assert delay_s == pytest.approx(0.040, abs=1e-9)


def test_written_through_each_is_read_through_each(three: StandIns) -> None:
    for writer in three:
        written = writer.call("PUT", "values/probe", {"value": writer.name})
        for reader in three:
            assert reader.call("GET", "values/probe") == written


def test_values_wait_for_the_start(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        assert members[0].ask("PUT", "values/a", {"value": "1"})[1]["error"] == "alone"
        members[0].call("POST", "found", {"cluster": "Ousemoor levels"})
        assert members[0].ask("PUT", "values/a", {"value": "1"})[1]["error"] == "not-started"
        members[0].call("POST", "start", {})
        assert members[0].ask("GET", "values/a")[1]["error"] == "unknown-key"
        assert members[0].ask("PUT", "values/a%20b", {"value": "1"})[1]["error"] == "bad-request"
        assert members[0].ask("PUT", "values/a", {"value": "x" * 4097})[1]["error"] == "bad-request"


def test_deputy_takes_over_and_the_old_leader_follows(three: StandIns) -> None:
    three[0].end(signal.SIGKILL)
    view = three.wait_agreed(three.members[1:])
    assert view["leader"] == three[1].name
    assert view["term"] > 1
    assert view["deputy"] is None
    row = next(row for row in view["members"] if row["name"] == three[0].name)
    assert row["state"] == "lost"
    three[0].start().wait_healthy()
    again = three.wait_agreed()
    assert (again["leader"], again["term"]) == (three[1].name, view["term"])


def test_without_deputy_some_member_takes_over(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=3) as members:
        members.form(deputy=False)
        members[0].end(signal.SIGKILL)
        assert members.wait_agreed(members.members[1:])["leader"] in {members[1].name, members[2].name}


def test_deputy_lost_with_the_leader_is_replaced_among_five(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=5, speed=0.4) as members:
        members.form()
        assert put(members[4], "kept", "yes")
        members[0].end(signal.SIGKILL)
        members[1].end(signal.SIGKILL)
        rest = members.members[2:]
        assert members.wait_agreed(rest)["leader"] in {member.name for member in rest}
        assert rest[0].call("GET", "values/kept")["value"] == "yes"


def test_cut_off_leader_steps_down_and_refuses_writes(three: StandIns) -> None:
    three[1].send(signal.SIGSTOP)
    three[2].send(signal.SIGSTOP)
    status, told = three[0].ask("PUT", "values/a", {"value": "unsure"})
    assert (status, told["error"]) == (504, "unconfirmed")
    until(lambda: three[0].call("GET", "view")["leader"] is None, what="the leader stepping down")
    for method, body in (("PUT", {"value": "refused"}), ("GET", None)):
        status, told = three[0].ask(method, "values/a", body)
        assert (status, told["error"]) == (503, "no-leader")
    assert three[0].health()["healthy"] is False
    assert "no longer leader of term 1: a majority is not heard" in three[0].shown()
    three[1].send(signal.SIGCONT)
    three[2].send(signal.SIGCONT)
    three.wait_agreed()
    assert three[2].call("PUT", "values/a", {"value": "again"})["value"] == "again"
    assert three[0].call("GET", "values/a")["value"] == "again"


def test_stopped_leader_serves_no_old_value_when_it_wakes(three: StandIns) -> None:
    assert put(three[0], "level", "old")
    three[0].send(signal.SIGSTOP)
    three.wait_agreed(three.members[1:])
    assert put(three[2], "level", "new")
    three[0].send(signal.SIGCONT)
    # It still believes that it leads; a majority must confirm that before it answers.
    status, told = three[0].ask("GET", "values/level")
    assert status == 503 or told["value"] == "new"
    three.wait_agreed()
    assert three[0].call("GET", "values/level")["value"] == "new"


def test_member_stopped_for_a_while_does_not_unseat_the_leader(three: StandIns) -> None:
    three[2].send(signal.SIGSTOP)

    def lost() -> bool:
        return bool(three[0].call("GET", "view")["members"][2]["state"] == "lost")

    until(lost, what="the stopped member being lost")
    three[2].send(signal.SIGCONT)
    view = three.wait_agreed()
    assert (view["leader"], view["term"]) == (three[0].name, 1)


def test_two_members_cannot_lose_one(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=2) as members:
        members.form()
        members[1].end(signal.SIGKILL)
        until(lambda: members[0].call("GET", "view")["leader"] is None, what="the leader stepping down")
        assert members[0].ask("PUT", "values/a", {"value": "1"})[0] == 503
        members[1].start()
        members.wait_agreed()
        assert members[0].call("PUT", "values/a", {"value": "1"})["value"] == "1"


def test_all_killed_and_started_again_know_everything(three: StandIns) -> None:
    assert put(three[1], "kept", "yes")
    before = three.wait_agreed()
    for member in three:
        member.end(signal.SIGKILL)
    for member in three:
        member.start()
    after = three.wait_agreed()
    for field in ("cluster", "started"):
        assert after[field] == before[field]
    same = ("name", "address", "fingerprint")
    assert [[row[key] for key in same] for row in after["members"]] == [
        [row[key] for key in same] for row in before["members"]
    ]
    assert three[2].call("GET", "values/kept")["value"] == "yes"


def test_a_member_comes_back_with_its_cluster_even_alone(three: StandIns) -> None:
    for member in three:
        member.end(signal.SIGKILL)
    two = three[1].start()
    view = until(lambda: two.ask("GET", "view")[1], what="its view")
    assert [(row["name"], row["state"]) for row in view["members"]] == [
        (three[0].name, "lost"),
        (two.name, "self"),
        (three[2].name, "lost"),
    ]
    assert view["leader"] is None


def test_founder_alone_leads_again_after_a_kill(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        members.form()
        assert put(members[0], "kept", "yes")
        members[0].end(signal.SIGKILL)
        members[0].start().wait_healthy()
        assert members[0].call("GET", "values/kept")["value"] == "yes"


@pytest.mark.parametrize("failure", [signal.SIGKILL, signal.SIGSTOP], ids=["killed", "stopped"])
def test_acknowledged_writes_survive_failing_leaders(three: StandIns, failure: signal.Signals) -> None:
    """Writers go on while leader after leader fails; what was acknowledged is read at once elsewhere, and at the end."""
    acknowledged: dict[str, int] = {}
    unsure: dict[str, int] = {}
    stale: list[str] = []
    ended = threading.Event()

    def write(stem: str, writer: Member, reader: Member) -> None:
        # A write that was not acknowledged may still happen later, so its key is not written again: each key then has
        # one writer, values that count upwards, and at most its last write in doubt.
        number = generation = 0
        while not ended.is_set():
            number, key = number + 1, f"{stem}-{generation}"
            if not put(writer, key, str(number)):
                unsure[key] = number
                generation += 1
                continue
            acknowledged[key] = number
            try:
                status, told = reader.ask("GET", f"values/{key}", timeout_s=10)
            except (OSError, http.client.HTTPException):
                continue
            if status not in (200, 503) or (status == 200 and told["value"] != str(number)):
                stale.append(f"{key}: {told} read after {number} through {reader.name}")

    writers = [threading.Thread(target=write, args=(f"w{n}", three[n], three[(n + 1) % 3])) for n in range(3)]
    for writer in writers:
        writer.start()
    try:
        for _ in range(3):
            leader = three.leader()
            goal = sum(acknowledged.values()) + 10
            until(lambda: sum(acknowledged.values()) >= goal, what="writes")  # noqa: B023
            leader.send(failure)
            three.wait_agreed([member for member in three if member is not leader])
            if failure == signal.SIGKILL:
                leader.end()
                leader.start()
            else:
                leader.send(signal.SIGCONT)
    finally:
        ended.set()
        for writer in writers:
            writer.join(timeout=30)
    assert stale == []
    three.wait_agreed()
    for key, number in acknowledged.items():
        for member in three:
            read = int(member.call("GET", f"values/{key}")["value"])
            assert read in (number, unsure.get(key)), key


def test_members_that_share_one_address_are_told_apart_by_port(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=0) as spare, socket.socket() as one, socket.socket() as two:
        ports = []
        for probe in (one, two):
            probe.bind(("127.0.0.1", 0))
            ports.append(probe.getsockname()[1])
        one.close()
        two.close()
        maps = [f"--port-map=192.0.2.{11 + n}={port}" for n, port in enumerate(ports)]
        alike = replace(spare.settings, count=2, arguments=("--address-map=192.0.2.0/24=127.0.0.1/32", *maps))
        members = StandIns(tmp_path, alike)
        for member, port in zip(members, ports, strict=True):
            member.where = ("127.0.0.1", port)
        with members:
            members.form()
            view = members[1].call("GET", "view")
            assert [row["address"] for row in view["members"]] == ["192.0.2.11", "192.0.2.12"]
            assert [row["port"] for row in view["members"]] == [members.port] * 2


def test_password_change_holds_at_every_member_and_for_newcomers(three: StandIns) -> None:
    newcomer = three.another(4)
    new = "second-Password-2"
    try:
        newcomer.start().wait_healthy()
        assert three[2].call("POST", "admin-password", {"new": new}) == {"changed": True}
        for member in three:
            member.password = new
            until(lambda: member.ask("GET", "view")[0] == 200, what="the new password")  # noqa: B023
        for member in three:
            assert call(member.where, "GET", "view")[0] == 401  # the first one
        three.join(newcomer, three[0])
        assert call(newcomer.where, "GET", "view", password=new)[0] == 200
        three[0].end(signal.SIGKILL)
        three[0].start().wait_healthy()
        assert three[0].ask("GET", "view")[0] == 200
    finally:
        newcomer.end()


def test_short_password_is_refused(three: StandIns) -> None:
    assert three[0].ask("POST", "admin-password", {"new": "short"})[1]["error"] == "bad-request"


def test_removed_member_is_gone_and_the_rest_work(three: StandIns) -> None:
    assert three[1].ask("DELETE", f"members/{three[2].name}")[1]["error"] == "not-leader"
    assert three[0].ask("DELETE", f"members/{three[0].name}")[1]["error"] == "is-leader"
    assert three[0].ask("DELETE", "members/level9.ousemoor.example")[1]["error"] == "unknown-member"
    assert three[0].call("DELETE", f"members/{three[2].name}") == {"removed": three[2].name}
    three[2].end(signal.SIGKILL)
    view = three.wait_agreed(three.members[:2])
    assert [row["name"] for row in view["members"]] == [three[0].name, three[1].name]
    assert put(three[1], "a", "1")


def test_deputy_must_be_another_member(three: StandIns) -> None:
    assert three[0].ask("POST", "deputy", {"name": three[0].name})[1]["error"] == "is-leader"
    assert three[0].ask("POST", "deputy", {"name": "level9.ousemoor.example"})[1]["error"] == "unknown-member"
    assert three[1].ask("POST", "deputy", {"name": three[2].name})[1]["error"] == "not-leader"


def test_calls_of_a_stranger_are_refused_and_malformed_ones_do_no_harm(three: StandIns) -> None:
    for path in ("peer/beat", "peer/vote", "peer/forward"):
        assert call(three[0].where, "POST", path, {"term": 99}, password=None)[1]["error"] == "not-a-peer"
    assert call(three[0].where, "POST", "peer/admit", {"member": []}, password=None)[0] == 400
    assert three.wait_agreed()["term"] == 1


def test_full_disk_refuses_the_write_and_nothing_is_changed(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        members.form()
        assert put(members[0], "kept", "before")
        process = members[0].process
        assert process is not None
        _, hard = resource.prlimit(process.pid, resource.RLIMIT_FSIZE)
        # A file-size limit makes every write fail as a full disk does, without root.
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (0, hard))
        status, told = members[0].ask("PUT", "values/kept", {"value": "after"})
        assert (status, told["error"]) == (507, "storage")
        assert members[0].call("GET", "values/kept")["value"] == "before"
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (hard, hard))
        assert put(members[0], "kept", "after")
        members[0].end(signal.SIGKILL)
        members[0].start().wait_healthy()
        assert members[0].call("GET", "values/kept")["value"] == "after"


def test_follower_with_a_full_disk_does_not_count_for_the_majority(three: StandIns) -> None:
    for member in three.members[1:]:
        assert member.process is not None
        _, hard = resource.prlimit(member.process.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(member.process.pid, resource.RLIMIT_FSIZE, (0, hard))
    assert not put(three[0], "a", "1")
