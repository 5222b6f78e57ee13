"""The outermost layer of the page's server: who may ask at all, and who with the key.

Every request and every socket passes here, whatever library answers it. Only names of this computer
are taken as Host (a foreign name that resolves to it is refused: DNS rebinding); sockets and all
that is not a plain read must come from a page of our own (Origin). The key of this run is shown
once, in an address; a cookie of its own stands for it from then on.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, TypeAlias
from urllib.parse import parse_qs

Scope: TypeAlias = MutableMapping[str, Any]
Message: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[Message]]
Send: TypeAlias = Callable[[Message], Awaitable[None]]
App: TypeAlias = Callable[[Scope, Receive, Send], Awaitable[None]]

KEYED = "rodbench_keyed"  # in the scope: whether it came with the key
KEY_QUERY = "key"
READS = ("GET", "HEAD")
PATHS = ("/", "/stop", "/hold", "/favicon.ico")
BELOW = ("/rodbench/", "/_nicegui/", "/_nicegui_ws/")
SESSIONS_MOST = 64  # cookies of this run; the oldest goes
POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval'",  # the UI library builds pages this way
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "frame-ancestors 'none'",
        "form-action 'self'",
        "base-uri 'self'",
        "object-src 'none'",
    )
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-frame-options", b"DENY"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
ENTER = b"""<!doctype html><meta charset="utf-8"><title>rodbench</title>
<script>location.replace("/")</script><noscript><a href="/">Go on</a></noscript>
"""


class Guard:
    """Wraps `app`. `hosts` are the names, with port, under which this server is asked."""

    def __init__(self, app: App, hosts: Iterable[str], key: str) -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)
        self._key = key
        self._sessions: list[str] = []
        # cookies do not keep ports apart: the name does, so that two pages do not disturb
        self.cookie = f"rodbench-{min(self.hosts).rpartition(':')[2]}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or socket."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if why := self._refusal(scope):
            await _refuse(scope, receive, send, why)
            return
        if scope["type"] == "http" and (shown := _shown_key(scope)) is not None:
            await self._enter(shown, send)
            return
        scope[KEYED] = self._knows(scope)
        await self.app(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> str:
        """Why it is not let in; "" when it is."""
        headers = _headers(scope)
        host = headers.get("host", "").lower()
        if host not in self.hosts:
            return "this server does not go by that name"
        plain_read = scope["type"] == "http" and scope["method"] in READS
        origin = headers.get("origin")
        if origin is None and not plain_read:
            return "no Origin was told"
        if origin is not None and origin.lower() != f"http://{host}":
            return "asked from another site"
        if _taken_elsewhere(headers):
            return "asked from another site"
        path = str(scope["path"])
        if path not in PATHS and not path.startswith(BELOW):
            return "nothing is there"
        if scope["type"] == "http" and path.startswith("/_nicegui_ws"):
            return "sockets only"  # its other transport would let requests in beside the socket
        return ""

    async def _enter(self, shown: str, send: Send) -> None:
        """The key for a cookie, and an address without it."""
        if not hmac.compare_digest(shown.encode(), self._key.encode()):
            await _respond(send, 403, b"Wrong key: it is of another run. Nothing was done.\n")
            return
        session = secrets.token_urlsafe(32)
        self._sessions = [*self._sessions, session][-SESSIONS_MOST:]
        cookie = f"{self.cookie}={session}; HttpOnly; SameSite=Strict; Path=/"
        await _respond(
            send, 200, ENTER, b"text/html; charset=utf-8", ((b"set-cookie", cookie.encode()),)
        )

    def _knows(self, scope: Scope) -> bool:
        """Whether a cookie of this run came along; every one is compared, in constant time."""
        try:
            found = SimpleCookie(_headers(scope).get("cookie", "")).get(self.cookie)
        except CookieError:
            return False
        told = b"" if found is None else found.value.encode()
        return sum(hmac.compare_digest(told, session.encode()) for session in self._sessions) > 0


def _headers(scope: Scope) -> dict[str, str]:
    """By lower-case name; one that is told twice is no name of ours, so that it matches nothing."""
    found: dict[str, str] = {}
    for name, value in scope["headers"]:
        word = name.decode("latin-1").lower()
        joiner = "; " if word == "cookie" else ", "
        text = value.decode("latin-1")
        found[word] = f"{found[word]}{joiner}{text}" if word in found else text
    return found


def _taken_elsewhere(headers: dict[str, str]) -> bool:
    """Whether a page of another site asks, for a picture or a frame: it tells no Origin, but what a
    browser says of it. To follow a link here is no such asking."""
    if headers.get("sec-fetch-site", "none") in ("same-origin", "none"):
        return False
    return headers.get("sec-fetch-dest") != "document"


def _query(scope: Scope) -> dict[str, list[str]]:
    return parse_qs(scope.get("query_string", b"").decode("latin-1"), keep_blank_values=True)


def _shown_key(scope: Scope) -> str | None:
    shown = _query(scope).get(KEY_QUERY) if scope["path"] == "/" else None
    return shown[0] if shown else None


def _with_headers(send: Send) -> Send:
    async def sender(message: Message) -> None:
        if message["type"] == "http.response.start":
            names = {name for name, _ in HEADERS}
            kept = [pair for pair in message.get("headers", ()) if pair[0].lower() not in names]
            message["headers"] = [*kept, *HEADERS]
        await send(message)

    return sender


async def _refuse(scope: Scope, receive: Receive, send: Send, why: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})  # before accepting: HTTP 403
        return
    await _respond(send, 403, f"Refused: {why}.\n".encode())


async def _respond(
    send: Send,
    status: int,
    body: bytes,
    kind: bytes = b"text/plain; charset=utf-8",
    more: tuple[tuple[bytes, bytes], ...] = (),
) -> None:
    fixed = ((b"content-type", kind), (b"cache-control", b"no-store"))
    headers = [*fixed, (b"content-length", str(len(body)).encode()), *more, *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
