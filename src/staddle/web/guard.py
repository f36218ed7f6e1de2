"""The guard before every page: which Host, whose cookie, from which Origin; and the headers that keep a page to itself.

On loopback too: another program of this machine, another person on it, and any page that a browser has open can send
requests to 127.0.0.1. The Host list keeps out names that are made to point here, the token other people, the Origin
other pages.
"""

import hmac
from collections.abc import Callable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import parse_qsl, urlencode

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from staddle.kernel import Fault

__all__ = ["MOST_BODY_BYTES", "POLICY", "Guard", "Keys"]

Refuse = Callable[[Scope, int, Fault], ASGIApp]

MOST_BODY_BYTES: Final = 64_000_000
"""The largest form, tables with it. An export of 20,000 guests has a few megabytes."""

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; frame-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Content Security Policy Level 3: nothing but our own files, no style or script inside a page, no frame around it."""

_HEADERS: Final = (
    (b"x-content-type-options", b"nosniff"),
    # Not no-referrer: with it browsers send "Origin: null" with a form (Fetch, "append a request Origin header").
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
    (b"cache-control", b"no-store"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Keys:
    """What one server lets in: its hosts with their port, the start token, and the value of the cookie that it gives."""

    hosts: tuple[str, ...]
    token: str
    cookie: str
    cookie_name: str


class Guard:
    """Lets a request through to ``app`` only if it may be answered. ``refuse`` makes the page that says why not."""

    def __init__(self, app: ASGIApp, keys: Keys, refuse: Refuse) -> None:
        self._app = app
        self._keys = keys
        self._refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message.get("headers", ()))
                present = {name.lower() for name, _ in headers}
                headers += [pair for pair in _HEADERS if pair[0] not in present]
                if b"content-security-policy" not in present:
                    headers.append((b"content-security-policy", POLICY.encode()))
                message = {**message, "headers": headers}
            await send(message)

        answer = self._answer(scope)
        await answer(scope, _bounded(receive), send_with_headers)

    def _answer(self, scope: Scope) -> ASGIApp:
        headers = _headers(scope)
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self._keys.hosts:
            return self._refuse(
                scope,
                421,
                Fault(
                    what=f"this is not the host {', '.join(hosts)[:200] or '(none named)'}",
                    where="header Host",
                    why="a name of somebody else may have been made to point to this machine",
                    mend=f"use http://{self._keys.hosts[0]}/",
                ),
            )
        if (given := _token(scope)) is not None:
            return self._begin(scope, given)
        if not self._has_cookie(headers):
            return self._refuse(
                scope,
                403,
                Fault(
                    what="this browser was not let in",
                    where=f"cookie {self._keys.cookie_name}",
                    why="the pages are for whoever started them; other people use this machine too",
                    mend='open the whole address that "staddle serve" printed, with its token',
                ),
            )
        if scope["method"] not in ("GET", "HEAD") and not _is_own(headers, hosts[0]):
            return self._refuse(
                scope,
                403,
                Fault(
                    what="this was sent by another page",
                    where=f"header Origin: {', '.join(headers.get('origin', ['(none)']))[:200]}",
                    why="only these pages may change anything here",
                    mend="do it on the page itself",
                ),
            )
        length = headers.get("content-length", ["0"])[0]
        if length.isdigit() and int(length) > MOST_BODY_BYTES:
            return self._refuse(
                scope,
                413,
                Fault(
                    what=f"{length} bytes are more than a form may have",
                    where="header Content-Length",
                    why=f"at most {MOST_BODY_BYTES} bytes are taken at a time",
                    mend="hand in one table at a time",
                ),
            )
        return self._app

    def _begin(self, scope: Scope, given: str) -> ASGIApp:
        if scope["method"] != "GET" or not hmac.compare_digest(given.encode(), self._keys.token.encode()):
            return self._refuse(
                scope,
                403,
                Fault(
                    what="this is not the start token",
                    where="address: token",
                    why="each start draws another one",
                    mend='open the address that "staddle serve" printed last',
                ),
            )
        query = [(k, v) for k, v in parse_qsl(scope["query_string"].decode("latin-1")) if k != "token"]
        # "//host" would be another place (RFC 3986 §4.2), so the path begins with exactly one stroke.
        to = "/" + scope["path"].lstrip("/\\") + (f"?{urlencode(query)}" if query else "")
        cookie = f"{self._keys.cookie_name}={self._keys.cookie}; Path=/; HttpOnly; SameSite=Strict"

        async def see_other(scope: Scope, receive: Receive, send: Send) -> None:
            headers = [
                (b"location", to.encode("ascii", "backslashreplace")),
                (b"set-cookie", cookie.encode()),
            ]
            await send({"type": "http.response.start", "status": 303, "headers": headers})
            await send({"type": "http.response.body", "body": b""})

        return see_other

    def _has_cookie(self, headers: dict[str, list[str]]) -> bool:
        try:
            jar = SimpleCookie("; ".join(headers.get("cookie", [])))
        except CookieError:
            return False
        given = jar[self._keys.cookie_name].value if self._keys.cookie_name in jar else ""
        return hmac.compare_digest(given.encode(), self._keys.cookie.encode())


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _token(scope: Scope) -> str | None:
    return dict(parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)).get("token")


def _is_own(headers: dict[str, list[str]], host: str) -> bool:
    """Whether a write comes from our own page: its Origin; where that is missing, what the browser says of its site."""
    origins = headers.get("origin")
    if origins is None:
        return headers.get("sec-fetch-site") == ["same-origin"]
    return origins == [f"http://{host}"]


def _bounded(receive: Receive) -> Receive:
    """The body, cut off where it has become too long: a length may be missing or wrong."""
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        return {"type": "http.disconnect"} if taken > MOST_BODY_BYTES else message

    return bounded
