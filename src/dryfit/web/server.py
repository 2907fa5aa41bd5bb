"""The server of the workbench: sockets, guard, pages, and the address in the terminal."""

from __future__ import annotations

import asyncio
import socket
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path
from threading import Thread

import uvicorn
from fastapi import FastAPI
from nicegui import app as pages_app
from nicegui import ui
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse

from dryfit.base.errors import DryfitError, ProjectMissing
from dryfit.web.bench import DOCUMENT_NAME, Bench
from dryfit.web.evidence_desk import LARGEST_PHOTOS_BYTES, PHOTO_UPLOAD_PATH, add_photo_route
from dryfit.web.guard import LOOPBACK_ADDRESSES, Guard, bracketed
from dryfit.web.scan_desk import LARGEST_SCAN_BYTES, SCAN_UPLOAD_PATH, add_scan_route
from dryfit.web.tickets import Tickets
from dryfit.web.uploads import LARGEST_UPLOAD_BYTES, UPLOAD_PATH, add_upload_route

LOOPBACK = "127.0.0.1"
FIRST_PORT = 8140
PORTS_TRIED = 20
_LARGEST_MESSAGE_BYTES = 4 << 20  # of the websocket: a picture of a page fits, a mesh does not
_SECONDS_TO_CLOSE = 2

# A dimension line between two extension lines.
_ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><path d="M5 5v22M27 5v22M5 16h22" '
    'fill="none" stroke="#555" stroke-width="2.5"/><path d="M5 16l7-3v6zM27 16l-7-3v6z" fill="#555"/></svg>'
)

Pages = Callable[[Bench], None]


class NotServed(DryfitError):
    """The workbench cannot listen where it was asked to."""


def serve(
    path: Path,
    port: int | None = None,
    share: str | None = None,
    announce: Callable[[str], None] = print,
    build: Pages | None = None,
) -> None:
    """Serve a project's workbench until it is interrupted.

    port  : None for the first free one from FIRST_PORT on
    share : one more address of this machine to listen on, besides loopback; it asks for a token
    build : registers the pages; default: those of the workbench
    Raises ProjectMissing, or NotServed where the address or the port cannot be had.
    """
    check_project(path)
    sockets, taken = open_sockets(port, share)
    tickets = Tickets()
    try:
        guard = make_app(path, taken, share, tickets, build)
        announce_addresses(taken, share, tickets, announce)
        config = uvicorn.Config(
            guard,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,  # whoever comes in could claim another address by them
            ws_max_size=_LARGEST_MESSAGE_BYTES,
            timeout_graceful_shutdown=_SECONDS_TO_CLOSE,
        )
        asyncio.run(uvicorn.Server(config).serve(sockets=sockets))
    finally:
        for item in sockets:
            item.close()


def make_app(path: Path, port: int, share: str | None, tickets: Tickets, build: Pages | None = None) -> Guard:
    """The whole application behind its guard."""
    bench = Bench(path)
    app = FastAPI(lifespan=_lifespan(bench), docs_url=None, redoc_url=None, openapi_url=None)
    add_upload_route(app, bench.uploads)
    add_photo_route(app, bench.evidence)
    add_scan_route(app, bench.scans)
    if build is None:
        from dryfit.web.pages import build_pages

        build_pages(bench)
    else:
        build(bench)
    pages_app.add_exception_handler(404, _not_found)
    # Below /bench lie files and requests: /bench/ is none of them, and no other spelling of a page.
    pages_app.router.redirect_slashes = False
    ui.run_with(
        app,
        title="dryfit",
        favicon=_ICON,
        dark=None,
        language="en-GB",
        tailwind=False,
        show_welcome_message=False,
        binding_refresh_interval=None,  # nothing is bound
        # Within one machine packing costs more than it saves; over the air it does not.
        gzip_middleware_factory=None if share is None else GZipMiddleware,
        # A page that was busy for some seconds must find its state again, with what was typed on it.
        reconnect_timeout=30.0,
    )
    bodies = {
        UPLOAD_PATH: LARGEST_UPLOAD_BYTES,
        PHOTO_UPLOAD_PATH: LARGEST_PHOTOS_BYTES,
        SCAN_UPLOAD_PATH: LARGEST_SCAN_BYTES,
    }
    return Guard(app, port, share, tickets, bodies=bodies)


def _lifespan(bench: Bench) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def span(_: FastAPI) -> AsyncIterator[None]:
        # Not awaited: pages show how far the reading is.
        starting = asyncio.create_task(bench.start())
        yield
        starting.cancel()
        await bench.stop()

    return span


async def _not_found(request: Request, error: Exception) -> HTMLResponse:
    words = (
        '<!doctype html><html lang="en-GB"><head><title>Nothing here</title></head><body><h1>Nothing here</h1>'
        '<p>The workbench has no page at this address. <a href="/">To the overview</a></p></body></html>'
    )
    return HTMLResponse(words, status_code=404)


def check_project(path: Path) -> None:
    """Raises ProjectMissing where there is no document; a broken one is shown on the page instead."""
    if not path.is_file() and not (path / DOCUMENT_NAME).is_file():
        do = f"`dryfit new {path}` makes one, or name another folder"
        raise ProjectMissing(f"no {DOCUMENT_NAME} here", str(path), do)


def open_sockets(port: int | None, share: str | None) -> tuple[list[socket.socket], int]:
    """Listening sockets on loopback, and on share where given, all on one port; and that port.

    Raises NotServed where the port is taken, or share is no address of this machine.
    """
    addresses = [LOOPBACK, *([_resolve(share)] if share is not None else [])]
    candidates = range(FIRST_PORT, FIRST_PORT + PORTS_TRIED) if port is None else (port,)
    for candidate in candidates:
        sockets = _listen(addresses, candidate)
        if sockets:
            return sockets, sockets[0].getsockname()[1]
    if port is None:
        what = f"none of the ports {FIRST_PORT} to {FIRST_PORT + PORTS_TRIED - 1} is free"
        raise NotServed(what, LOOPBACK, "end another workbench, or name a free port: --port N")
    do = f"end what listens there, name another port, or leave --port out: a free one from {FIRST_PORT} on is taken"
    raise NotServed(f"port {port} is in use", ", ".join(addresses), do)


def _listen(addresses: list[str], port: int) -> list[socket.socket]:
    """Sockets on every address, or none where one of them has the port in use."""
    sockets: list[socket.socket] = []
    for address in addresses:
        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        # With the protocol named, asyncio has each answer sent at once; else its second half waits 40 ms for a receipt.
        item = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        sockets.append(item)
        try:
            if sys.platform != "win32":  # there it would share a port that is in use
                item.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            item.bind((address, port))
            item.listen(socket.SOMAXCONN)
        except OSError as error:
            for opened in sockets:
                opened.close()
            # EADDRINUSE; Windows has a number of its own for it.
            if error.errno in (98, 48, 10048):
                return []
            do = "name an address of this machine with --share, and a port above 1023 with --port"
            raise NotServed(f"listening is refused: {error.strerror}", f"{address}:{port}", do) from error
        port = item.getsockname()[1]
    return sockets


def _resolve(share: str) -> str:
    """The address that a name or address stands for. All addresses at once are refused."""
    do = "name the address at which the tablet reaches this machine, such as 192.168.1.20"
    try:
        found = socket.getaddrinfo(share, None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise NotServed(f'"{share}" is no address: {error}', "--share", do) from error
    address = str(found[0][4][0])
    if address in ("0.0.0.0", "::", ""):
        what = "all addresses at once cannot be shared: the name that a request asks for could not be checked"
        raise NotServed(what, "--share", do)
    if address in LOOPBACK_ADDRESSES or address.startswith("127."):
        raise NotServed("this address is reached from this machine only", "--share", "leave --share out")
    return address


def announce_addresses(
    port: int, share: str | None, tickets: Tickets, announce: Callable[[str], None] = print
) -> None:
    """Say where the workbench is; with share also the link, and a fresh one whenever Enter is pressed."""
    announce(f"workbench: http://{LOOPBACK}:{port}/  (this machine only; Ctrl-C ends it)")
    if share is None:
        return
    announce_link(port, share, tickets, announce)
    announce(
        "Others on this network can read along: nothing is encrypted. Share in a network that you trust."
    )
    if sys.stdin is not None and sys.stdin.isatty():
        announce("Press Enter for the link of one more device.")
        Thread(target=_answer_enter, args=(port, share, tickets, announce), daemon=True).start()


def _answer_enter(port: int, share: str, tickets: Tickets, announce: Callable[[str], None]) -> None:
    for _ in sys.stdin:
        announce_link(port, share, tickets, announce)


def announce_link(port: int, share: str, tickets: Tickets, announce: Callable[[str], None]) -> None:
    """A fresh link as text and as a QR code; the one before it is void."""
    import io

    import segno

    link = f"http://{bracketed(share)}:{port}/?token={tickets.issue()}"
    code = io.StringIO()
    # Half blocks where the terminal can show them; else colours by escape sequences.
    is_unicode = (sys.stdout.encoding or "").lower().startswith("utf")
    segno.make(link, error="l").terminal(out=code, compact=is_unicode)
    announce(f"for one other device, once: {link}\n{code.getvalue()}")
