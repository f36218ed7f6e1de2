"""Asking for the time by RFC 5905, against sockets on loopback and another implementation's reading of the same packets."""

import asyncio
import functools
import socket
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import ntplib
import pytest

from staddle.kernel import InputRefused, SystemClock, SystemRandom
from staddle.probes.ntp import NoTime, TimeAnswer, TimeTold, ask_time
from tests.probes.time_server import answer, stamp, time_server


class At:
    """A clock that stands still."""

    def __init__(self, instant: datetime) -> None:
        self.instant = instant

    def now(self) -> datetime:
        return self.instant

    async def sleep(self, seconds: float) -> None:
        raise AssertionError("nobody waits in here")


def asked(reply: Callable[[bytes], bytes | list[bytes]] = answer, timeout_s: float = 40) -> TimeAnswer:
    with time_server(reply) as port:
        return asyncio.run(
            ask_time("127.0.0.1", timeout_s=timeout_s, clock=SystemClock(), random=SystemRandom(), port=port)
        )


@pytest.mark.parametrize("ahead_s", [0.0, 0.25, -3.5, 86_400.0])
def test_an_offset_is_told_within_its_bound(ahead_s: float) -> None:
    found = asked(functools.partial(answer, ahead_s=ahead_s))
    assert isinstance(found, TimeTold)
    # The server's clock is this machine's, moved by a known amount: whatever the way took, the bound covers it.
    slack = timedelta(microseconds=50)  # two roundings of 1 µs, and a clock that may be slewed meanwhile
    assert abs(found.offset.offset - timedelta(seconds=ahead_s)) <= found.offset.error_bound + slack
    assert found.stratum == 2


def test_another_client_hears_the_same_of_the_same_server() -> None:
    with time_server(functools.partial(answer, ahead_s=7.0)) as port:
        ours = asyncio.run(
            ask_time("127.0.0.1", timeout_s=40, clock=SystemClock(), random=SystemRandom(), port=port)
        )
        theirs = ntplib.NTPClient().request("127.0.0.1", version=4, port=port, timeout=40)
    assert isinstance(ours, TimeTold)
    apart_ms = abs(ours.offset.offset_ms - theirs.offset * 1000)
    assert apart_ms <= abs(ours.offset.delay / timedelta(milliseconds=1)) + abs(theirs.delay) * 1000 + 1


def test_what_we_send_is_a_clients_request_that_tells_nothing_of_us() -> None:
    got: list[bytes] = []
    asked(lambda request: got.append(request) or answer(request))  # type: ignore[func-returns-value]  # append gives None
    packet = ntplib.NTPPacket()
    packet.from_data(got[0])
    assert (packet.version, packet.mode, packet.leap, len(got[0])) == (4, 3, 0, 48)
    assert got[0][1:40] == bytes(39)


@pytest.mark.parametrize(
    ("reply", "why"),
    [
        (functools.partial(answer, leap=3), "the server says that it is not synchronised itself"),
        (functools.partial(answer, stratum=16), "the server says that it is not synchronised itself"),
        # RFC 5905 §7.4: stratum 0 with a kiss code
        (functools.partial(answer, stratum=0, reference=b"RATE"), "the server turns us away (RATE)"),
        (functools.partial(answer, stratum=0, reference=b"\x1b[2J"), "the server turns us away (2J)"),
        (functools.partial(answer, mode=5), "what came is no server's answer (mode 5)"),
        (lambda request: answer(request)[:32] + bytes(16), "the answer holds no time"),
    ],
)
def test_an_answer_that_is_no_use_is_none(reply: Callable[[bytes], bytes], why: str) -> None:
    assert asked(reply) == NoTime(why=why, answered=True)


def test_an_answer_to_somebody_else_is_passed_over() -> None:
    def both(request: bytes) -> list[bytes]:
        forged = answer(request[:40] + b"\0" * 8, ahead_s=9999)
        return [b"short", forged, answer(request)]

    found = asked(both)
    assert isinstance(found, TimeTold)
    assert abs(found.offset.offset_ms) < 60_000


def test_silence_and_a_closed_port_are_told_apart() -> None:
    silent = asked(lambda request: b"short", timeout_s=0.2)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as held:
        held.bind(("127.83.7.9", 0))  # an address on which nothing else of ours serves
        port = held.getsockname()[1]
    closed = asyncio.run(
        ask_time("127.83.7.9", timeout_s=40, clock=SystemClock(), random=SystemRandom(), port=port)
    )
    assert silent == NoTime(why="no answer within 0.2 s")
    assert closed == NoTime(why="the connection was refused: nothing listens there")


def test_the_era_is_the_nearest_one() -> None:
    # RFC 5905 §6: era 1 begins on 7 February 2036, 06:28:16 UTC; seconds begin at 0 again.
    there = datetime(2036, 2, 7, 6, 28, 20, tzinfo=UTC)
    stamped = stamp(there.timestamp())
    assert stamped[:4] == (4).to_bytes(4, "big")
    for ours in (there - timedelta(seconds=9), there + timedelta(seconds=9)):
        with time_server(lambda request: answer(request)[:32] + stamped * 2) as port:
            found = asyncio.run(
                ask_time("127.0.0.1", timeout_s=40, clock=At(ours), random=SystemRandom(), port=port)
            )
        assert isinstance(found, TimeTold)
        assert found.offset.offset == there - ours


def test_a_name_is_no_goal() -> None:
    with pytest.raises(InputRefused):
        asyncio.run(ask_time("ntp.example", timeout_s=1, clock=SystemClock(), random=SystemRandom()))
