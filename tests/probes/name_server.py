"""A tiny name server on loopback: a UDP socket, a thread, a table. Messages are dnspython's, the network is real."""

import contextlib
import socket
import threading
from collections.abc import Iterator, Mapping

import dns.flags
import dns.message
import dns.rcode
import dns.rdatatype
import dns.rrset

__all__ = ["Records", "name_server"]

Records = Mapping[tuple[str, str], tuple[str, ...]]
"""(name with its last dot, type) → values. A name with an entry of any type exists; code SERVFAIL: a value of its own."""


def _reply(data: bytes, records: Records) -> bytes:
    query = dns.message.from_wire(data)
    question = query.question[0]
    reply = dns.message.make_response(query)
    reply.flags |= dns.flags.AA
    name, kind = question.name.to_text().lower(), dns.rdatatype.to_text(question.rdtype)
    values = records.get((name, kind), ())
    if values == ("SERVFAIL",):
        reply.set_rcode(dns.rcode.SERVFAIL)
    elif values:
        reply.answer.append(dns.rrset.from_text(question.name, 300, "IN", kind, *values))
    elif not any(known == name for known, _ in records):
        reply.set_rcode(dns.rcode.NXDOMAIN)
    return reply.to_wire()


@contextlib.contextmanager
def name_server(records: Records, *, address: str = "127.0.0.1", port: int = 0) -> Iterator[int]:
    """Serve until the end of the block. Yields: the port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as server:
        server.bind((address, port))

        def serve() -> None:
            while True:
                data, who = server.recvfrom(4096)
                if not data:
                    return
                server.sendto(_reply(data, records), who)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        try:
            yield server.getsockname()[1]
        finally:
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as last:
                last.sendto(b"", server.getsockname())
            thread.join(10)
