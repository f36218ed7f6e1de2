"""Asking one time server for the time, once, as a client of RFC 5905 mode 3. No clock is set.

What is not in here: the judgement of an offset. Authentication (RFC 5905 §7.3, RFC 8915) is not used, so an answer shows only what
whoever answers tells.
"""

import asyncio
import struct
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from staddle.kernel import Clock, Random
from staddle.kernel.clock_offset import ClockOffset, clock_offset
from staddle.probes.addresses import check_goal
from staddle.probes.reasons import reason_of

__all__ = ["NTP_PORT", "NoTime", "TimeAnswer", "TimeTold", "ask_time"]

NTP_PORT: Final = 123  # RFC 5905 §7.2
_HEADER_BYTES: Final = 48  # RFC 5905 §7.3, figure 8, without extensions
_CLIENT: Final = 3  # mode, RFC 5905 §7.3 figure 10
_SERVER: Final = 4
_VERSION: Final = 4
_UNSYNCHRONISED: Final = 3  # leap indicator, figure 9
_MOST_STRATUM: Final = 15  # figure 11: 16 is unsynchronised
_PRIME_EPOCH: Final = datetime(1900, 1, 1, tzinfo=UTC)  # RFC 5905 §6
_ERA_S: Final = 1 << 32


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeTold:
    """The server's clock against ours, and how many steps it stands from a reference clock."""

    offset: ClockOffset
    stratum: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NoTime:
    """No time that one could use. ``answered``: the server is there, and what it said is no use."""

    why: str
    answered: bool = False


TimeAnswer = TimeTold | NoTime


async def ask_time(
    server: str, *, timeout_s: float, clock: Clock, random: Random, port: int = NTP_PORT
) -> TimeAnswer:
    """Send one request and read its answer.

    Args: server: IPv4 or IPv6 address; timeout_s: for the whole probe; random: for the number that an answer must repeat.
    Raises: InputRefused: the server is no address.
    Source: RFC 5905 §7.3 (packet), §8 (offset, and which answers are bogus), §14 (a client that asks only).
    """
    check_goal(server, port)
    loop = asyncio.get_running_loop()
    # What is sent as our time is a number that only the answer to this request can know: our own time says more of us
    # than anybody needs, and a guessable one could be answered by somebody else.
    nonce = random.token(8)
    try:
        async with asyncio.timeout(timeout_s):
            heard: asyncio.Queue[tuple[bytes, datetime] | Exception] = asyncio.Queue()
            transport, _ = await loop.create_datagram_endpoint(
                lambda: _Heard(heard, clock), remote_addr=(server, port)
            )
            try:
                sent = clock.now()
                transport.sendto(_request(nonce))
                while True:
                    came = await heard.get()
                    if isinstance(came, Exception):
                        raise came
                    packet, arrived = came
                    if len(packet) >= _HEADER_BYTES and packet[24:32] == nonce:
                        return _read(packet, sent=sent, arrived=arrived)
            finally:
                transport.close()
    except TimeoutError:
        return NoTime(why=f"no answer within {timeout_s:g} s")
    except OSError as exc:
        return NoTime(why=reason_of(exc))


class _Heard(asyncio.DatagramProtocol):
    """Puts each packet, with the instant at which it came, where it is waited for."""

    def __init__(self, heard: "asyncio.Queue[tuple[bytes, datetime] | Exception]", clock: Clock) -> None:
        self._heard = heard
        self._clock = clock

    def datagram_received(self, data: bytes, addr: object) -> None:
        self._heard.put_nowait((data, self._clock.now()))

    def error_received(self, exc: Exception) -> None:
        self._heard.put_nowait(exc)


def _request(nonce: bytes) -> bytes:
    first = _VERSION << 3 | _CLIENT
    return struct.pack("!B39x8s", first, nonce)


def _read(packet: bytes, *, sent: datetime, arrived: datetime) -> TimeAnswer:
    leap, mode, stratum = packet[0] >> 6, packet[0] & 7, packet[1]
    if mode != _SERVER:
        return NoTime(why=f"what came is no server's answer (mode {mode})", answered=True)
    if stratum == 0:  # RFC 5905 §7.4: the reference id is then a kiss code, four ASCII letters
        code = packet[12:16].decode("ascii", "replace").rstrip("\0")
        code = "".join(letter for letter in code if letter.isalnum())
        return NoTime(why=f"the server turns us away ({code or 'no reason given'})", answered=True)
    if leap == _UNSYNCHRONISED or stratum > _MOST_STRATUM:
        return NoTime(why="the server says that it is not synchronised itself", answered=True)
    received, answered = (_instant(packet[at : at + 8], near=arrived) for at in (32, 40))
    if received is None or answered is None:  # RFC 5905 §8: a zero timestamp is none
        return NoTime(why="the answer holds no time", answered=True)
    offset = clock_offset(sent=sent, received=received, answered=answered, arrived=arrived)
    return TimeTold(offset=offset, stratum=stratum)


def _instant(octets: bytes, *, near: datetime) -> datetime | None:
    """A timestamp in the era that brings it nearest to ``near`` (RFC 5905 §6: the era is not sent)."""
    seconds, fraction = struct.unpack("!II", octets)
    if seconds == fraction == 0:
        return None
    ours_s = (near - _PRIME_EPOCH) // timedelta(seconds=1)
    era = round((ours_s - seconds) / _ERA_S)
    micros = fraction * 1_000_000 >> 32
    return _PRIME_EPOCH + timedelta(seconds=seconds + era * _ERA_S, microseconds=micros)
