"""Found and join: secrets, fingerprints, repeats. Real processes."""

import http.client
import random
import re
import signal
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.standin.cluster import Member, StandIns, call, until


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[StandIns]:
    """A founder and one machine alone."""
    with StandIns(tmp_path, count=2) as members:
        members[0].call("POST", "found", {"cluster": "Ousemoor levels"})
        yield members


def issue(leader: Member, joiner: Member, lifetime_s: float = 600) -> str:
    """A fresh secret for the joiner."""
    secret: str = leader.call("POST", "join-secrets", {"name": joiner.name, "lifetime_s": lifetime_s})[
        "secret"
    ]
    return secret


def attempt(members: StandIns, joiner: Member, secret: str) -> tuple[int, str]:
    """One try to join: status and error code ("" for none)."""
    status, told = joiner.ask("POST", "join", {**members.leader_place(members[0]), "secret": secret})
    return status, told.get("error", "")


def test_founder_is_alone_its_own_majority(pair: StandIns) -> None:
    pair[0].call("POST", "start", {})
    assert pair[0].call("PUT", "values/a", {"value": "1"})["value"] == "1"
    view = pair[0].call("GET", "view")
    assert (view["leader"], [row["state"] for row in view["members"]]) == (pair[0].name, ["self"])


def test_founding_again_is_harmless_under_the_same_name_only(pair: StandIns) -> None:
    before = pair[0].call("GET", "view")
    assert pair[0].call("POST", "found", {"cluster": "Ousemoor levels"})["cluster"] == before["cluster"]
    assert pair[0].ask("POST", "found", {"cluster": "Tollgate"})[1]["error"] == "already-member"


def test_join_gives_both_the_same_view_and_repeats_harmlessly(pair: StandIns) -> None:
    secret = issue(pair[0], pair[1])
    assert attempt(pair, pair[1], secret) == (200, "")
    assert attempt(pair, pair[1], secret) == (200, "")
    view = pair.wait_agreed()
    assert [row["name"] for row in view["members"]] == [pair[0].name, pair[1].name]
    assert {row["fingerprint"] for row in view["members"]} == {pair[0].fingerprint(), pair[1].fingerprint()}


def test_used_secret_is_refused(pair: StandIns) -> None:
    secret = issue(pair[0], pair[1])
    assert attempt(pair, pair[1], secret) == (200, "")
    # The same name on another machine: own state, own certificate.
    twin = StandIns(pair.folder / "twin", count=0).another(2)
    twin.where, twin.port, twin._block = (pair[1].where[0][:-2] + "15", pair.port), pair.port, pair.block
    twin.answers["management_address"] = twin.address = "192.0.2.15"
    try:
        twin.start().wait_healthy()
        assert attempt(pair, twin, secret) == (403, "secret-used")
        assert twin.health()["state"] == "alone"
    finally:
        twin.end()


def test_secret_for_another_name_is_refused(pair: StandIns) -> None:
    told = pair[0].call("POST", "join-secrets", {"name": "level9.ousemoor.example", "lifetime_s": 60})
    assert attempt(pair, pair[1], told["secret"]) == (403, "secret-wrong-name")


def test_unknown_secret_is_refused(pair: StandIns) -> None:
    assert attempt(pair, pair[1], "never-issued") == (403, "secret-unknown")
    assert pair[1].health()["state"] == "alone"


def test_expired_secret_is_refused(pair: StandIns) -> None:
    secret = issue(pair[0], pair[1], lifetime_s=0.05)
    end = time.time() + 0.05
    until(lambda: time.time() > end, what="the secret's end")
    assert attempt(pair, pair[1], secret) == (403, "secret-expired")


def test_newer_secret_revokes_the_unused_one(pair: StandIns) -> None:
    first, second = issue(pair[0], pair[1]), issue(pair[0], pair[1])
    assert attempt(pair, pair[1], first) == (403, "secret-revoked")
    assert attempt(pair, pair[1], second) == (200, "")


def test_secret_has_at_least_128_bits_and_is_not_kept(pair: StandIns) -> None:
    secrets = {issue(pair[0], pair[1]) for _ in range(3)}
    assert len(secrets) == 3
    for secret in secrets:
        assert re.fullmatch(r"[A-Za-z0-9_-]{22,}", secret)  # 6 bits a character
        assert secret not in (pair[0].state / "state.json").read_text()
        assert secret not in pair[0].shown()


def test_odd_lifetimes_are_refused(pair: StandIns) -> None:
    for lifetime_s in (0, -1, 86401, "60", True, None):
        status, told = pair[0].ask("POST", "join-secrets", {"name": pair[1].name, "lifetime_s": lifetime_s})
        assert (status, told["error"]) == (400, "bad-request"), lifetime_s


class Impostor:
    """Listens with a certificate of its own and keeps every byte that arrives inside TLS."""

    def __init__(self, folder: Path, where: tuple[str, int]) -> None:
        key, certificate = folder / "i.key", folder / "i.pem"
        request = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj /CN=level1"
        subprocess.run(
            [*request.split(), "-keyout", str(key), "-out", str(certificate)], check=True, capture_output=True
        )
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.context.load_cert_chain(certificate, key)
        self.received, self.handshakes = bytearray(), 0
        self.socket = socket.create_server(where)
        self.thread = threading.Thread(target=self._listen, daemon=True)
        self.thread.start()

    def _listen(self) -> None:
        raw, _ = self.socket.accept()
        raw.settimeout(10)
        with self.context.wrap_socket(raw, server_side=True) as link:
            self.handshakes += 1
            while data := link.recv(4096):
                self.received += data

    def close(self) -> None:
        """Wait until the caller has hung up."""
        self.thread.join(timeout=15)
        self.socket.close()
        assert not self.thread.is_alive()


def test_secret_is_not_sent_to_a_leader_with_another_certificate(pair: StandIns, tmp_path: Path) -> None:
    secret = issue(pair[0], pair[1])
    place = pair.leader_place(pair[0])
    pair[0].end()  # the impostor sits on the leader's own address
    impostor = Impostor(tmp_path, pair[0].where)
    status, told = pair[1].ask("POST", "join", {**place, "secret": secret})
    impostor.close()
    assert (status, told["error"]) == (409, "leader-fingerprint-differs")
    assert impostor.handshakes == 1
    assert bytes(impostor.received) == b""
    assert pair[1].health()["state"] == "alone"


def test_true_leader_under_a_wrongly_told_fingerprint_is_refused(pair: StandIns) -> None:
    secret = issue(pair[0], pair[1])
    place = {**pair.leader_place(pair[0]), "leader_fingerprint": pair[1].fingerprint()}
    status, told = pair[1].ask("POST", "join", {**place, "secret": secret})
    assert (status, told["error"]) == (409, "leader-fingerprint-differs")
    assert attempt(pair, pair[1], secret) == (200, "")  # it was not used up


def test_leader_that_is_not_there_is_told(pair: StandIns) -> None:
    body = {**pair.leader_place(pair[0]), "leader": f"192.0.2.19:{pair.port}", "secret": "x"}
    status, told = pair[1].ask("POST", "join", body)
    assert (status, told["error"]) == (502, "leader-unreachable")


def record_of(member: Member, fingerprint: str) -> dict[str, object]:
    """What a joiner tells of itself, with a fingerprint of our choice."""
    return {
        "name": member.name,
        "address": member.address,
        "port": member.port,
        "telemetry_address": "198.51.100.12",
        "fingerprint": fingerprint,
        "version": "4.2.0",
        "processors": 4,
        "memory_mib": 8192,
    }


def test_joiner_whose_certificate_is_not_the_told_one_is_refused(pair: StandIns) -> None:
    secret = issue(pair[0], pair[1])
    body = {"secret": secret, "nonce": "n", "member": record_of(pair[1], pair[0].fingerprint())}
    status, told = call(pair[0].where, "POST", "peer/admit", body, password=None)
    assert (status, told["error"]) == (409, "joiner-fingerprint-differs")
    assert len(pair[0].call("GET", "view")["members"]) == 1
    assert attempt(pair, pair[1], secret) == (200, "")  # the cluster goes on, the secret is still good


def test_newcomer_that_does_not_answer_leaves_the_founder_working(pair: StandIns) -> None:
    secret = issue(pair[0], pair[1])
    fingerprint = pair[1].fingerprint()
    pair[1].end()
    body = {"secret": secret, "nonce": "n", "member": record_of(pair[1], fingerprint)}
    status, told = call(pair[0].where, "POST", "peer/admit", body, password=None)
    assert (status, told["error"]) == (502, "joiner-unreachable")
    pair[0].call("POST", "start", {})
    pair[1].start().wait_healthy()
    assert attempt(pair, pair[1], secret) == (200, "")
    assert pair.wait_agreed()["started"] is True


def test_other_version_is_refused(pair: StandIns) -> None:
    old = pair.another(3, version="4.1.7")
    try:
        old.start().wait_healthy()
        assert attempt(pair, old, issue(pair[0], old)) == (409, "version-differs")
    finally:
        old.end()


def test_join_secrets_come_from_the_leader_only(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=2) as members:
        members.form()
        body = {"name": "level3.ousemoor.example", "lifetime_s": 60}
        status, told = members[1].ask("POST", "join-secrets", body)
        assert (status, told["error"], told["leader"]) == (409, "not-leader", members[0].name)


def test_joined_machine_cannot_found_or_join_elsewhere(tmp_path: Path) -> None:
    with StandIns(tmp_path, count=3) as members:
        for index in (0, 1):
            members[index].call("POST", "found", {"cluster": f"levels {index}"})
        place = members.leader_place(members[1])
        assert members[0].ask("POST", "join", {**place, "secret": "x"})[1]["error"] == "already-member"
        members.join(members[2], members[0])
        assert members[2].ask("POST", "found", {"cluster": "own"})[1]["error"] == "already-member"


@pytest.mark.parametrize("throw", range(6))
def test_join_is_mended_by_repeating_after_a_kill_at_a_random_moment(pair: StandIns, throw: int) -> None:
    """Kill the leader or the joiner somewhere in the join, start it again, repeat: one cluster of two comes out."""
    dice = random.Random(throw)
    leader, joiner = pair.members
    victim, moment_s = dice.choice(pair.members), dice.uniform(0, 0.06)
    body = {**pair.leader_place(leader), "secret": issue(leader, joiner)}
    outcomes: list[object] = []

    def first_try() -> None:
        try:
            outcomes.append(joiner.ask("POST", "join", body))
        except (OSError, http.client.HTTPException) as exc:
            outcomes.append(exc)

    trying = threading.Thread(target=first_try)
    trying.start()
    trying.join(timeout=moment_s)
    victim.end(signal.SIGKILL)
    victim.start()
    trying.join(timeout=30)

    def mended() -> bool:
        if joiner.health()["state"] == "member":
            return True
        status, told = leader.ask("POST", "join-secrets", {"name": joiner.name, "lifetime_s": 60})
        if status != 200:
            return False  # not ready yet, or it counts the joiner in already and will soon tell it
        place = pair.leader_place(leader)
        return joiner.ask("POST", "join", {**place, "secret": told["secret"]})[0] == 200

    until(
        mended, what=f"the mended join (killed {victim.name} after {moment_s:.3f} s; first try: {outcomes})"
    )
    view = pair.wait_agreed()
    assert [row["name"] for row in view["members"]] == [leader.name, joiner.name]
