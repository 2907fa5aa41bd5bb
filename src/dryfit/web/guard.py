"""What may come in: a raw ASGI class around the whole workbench, for http and websocket alike.

A page of another site can make a browser send requests here. Host is checked, so that a name of the attacker's
that was pointed at this machine (DNS rebinding) finds nothing; Origin and Sec-Fetch-Site are checked, so that
no other page can post or open a websocket. From any address but loopback a cookie is wanted as well, which a
link with a one-time token hands out.
"""

from __future__ import annotations

import html
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qs

from dryfit.web.tickets import Tickets

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")
LOOPBACK_ADDRESSES = ("127.0.0.1", "::1")
LARGEST_BODY_BYTES = 1 << 20
_SAFE_METHODS = ("GET", "HEAD", "OPTIONS")

# Pages are built from inline scripts and templates that are compiled in the browser, hence the two unsafe words;
# everything must come from this server, and nothing can be sent to another.
_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval'",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "worker-src 'self' blob:",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    b"x-content-type-options": b"nosniff",
    b"referrer-policy": b"no-referrer",
    b"content-security-policy": _POLICY.encode(),
    b"x-frame-options": b"DENY",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """A status and the words for it."""

    status: int
    what: str
    do: str


class Guard:
    """Lets a request through to app, or refuses it in plain words.

    port     that the server listens on
    share    address besides loopback that it listens on, or None
    tickets  for whoever comes in by that address
    largest_body, bodies : bytes of a request's body; by default, and of the paths named
    """

    def __init__(
        self,
        app: App,
        port: int,
        share: str | None = None,
        tickets: Tickets | None = None,
        largest_body: int = LARGEST_BODY_BYTES,
        bodies: Mapping[str, int] | None = None,
    ) -> None:
        self.app = app
        self.cookie = f"dryfit_{port}"  # cookies know no ports: two servers on a machine must not share one
        self._tickets = tickets or Tickets()
        self._largest_body, self._bodies = largest_body, dict(bodies or {})
        self._local = _with_port(LOOPBACK_NAMES, port)
        self._shared = _with_port((bracketed(share),), port) if share is not None else frozenset()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers = _headers(scope)
        refusal = self._judge(scope, headers)
        if scope["type"] == "websocket":
            if refusal is None:
                await self.app(scope, receive, send)
            else:
                await send({"type": "websocket.close", "code": 1008, "reason": refusal.what[:120]})
            return
        guarded = _with_headers(send)
        token = _token(scope)
        if token is not None and (refusal is None or refusal.status == 401):
            await self._take_token(token, scope, guarded)
        elif refusal is not None:
            await _refuse(refusal, guarded)
        else:
            await self._pass_limited(scope, receive, guarded)

    def _judge(self, scope: Scope, headers: Mapping[str, list[str]]) -> Refusal | None:
        is_local = _is_local(scope)
        names = self._local if is_local else self._shared
        return (
            _judge_host(headers, names)
            or _judge_origin(scope, headers, names)
            or _judge_path(scope)
            or self._judge_length(scope, headers)
            or (None if is_local else self._judge_session(headers))
        )

    def _judge_session(self, headers: Mapping[str, list[str]]) -> Refusal | None:
        for line in headers.get("cookie", []):
            for pair in line.split(";"):
                name, _, value = pair.strip().partition("=")
                if name == self.cookie and self._tickets.knows(value):
                    return None
        what = "this browser has not been let in"
        return Refusal(401, what, "open the link that the terminal shows; press Enter there for a new one")

    def _judge_length(self, scope: Scope, headers: Mapping[str, list[str]]) -> Refusal | None:
        stated = headers.get("content-length", [])
        if not stated:
            return None
        if len(stated) > 1 or not (stated[0].isascii() and stated[0].isdecimal()):
            return Refusal(400, "the length of the request is stated in no usable way", "send it again")
        # Digits are counted first: Python refuses to read a number of thousands of them.
        limit = self._limit(scope)
        return _too_large(limit) if len(stated[0]) > 18 or int(stated[0]) > limit else None

    def _limit(self, scope: Scope) -> int:
        return self._bodies.get(scope["path"], self._largest_body)

    async def _take_token(self, token: str, scope: Scope, send: Send) -> None:
        session = self._tickets.spend(token)
        if session is None:
            do = "press Enter in the terminal for a new link: each opens the workbench in one browser"
            await _refuse(Refusal(403, "this link has been used, or a newer one took its place", do), send)
            return
        cookie = f"{self.cookie}={session}; HttpOnly; SameSite=Strict; Path=/"
        # Not a redirect: after a link from another site, a browser would leave the strict cookie out of it.
        page = _page("You are in", "The workbench opens.", '<meta http-equiv="refresh" content="0;url=/">')
        await _answer(send, 200, page, [(b"set-cookie", cookie.encode())])

    async def _pass_limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Count the body as it comes in; a body that says less than it holds is cut off."""
        meter = _Meter(receive, send, self._limit(scope))
        try:
            await self.app(scope, meter.receive, meter.send)
        except Exception as error:
            # The application may well stumble over a body that was cut off: the refusal below says why. And its
            # middleware complains where a browser went to another page before the answer: nobody waits for it.
            if not (meter.is_over or (meter.has_left and str(error) == "No response returned.")):
                raise
        if meter.is_over and not meter.has_answered:
            await _refuse(_too_large(self._limit(scope)), send)


class _Meter:
    """Counts a body; over the limit the application sees a client that hung up, and its answer is dropped."""

    def __init__(self, receive: Receive, send: Send, limit: int) -> None:
        self._receive, self._send, self._left = receive, send, limit
        self.is_over = self.has_left = self.has_answered = False

    async def receive(self) -> Message:
        if self.is_over:
            return {"type": "http.disconnect"}
        message = await self._receive()
        if message["type"] == "http.request":
            self._left -= len(message.get("body", b""))
            if self._left < 0:
                self.is_over = True
                return {"type": "http.disconnect"}
        self.has_left = self.has_left or message["type"] == "http.disconnect"
        return message

    async def send(self, message: Message) -> None:
        if self.is_over and not self.has_answered:
            return
        self.has_answered = True
        await self._send(message)


def bracketed(address: str) -> str:
    """An address as it stands in a link: those with colons in brackets."""
    return f"[{address}]" if ":" in address else address


def _with_port(names: Iterable[str], port: int) -> frozenset[str]:
    """Host values; a browser leaves the port out where it is 80."""
    lowered = [name.lower() for name in names]
    return frozenset([*(f"{name}:{port}" for name in lowered), *(lowered if port == 80 else ())])


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _is_local(scope: Scope) -> bool:
    """Whether the connection came in by the loopback address. The socket says so, no header does."""
    server = scope.get("server")
    return server is not None and server[0] in LOOPBACK_ADDRESSES


def _judge_host(headers: Mapping[str, list[str]], names: frozenset[str]) -> Refusal | None:
    hosts = headers.get("host", [])
    if len(hosts) == 1 and hosts[0].lower() in names:
        return None
    return Refusal(403, "the workbench is not known by this name", "open the address that the terminal shows")


def _judge_origin(scope: Scope, headers: Mapping[str, list[str]], names: frozenset[str]) -> Refusal | None:
    """A page of another origin may link here, and no more."""
    refusal = Refusal(403, "the request comes from a page of another site", "open the workbench itself")
    origins = headers.get("origin", [])
    if origins:
        allowed = {f"http://{name}" for name in names}
        return None if len(origins) == 1 and origins[0].lower() in allowed else refusal
    if scope["type"] == "websocket" or scope["method"] not in _SAFE_METHODS:
        # Browsers always name the origin of these.
        return Refusal(403, "the request does not say which page it comes from", "open the workbench itself")
    site = headers.get("sec-fetch-site", ["none"])[0]
    is_link = headers.get("sec-fetch-mode") == ["navigate"] and headers.get("sec-fetch-dest") == ["document"]
    return None if site in ("none", "same-origin") or is_link else refusal


def _judge_path(scope: Scope) -> Refusal | None:
    path: str = scope["path"]
    if "\0" in path or "\\" in path or ".." in path.split("/"):
        return Refusal(400, "the address leads out of the workbench", "follow the links of the pages")
    return None


def _too_large(limit: int) -> Refusal:
    size = f"{limit / (1 << 20):g} MiB"
    return Refusal(413, f"the request is larger than {size}", "send less at a time, or use `dryfit import`")


def _token(scope: Scope) -> str | None:
    if scope["method"] != "GET" or scope["path"] != "/":
        return None
    values = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [])
    return values[0] if values else None


def _with_headers(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [pair for pair in message.get("headers", []) if pair[0].lower() not in _HEADERS]
            message = {**message, "headers": [*kept, *_HEADERS.items()]}
        await send(message)

    return guarded


async def _refuse(refusal: Refusal, send: Send) -> None:
    # The rest of a refused body is not waited for.
    page = _page(f"Refused: {refusal.what}", f"What to do: {refusal.do}.")
    await _answer(send, refusal.status, page, [(b"connection", b"close")])


def _page(title: str, words: str, head: str = "") -> bytes:
    heading, sentence = html.escape(title), html.escape(words)
    return (
        f'<!doctype html><html lang="en-GB"><head><meta charset="utf-8">{head}<title>{heading}</title></head>'
        f"<body><h1>{heading}</h1><p>{sentence}</p></body></html>"
    ).encode()


async def _answer(send: Send, status: int, body: bytes, headers: Iterable[tuple[bytes, bytes]] = ()) -> None:
    start = [
        (b"content-type", b"text/html; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *headers,
    ]
    await send({"type": "http.response.start", "status": status, "headers": start})
    await send({"type": "http.response.body", "body": body})
