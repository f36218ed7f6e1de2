"""HTTPS: one thread a connection, sizes and waits bounded, callers told apart, answers as JSON."""

import contextlib
import hmac
import json
import math
import socket
import ssl
import sys
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from staddle.standin.core import Core
from staddle.standin.password import Gate
from staddle.standin.refusal import Refusal
from staddle.standin.service import Service

__all__ = ["Server"]

_IDLE_TIMEOUT_S = 60.0
_LARGEST_BODY_BYTES = 64 << 10
_LARGEST_PEER_BODY_BYTES = (
    64 << 20
)  # a full document: 1000 values of 4096 characters, 12 bytes each where escaped


class Server(ThreadingHTTPServer):
    """Bound at once, so that a taken port shows before anything is made; serves only after ``equip``."""

    daemon_threads = True
    request_queue_size = 64

    def __init__(self, where: tuple[str, int]) -> None:
        self.address_family = socket.AF_INET6 if ":" in where[0] else socket.AF_INET
        super().__init__(where, _Handler)
        self.context: ssl.SSLContext
        self.core: Core
        self.service: Service
        self.gate: Gate

    def server_bind(self) -> None:
        # Without the look-up of a host name that the parent does: there may be no DNS yet.
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.socket.bind(self.server_address)
        self.server_name, self.server_port = self.server_address[:2]  # type: ignore[assignment]

    def equip(self, context: ssl.SSLContext, core: Core, service: Service, gate: Gate) -> None:
        """Hand in what requests need."""
        self.context, self.core, self.service, self.gate = context, core, service, gate

    def handle_error(self, request: object, client_address: object) -> None:
        error = sys.exc_info()[1]
        if not isinstance(error, OSError):  # callers that hang up are no news
            self.core.say(f"error: a request failed: {error!r}")


class _Handler(BaseHTTPRequestHandler):
    server: Server
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "Sluicelog", ""
    disable_nagle_algorithm = True
    wbufsize = 1 << 16
    timeout = _IDLE_TIMEOUT_S

    def setup(self) -> None:
        # The handshake belongs to this connection's thread: a caller that dawdles keeps nobody else waiting.
        self.request.settimeout(self.timeout)
        self.request = self.server.context.wrap_socket(self.request, server_side=True)
        super().setup()

    def finish(self) -> None:
        try:
            with contextlib.suppress(OSError):
                super().finish()
        finally:
            self.request.close()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the parent's name
        """No log of requests: the console is for a person."""

    def do_GET(self) -> None:
        self._answer()

    do_POST = do_PUT = do_DELETE = do_GET

    def _answer(self) -> None:
        status, headers = 200, {}
        try:
            body: dict[str, Any] = self._dispatch()
        except Refusal as refused:
            status, body = refused.status, refused.body()
            if status == 401:
                headers["WWW-Authenticate"] = 'Basic realm="Sluicelog", charset="UTF-8"'  # RFC 7617 §2
            if status == 429:
                headers["Retry-After"] = refused.fields.get("retry_after_s") or "1"
        data = json.dumps(body).encode()
        self.send_response(status)
        for name, value in {
            **headers,
            "Content-Type": "application/json",
            "Content-Length": str(len(data)),
        }.items():
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(data)

    def _dispatch(self) -> dict[str, Any]:
        service, path = self.server.service, self.path.partition("?")[0]
        body = self._body(peer=path.startswith("/v1/peer/"))
        prefix, _, rest = path.removeprefix("/").partition("/")
        head, _, key = rest.partition("/")
        if head in ("values", "members") and key:
            rest, body = head, {**body, "key": key}
        route = f"{self.command} {rest}"
        if prefix == "v1" and route in service.public:
            return self._guarded(service.public[route], body)
        if prefix == "v1" and route in service.peers:
            core = self.server.core
            given = self.headers.get("Sluicelog-Cluster-Key", "").encode()
            if not core.key or not hmac.compare_digest(given, core.key.encode()):
                raise Refusal(403, "not-a-peer", "the cluster key is missing or wrong")
            return self._guarded(service.peers[route], body)
        self._require_administrator()
        if prefix == "v1" and route in service.administrator:
            return service.administrator[route](body)
        known = {r.split(" ")[1] for r in (*service.public, *service.administrator, *service.peers)}
        if prefix == "v1" and rest in known:
            raise Refusal(405, "bad-method", f"{self.command} is not for {path}")
        raise Refusal(404, "unknown-path", f"there is nothing at {path}")

    def _guarded(
        self, call: Callable[[dict[str, Any]], dict[str, Any]], body: dict[str, Any]
    ) -> dict[str, Any]:
        try:
            return call(body)
        except (KeyError, TypeError, ValueError, IndexError, AttributeError) as exc:
            self.server.core.say(f"error: a malformed call of {self.path}: {exc!r}")
            raise Refusal(400, "bad-request", "the call is not of the expected form") from exc

    def _body(self, *, peer: bool) -> dict[str, Any]:
        length = self.headers.get("Content-Length", "0")
        limit = _LARGEST_PEER_BODY_BYTES if peer else _LARGEST_BODY_BYTES
        if not length.isdecimal() or "Transfer-Encoding" in self.headers:
            self.close_connection = True
            raise Refusal(400, "bad-request", "a Content-Length is expected")
        if int(length) > limit:
            self.close_connection = True
            raise Refusal(413, "too-large", f"a body of at most {limit} bytes is expected")
        data = self.rfile.read(int(length))
        if not data:
            return {}
        try:
            body = json.loads(data)
        except (ValueError, RecursionError) as exc:
            raise Refusal(400, "bad-request", "the body is not JSON") from exc
        if not isinstance(body, dict):
            raise Refusal(400, "bad-request", "the body is not a JSON object")
        return body

    def _require_administrator(self) -> None:
        gate, address = self.server.gate, self.client_address[0]
        wait_s = gate.wait_s(address)
        if wait_s > 0:
            seconds = str(math.ceil(wait_s))
            raise Refusal(429, "throttled", f"too many wrong tries: wait {seconds} s", retry_after_s=seconds)
        if not gate.admits(self.headers.get("Authorization"), address):
            raise Refusal(401, "unauthenticated", "the administrator's name and password are expected")
