"""The Wire port on the real probes, at the place where the platform says that a member is reached."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Clock, OutsideFailed, SystemClock
from staddle.plan.looks import NotYet
from staddle.plan.ports import WireReply, WrongCertificate
from staddle.probes.https import PinDiffers, PinnedHttps
from staddle.probes.tcp import Answered, probe_tcp
from staddle.probes.tls import NotSeen, read_certificate
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Secret

__all__ = ["RealWire"]

_LONGEST_WAIT_S: Final = 150
"""In all, over one call. Above the longest single wait that a service with growing waits commonly asks for, a minute."""


class RealWire:
    """Carries bytes to members.

    Args: reach: the platform's map from configured to real address and port; clock: for the waits that a member asks for.
    """

    def __init__(self, reach: Callable[[str, int], tuple[str, int]], clock: Clock | None = None) -> None:
        self._reach = reach
        self._clock = SystemClock() if clock is None else clock

    async def probe_tcp(self, address: str, port: int, *, timeout_s: float) -> NotYet | None:
        answer = await probe_tcp(*self._reach(address, port), timeout_s=timeout_s)
        return None if isinstance(answer, Answered) else NotYet(why=f"{address} port {port}: {answer.why}")

    async def read_certificate(self, address: str, port: int, *, timeout_s: float) -> bytes | NotYet:
        seen = await read_certificate(*self._reach(address, port), timeout_s=timeout_s)
        return NotYet(why=f"{address} port {port}: {seen.why}") if isinstance(seen, NotSeen) else seen.der

    async def call(
        self,
        address: str,
        port: int,
        *,
        pinned: Fingerprint,
        method: str,
        path: str,
        user: str,
        secret: Secret | None,
        body: object,
        timeout_s: float,
    ) -> WireReply:
        where, at = self._reach(address, port)
        caller = PinnedHttps(address=where, port=at, pinned=pinned, user=user, secret=secret)
        waited_s = 0
        while True:
            try:
                reply = await caller.call(method, path, timeout_s=timeout_s, body=body)
            except PinDiffers as exc:
                raise WrongCertificate(*exc.faults) from exc
            if reply.status != 429:
                break
            # RFC 6585 §4: nothing was carried out, and asking again at once makes it worse. A wait that is named and
            # bearable is waited out here: to every step it is the same call, only slower.
            pause_s = _pause_s(dict(reply.headers).get("retry-after", ""))
            if pause_s is None or waited_s + pause_s > _LONGEST_WAIT_S:
                raise OutsideFailed.one(
                    f"{address} asks to wait before the next try", where=f"port {port}, status 429"
                )
            waited_s += pause_s
            await self._clock.sleep(pause_s)
        return WireReply(
            status=reply.status, body=reply.body, sent_at=reply.sent_at, received_at=reply.received_at
        )


def _pause_s(retry_after: str) -> int | None:
    """Whole seconds to wait, None where the reply does not say. RFC 9110 §10.2.3; its form as a date is not read."""
    return max(1, int(retry_after)) if retry_after.isascii() and retry_after.isdigit() else None
