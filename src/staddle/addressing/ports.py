"""The port matrix: who speaks to whom on which port, and why, as the firewall's owner needs it.

The rows come from the appliance's profile; nothing is known about ports in here.
"""

from dataclasses import dataclass
from typing import Final

from staddle.kernel import Fault, InputRefused

__all__ = ["PROTOCOLS", "PortMatrix", "PortRow"]

PROTOCOLS: Final = ("tcp", "udp", "icmp")


@dataclass(frozen=True, slots=True, kw_only=True)
class PortRow:
    """One opening, seen from who begins the conversation. ``port`` is 1 to 65535, 0 for icmp, which has none.

    Raises: InputRefused: an impossible port or protocol, or no reason.
    """

    who: str
    whom: str
    port: int
    protocol: str
    why: str

    def __post_init__(self) -> None:
        faults = []
        if self.protocol not in PROTOCOLS:
            faults.append(
                Fault(
                    what=f'"{self.protocol}" is not a protocol of the port matrix',
                    mend="write tcp, udp or icmp",
                )
            )
        elif (self.protocol == "icmp") != (self.port == 0) or not 0 <= self.port <= 65535:
            faults.append(
                Fault(
                    what=f"{self.port} is not a port of {self.protocol}",
                    mend="write 1 to 65535, or 0 for icmp",
                )
            )
        faults += [
            Fault(what=f"an opening on port {self.port} has no {word}", mend=f"say its {word}")
            for word, text in (("who", self.who), ("whom", self.whom), ("why", self.why))
            if not text.strip()
        ]
        if faults:
            raise InputRefused(*faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class PortMatrix:
    """All openings, sorted, each once."""

    rows: tuple[PortRow, ...]

    def __post_init__(self) -> None:
        unique = {(r.who, r.whom, r.protocol, r.port, r.why): r for r in self.rows}
        object.__setattr__(self, "rows", tuple(unique[key] for key in sorted(unique)))
