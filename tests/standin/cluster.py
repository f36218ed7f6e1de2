"""Real members of the stand-in on loopback: start, stop, kill, call. For this room's tests and for others' too.

    with StandIns(tmp_path, count=3) as members:
        members.form()
        members[0].call("PUT", "values/a", {"value": "1"})

Each member runs on a loopback address of its own that is mapped from its RFC 5737 address, on one port that was free on all of them.
Only 127.0.0.0/8 is dialled; only processes that were started here are ended, each by its id.
"""

import base64
import http.client
import itertools
import json
import os
import random
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from xml.sax.saxutils import quoteattr

__all__ = [
    "Member",
    "Settings",
    "StandIns",
    "call",
    "environment_document",
    "first_answers",
    "free_block",
    "until",
]

PASSWORD = "first-Password-1"
_ROOT = Path(__file__).resolve().parents[2]
_blocks = itertools.count(random.SystemRandom().randrange(1, 200))


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How the members run."""

    count: int = 3
    speed: float = 0.2
    processors: int = 4
    memory_mib: int = 8192
    certificate_maker: str | None = None
    arguments: tuple[str, ...] = ()
    program: tuple[str, ...] = (sys.executable, "-m", "staddle.standin")
    environment: dict[str, str] = field(default_factory=lambda: {"PYTHONPATH": str(_ROOT / "src")})

    @property
    def detection_s(self) -> float:
        """After how long a silent member counts as lost."""
        return 3.0 * self.speed


def until(ask: Callable[[], Any], *, deadline_s: float = 20.0, what: str = "the condition") -> Any:  # noqa: ANN401
    """Poll until ask() gives something true, and return that. Fails with the last thing seen."""
    end = time.monotonic() + deadline_s
    while True:
        seen: object
        try:
            seen = ask()
        except (OSError, http.client.HTTPException) as exc:
            seen = exc
        else:
            if seen:
                return seen
        if time.monotonic() > end:
            raise AssertionError(f"{what} was not seen in {deadline_s} s; last: {seen!r}")
        time.sleep(0.02)


def free_block() -> tuple[str, int]:
    """A /24 of 127.0.0.0/8 ("127.64.7.0") and a port that is free on its addresses .11 to .19."""
    while True:
        block = f"127.{64 + os.getpid() % 150}.{next(_blocks) % 254 + 1}"
        with socket.socket() as probe:
            probe.bind((f"{block}.11", 0))
            port: int = probe.getsockname()[1]
        try:
            for last in range(11, 20):
                with socket.socket() as probe:
                    probe.bind((f"{block}.{last}", port))
        except OSError:
            continue
        return f"{block}.0", port


def call(
    where: tuple[str, int],
    method: str,
    path: str,
    body: dict[str, Any] | None = None,
    *,
    password: str | None = PASSWORD,
    timeout_s: float = 15.0,
) -> tuple[int, dict[str, Any]]:
    """One HTTPS request below /v1/, as (status, JSON). The certificate is not judged here."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    link = http.client.HTTPSConnection(*where, timeout=timeout_s, context=context)
    headers = {}
    if password is not None:
        headers["Authorization"] = "Basic " + base64.b64encode(f"admin:{password}".encode()).decode()
    try:
        link.request(method, f"/v1/{path}", None if body is None else json.dumps(body), headers)
        answer = link.getresponse()
        return answer.status, json.loads(answer.read())
    finally:
        link.close()


def first_answers(number: int) -> dict[str, str]:
    """Good answers for member 1, 2, 3 … of the demo's world."""
    return {
        "host_name": f"level{number}.ousemoor.example",
        "management_address": f"192.0.2.{10 + number}",
        "management_prefix": "24",
        "gateway": "192.0.2.1",
        "telemetry_address": f"198.51.100.{10 + number}",
        "telemetry_prefix": "24",
        "dns_servers": "192.0.2.2, 192.0.2.3",
        "ntp_servers": "192.0.2.4,time.ousemoor.example",
        "time_zone": "Europe/London",
        "log_level": "info",
        "cluster_name": "Ousemoor levels",
        "retention_days": "400",
        "admin_password": PASSWORD,
    }


def environment_document(answers: dict[str, str]) -> str:
    """The answers as an OVF environment document (DSP0243, DSP8027)."""
    rows = "".join(
        f"<Property oe:key={quoteattr('sluicelog.' + k)} oe:value={quoteattr(v)}/>"
        for k, v in answers.items()
    )
    uri = "http://schemas.dmtf.org/ovf/environment/1"
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<Environment xmlns="{uri}" xmlns:oe="{uri}" oe:id="member">'
        f"<PropertySection>{rows}</PropertySection></Environment>\n"
    )


class Member:
    """One process and its files. ``where`` is the real address and port."""

    def __init__(
        self, folder: Path, settings: Settings, answers: dict[str, str], block: str, port: int
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.settings, self.answers, self.port = settings, answers, port
        self.name, self.address = answers["host_name"], answers["management_address"]
        self.where = (block.rpartition(".")[0] + "." + self.address.rpartition(".")[2], port)
        self.console, self.state = folder / "console.txt", folder / "state"
        self._answers_file, self._block = folder / "ovf-env.xml", block
        self.process: subprocess.Popen[bytes] | None = None
        self.password = PASSWORD

    def start(self, *, answers: bool = True) -> Self:
        """Start the process; returns at once. Args: answers: whether the document is attached."""
        self._answers_file.unlink(missing_ok=True)
        if answers:
            self._answers_file.write_text(environment_document(self.answers), encoding="utf-8")
        s = self.settings
        maker = [] if s.certificate_maker is None else ["--certificate-maker", s.certificate_maker]
        command = [
            *s.program,
            *s.arguments,  # first: of several maps the first that fits is taken
            *("--answers", str(self._answers_file), "--state", str(self.state)),
            *("--console", str(self.console), "--processors", str(s.processors)),
            *("--memory-mib", str(s.memory_mib), "--port", str(self.port), "--speed", str(s.speed)),
            *("--address-map", f"192.0.2.0/24={self._block}/24", *maker),
        ]
        environment = {**os.environ, **s.environment}
        with (self.console.parent / "stderr.txt").open("ab") as talk:
            self.process = subprocess.Popen(
                command, env=environment, stdin=subprocess.DEVNULL, stdout=talk, stderr=talk
            )
        return self

    def send(self, number: int) -> None:
        """Send a signal to this member's process, by its id."""
        assert self.process is not None
        self.process.send_signal(number)

    def end(self, number: int = signal.SIGKILL) -> None:
        """End the process (kill -9 unless told otherwise) and wait for it."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(number)
            self.process.wait(timeout=20)

    def exit_code(self, *, deadline_s: float = 20.0) -> int:
        """Wait for the process to end by itself."""
        assert self.process is not None
        return self.process.wait(timeout=deadline_s)

    def shown(self) -> str:
        """The console's text."""
        return self.console.read_text(encoding="utf-8") if self.console.exists() else ""

    def fingerprint(self) -> str:
        """The fingerprint that the console shows, from its latest start."""
        lines = [line for line in self.shown().splitlines() if line.startswith("certificate SHA-256 ")]
        return lines[-1].removeprefix("certificate SHA-256 ")

    def ask(
        self, method: str, path: str, body: dict[str, Any] | None = None, *, timeout_s: float = 15.0
    ) -> tuple[int, dict[str, Any]]:
        """A call as the administrator: (status, JSON)."""
        return call(self.where, method, path, body, password=self.password, timeout_s=timeout_s)

    def call(self, method: str, path: str, body: dict[str, Any] | None = None) -> dict[str, Any]:
        """A call as the administrator that must succeed."""
        status, told = self.ask(method, path, body)
        assert status == 200, (method, path, status, told)
        return told

    def health(self) -> dict[str, Any]:
        """The open health answer."""
        return call(self.where, "GET", "health", password=None)[1]

    def wait_healthy(self) -> Self:
        """Wait until the member says that it is ready."""

        def healthy() -> bool:
            assert self.process is not None
            if self.process.poll() is not None:
                raise AssertionError(f"{self.name} ended: {self.shown()}")
            return self.health().get("healthy") is True

        until(healthy, what=f"{self.name} healthy")
        return self


class StandIns:
    """Members 1 … count in one folder; a context manager that ends every process it started."""

    def __init__(self, folder: Path, settings: Settings | None = None, **changes: Any) -> None:  # noqa: ANN401
        self.settings = replace(settings or Settings(), **changes)
        self.folder = folder
        self.block, self.port = free_block()
        self.members = [self.another(number) for number in range(1, self.settings.count + 1)]

    def another(self, number: int, **changes: str) -> Member:
        """A member, not started and not in ``members`` by itself. Args: answers to change."""
        answers = {**first_answers(number), **changes}
        return Member(self.folder / f"member{number}", self.settings, answers, self.block, self.port)

    def __enter__(self) -> Self:
        for member in self.members:
            member.start()
        for member in self.members:
            member.wait_healthy()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for member in self.members:
            member.end()

    def __getitem__(self, index: int) -> Member:
        return self.members[index]

    def __iter__(self) -> Iterator[Member]:
        return iter(self.members)

    def leader_place(self, leader: Member) -> dict[str, str]:
        """What a joiner is told about its leader."""
        return {"leader": f"{leader.address}:{leader.port}", "leader_fingerprint": leader.fingerprint()}

    def join(self, joiner: Member, leader: Member) -> dict[str, Any]:
        """Issue a secret and join with it."""
        issued = leader.call("POST", "join-secrets", {"name": joiner.name, "lifetime_s": 600})
        return joiner.call("POST", "join", {**self.leader_place(leader), "secret": issued["secret"]})

    def form(self, *, deputy: bool = True) -> None:
        """Found on the first, join the others, name the second as deputy, start, and wait until all agree."""
        first, *others = self.members
        first.call("POST", "found", {"cluster": "Ousemoor levels"})
        for member in others:
            self.join(member, first)
        if deputy and others:
            first.call("POST", "deputy", {"name": others[0].name})
        first.call("POST", "start", {})
        self.wait_agreed()

    def views(self, members: list[Member] | None = None) -> list[dict[str, Any]]:
        """The view of each (running) member."""
        return [member.call("GET", "view") for member in members or self.members]

    def wait_agreed(self, members: list[Member] | None = None) -> dict[str, Any]:
        """Wait until the given members see one cluster, one leader that is among them, and each other; the first one's view."""
        chosen = members or self.members
        names = {member.name for member in chosen}

        def agreed() -> dict[str, Any] | None:
            views = [member.ask("GET", "view")[1] for member in chosen]
            told = {
                json.dumps(
                    [
                        *(view.get(key) for key in ("cluster", "term", "leader", "deputy", "started")),
                        *((row["name"], row["fingerprint"]) for row in view.get("members", [])),
                    ]
                )
                for view in views
            }
            heard = all(
                row["state"] != "lost" and row["clock_offset_ms"] is not None
                for view in views
                for row in view.get("members", [])
                if row["name"] in names
            )
            return views[0] if len(told) == 1 and heard and views[0].get("leader") in names else None

        seen: dict[str, Any] = until(agreed, what="agreement")
        return seen

    def leader(self, members: list[Member] | None = None) -> Member:
        """The member on which all agree."""
        name = self.wait_agreed(members)["leader"]
        return next(member for member in self.members if member.name == name)
