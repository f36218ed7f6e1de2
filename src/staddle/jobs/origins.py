"""The certificates that the engineer trusts, read from the files that a flag or the design names."""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from cryptography import x509

from staddle.kernel import OutsideFailed
from staddle.package import OriginCheck, certificates_in

__all__ = ["origin_check"]


def origin_check(anchors: Iterable[Path], now: datetime) -> OriginCheck:
    """What a package's signer is compared with.

    Raises: OutsideFailed: a file is not there. InputRefused: it holds no certificate.
    """
    found: list[x509.Certificate] = []
    for path in anchors:
        try:
            data = path.read_bytes()
        except OSError as exc:
            raise OutsideFailed.one(
                f"the anchor cannot be read: {exc.strerror}",
                where=str(path),
                mend="name a file with the certificate that is trusted",
            ) from exc
        found += certificates_in(data, where=str(path))
    return OriginCheck(now=now, anchors=tuple(found))
