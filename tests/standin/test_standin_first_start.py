"""First start, console, certificate, answers: one member, really started."""

import os
import shutil
import signal
import socket
import ssl
import subprocess
import sys
from pathlib import Path

import pytest

from tests.standin.cluster import PASSWORD, Settings, StandIns, call, environment_document, until


def test_console_wire_and_openssl_show_the_same_fingerprint(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        member = members[0]
        pem = ssl.get_server_certificate(member.where)
    openssl = subprocess.run(
        ["openssl", "x509", "-noout", "-fingerprint", "-sha256"],
        input=pem,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    # openssl writes "sha256 Fingerprint=AA:BB:…"
    assert openssl.strip().partition("=")[2] == member.fingerprint()
    assert len(member.fingerprint()) == 32 * 3 - 1


def test_console_shows_name_configured_address_and_readiness(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        assert members[0].shown().splitlines() == [
            "Sluicelog 4.2.0",
            "name level1.ousemoor.example",
            f"address 192.0.2.11 port {members.port}",
            f"certificate SHA-256 {members[0].fingerprint()}",
            "ready",
        ]


def test_certificate_carries_name_and_address(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        pem = ssl.get_server_certificate(members[0].where)
    text = subprocess.run(
        ["openssl", "x509", "-noout", "-subject", "-ext", "subjectAltName"],
        input=pem,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert "CN = level1.ousemoor.example" in text
    assert "DNS:level1.ousemoor.example" in text
    assert "IP Address:192.0.2.11" in text


def test_handed_in_certificate_maker_gets_name_names_and_files(tmp_path: Path) -> None:
    maker = tmp_path / "maker.py"
    maker.write_text(
        "import subprocess, sys\n"
        "name, names, key, certificate = sys.argv[1:]\n"
        f"open({str(tmp_path / 'told')!r}, 'w').write(name + ' ' + names)\n"
        "subprocess.run(['openssl', 'req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256', '-nodes',\n"
        "    '-subj', '/O=made elsewhere', '-keyout', key, '-out', certificate], check=True)\n",
        encoding="utf-8",
    )
    with StandIns(tmp_path, count=1, certificate_maker=f"{sys.executable} {maker}") as members:
        pem = ssl.get_server_certificate(members[0].where)
    assert (tmp_path / "told").read_text() == "level1.ousemoor.example level1.ousemoor.example,192.0.2.11"
    subject = ["openssl", "x509", "-noout", "-subject"]
    assert "made elsewhere" in subprocess.run(subject, input=pem, capture_output=True, text=True).stdout


def test_health_is_open_and_tells_the_machine(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1, processors=8, memory_mib=16384) as members:
        told = members[0].health()
    assert told.pop("time") > told.pop("up_since")
    assert told == {
        "name": "level1.ousemoor.example",
        "product": "Sluicelog",
        "version": "4.2.0",
        "processors": 8,
        "memory_mib": 16384,
        "state": "alone",
        "started": False,
        "healthy": True,
    }


def test_restart_after_kill_keeps_key_certificate_and_password(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        member = members[0]
        before = member.fingerprint()
        key = (member.state / "key.pem").read_bytes()
        member.call("POST", "admin-password", {"new": "changed-while-alone"})
        member.end(signal.SIGKILL)
        member.start().wait_healthy()
        assert member.shown().count(f"certificate SHA-256 {before}") == 2
        assert (member.state / "key.pem").read_bytes() == key
        assert member.ask("GET", "view")[0] == 401
        member.password = "changed-while-alone"
        assert member.ask("GET", "view")[1]["error"] == "alone"


def test_a_later_start_needs_no_answers(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        member = members[0]
        before = member.fingerprint()
        member.end(signal.SIGKILL)
        member.start(answers=False).wait_healthy()
        assert member.shown().count(f"certificate SHA-256 {before}") == 2
        assert member.shown().count(f"address {member.address} port {member.port}") == 2
        assert (
            member.ask("GET", "view")[1]["error"] == "alone"
        )  # and not 401: the password is still the first one


def test_a_first_start_without_answers_is_told(tmp_path: Path) -> None:
    member = StandIns(tmp_path, count=1).another(1)
    assert member.start(answers=False).exit_code() == 1
    assert "error: the answers cannot be read: No such file or directory" in member.shown()


def test_secrets_are_kept_stretched_and_readable_by_the_owner_only(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        state = members[0].state
    for name in ("key.pem", "state.json"):
        assert (state / name).stat().st_mode & 0o077 == 0
    assert PASSWORD not in (state / "state.json").read_text()
    assert PASSWORD not in members[0].shown()


def test_taken_port_is_told_on_the_console(tmp_path: Path) -> None:
    members = StandIns(tmp_path, count=1)
    with socket.socket() as other:
        other.bind(members[0].where)
        other.listen()
        assert members[0].start().exit_code() == 1
    assert f"error: address already in use: 192.0.2.11 port {members.port}" in members[0].shown()
    assert not members[0].state.exists()


def test_second_process_on_the_same_state_is_refused(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        second = members.another(1, management_address="192.0.2.12")
        assert second.start().exit_code() == 1
    assert "is in use by another process" in second.shown()


def test_state_of_another_member_is_refused(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        members[0].end()
        other = members.another(1, host_name="level9.ousemoor.example")
        assert other.start().exit_code() == 1
    expected = "the answers name level9.ousemoor.example, but the state here is of level1.ousemoor.example"
    assert f"error: {expected}" in other.shown()


def test_all_wrong_answers_are_told_at_once(tmp_path: Path) -> None:
    members = StandIns(tmp_path, count=0)
    wrong = members.another(
        1,
        host_name="Level_1",
        management_address="192.0.2.999",
        management_prefix="33",
        gateway="",
        dns_servers="192.0.2.2,here",
        retention_days="0",
        log_level="loud",
        time_zone="half past",
        admin_password="short",
    )
    assert wrong.start().exit_code() == 1
    assert wrong.shown().splitlines() == [
        'error: answer sluicelog.host_name: "Level_1" is not a full host name in lower case',
        'error: answer sluicelog.management_address: "192.0.2.999" is not an IP address',
        "error: answer sluicelog.gateway is missing: an IP address is expected",
        'error: answer sluicelog.dns_servers: "192.0.2.2,here" is not a list of IP addresses',
        'error: answer sluicelog.time_zone: "half past" is not a time zone\'s name',
        'error: answer sluicelog.log_level: "loud" is not one of error, warning, info, debug',
        'error: answer sluicelog.retention_days: "0" is not a number of days from 1 to 65535',
        "error: answer sluicelog.admin_password: its value is not a password of 8 to 128 characters",
    ]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"management_prefix": "33"}, '_prefix: "33" is too long for 192.0.2.11'),
        ({"gateway": "192.0.3.1"}, 'gateway: "192.0.3.1" is not in 192.0.2.0/24'),
        ({"telemetry_address": "192.0.2.11"}, '"192.0.2.11" is the management address'),
    ],
)
def test_answers_that_contradict_each_other(tmp_path: Path, changes: dict[str, str], expected: str) -> None:
    wrong = StandIns(tmp_path, count=0).another(1, **changes)
    assert wrong.start().exit_code() == 1
    assert expected in wrong.shown()


@pytest.mark.parametrize(
    ("document", "expected"),
    [
        ('<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>', "the answers carry a document type declaration"),
        ("<Environment/>", "the answers are not an OVF environment document: the root is Environment"),
        ("<a", "the answers are not XML: "),
        (
            environment_document({"x": "1"}).replace("</Pr", '<Property oe:key="sluicelog.x"/></Pr', 1),
            "twice",
        ),
    ],
)
def test_documents_that_are_not_answers(tmp_path: Path, document: str, expected: str) -> None:
    path, console = tmp_path / "env.xml", tmp_path / "console.txt"
    path.write_text(document, encoding="utf-8")
    command = [
        sys.executable,
        "-m",
        "staddle.standin",
        "--answers",
        str(path),
        "--state",
        str(tmp_path / "state"),
    ]
    command += ["--console", str(console), "--processors", "1", "--memory-mib", "1"]
    done = subprocess.run(command, env={**os.environ, **Settings().environment}, timeout=20, check=False)
    assert done.returncode == 1
    assert f"error: {expected}" in console.read_text() or expected in console.read_text()
    assert not (tmp_path / "state").exists()


def test_failing_certificate_maker_is_told(tmp_path: Path) -> None:
    members = StandIns(tmp_path, count=1, certificate_maker="false")
    assert members[0].start().exit_code() == 1
    assert "error: the certificate maker false failed" in members[0].shown()


def test_wrong_passwords_make_the_caller_wait_and_not_for_ever(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        member = members[0]
        wrong = [call(member.where, "GET", "view", password=f"wrong-{n}")[0] for n in range(5)]
        assert wrong == [401] * 5
        status, told = member.ask("GET", "view")  # the right one, too early
        assert (status, told["error"]) == (429, "throttled")
        assert member.health()["healthy"] is True
        until(lambda: member.ask("GET", "view")[0] == 409, what="the wait to end")


def test_calls_without_password_are_refused_and_unknown_ones_too(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=1) as members:
        member = members[0]
        for method, path in (("GET", "view"), ("POST", "found"), ("POST", "join"), ("GET", "values/a")):
            assert call(member.where, method, path, password=None)[1]["error"] == "unauthenticated"
        for path in ("peer/beat", "peer/vote", "peer/forward", "peer/welcome"):
            assert call(member.where, "POST", path, {})[1]["error"] == "not-a-peer"
        assert member.ask("GET", "nothing")[1]["error"] == "unknown-path"
        assert member.ask("DELETE", "view")[1]["error"] == "bad-method"
        assert member.ask("POST", "found", {"cluster": 7})[1]["error"] == "bad-request"


def test_old_tls_is_refused(tmp_path: Path) -> None:
    # RFC 8996: TLS 1.0 and 1.1 must not be used.
    with StandIns(tmp_path, count=1) as members:
        place = "{}:{}".format(*members[0].where)
        old = subprocess.run(
            ["openssl", "s_client", "-tls1_1", "-cipher", "DEFAULT@SECLEVEL=0", "-connect", place],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=20,
        )
        assert old.returncode != 0
        assert "protocol version" in old.stderr


def test_runs_as_a_plain_copied_folder(tmp_path: Path) -> None:
    source = Path(Settings().environment["PYTHONPATH"], "staddle", "standin")
    copied = tmp_path / "copied" / "sluicelog"
    shutil.copytree(source, copied, ignore=shutil.ignore_patterns("__pycache__"))
    program = (sys.executable, "-I", "-S", str(copied))  # no site packages, nothing else on the path
    with StandIns(tmp_path, count=1, program=program, environment={}) as members:
        members.form()
        assert members[0].health()["state"] == "member"
