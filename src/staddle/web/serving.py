"""Starting the pages: a socket on loopback, the keys of this start, the server; or one request without any of them."""

import asyncio
import contextlib
import os
import signal
import socket
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote, unquote

from starlette.types import ASGIApp, Message, Scope

from staddle.jobs.folder import JobFolder
from staddle.kernel import Clock, InputRefused, OutsideFailed, Random
from staddle.web.app import make_app
from staddle.web.guard import Keys
from staddle.web.workplace import Workplace

__all__ = ["Reply", "ask_once", "get_once", "serve"]

LOOPBACK: Final = "127.0.0.1"
_END_S: Final = 20.0
"""How long the end waits for what is at work: as long as an adapter commonly holds a thread; common practice, no source."""

_ONCE_S: Final = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What one request was answered with."""

    status: int
    media_type: str
    body: bytes


def serve(
    folder: JobFolder, *, port: int, clock: Clock, random: Random, actor: str, began: Callable[[str], None]
) -> None:
    """Serve the pages of a job on loopback until it is interrupted.

    Args: port: 0 picks a free one; began: told the address with the start token once the socket listens.
    Raises: OutsideFailed: the port is taken. InputRefused: there is no such port.
    """
    import uvicorn  # only the server needs it

    listening = _socket(port)
    port = listening.getsockname()[1]
    keys = _keys(random, port)
    place = Workplace(folder=folder, clock=clock, random=random, actor=actor)
    config = uvicorn.Config(
        make_app(place, keys),
        lifespan="off",
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=True,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=64 * 1024,
    )
    server = uvicorn.Server(config)
    place.make_ready()
    began(f"http://{LOOPBACK}:{port}/?token={keys.token}")
    # Asked to end it ends as with Ctrl-C: what is at work is held, not torn down.
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listening])
    finally:
        signal.signal(signal.SIGTERM, before)
        place.is_closing = True
        place.desk.close(timeout_s=_END_S)


def get_once(folder: JobFolder, path: str, *, clock: Clock, random: Random, actor: str) -> Reply:
    """What a GET of that path is answered with, without a server.

    Args: path: with its query, such as "/findings?severity=stop"; as a browser would write it.
    Raises: InputRefused: not a path.
    """
    if not path.startswith("/"):
        raise InputRefused.one(f'"{path}" is no path of a page', mend='begin it with "/", such as /standing')
    keys = _keys(random, 0)
    # There is no later look: what takes long is waited for.
    place = Workplace(folder=folder, clock=clock, random=random, actor=actor, patience_s=_ONCE_S)
    return asyncio.run(ask_once(place, keys, path))


async def ask_once(place: Workplace, keys: Keys, path: str) -> Reply:
    """The same at a workplace that several are asked of, as one server is. Args: keys: their cookie is sent."""
    return await _get(make_app(place, keys), keys, path)


async def _get(app: ASGIApp, keys: Keys, path: str) -> Reply:
    before, _, query = path.partition("?")
    scope: Scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": unquote(before),
        "raw_path": before.encode(),
        "root_path": "",
        "query_string": quote(query, safe="=&%+~-._!$'()*,;:@/?").encode(),
        "headers": [
            (b"host", keys.hosts[0].encode()),
            (b"cookie", f"{keys.cookie_name}={keys.cookie}".encode()),
        ],
        "client": None,
        "server": None,
    }
    sent: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        sent.append(message)

    await app(scope, receive, send)
    start = next(message for message in sent if message["type"] == "http.response.start")
    headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in start["headers"]}
    return Reply(
        status=start["status"],
        media_type=headers.get("content-type", ""),
        body=b"".join(message.get("body", b"") for message in sent),
    )


def _socket(port: int) -> socket.socket:
    if not 0 <= port <= 65535:
        raise InputRefused.one(
            f"there is no port {port}", where="--port", mend="give 0 to 65535; 0 picks one"
        )
    try:
        return socket.create_server((LOOPBACK, port))
    except OSError as exc:
        raise OutsideFailed.one(
            f"port {port} cannot be listened on: {os.strerror(exc.errno or 0)}",
            where=LOOPBACK,
            mend="give another one with --port, or 0 for any that is free",
        ) from exc


def _keys(random: Random, port: int) -> Keys:
    # RFC 6265 §8.5: cookies do not keep ports apart, so two servers on one machine need two names.
    return Keys(
        hosts=(f"{LOOPBACK}:{port}", f"localhost:{port}"),
        token=random.token(24).hex(),
        cookie=random.token(24).hex(),
        cookie_name=f"staddle-{port}",
    )
