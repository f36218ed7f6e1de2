"""The address and port that a probe goes to. No look-up of names: what was designed is what is probed."""

import ipaddress

from staddle.kernel import Fault, InputRefused

__all__ = ["authority", "check_goal"]


def check_goal(address: str, port: int) -> None:
    """Check that a probe has an IPv4 or IPv6 address and a port. Raises: InputRefused: both faults at once."""
    faults = []
    try:
        ipaddress.ip_address(address)
    except ValueError:
        faults.append(
            Fault(what=f'"{address}" is not an IP address', mend="probes go to addresses, not to names")
        )
    if not 1 <= port <= 65535:
        faults.append(Fault(what=f"{port} is not a port", mend="a port is 1 to 65535"))
    if faults:
        raise InputRefused(*faults)


def authority(address: str, port: int) -> str:
    """Address and port as one text, IPv6 in brackets and without its zone (RFC 3986 §3.2.2, RFC 9110 §7.2)."""
    bare = address.split("%", 1)[0]
    return f"[{bare}]:{port}" if ":" in bare else f"{bare}:{port}"
