"""Plans made one after another in the thread that asks for them, while a page is served beside."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from corepath.planning.progress import Progress

__all__ = ["PlanLoop", "Superseded"]

Message = dict[str, Any]

_LOOK = 0.5  # s: where waiting cannot be interrupted, Ctrl-C is heard this often


class Superseded(Exception):
    """Another plan was asked for, or this one stopped, before anything of it was written."""


class PlanLoop:
    """Makes plans into `folder` by `make`, which reports its own faults and returns the last
    message.

    `make` gets a progress function that raises `Superseded` once its plan is not wanted any more,
    so it must write only after its last call of it.
    """

    def __init__(self, folder: Path, make: Callable[[Progress], Message]) -> None:
        self.folder, self._make = folder, make
        self._wanted, self._stopped = threading.Event(), threading.Event()
        self._tell: Callable[[Message], None] = lambda message: None

    def connect(self, told: Callable[[Message], None]) -> None:
        """Have `told` hear how far a plan is, in the running event loop."""
        loop = asyncio.get_running_loop()

        def tell(message: Message) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(told, message)

        self._tell = tell

    def start(self) -> None:
        """Ask for a plan; one that is being made is given up for it."""
        self._wanted.set()

    async def stop(self) -> None:
        """Give up the plan that is being made; the folder keeps the last one."""
        self._stopped.set()

    def run(self) -> None:
        """Make a plan each time one is asked for, until Ctrl-C."""
        while True:
            if self._wanted.wait(_LOOK):
                self.once()

    def once(self) -> None:
        """Make the plan that is asked for."""
        # Before planning, not after: what is asked for meanwhile is another plan.
        self._wanted.clear()
        self._stopped.clear()
        self._say("running", says="starting", share=0.0)
        try:
            message = self._make(self._progress)
        except Superseded:
            if not self._wanted.is_set():
                self._say("stopped", says="stopped; the folder holds the last plan")
        else:
            self._tell({"kind": "plan", **message})

    def _progress(self, message: str, share: float) -> None:
        # A progress call is the only place where a running plan can be stopped cleanly.
        if self._wanted.is_set() or self._stopped.is_set():
            raise Superseded
        self._say("running", says=message, share=share)

    def _say(self, state: str, **more: Any) -> None:
        self._tell({"kind": "plan", "state": state, **more})
