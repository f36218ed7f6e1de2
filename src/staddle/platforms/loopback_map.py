"""Where a configured address is really reached in a rehearsal: documentation addresses onto 127.0.0.0/8. Pure.

Each RFC 5737 block is mapped one to one onto a /24 of one /16 of the loopback range. Where a system has only
127.0.0.1, every address becomes that one with a port of its own.
"""

from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network
from typing import Final

from staddle.kernel import InputRefused

__all__ = ["LoopbackMap"]

# RFC 5737 §3: TEST-NET-1, -2, -3, and the third octet each of them gets.
_BLOCKS: Final = (("192.0.2.0/24", 2), ("198.51.100.0/24", 100), ("203.0.113.0/24", 113))
_FIRST_PORT: Final = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopbackMap:
    """The mapping of one rehearsal.

    Args: block: second octet of the loopback addresses, 1 to 254, so that two rehearsals do not meet;
        one_address: use 127.0.0.1 only, a port a member.
    """

    block: int = 64
    one_address: bool = False

    def __post_init__(self) -> None:
        if not 1 <= self.block <= 254:
            raise InputRefused.one(f"{self.block} is no block of loopback addresses", mend="choose 1 to 254")

    def address_maps(self) -> tuple[tuple[str, str], ...]:
        """Pairs of networks, configured and real, as the stand-in takes them. Empty with one address."""
        if self.one_address:
            return ()
        return tuple((network, f"127.{self.block}.{third}.0/24") for network, third in _BLOCKS)

    def reach(self, address: str, port: int) -> tuple[str, int]:
        """The real address and port. An address outside RFC 5737's blocks is left as it is.

        Example: LoopbackMap(block=64).reach("192.0.2.11", 8443) == ("127.64.2.11", 8443)
        """
        for number, (network, third) in enumerate(_BLOCKS):
            try:
                inside = IPv4Address(address) in IPv4Network(network)
            except ValueError:
                return address, port
            if inside:
                last = int(IPv4Address(address)) & 0xFF
                if self.one_address:
                    return "127.0.0.1", _FIRST_PORT + 256 * number + last
                return f"127.{self.block}.{third}.{last}", port
        return address, port
