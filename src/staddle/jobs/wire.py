"""The Wire port on the real probes, at the place where the platform says that a member is reached."""

from collections.abc import Callable

from staddle.kernel import OutsideFailed
from staddle.plan.looks import NotYet
from staddle.plan.ports import WireReply, WrongCertificate
from staddle.probes.https import PinDiffers, PinnedHttps
from staddle.probes.tcp import Answered, probe_tcp
from staddle.probes.tls import NotSeen, read_certificate
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Secret

__all__ = ["RealWire"]


class RealWire:
    """Carries bytes to members. Args: reach: the platform's map from configured to real address and port."""

    def __init__(self, reach: Callable[[str, int], tuple[str, int]]) -> None:
        self._reach = reach

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
        try:
            reply = await caller.call(method, path, timeout_s=timeout_s, body=body)
        except PinDiffers as exc:
            raise WrongCertificate(*exc.faults) from exc
        if (
            reply.status == 429
        ):  # RFC 6585 §4: nothing was carried out, and asking again at once makes it worse
            raise OutsideFailed.one(
                f"{address} asks to wait before the next try", where=f"port {port}, status 429"
            )
        return WireReply(
            status=reply.status, body=reply.body, sent_at=reply.sent_at, received_at=reply.received_at
        )
