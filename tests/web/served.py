"""The program serving a job as a process of its own, and plain HTTP/1.1 to it. Not a test.

with served(job) as server:
    reply = server.get("/standing")
"""

import http.client
import select
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode, urlsplit

from tests.cli.demo_job import ENVIRONMENT, PROGRAM

__all__ = ["Answer", "Server", "served"]


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One reply. ``headers`` by their names in lower case."""

    status: int
    headers: Mapping[str, str]
    body: str


@dataclass(kw_only=True)
class Server:
    """A running server; ``cookie`` is what it gave for its start token."""

    process: "subprocess.Popen[str]"
    address: str
    cookie: str = ""
    port: int = field(init=False)

    def __post_init__(self) -> None:
        self.port = int(urlsplit(self.address).port or 0)

    @property
    def host(self) -> str:
        """As the Host header names it."""
        return f"127.0.0.1:{self.port}"

    @property
    def base(self) -> str:
        """The address without path and token."""
        return f"http://{self.host}"

    @property
    def token(self) -> str:
        """The start token."""
        return urlsplit(self.address).query.removeprefix("token=")

    def ask(
        self,
        method: str,
        path: str,
        headers: Mapping[str, str],
        body: bytes | None = None,
        *,
        to: str = "127.0.0.1",
    ) -> Answer:
        """One request with exactly these headers (and a length where there is a body)."""
        connection = http.client.HTTPConnection(to, self.port, timeout=120)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in headers.items():
                connection.putheader(name, value)
            if body is not None and "Content-Length" not in headers and "Transfer-Encoding" not in headers:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body)
            reply = connection.getresponse()
            found = {name.lower(): value for name, value in reply.getheaders()}
            return Answer(status=reply.status, headers=found, body=reply.read().decode())
        finally:
            connection.close()

    def get(self, path: str, **headers: str) -> Answer:
        """As the browser that was let in asks."""
        return self.ask("GET", path, {"Host": self.host, "Cookie": self.cookie, **headers})

    def post(self, path: str, form: Mapping[str, str], **headers: str) -> Answer:
        """As a form of the pages is sent."""
        own = {"Host": self.host, "Cookie": self.cookie, "Origin": self.base}
        own["Content-Type"] = "application/x-www-form-urlencoded"
        return self.ask("POST", path, own | headers, urlencode(form).encode())

    def kill(self) -> None:
        """kill -9."""
        self.process.kill()
        self.process.wait(timeout=20)


@contextmanager
def served(job: Path, *, port: int = 0) -> Iterator[Server]:
    """Serve until the end of the block; ended by its id, asked first."""
    command = [PROGRAM, "serve", "--job", str(job), "--port", str(port)]
    with (job / "serve.txt").open("ab") as talk:
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=talk, text=True, env=ENVIRONMENT)
    try:
        assert process.stdout is not None
        ready, _, _ = select.select([process.stdout], [], [], 180)
        address = process.stdout.readline().strip() if ready else ""
        assert address.startswith("http://127.0.0.1:"), (job / "serve.txt").read_text(encoding="utf-8")
        server = Server(process=process, address=address)
        first = server.ask("GET", f"/?token={server.token}", {"Host": server.host})
        server.cookie = first.headers["set-cookie"].partition(";")[0]
        yield server
    finally:
        process.terminate()
        try:
            process.wait(timeout=120)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(timeout=20)
        if process.stdout is not None:
            process.stdout.close()
