"""TCP probes against real sockets on loopback."""

import asyncio
import socket

import pytest

from staddle.kernel import InputRefused
from staddle.probes.tcp import Answered, NoAnswer, Refused, TcpAnswer, probe_tcp
from tests.probes.loopback_servers import Server, tcp_server


def probe(address: str, port: int, *, timeout_s: float = 10) -> TcpAnswer:
    return asyncio.run(probe_tcp(address, port, timeout_s=timeout_s))


def nothing(connection: socket.socket, server: Server) -> None:
    server.received += connection.recv(1)


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.7", "::1"])
def test_a_listener_answers_and_gets_no_byte(address: str) -> None:
    with tcp_server(nothing, address=address) as server:
        answer = probe(address, server.port)
        assert server.done.wait(20)
    assert isinstance(answer, Answered)
    assert 0 <= answer.elapsed_s < 10
    assert server.received == b""


def test_a_free_port_refuses() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    assert probe("127.0.0.1", port) == Refused(why="the connection was refused: nothing listens there")


def test_a_full_queue_gives_no_answer_within_the_deadline() -> None:
    # Linux drops the opening packet when a listener's queue is full, as a machine behind a silent firewall does.
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        with socket.create_connection(listener.getsockname()):
            assert probe("127.0.0.1", listener.getsockname()[1], timeout_s=0.2) == NoAnswer(
                why="no answer within 0.2 s"
            )


def test_an_address_without_a_way_gives_no_answer_with_the_reason() -> None:
    # RFC 1112 §4: class E addresses are reserved; Linux refuses to connect to the broadcast address.
    answer = probe("255.255.255.255", 9)
    assert isinstance(answer, NoAnswer)
    assert answer.why == "permission denied" or "unreachable" in answer.why


def test_both_faults_of_a_goal_are_told_at_once() -> None:
    with pytest.raises(InputRefused) as refused:
        probe("brook-1.example", 0)
    assert str(refused.value) == (
        'error: "brook-1.example" is not an IP address\n'
        "  try:   probes go to addresses, not to names\n"
        "\n"
        "error: 0 is not a port\n"
        "  try:   a port is 1 to 65535"
    )
