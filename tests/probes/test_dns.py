"""DNS probes against a real name server on loopback."""

import asyncio
import socket

import pytest

from staddle.kernel import InputRefused
from staddle.probes.dns import Named, NotKnown, NotThere, ask_name, ask_reverse
from tests.probes.name_server import name_server

RECORDS = {
    ("levels.ousemoor.example.", "A"): ("192.0.2.62", "192.0.2.61"),
    ("broken.ousemoor.example.", "A"): ("SERVFAIL",),
    ("61.2.0.192.in-addr.arpa.", "PTR"): ("Levels-1.Ousemoor.Example.",),  # RFC 1035 §3.5
}


@pytest.mark.parametrize(
    ("name", "version", "answer"),
    [
        ("levels.ousemoor.example", 4, Named(values=("192.0.2.61", "192.0.2.62"))),
        ("levels.ousemoor.example", 6, NotThere(why="the name has no AAAA record")),  # RFC 2308 §2.2
        ("lost.ousemoor.example", 4, NotThere(why="there is no such name")),  # RFC 2308 §2.1
        ("broken.ousemoor.example", 4, NotKnown(why="the server answered SERVFAIL")),
    ],
)
def test_a_name_is_told_as_the_server_has_it(name: str, version: int, answer: object) -> None:
    with name_server(RECORDS) as port:
        assert asyncio.run(ask_name("127.0.0.1", name, version=version, timeout_s=10, port=port)) == answer


def test_an_address_gives_its_names() -> None:
    with name_server(RECORDS) as port:
        seen = asyncio.run(ask_reverse("127.0.0.1", "192.0.2.61", timeout_s=10, port=port))
        other = asyncio.run(ask_reverse("127.0.0.1", "192.0.2.9", timeout_s=10, port=port))
    assert seen == Named(values=("levels-1.ousemoor.example",))
    assert other == NotThere(why="there is no such name")


def test_a_silent_server_is_not_known() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as silent:
        silent.bind(("127.0.0.1", 0))
        port = silent.getsockname()[1]
        seen = asyncio.run(ask_name("127.0.0.1", "a.example", version=4, timeout_s=0.2, port=port))
    assert seen == NotKnown(why="no answer within 0.2 s")


def test_a_server_that_is_no_address_is_refused() -> None:
    with pytest.raises(InputRefused, match="is not an IP address"):
        asyncio.run(ask_name("ns.example", "a.example", version=4, timeout_s=1))
