"""A server for the folder of a plan, on this machine alone.

It listens on 127.0.0.1 and answers only requests that name this machine as their host: a page from
elsewhere whose name resolves to this machine (DNS rebinding) gets nothing. It knows GET and HEAD.
It serves files inside the folder, but no listing, no hidden file and nothing that a link leads out
to. Its headers forbid browsers to cache anything and other sites to embed it.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from corepath.errors import Fault, InputError
from corepath.job.text.regular import read_regular
from corepath.watching.notice import NoticeBoard
from corepath.watching.reload_page import EVENTS, waiting_page, with_script

__all__ = ["HERE", "TYPES", "USUAL_PORT", "PageServer", "inside_folder", "serving"]

HERE = "127.0.0.1"
USUAL_PORT = 7412
"""Taken where it is free: what was ticked on a page is kept in the browser under its address."""

FIRST = "sheet.html"
_LARGEST = 2**30  # bytes of a file that is sent
_ALIVE = 15.0  # seconds between two signs of life on a stream without news
TYPES = {
    ".html": "text/html; "
             "charset=utf-8", ".svg": "image/svg+xml", ".json": "application/json",
             ".stl": "model/stl",
    ".nc": "text/plain; charset=utf-8", ".toml": "text/plain; "
                                                 "charset=utf-8", ".csv": "text/plain; "
                                                                          "charset=utf-8",
    ".js": "text/javascript", ".css": "text/css", ".png": "image/png", ".glb": "model/gltf-binary",
}  # fmt: skip
_HEADERS = {
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "SAMEORIGIN",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
}


class PageServer(ThreadingHTTPServer):
    """Serves `folder`, which need not exist yet; `board` has the notices for its pages."""

    # Streams of notices never end by themselves: closing must not wait for their threads.
    daemon_threads = True
    block_on_close = False

    def __init__(self, folder: Path, board: NoticeBoard, port: int) -> None:
        self.folder, self.board = folder, board
        super().__init__((HERE, port), _Handler)

    @property
    def url(self) -> str:
        return f"http://{HERE}:{self.server_port}/"

    @property
    def hosts(self) -> frozenset[str]:
        """The values of the Host header that are accepted."""
        return frozenset(f"{name}:{self.server_port}" for name in (HERE, "localhost"))

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Ignore it: a browser that closes a connection early is no fault."""


@contextmanager
def serving(folder: Path, board: NoticeBoard, port: int | None) -> Iterator[PageServer]:
    """Serve a folder in the background, on the usual port or a free one where `port` is None.

    Raises InputError if the given port is not free.
    """
    server = _listening(folder, board, port)
    thread = threading.Thread(
        target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True
    )
    thread.start()
    try:
        yield server
    finally:
        board.close()
        server.shutdown()
        server.server_close()
        thread.join()


def _listening(folder: Path, board: NoticeBoard, port: int | None) -> PageServer:
    if port is not None:
        try:
            return PageServer(folder, board, port)
        except OSError as error:
            says = f"cannot be listened on: {error.strerror or error}"
            raise InputError(
                [Fault("--port", says, str(port), "a port that is free, or leave it out")]
            ) from error
    try:
        return PageServer(folder, board, USUAL_PORT)
    except OSError:
        return PageServer(folder, board, 0)


class _Handler(BaseHTTPRequestHandler):
    """One request."""

    server: PageServer
    protocol_version = "HTTP/1.1"
    timeout = 30.0

    def do_GET(self) -> None:
        self._answer()

    def do_HEAD(self) -> None:
        self._answer()

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Send an error as plain text; an unknown method is answered as one not allowed."""
        status = HTTPStatus(code)
        if status is HTTPStatus.NOT_IMPLEMENTED:
            status = HTTPStatus.METHOD_NOT_ALLOWED
        self.close_connection = True
        allow = {"Allow": "GET, HEAD"} if status is HTTPStatus.METHOD_NOT_ALLOWED else {}
        self._send(
            f"{status.phrase}\n".encode(),
            "text/plain; charset=utf-8",
            status,
            {"Connection": "close", **allow},
        )

    def version_string(self) -> str:
        return "corepath"

    def log_message(self, format: str, *args: Any) -> None:
        """Log nothing: the terminal is for messages about the job."""

    def _answer(self) -> None:
        # Exactly one Host, and ours: any other means a name of somebody else's that resolves to us.
        if (self.headers.get_all("Host") or []) not in [[host] for host in self.server.hosts]:
            self.send_error(HTTPStatus.FORBIDDEN)
            return
        path = urlsplit(self.path).path
        if path == "/":
            self._send(
                b"", "text/plain; charset=utf-8", HTTPStatus.FOUND, {"Location": f"/{FIRST}"}
            )
        elif path == "/favicon.ico":  # browsers ask for one, and complain when there is none
            self._send(b"", "image/x-icon", HTTPStatus.NO_CONTENT)
        elif path == EVENTS:
            self._events()
        else:
            self._file(path)

    def _file(self, path: str) -> None:
        # Read the number before the file: a plan written in between then reloads the page once too
        # often, never once too seldom.
        number = self.server.board.notice.number
        try:
            target = inside_folder(self.server.folder, path)
            data = read_regular(target, _LARGEST) if target is not None else None
        except OSError:
            data = None
        if data is None and path == f"/{FIRST}":
            data = waiting_page(FIRST)
        if data is None:
            self.send_error(HTTPStatus.NOT_FOUND)
            return
        kind = TYPES.get(Path(path).suffix.lower(), "application/octet-stream")
        self._send(with_script(data, number) if kind.startswith("text/html") else data, kind)

    def _send(
        self,
        data: bytes,
        kind: str,
        status: HTTPStatus = HTTPStatus.OK,
        more: dict[str, str] | None = None,
    ) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        for name, value in {**_HEADERS, **(more or {})}.items():
            self.send_header(name, value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(data)

    def _events(self) -> None:
        """Send each notice as soon as there is one, until the reader or the server closes."""
        self.close_connection = True
        self.send_response(HTTPStatus.OK)
        for name, value in {
            "Content-Type": "text/event-stream",
            **_HEADERS,
            "Connection": "close",
        }.items():
            self.send_header(name, value)
        self.end_headers()
        if self.command == "HEAD":
            return
        board, turn = self.server.board, -1
        try:
            while not board.closed:
                turn, notice = board.wait(turn, _ALIVE)
                # The comment line shows whether the reader has gone: writing to it then fails.
                self.wfile.write(
                    b": here\n\n" if notice is None else f"data: {notice.as_json()}\n\n".encode()
                )
                self.wfile.flush()
        except (TimeoutError, OSError):
            return


def inside_folder(folder: Path, path: str) -> Path | None:
    """Return the file of this folder that the path of a URL names; None unless it is the plain name
    of one inside."""
    try:
        parts = unquote(path, errors="strict").removeprefix("/").split("/")
    except UnicodeDecodeError:
        return None
    if any(not part or part.startswith(".") or set(part) & set('\\:\0"<>|?*') for part in parts):
        return None
    # Links are resolved before the comparison: one that leads out of the folder is not followed.
    root = folder.resolve(strict=True)
    target = root.joinpath(*parts).resolve(strict=True)
    return target if target.is_relative_to(root) and target.is_file() else None
