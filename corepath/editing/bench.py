"""The server's end of the workshop: questions numbered, answers handed on as they come."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

__all__ = ["Bench"]

_LONGEST = 2**26  # bytes of a line: the drawings of a crowded board are some 100 kB

_ENDED = {
    "key": "", "line": None, "value": "", "allowed": "change a value to try again",
    "says": "the process that works the job out has ended",
}  # fmt: skip


class Bench:
    """Asks a workshop process about the job at `path`; every answer goes to `told`.

    The process is started anew should it end.
    """

    def __init__(self, path: Path, told: Callable[[dict[str, Any]], None]) -> None:
        self._path, self._told = path, told
        self._number = 0
        self._closing = False
        self._process: asyncio.subprocess.Process | None = None
        self._reader: asyncio.Task[None] | None = None

    @property
    def number(self) -> int | None:
        """Number of the process; None before it runs."""
        return None if self._process is None else self._process.pid

    async def ask(self, kind: str, **question: Any) -> int:
        """Put a question; return its number, which its answers carry. `kind` is `job` for a text
        that is written, `draft` for one that is tried, `cross` for a cross section alone."""
        if self._process is None or self._process.returncode is not None:
            await self._start()
        assert self._process is not None and self._process.stdin is not None
        self._number += 1
        line = json.dumps({"kind": kind, "number": self._number, **question})
        self._process.stdin.write(line.encode("utf-8") + b"\n")
        with suppress(ConnectionError):
            await self._process.stdin.drain()
        return self._number

    async def close(self) -> None:
        """End the process."""
        self._closing = True
        if self._process is not None and self._process.returncode is None:
            assert self._process.stdin is not None
            self._process.stdin.close()
            try:
                await asyncio.wait_for(self._process.wait(), 1.0)
            except TimeoutError:
                self._process.kill()
                await self._process.wait()
        if self._reader is not None:
            await self._reader

    async def _start(self) -> None:
        self._process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "corepath.editing.workshop", str(self._path),
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, limit=_LONGEST,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )  # fmt: skip
        self._reader = asyncio.create_task(self._read(self._process))

    async def _read(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdout is not None
        while line := await process.stdout.readline():
            self._told(json.loads(line))
        if not self._closing:
            self._process = None  # the next question starts another
            self._told({"kind": "faults", "number": None, "faults": [_ENDED]})
