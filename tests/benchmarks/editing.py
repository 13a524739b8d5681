"""How soon the page of `corepath edit` shows what a changed number becomes: by the clock, from the
message that a page sends to the one that it gets, on board-1280. No browser takes part: what it
adds is the drawing of some 30 kB of elements.
"""

from __future__ import annotations

import asyncio
import os
import random
import shutil
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import SAMPLE

__all__ = ["editing"]

CHANGES = int(os.environ.get("COREPATH_EDITS", "40"))
"""Changes of a number that are timed; COREPATH_EDITS=1000 asks for the memory after a thousand."""

SHAPES = 12
_FLOOR, _OUTLINE, _DECK = "groove.floor", "outline.stations[5][2]", "deck.stations[2][2]"


def editing() -> Iterator[Row]:
    """Verdicts of a number, of outline and deck; odds; fixes; memory of the workshop."""
    with tempfile.TemporaryDirectory() as folder:
        job = Path(shutil.copy(SAMPLE, folder))
        found = asyncio.run(_sitting(job))
    for name, limits in (("a number", (0.15, 0.3)), ("outline or deck", (0.5, 0.9))):
        for share, limit in zip((0.5, 0.95), limits, strict=True):
            spent = found[name]
            figure = Figure(_quantile(spent, share), "s", max(spent) / min(spent), len(spent))
            yield Row(f"verdict of {name}, {share:.0%} of changes", figure, limit)
    yield Row("drawings of a number, 50%", Figure(_quantile(found["drawings"], 0.5), "s"), None)
    yield Row("odds after a change, 50%", Figure(_quantile(found["odds"], 0.5), "s"), 1.0)
    yield Row("fixes of a blank that is too thin", Figure(found["fixes"][0], "s"), 6.0)
    first, last = found["memory"]
    yield Row(f"memory after {CHANGES} changes more, MiB more", Figure(last - first, "MiB"), 100.0)


def _quantile(spent: Sequence[float], share: float) -> float:
    ordered = sorted(spent)
    return ordered[min(int(share * len(ordered)), len(ordered) - 1)]


async def _sitting(job: Path) -> dict[str, list[float]]:
    from corepath.editing.desk import Desk

    desk, inbox = Desk(job), asyncio.Queue[dict[str, Any]]()
    await desk.open()
    desk.welcome(inbox.put_nowait)

    async def until(kind: str) -> float:
        while (await asyncio.wait_for(inbox.get(), 120.0))["kind"] != kind:
            pass
        return time.perf_counter()

    async def spent(kind: str, key: str, value: float, waits: str) -> float:
        begin = time.perf_counter()
        message = {"kind": kind, "values": {key: f"{value:.3f}"}}
        await desk.heard(message, inbox.put_nowait)
        return await until(waits) - begin

    draw, found = random.Random(1280), dict[str, list[float]]()
    await until("odds")
    try:
        found["drawings"] = [
            await spent("draft", _FLOOR, draw.uniform(0.9, 1.6), "drawings") for _ in range(10)
        ]
        found["outline or deck"] = []
        for key, low in ((_OUTLINE, 196.0), (_DECK, 9.0)):
            found["outline or deck"] += [
                await spent("draft", key, draw.uniform(low, low + 1.0), "verdict")
                for _ in range(SHAPES)
            ]
        # the engine now holds the dozen decks that it ever holds
        found["memory"] = [_memory(desk)]
        found["a number"] = [
            await spent("draft", _FLOOR, draw.uniform(0.9, 1.6), "verdict") for _ in range(CHANGES)
        ]
        found["odds"] = [
            await spent("set", _FLOOR, draw.uniform(0.9, 1.6), "odds") for _ in range(5)
        ]
        found["memory"].append(_memory(desk))
        found["fixes"] = [await spent("set", "blank.thickness", 13.0, "fixes")]
    finally:
        await desk.close()
    return found


def _memory(desk: Any) -> float:
    """MiB that the workshop holds now."""
    status = Path(f"/proc/{desk.workshop_number}/status").read_text(encoding="ascii")
    return float(status.partition("VmRSS:")[2].split()[0]) / 1024.0
