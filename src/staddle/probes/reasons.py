"""Why a connection failed, in words for a finding."""

import os
import ssl

__all__ = ["reason_of"]


def reason_of(failure: OSError) -> str:
    """One clause without a full stop. Never empty."""
    if isinstance(failure, ConnectionRefusedError):
        return "the connection was refused: nothing listens there"
    if isinstance(failure, ssl.SSLError):  # its errno counts in OpenSSL's numbers, not in the system's
        return f"TLS failed: {failure.reason or failure}"
    if failure.errno is not None:
        return os.strerror(failure.errno)[:1].lower() + os.strerror(failure.errno)[1:]
    return str(failure) or type(failure).__name__
