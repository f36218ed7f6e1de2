"""The certificate maker that rehearsals hand to the stand-in: NAME NAMES KEYFILE CERTFILE.

A command of its own because the stand-in imports nothing of ours: it is told which command makes certificates.
"""

import os
import sys
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path

from staddle.trust.certificates import make_self_signed

__all__ = ["main"]


def main(arguments: list[str]) -> int:
    """Write a key (owner only) and a self-signed certificate for the given names and addresses."""
    common_name, listed, key_file, certificate_file = arguments
    names: list[str] = []
    addresses: list[str] = []
    for item in filter(None, listed.split(",")):
        try:
            ip_address(item)
        except ValueError:
            names.append(item)
        else:
            addresses.append(item)
    key, certificate = make_self_signed(
        common_name=common_name, names=names, addresses=addresses, now=datetime.now(UTC), days=825
    )
    with os.fdopen(os.open(key_file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(key)
    Path(certificate_file).write_bytes(certificate)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
