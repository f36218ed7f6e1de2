"""The member's own key and certificate, made at first start by a command that is handed in."""

import hashlib
import os
import shlex
import ssl
import subprocess
import tempfile
from pathlib import Path

from staddle.standin.refusal import StartRefused

__all__ = ["fingerprint_of", "keep_certificate", "server_context"]

KEY, CERTIFICATE = "key.pem", "certificate.pem"


def fingerprint_of(der: bytes) -> str:
    """SHA-256 of a certificate's DER, upper-case pairs joined by colons."""
    return hashlib.sha256(der).digest().hex(":").upper()


def keep_certificate(folder: Path, *, name: str, address: str, maker: str | None) -> str:
    """The fingerprint of the certificate in the folder; key and certificate are made where there are none.

    Args: maker: a command line; it is run with common name, comma-separated names and addresses, key file,
        certificate file. None means the openssl command.
    Raises: StartRefused: the maker failed, or left no certificate.
    """
    key, certificate = folder / KEY, folder / CERTIFICATE
    if not (key.exists() and certificate.exists()):
        # Both appear by renaming, the key first: a start that is killed here makes a new pair next time.
        with tempfile.TemporaryDirectory(dir=folder) as making:
            new_key, new_certificate = Path(making, KEY), Path(making, CERTIFICATE)
            _run(_command(maker, name, address, new_key, new_certificate))
            for made in (new_key, new_certificate):
                if not made.exists():
                    raise StartRefused(f"the certificate maker left no {made.name}")
                made.chmod(0o600)
                with made.open("rb") as handle:
                    os.fsync(handle.fileno())
            certificate.unlink(missing_ok=True)
            new_key.replace(key)
            new_certificate.replace(certificate)
    return fingerprint_of(ssl.PEM_cert_to_DER_cert(certificate.read_text(encoding="ascii")))


def _command(maker: str | None, name: str, address: str, key: Path, certificate: Path) -> list[str]:
    if maker is not None:
        return [*shlex.split(maker), name, f"{name},{address}", str(key), str(certificate)]
    request = "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 825"
    return [
        *("openssl", *request.split(), "-subj", f"/CN={name[:64]}"),  # RFC 5280 ub-common-name
        *("-addext", f"subjectAltName=DNS:{name},IP:{address}"),
        *("-keyout", str(key), "-out", str(certificate)),
    ]


def _run(command: list[str]) -> None:
    try:
        done = subprocess.run(command, capture_output=True, check=False, timeout=60)
    except (OSError, subprocess.TimeoutExpired) as exc:
        raise StartRefused(f"the certificate maker {command[0]} did not run: {exc}") from exc
    if done.returncode != 0:
        talk = done.stderr.decode(errors="replace").strip().splitlines()
        raise StartRefused(
            f"the certificate maker {command[0]} failed: {talk[-1] if talk else done.returncode}"
        )


def server_context(folder: Path) -> ssl.SSLContext:
    """TLS 1.2 or later with the member's own certificate."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(folder / CERTIFICATE, folder / KEY)
    return context
