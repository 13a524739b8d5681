"""A plan made from the page, by a process of its own: how far it is, what came out, and its end
where it is stopped.

Run as `python -m corepath.editing.plans.plan_run JOB.toml DIR` it writes the plan as
`corepath plan` does and says how far it is, a line of JSON each time.
"""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from corepath.planning.folder.plan_folder import Written
    from corepath.planning.plan import Plan

__all__ = ["PlanRun", "came_out", "main"]

Message = dict[str, Any]
_PATIENCE = 5.0
"""Seconds that a plan gets to leave its folder as it was."""


class PlanRun:
    """Plans the job at `path` into `folder`, one plan at a time."""

    def __init__(self, path: Path, folder: Path) -> None:
        self._path, self.folder = path, folder
        self._told: Callable[[Message], None] = lambda message: None
        self._process: asyncio.subprocess.Process | None = None
        self._task: asyncio.Task[None] | None = None

    @property
    def running(self) -> bool:
        return self._task is not None and not self._task.done()

    def connect(self, told: Callable[[Message], None]) -> None:
        """Have `told` hear how far a plan is."""
        self._told = told

    def start(self) -> None:
        """Begin a plan, unless one is being made."""
        if not self.running:
            self._task = asyncio.create_task(self._run())

    async def stop(self) -> None:
        """Stop the plan; the folder keeps the last one."""
        if self._process is None or self._process.returncode is not None:
            return
        with suppress(ProcessLookupError):
            self._process.send_signal(signal.SIGINT)
        try:
            await asyncio.wait_for(self._process.wait(), _PATIENCE)
        except TimeoutError:
            self._process.kill()
        if self._task is not None:
            await self._task

    async def _run(self) -> None:
        self._say("running", says="starting", share=0.0)
        self._process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "corepath.editing.plans.plan_run",
            str(self._path), str(self.folder),
            stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, limit=2**24,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )  # fmt: skip
        assert self._process.stdout is not None
        ended = False
        while line := await self._process.stdout.readline():
            message = json.loads(line)
            ended = ended or message["state"] != "running"
            self._told({"kind": "plan", **message})
        await self._process.wait()
        if not ended:
            self._say("stopped", says="stopped; the folder holds the last plan")

    def _say(self, state: str, **more: Any) -> None:
        self._told({"kind": "plan", "state": state, **more})


def main() -> None:
    """Make one plan, and say how far it is."""
    outlet = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nobody else may write among the messages
    signal.signal(signal.SIGINT, signal.default_int_handler)

    def say(state: str, **more: Any) -> None:
        print(json.dumps({"state": state, **more}), file=outlet, flush=True)

    try:
        say(**_planned(Path(sys.argv[1]), Path(sys.argv[2]), say))
    except KeyboardInterrupt:
        say("stopped", says="stopped; the folder holds the last plan")


def _planned(job: Path, folder: Path, say: Callable[..., None]) -> Message:
    """Make the plan and write it; return what came out."""
    from corepath.caching.folder_store import store_of
    from corepath.errors import CorepathError
    from corepath.planning.folder.plan_folder import ensure_writable
    from corepath.planning.plan import plan
    from corepath.planning.prepare import prepare
    from corepath.planning.progress import within
    from corepath.planning.side_by_side import usable_cores

    def progress(message: str, share: float) -> None:
        say("running", says=message, share=share)

    try:
        ensure_writable(folder)
        prepared = prepare(job, within(progress, 0.0, 0.1))
        made = plan(prepared, progress=progress, store=store_of(True), cores=usable_cores())
        progress("writing", 1.0)
        written = made.write(folder)
    except CorepathError as error:
        return {"state": "failed", "says": str(error)}
    except Exception as error:
        says = f"corepath itself went wrong ({type(error).__name__}: {error})"
        return {"state": "failed", "says": says}
    return came_out(made, written, folder)


def came_out(made: Plan, written: Written, folder: Path) -> Message:
    """Return the last message of a plan, which is written into `folder`."""
    from corepath.lengths import units_of

    units = units_of(made.prepared.job.units)
    found = [units.text(finding.message) for finding in made.findings]
    return {
        "state": "failed" if made.failed else "done",
        "says": _words(made.failed, len(written.programs)),
        "findings": found[:20],
        "plan": made.prepared.digest,
        "pages": [name for name in ("short.html", "sheet.html", "preview.html")
                  if (folder / name).is_file()],
        "drawings": [name for name in written.written if name.endswith(".svg")],
        "files": list(written.programs),
    }  # fmt: skip


def _words(failed: bool, files: int) -> str:
    if failed:
        return "A check or the read-back failed: no G-code was written"
    return f"{files} files written, read back and measured: no findings"


if __name__ == "__main__":
    main()
