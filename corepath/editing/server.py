"""The server of the page, on this machine alone.

It listens on 127.0.0.1; every address begins with a token that only the terminal shows, and a
request must name this machine as its host and, on the socket, this server as its origin: a page
from elsewhere gets nothing. The page's policy allows nothing but what this server sends.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import socket
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from importlib import resources
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from corepath.editing.desk import Desk, Plans
from corepath.editing.page_style import drawing_style
from corepath.editing.plans.plan_pages import plan_file
from corepath.errors import Fault, InputError

__all__ = ["EditServer"]

HERE = "127.0.0.1"
USUAL_PORT = 7412
"""Taken where it is free: what was ticked on a sheet is kept in the browser under its address."""

_TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript"}
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": _POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
_LONGEST = 2**22  # bytes of a message: a text of 5,000 stations is some 100 kB


Message = dict[str, Any]
Tell = Callable[[Message], None]


class EditServer:
    """Serves the page of the job at `path`, on `port`, or the usual or any free one, and the pages
    of its plan.

    `plans` makes the plans, after each change of the job where it is given, else by a process of
    its own when the page asks for one. Raises InputError where a given port is not free. `url` is
    where the page is, `sheet` where the set-up sheet.
    """

    def __init__(self, path: Path, port: int | None = None, plans: Plans | None = None) -> None:
        self.desk = Desk(path, plans, always=plans is not None)
        self.token = secrets.token_urlsafe(16)
        self._socket = _listening(port)
        self.port: int = self._socket.getsockname()[1]
        self.url = f"http://{HERE}:{self.port}/{self.token}/"
        self.sheet = f"{self.url}plan/sheet.html"
        config = uvicorn.Config(
            self._app(), log_level="critical", ws="wsproto", ws_max_size=_LONGEST,
            lifespan="on", timeout_graceful_shutdown=1, server_header=False,
        )  # fmt: skip
        self._server = uvicorn.Server(config)

    def run(self) -> None:
        """Serve until Ctrl-C or `stop`."""
        with self._socket:
            self._server.run(sockets=[self._socket])

    def start(self) -> threading.Thread:
        """Serve in the background; return the thread, which ends after `stop`."""
        thread = threading.Thread(target=self.run, daemon=True)
        thread.start()
        return thread

    def stop(self) -> None:
        """End the server soon."""
        self._server.should_exit = True

    def _app(self) -> ASGIApp:
        desk, at = self.desk, f"/{self.token}"

        @asynccontextmanager
        async def open_desk(_: Starlette) -> AsyncIterator[None]:
            await desk.open()
            yield
            await desk.close()

        routes = [
            Route(f"{at}/", lambda _: _asset("index.html")),
            Route("/favicon.ico", lambda _: Response(status_code=204)),
            Route(f"{at}/drawings.css", lambda _: Response(drawing_style(), media_type="text/css")),
            Route(f"{at}/page/{{name}}", lambda asked: _asset(asked.path_params["name"])),
            Route(f"{at}/plan/{{name:path}}", self._planned),
            WebSocketRoute(f"{at}/socket", self._talk),
            WebSocketRoute(f"{at}/plans", self._follow),
        ]
        return _Guard(Starlette(routes=routes, lifespan=open_desk), self.port)

    def _planned(self, asked: Request) -> Response:
        """Return a file of the plan's folder; its pages have policies of their own."""
        # The number before the file: a plan written in between loads the page once too often,
        # never once too seldom.
        number = self.desk.plans_made
        name = asked.path_params["name"]
        found = plan_file(self.desk.plan.folder, name, number, f"/{self.token}/plans")
        if found is None:
            return PlainTextResponse("Not Found\n", 404)
        data, kind = found
        own = {"Content-Security-Policy": "frame-ancestors 'self'", "X-Frame-Options": "SAMEORIGIN"}
        return Response(data, media_type=kind, headers=own)

    async def _talk(self, page: WebSocket) -> None:
        """Talk with one open page until it closes."""
        desk = self.desk
        await _served(page, desk.welcome, desk.pages.discard, desk.heard)

    async def _follow(self, page: WebSocket) -> None:
        """Tell an open page of a plan of the next ones, until it closes."""
        await _served(page, self.desk.follow, self.desk.followers.discard, None)


async def _served(
    page: WebSocket,
    opened: Callable[[Tell], None],
    closed: Callable[[Tell], None],
    heard: Callable[[Message, Tell], Awaitable[None]] | None,
) -> None:
    """Serve one open page until it closes: what it says goes to `heard`."""
    await page.accept()
    outbox: asyncio.Queue[Message] = asyncio.Queue()
    sender = asyncio.create_task(_send_all(outbox, page))
    send = outbox.put_nowait
    opened(send)
    try:
        while True:
            message = json.loads(await page.receive_text())
            if heard is not None and isinstance(message, dict):
                await heard(message, send)
    except (WebSocketDisconnect, ValueError, KeyError, TypeError):
        pass  # the page has gone, or is none of ours
    finally:
        closed(send)
        sender.cancel()


async def _send_all(outbox: asyncio.Queue[dict[str, Any]], page: WebSocket) -> None:
    with suppress(WebSocketDisconnect, RuntimeError):
        while True:
            await page.send_text(json.dumps(await outbox.get(), ensure_ascii=False))


def _asset(name: str) -> Response:
    """Return a file of the page by its plain name."""
    kind = _TYPES.get(Path(name).suffix)
    file = resources.files("corepath.editing").joinpath("page", name)
    if kind is None or "/" in name or "\\" in name or not file.is_file():
        return PlainTextResponse("Not Found\n", 404)
    return Response(file.read_bytes(), media_type=kind)


def _listening(port: int | None) -> socket.socket:
    wanted = (port,) if port is not None else (USUAL_PORT, 0)
    for one in wanted:
        try:
            return socket.create_server((HERE, one))
        except OSError as error:
            says = f"cannot be listened on: {error.strerror or error}"
    allowed = "a port that is free, or leave it out"
    raise InputError([Fault("--port", says, str(port), allowed)])


class _Guard:
    """Lets through what comes from this machine's own page, and adds the headers."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self._app = app
        self._hosts = {f"{name}:{port}".encode() for name in (HERE, "localhost")}
        self._origins = {b"http://" + host for host in self._hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan" or self._ours(scope):
            await self._app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
        else:
            refusal: Callable[[Scope, Receive, Send], Awaitable[None]] = PlainTextResponse(
                "Forbidden\n", 403
            )
            await refusal(scope, receive, send)

    def _ours(self, scope: Scope) -> bool:
        # exactly one Host, and ours: any other is a name of somebody else's that leads here
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        origins = [value for name, value in scope["headers"] if name == b"origin"]
        named = len(hosts) == 1 and hosts[0] in self._hosts
        # browsers send the origin with every socket, and with every request from another site
        asked = all(one in self._origins for one in origins)
        return named and asked and (scope["type"] != "websocket" or len(origins) == 1)


def _with_headers(send: Send) -> Send:
    async def sent(message: Any) -> None:
        if message["type"] == "http.response.start":
            held = {name.lower() for name, _ in message["headers"]}
            message["headers"] = [
                *message["headers"],
                *((name.lower().encode(), value.encode()) for name, value in _HEADERS.items()
                  if name.lower().encode() not in held),
            ]  # fmt: skip
        await send(message)

    return sent
