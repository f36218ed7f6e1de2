"""A second stand-in that lies on demand. Shares no code with the first; speaks as much of the protocol as proving needs.

    python appliance.py --faults clock,split --members level1=127.1.2.11:8443,level2=127.1.2.12:8443 --folder DIR

All members live in this one process and share one truth in memory; a fault bends what the *last* member says or keeps.
It answers GET health, GET view, PUT and GET values. It prints one JSON line when it serves:
{"members": [{"name", "address", "port", "fingerprint", "journal_fingerprint"}]}. Ends with its standard input.

Faults
  clock        the last member's clock, and what the others measure of it, is 3 s ahead
  split        the last member sees another cluster with itself as leader
  missing      the last member does not see the first one
  certificate  the last member serves another certificate than the journal and all views know
  lost-write   a value written through the last member is acknowledged and seen through no other
  version      the last member runs another version
  size         the last member has half the processors and memory
"""

import argparse
import base64
import json
import ssl
import sys
import threading
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

__all__ = ["FAULTS", "main"]

FAULTS = ("clock", "split", "missing", "certificate", "lost-write", "version", "size")
_AHEAD = timedelta(seconds=3)


def _make_certificate(folder: Path, stem: str, name: str, address: str) -> str:
    """Write stem.key and stem.pem; the fingerprint in pairs."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC)
    names: list[x509.GeneralName] = [x509.DNSName(name), x509.IPAddress(ip_address(address))]
    certificate = (
        x509.CertificateBuilder(subject, subject, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - timedelta(minutes=5))
        .not_valid_after(now + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .sign(key, hashes.SHA256())
    )
    plain = serialization.NoEncryption()
    pkcs8 = serialization.PrivateFormat.PKCS8
    (folder / f"{stem}.key").write_bytes(key.private_bytes(serialization.Encoding.PEM, pkcs8, plain))
    (folder / f"{stem}.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    digest = certificate.fingerprint(hashes.SHA256()).hex().upper()
    return ":".join(digest[i : i + 2] for i in range(0, len(digest), 2))


class Cluster:
    """The shared truth, and the one liar in it (the last member)."""

    def __init__(self, options: argparse.Namespace) -> None:
        self.options = options
        self.faults: set[str] = options.faults
        self.lock = threading.Lock()
        self.values: dict[str, dict[str, object]] = {}
        self.lost: dict[str, dict[str, object]] = {}
        self.index = 10
        self.rows: list[dict[str, object]] = []
        self.up_since = datetime.now(UTC)
        self.credentials = base64.b64encode(f"admin:{options.password}".encode()).decode()

    def lies(self, name: str, fault: str) -> bool:
        """True where this member is the liar and this fault was ordered."""
        return fault in self.faults and name == self.rows[-1]["name"]

    def hardware(self, name: str) -> dict[str, object]:
        """Version and size as the member tells them."""
        share = 2 if self.lies(name, "size") else 1
        return {
            "version": "4.1.9" if self.lies(name, "version") else "4.2.0",
            "processors": self.options.processors // share,
            "memory_mib": self.options.memory_mib // share,
        }

    def health(self, name: str) -> dict[str, object]:
        """GET health."""
        now = datetime.now(UTC) + (_AHEAD if self.lies(name, "clock") else timedelta())

        def text(instant: datetime) -> str:
            return instant.strftime("%Y-%m-%dT%H:%M:%S.") + f"{instant.microsecond // 1000:03d}Z"

        return {
            "name": name,
            "product": "Sluicelog",
            **self.hardware(name),
            "state": "member",
            "time": text(now),
            "up_since": text(self.up_since),
            "started": True,
            "healthy": True,
        }

    def view(self, name: str) -> dict[str, object]:
        """GET view."""
        split = self.lies(name, "split")
        first, last = str(self.rows[0]["name"]), str(self.rows[-1]["name"])
        seen = self.rows[1:] if self.lies(name, "missing") else self.rows
        return {
            "cluster": {"id": "0" * 32 if split else "c" * 32, "name": self.options.cluster},
            "term": 9 if split else 3,
            "leader": last if split else first,
            "deputy": None if split or len(self.rows) < 2 else self.rows[1]["name"],
            "started": True,
            "me": name,
            "committed": [3, self.index],
            "members": [self._seen(name, row) for row in sorted(seen, key=lambda row: str(row["name"]))],
        }

    def _seen(self, me: str, row: dict[str, object]) -> dict[str, object]:
        offset_ms = 0.0
        if "clock" in self.faults and row["name"] != me:
            # The liar is ahead of the others; seen from it, the others are behind.
            offset_ms = 3000.0 * (self.lies(str(row["name"]), "clock") - self.lies(me, "clock"))
        mine = row["name"] == me
        return {
            **row,
            **self.hardware(str(row["name"])),
            "state": "self" if mine else "heard",
            "last_heard_ms": 0 if mine else 40,
            "clock_offset_ms": offset_ms,
        }

    def put(self, name: str, key: str, value: str) -> dict[str, object]:
        """PUT values/KEY; the liar keeps it to itself."""
        with self.lock:
            self.index += 1
            told: dict[str, object] = {"key": key, "value": value, "term": 3, "index": self.index}
            (self.lost if self.lies(name, "lost-write") else self.values)[key] = told
            return told

    def get(self, name: str, key: str) -> dict[str, object] | None:
        """GET values/KEY."""
        with self.lock:
            own = self.lost.get(key) if self.lies(name, "lost-write") else None
            return own or self.values.get(key)


def _serve(cluster: Cluster, name: str, where: tuple[str, int], stem: Path) -> ThreadingHTTPServer:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        timeout = 30

        def setup(self) -> None:
            self.request.settimeout(self.timeout)
            self.request = context.wrap_socket(self.request, server_side=True)
            super().setup()

        def finish(self) -> None:
            super().finish()
            self.request.close()

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the parent's name
            pass

        def do_GET(self) -> None:
            self.rfile_body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
            status, body = self.answer()
            data = json.dumps(body).encode()
            head = {"Content-Type": "application/json", "Content-Length": str(len(data))}
            self.send_response(status)
            for field, text in head.items():
                self.send_header(field, text)
            self.end_headers()
            self.wfile.write(data)

        do_PUT = do_GET

        def answer(self) -> tuple[int, object]:
            if self.path == "/v1/health":
                return 200, cluster.health(name)
            if self.headers.get("Authorization") != f"Basic {cluster.credentials}":
                return 401, {"error": "unauthenticated", "message": "name and password, please"}
            if self.path == "/v1/view":
                return 200, cluster.view(name)
            if self.path.startswith("/v1/values/"):
                key = self.path.removeprefix("/v1/values/")
                if self.command == "PUT":
                    return 200, cluster.put(name, key, json.loads(self.rfile_body)["value"])
                found = cluster.get(name, key)
                return (200, found) if found else (404, {"error": "unknown-key", "message": "no such value"})
            return 404, {"error": "unknown-path", "message": "not spoken here"}

    class Quiet(ThreadingHTTPServer):
        daemon_threads = True

        def handle_error(self, request: object, client_address: object) -> None:
            """A caller that judges the certificate hangs up in the handshake; that is expected."""

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(f"{stem}.pem", f"{stem}.key")
    return Quiet(where, Handler)


def _options(arguments: list[str]) -> argparse.Namespace:
    def faults(text: str) -> set[str]:
        chosen = {part for part in text.split(",") if part}
        if unknown := chosen - set(FAULTS):
            raise argparse.ArgumentTypeError(f"unknown: {', '.join(sorted(unknown))}")
        return chosen

    def members(text: str) -> list[tuple[str, str, str, int]]:
        """NAME=REAL:PORT or NAME=REAL:PORT@CONFIGURED, comma-separated."""
        rows = []
        for part in text.split(","):
            name, place = part.split("=")
            place, _, configured = place.partition("@")
            real, port = place.rsplit(":", 1)
            rows.append((name, real, configured or real, int(port)))
        return rows

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--faults", type=faults, default=set(), help="comma-separated")
    parser.add_argument("--members", type=members, required=True, help=members.__doc__)
    parser.add_argument("--folder", type=Path, required=True, help="for keys and certificates")
    parser.add_argument("--password", default="first-Password-1")
    parser.add_argument("--cluster", default="Ousemoor levels")
    parser.add_argument("--processors", type=int, default=4)
    parser.add_argument("--memory-mib", type=int, default=8192)
    return parser.parse_args(arguments)


def main(arguments: list[str]) -> int:
    """Serve until standard input ends."""
    options = _options(arguments)
    options.folder.mkdir(parents=True, exist_ok=True)
    cluster = Cluster(options)
    ready = []
    servers = []
    for number, (name, real, configured, port) in enumerate(options.members, start=1):
        known = _make_certificate(options.folder, name, name, configured)
        cluster.rows.append(
            {
                "name": name,
                "address": configured,
                "port": port,
                "telemetry_address": f"198.51.100.{10 + number}",
                "fingerprint": known,
            }
        )
        served, stem = known, options.folder / name
        if "certificate" in options.faults and number == len(options.members):
            stem = options.folder / f"{name}-other"
            served = _make_certificate(options.folder, stem.name, name, configured)
        servers.append(_serve(cluster, name, (real, port), stem))
        cluster.rows[-1]["port"] = servers[-1].server_address[1]  # port 0 lets the system choose
        told = {"name": name, "address": real, "port": servers[-1].server_address[1]}
        ready.append({**told, "fingerprint": served, "journal_fingerprint": known})
    for server in servers:
        threading.Thread(target=server.serve_forever, daemon=True).start()
    sys.stdout.write(json.dumps({"members": ready}) + "\n")
    sys.stdout.flush()
    sys.stdin.read()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
