"""Who may talk to the studio: only pages that it served itself, only in reasonable amounts."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
USUAL_LIMIT_BYTES = 4 * 2**20

OPENER = (b"cross-origin-opener-policy", b"same-origin")
"""Browsers heed it only at addresses that they trust, such as 127.0.0.1, and complain of it elsewhere."""
HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; style-src 'self' 'unsafe-inline'; "
        b"connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
)


class TooMuchError(Exception):
    """A request's body passed its limit."""


class Guard:
    """ASGI middleware: checks host, origin and size of every request before a route sees it.

    A page of another site could make a browser send requests here (cross-site), or get a name of its own to point at
    127.0.0.1 (DNS rebinding). So `Host` must be one of ours, `Origin`, where a browser sends it, must be the same, and
    the browser's own word on where a request comes from must not be another site.

    Parameters
    ----------
    app : ASGI application
    hosts : iterable of str
        Names without the port that `Host` may have.
    limits : sequence of (pattern, bytes)
        Paths whose bodies may be longer than 4 MiB.
    trusted : bool
        Whether browsers trust this address (this computer's own) without a certificate.
    """

    def __init__(
        self, app: ASGIApp, *, hosts: Iterable[str], limits: Iterable[tuple[str, int]] = (), trusted: bool = True
    ) -> None:
        self._app = app
        self._headers = (*HEADERS, OPENER) if trusted else HEADERS
        self._hosts = frozenset(hosts)
        self._limits = [(re.compile(pattern), limit) for pattern, limit in limits]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = {key: value.decode("latin-1") for key, value in scope["headers"]}
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _refuse(scope, send, 403, refusal)
        elif scope["type"] == "websocket":
            await self._app(scope, receive, send)
        else:
            await self._serve(scope, headers, receive, send)

    def _refusal(self, scope: Scope, headers: dict[bytes, str]) -> str | None:
        host = headers.get(b"host", "")
        try:
            name = urlsplit(f"//{host}").hostname
        except ValueError:
            name = None
        if name not in self._hosts:
            return "this address is not the studio's; open it as http://127.0.0.1"
        origin = headers.get(b"origin")
        if origin is not None and origin not in (f"http://{host}", f"ws://{host}"):
            return "a page of another site may not use the studio"
        site = headers.get(b"sec-fetch-site", "none")
        navigating = headers.get(b"sec-fetch-mode") == "navigate" and scope.get("method") in SAFE_METHODS
        # A link on another page may open the studio; nothing else from there may touch it.
        if site not in ("none", "same-origin") and not navigating:
            return "a page of another site may not use the studio"
        return None

    async def _serve(self, scope: Scope, headers: dict[bytes, str], receive: Receive, send: Send) -> None:
        limit = next((n for pattern, n in self._limits if pattern.fullmatch(scope["path"])), USUAL_LIMIT_BYTES)
        length = headers.get(b"content-length", "0")
        if not length.isdigit() or int(length) > limit:
            await self._too_much(scope, send, limit)
            return
        meter = _Meter(receive, limit)
        begun = refused = False

        async def dressed(message: Message) -> None:
            nonlocal begun, refused
            # Whoever reads the body may answer the interruption in words of its own: the true reason goes first.
            if meter.passed and not begun:
                refused = refused or await self._too_much(scope, send, limit)
                return
            if message["type"] == "http.response.start":
                begun = True
                message["headers"] = [*message.get("headers", ()), *self._headers]
            await send(message)

        try:
            await self._app(scope, meter, dressed)
        except TooMuchError:
            if not begun and not refused:
                await self._too_much(scope, send, limit)

    async def _too_much(self, scope: Scope, send: Send, limit: int) -> bool:
        await _refuse(scope, send, 413, f"that is more than the {limit // 2**20} MiB that fit here")
        return True


class _Meter:
    """Hands a request's body on, and breaks off when it passes its limit."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive = receive
        self._limit = limit
        self._taken = 0

    @property
    def passed(self) -> bool:
        return self._taken > self._limit

    async def __call__(self) -> Message:
        message = await self._receive()
        self._taken += len(message.get("body", b""))
        if self.passed:
            raise TooMuchError
        return message


async def _refuse(scope: Scope, send: Send, status: int, message: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": message})
        return
    body = json.dumps({"where": "", "message": message}).encode()
    headers = [(b"content-type", b"application/json"), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
