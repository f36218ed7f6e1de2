"""Eelgate, an invented counter of eels at sluices: a tiny clustered appliance shaped unlike the stand-in. Not a test.

Other paths, other field names, other status codes, acts in two requests of which the second needs what the first gave,
no deputy, errors as {"fault": {"text": …}}. One process is one node; the head keeps the truth, the others ask it.
It takes the stand-in's command line, so that a platform can start either.
"""

import argparse
import base64
import hashlib
import http.client
import itertools
import json
import secrets
import ssl
import threading
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from staddle.trust.certificates import make_self_signed

OVF = "{http://schemas.dmtf.org/ovf/environment/1}"
Answer = tuple[int, dict[str, Any] | None]


def fault(status: int, text: str) -> Answer:
    return status, {"fault": {"text": text}}


class Node:
    """One node. ``truth`` is the head's own; a follower knows where its head is."""

    def __init__(self, args: argparse.Namespace) -> None:
        told = {
            row.get(f"{OVF}key"): row.get(f"{OVF}value", "")
            for row in ET.parse(args.answers).getroot().iter(f"{OVF}Property")
        }
        self.args = args
        self.name, self.ip = told["eelgate.full_name"] or "", told["eelgate.ip"] or ""
        self.word = told["eelgate.warden_word"] or ""
        self.truth: dict[str, Any] | None = None
        self.head: tuple[str, int] | None = None
        self.ring_key = ""
        self.drafts: dict[int, str] = {}
        self.passes: dict[int, dict[str, Any]] = {}
        self.numbers = itertools.count(17)
        self.lock = threading.Lock()
        self.sha = ""

    def real(self, ip: str) -> str:
        for pair in self.args.address_map:
            configured, _, real = pair.partition("=")
            if ip.rpartition(".")[0] == configured.rpartition(".")[0]:
                return f"{real.partition('/')[0].rpartition('.')[0]}.{ip.rpartition('.')[2]}"
        return ip

    def me(self) -> dict[str, Any]:
        return {"n": self.name, "ip": self.ip, "sha": self.sha, "seen": True}

    def at_head(self, call: str, body: dict[str, Any]) -> Answer:
        """Ask the head, which for the head is itself."""
        if self.truth is not None:
            return self.peer(call, {**body, "ring_key": self.ring_key})
        if self.head is None:
            return fault(425, "this node is in no ring yet")
        status, answer, _ = ask(self.head, f"/api/peer/{call}", {**body, "ring_key": self.ring_key})
        return status, answer

    def peer(self, call: str, body: dict[str, Any]) -> Answer:
        if self.truth is None:
            return fault(421, "this node is not the head")
        if call == "enter":
            return self.enter(body)
        if body.get("ring_key") != self.ring_key:
            return fault(403, "that is not the ring's key")
        if call == "note":
            self.truth["notes"][body["key"]] = body["text"]
        if call == "word":
            self.truth["word"] = body["word"]
        return 200, self.truth

    def enter(self, body: dict[str, Any]) -> Answer:
        assert self.truth is not None
        found = next((p for p in self.passes.values() if p.get("word") == body["pass_word"]), None)
        if found is None or found["for"] != body["me"]["n"]:
            return fault(
                403, f"the pass {body['pass_word']} is not for {body['me']['n']}"
            )  # quotes it, on purpose
        if found["used"]:
            return fault(403, "that pass was used before")
        found["used"] = True
        self.truth["nodes"].append(body["me"])
        return 200, {"ring_key": self.ring_key}

    def admitted(self, header: str | None) -> bool:
        status, truth = self.at_head("truth", {})
        word = truth["word"] if status == 200 and truth else self.word
        return header == "Basic " + base64.b64encode(f"warden:{word}".encode()).decode()

    def answer(self, method: str, path: str, body: dict[str, Any], header: str | None) -> Answer:
        if path == "/api/status":
            in_ring = self.truth is not None or self.head is not None
            hardware = {"cpus": self.args.processors, "ramMB": self.args.memory_mib}
            node = {"fullName": self.name, "rel": "9.1", "clock": datetime.now(UTC).isoformat(), **hardware}
            return 200, {"node": node, "condition": "green", "ring": "in" if in_ring else None}
        if path.startswith("/api/peer/"):
            with self.lock:
                return self.peer(path.removeprefix("/api/peer/"), body)
        if not self.admitted(header):
            return fault(403, "warden's word, please")
        parts = path.removeprefix("/api/").split("/")
        match method, parts:
            case "GET", ["ring"]:
                return self.at_head("truth", {})
            case "POST", ["ring", "drafts"]:
                number = next(self.numbers)
                self.drafts[number] = body["title"]
                return 201, {"draft": {"number": number}}
            case "POST", ["ring", "drafts", number, "commit"]:
                return self.commit(int(number))
            case "POST", ["passes"]:
                number = next(self.numbers)
                self.passes[number] = {"for": body["for"], "used": False}
                return 201, {"pass": {"id": number}}
            case "PUT", ["passes", number]:
                if not isinstance(body["minutes"], int):
                    return fault(422, "minutes must be a number")
                mine = self.passes[int(number)]
                for other in self.passes.values():  # a new pass ends the unused ones of that name
                    if other is not mine and other["for"] == mine["for"] and not other["used"]:
                        other.pop("word", None)
                mine["word"] = secrets.token_urlsafe(24)
                return 200, {"word": self.passes[int(number)]["word"]}
            case "PUT", ["ring", "membership"]:
                return self.join(body)
            case "POST", ["ring", "open"]:
                if self.truth is None:
                    return fault(421, "only the head opens the ring")
                self.truth["open"] = True
                return 202, None
            case "PATCH" | "POST", ["warden"]:
                return 204 if self.at_head("word", body)[0] == 200 else 520, None
            case "PUT", ["notes", key]:
                return 204 if self.at_head("note", {"key": key, **body})[0] == 200 else 520, None
            case "GET", ["notes", key]:
                status, truth = self.at_head("truth", {})
                if status != 200 or truth is None or key not in truth["notes"]:
                    return fault(410, "no such note")
                return 200, {"note": {"text": truth["notes"][key]}}
        return fault(404, "not spoken here")

    def commit(self, number: int) -> Answer:
        if number not in self.drafts:
            return fault(404, "no such draft")
        if self.truth is None:
            self.ring_key = secrets.token_hex(16)
            self.truth = {
                "ring": {"uid": secrets.token_hex(8), "title": self.drafts[number]},
                "headName": self.name,
                "nodes": [self.me()],
                "open": False,
                "notes": {},
                "word": self.word,
            }
        return 202, None

    def join(self, body: dict[str, Any]) -> Answer:
        if self.head is not None:
            return 204, None
        ip, _, port = body["at"].rpartition(":")
        where = (self.real(ip), int(port))
        status, answer, sha = ask(
            where, "/api/peer/enter", {"pass_word": body["pass_word"], "me": self.me()}, sha=body["print"]
        )
        if sha != body["print"]:
            return fault(409, "the head shows another certificate")
        if status != 200 or answer is None:
            return status, answer
        self.ring_key, self.head = answer["ring_key"], where
        return 204, None


def ask(
    where: tuple[str, int], path: str, body: dict[str, Any], *, sha: str = ""
) -> tuple[int, dict[str, Any] | None, str]:
    """One call between nodes; nothing is sent where the certificate differs."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    link = http.client.HTTPSConnection(*where, timeout=10, context=context)
    try:
        link.connect()
        der = link.sock.getpeercert(binary_form=True)
        assert isinstance(der, bytes)
        seen = hashlib.sha256(der).hexdigest()
        if sha and seen != sha:
            return 0, None, seen
        link.request("POST", path, json.dumps(body), {"Content-Type": "application/json"})
        answer = link.getresponse()
        return answer.status, json.loads(answer.read()), seen
    finally:
        link.close()


def handler(node: Node, context: ssl.SSLContext) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        timeout = 30

        def setup(self) -> None:
            self.request.settimeout(self.timeout)
            self.request = context.wrap_socket(self.request, server_side=True)
            super().setup()

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the parent's name
            pass

        def do_GET(self) -> None:
            text = self.rfile.read(int(self.headers.get("Content-Length", "0")))
            header = self.headers.get("Authorization")
            status, body = node.answer(self.command, self.path, json.loads(text or "{}"), header)
            data = b"" if body is None else json.dumps(body).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            if status != 204:
                self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

        do_POST = do_PUT = do_DELETE = do_GET

    return Handler


class Quiet(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """A caller that judges the certificate hangs up in the handshake; that is expected."""


def main() -> None:
    parser = argparse.ArgumentParser()
    for option in ("answers", "state", "console"):
        parser.add_argument(f"--{option}", type=Path)
    for option in ("processors", "memory-mib", "port"):
        parser.add_argument(f"--{option}", type=int)
    parser.add_argument("--address-map", action="append", default=[])
    args, _ = parser.parse_known_args()
    node = Node(args)
    args.state.mkdir(mode=0o700, exist_ok=True)
    key, certificate = make_self_signed(
        common_name=node.name, names=[node.name], addresses=[node.ip], now=datetime.now(UTC), days=30
    )
    both = args.state / "both.pem"
    both.touch(mode=0o600)
    both.write_bytes(key + certificate)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(both)

    node.sha = hashlib.sha256(ssl.PEM_cert_to_DER_cert(certificate.decode())).hexdigest()
    server = Quiet((node.real(node.ip), args.port), handler(node, context))
    args.console.write_text(f"EELGATE 9.1 * node {node.name}\nkey print {node.sha}\nready\n")
    server.serve_forever()


if __name__ == "__main__":
    main()
