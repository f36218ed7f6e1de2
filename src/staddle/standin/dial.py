"""Reaching other members: address and port maps, TLS connections that are pinned before a byte is sent.

Not here: who is dialled when (heartbeat.py, joining.py).
"""

import hmac
import http.client
import ipaddress
import json
import ssl
from dataclasses import dataclass
from typing import Any

from staddle.standin.certificate import fingerprint_of
from staddle.standin.refusal import Refusal, StartRefused

__all__ = ["FingerprintDiffers", "Pinned", "Reach", "Unreachable"]

Network = ipaddress.IPv4Network | ipaddress.IPv6Network


class Unreachable(Exception):
    """The other side did not answer; whether it acted is not known."""


class FingerprintDiffers(Exception):
    """The certificate on the wire is another one. Nothing was sent. Args: the fingerprint seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Where configured addresses really are: the same place, unless a rehearsal maps them."""

    networks: tuple[tuple[Network, Network], ...] = ()
    ports: tuple[tuple[str, int], ...] = ()

    @classmethod
    def parse(cls, networks: list[str], ports: list[str]) -> "Reach":
        """From ``NETWORK=NETWORK`` (one to one, or onto a single address) and ``ADDRESS=PORT``.

        Raises: StartRefused: a text of another form.
        """
        try:
            pairs = [tuple(ipaddress.ip_network(side) for side in text.split("=")) for text in networks]
            for told, real in pairs:
                if real.prefixlen not in (told.prefixlen, real.max_prefixlen):
                    raise StartRefused(f"address map {told}={real}: both sides must be of one size")
            known = [(str(ipaddress.ip_address(a)), int(p)) for a, p in (text.split("=") for text in ports)]
        except ValueError as exc:
            raise StartRefused(f"an address map is NETWORK=NETWORK, a port map ADDRESS=PORT: {exc}") from exc
        return cls(networks=tuple((told, real) for told, real in pairs), ports=tuple(known))

    def place(self, address: str, port: int) -> tuple[str, int]:
        """The address and port to bind or dial for a configured address and port."""
        configured = ipaddress.ip_address(address)
        real = configured
        for told, network in self.networks:
            if configured in told:
                offset = int(configured) - int(told.network_address)
                single = network.prefixlen == network.max_prefixlen
                real = network.network_address + (0 if single else offset)
                break
        return str(real), dict(self.ports).get(str(configured), port)


class Pinned(http.client.HTTPSConnection):
    """A kept-open connection to one member; the certificate is compared after the handshake, before any byte of ours.

    Args: where: real address and port; fingerprint: the certificate expected there; timeout_s: for each wait.
    """

    def __init__(self, where: tuple[str, int], fingerprint: str, *, timeout_s: float) -> None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        # The pin takes the place of a chain: members' certificates are their own issuers.
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
        super().__init__(*where, timeout=timeout_s, context=context)
        self._pin = fingerprint

    def connect(self) -> None:
        super().connect()
        seen = fingerprint_of(self.sock.getpeercert(binary_form=True) or b"")
        if not hmac.compare_digest(seen.encode(), self._pin.encode()):
            self.close()
            raise FingerprintDiffers(seen)

    def open(self) -> None:
        """Connect and compare, if that is not yet done. Raises: Unreachable; FingerprintDiffers."""
        try:
            if self.sock is None:
                self.connect()
        except OSError as exc:
            self.close()
            raise Unreachable(str(exc) or type(exc).__name__) from exc

    def call(self, path: str, body: dict[str, Any], *, key: str | None = None) -> dict[str, Any]:
        """POST one JSON body and return the JSON answer.

        Raises: Unreachable; FingerprintDiffers; Refusal: the other side's own refusal.
        """
        headers = {"Content-Type": "application/json"}
        if key is not None:
            headers["Sluicelog-Cluster-Key"] = key
        try:
            self.request("POST", path, json.dumps(body).encode(), headers)
            answer = self.getresponse()
            told = json.loads(answer.read())
        except (OSError, http.client.HTTPException, ValueError) as exc:
            self.close()
            raise Unreachable(str(exc) or type(exc).__name__) from exc
        if not isinstance(told, dict):
            self.close()
            raise Unreachable("the answer is not a JSON object")
        if answer.status != 200:
            raise Refusal(answer.status, str(told.get("error")), str(told.get("message")))
        return told
