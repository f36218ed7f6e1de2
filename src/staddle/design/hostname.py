"""What may be a host name. Pure rules; making members' names is addressing/names.py.

Source: RFC 952 (letters, digits, minus), RFC 1123 §2.1 (a leading digit, 63 characters a label, dotted-decimal look
refused), RFC 1035 §2.3.4 (label 63, name 255 octets on the wire, so 253 characters). Check value h7.
"""

import re
from typing import Final

from staddle.kernel import InputRefused

__all__ = ["check_host_name", "host_name_fault"]

_MOST_PRINTED: Final = 253  # 255 octets less the first length octet and the root's
_LABEL: Final = re.compile(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?", re.IGNORECASE | re.ASCII)


def host_name_fault(name: str) -> str:
    """Why this is not a host name, as the end of a sentence; "" if it is one. One last dot is allowed."""
    bare = name.removesuffix(".")
    if not bare:
        return "it is empty"
    if len(bare) > _MOST_PRINTED:
        return f"it has {len(bare)} characters, 253 are allowed (RFC 1035 §2.3.4)"
    for label in bare.split("."):
        if not label:
            return "two dots follow each other, or it begins with one"
        if len(label) > 63:
            return f'"{label}" has {len(label)} characters, 63 are allowed between dots (RFC 1035 §2.3.4)'
        if not _LABEL.fullmatch(label):
            return f'"{label}" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)'
    last = bare.rpartition(".")[2]
    if last.isdigit():
        return f'its last part "{last}" is all digits, so that it looks like an address (RFC 1123 §2.1)'
    return ""


def check_host_name(name: str) -> str:
    """The name in lower case without a last dot.

    Raises: InputRefused: not a host name.
    Example: check_host_name("Log-1.Ousemoor.Example.") == "log-1.ousemoor.example"
    """
    fault = host_name_fault(name)
    if fault:
        raise InputRefused.one(
            f'"{name}" is not a host name',
            why=fault,
            mend="write a name such as sluicelog-1.ousemoor.example",
        )
    return name.removesuffix(".").lower()
