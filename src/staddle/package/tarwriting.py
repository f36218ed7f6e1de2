"""The headers of an OVA that is written. Reading them is tarheaders.py's work.

Source: IEEE Std 1003.1, ustar: the size has 11 octal digits, so that a member has at most 8 589 934 591 bytes; larger ones
need a pax header. DSP0243, distribution as a single file.
"""

import tarfile
from datetime import datetime
from typing import Final

__all__ = ["END", "MOST_USTAR_BYTES", "padding", "tar_header"]

MOST_USTAR_BYTES: Final = 8**11 - 1
_BLOCK: Final = 512
END: Final = bytes(2 * _BLOCK)
"""Two zero blocks end an archive."""


def tar_header(name: str, size_bytes: int, *, made_at: datetime, mode: int = 0o644) -> bytes:
    """What stands before the content of one member: ustar, or pax where its size or name does not fit into that."""
    info = tarfile.TarInfo(name)
    info.size, info.mtime, info.mode = size_bytes, int(made_at.timestamp()), mode
    try:
        return info.tobuf(tarfile.USTAR_FORMAT, "utf-8", "strict")
    except ValueError:  # tarfile's word for a size or name that ustar has no room for
        return info.tobuf(tarfile.PAX_FORMAT, "utf-8", "strict")


def padding(size_bytes: int) -> bytes:
    """The zeros that fill the last block of a member."""
    return bytes(-size_bytes % _BLOCK)
