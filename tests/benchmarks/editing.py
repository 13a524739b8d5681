"""How soon the page of `corepath edit` shows what a changed number becomes: by the clock, from the
message that a page sends to the one that it gets, on board-1280. A number is changed as it is by
typing: worked out, judged, written, its odds begun; outline and deck as they are while they are
dragged. Each change comes when the drawings of the one before are there.

No browser takes part but in the last rows: how long a frame of it lasts while a station of the
outline is dragged. They are left out where there is none.
"""

from __future__ import annotations

import asyncio
import os
import random
import shutil
import tempfile
import time
from collections.abc import Iterator, Sequence
from itertools import pairwise
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
    frames = _frames()
    for share, limit in ((0.5, 0.020), (0.95, 0.034)) if frames else ():
        figure = Figure(_quantile(frames, share), "s", max(frames) / min(frames), len(frames))
        yield Row(f"a frame while dragging, {share:.0%} of all", figure, limit)


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
        change = asyncio.create_task(desk.heard(message, inbox.put_nowait))
        took = await until(waits) - begin
        if waits == "verdict":
            await until("drawings")
        await change
        return took

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
            await spent("set", _FLOOR, draw.uniform(0.9, 1.6), "verdict") for _ in range(CHANGES)
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


def _frames() -> list[float]:
    """Seconds between the frames that chromium draws while a hand drags for three seconds, at most
    60 a second; none without it."""
    from corepath.editing.server import EditServer

    found = (
        shutil.which("chromium") or shutil.which("chromium-browser"),
        shutil.which("chromedriver"),
    )
    if None in found:
        return []
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = found[0] or ""
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    chrome = webdriver.Chrome(options=options, service=webdriver.ChromeService(found[1]))
    with tempfile.TemporaryDirectory() as folder:
        server = EditServer(Path(shutil.copy(SAMPLE, folder)))
        thread = server.start()
        try:
            chrome.set_window_size(1366, 900)
            chrome.get(server.url)
            return list(_dragged(chrome))
        finally:
            chrome.quit()
            server.stop()
            thread.join()


_HANDLE = "document.querySelector('[data-handle=plan-outline-station-5] .hit')"
_PLACE = (
    f"const at = {_HANDLE}?.getBoundingClientRect(); return at && [at.x + at.width / 2, at.y + 2]"
)
_COUNT = """window.times = [];
const frame = (now) => { window.times.push(now); requestAnimationFrame(frame); };
requestAnimationFrame(frame);"""


def _dragged(chrome: Any) -> Iterator[float]:
    place, end = None, time.monotonic() + 120.0
    while place is None and time.monotonic() < end:
        time.sleep(0.2)
        place = chrome.execute_script(_PLACE)
    assert place is not None
    time.sleep(5.0)  # odds are drawn meanwhile

    def mouse(kind: str, dx: float) -> None:
        how = {"type": kind, "x": place[0] + dx, "y": place[1], "button": "left", "buttons": 1}
        chrome.execute_cdp_cmd("Input.dispatchMouseEvent", {**how, "clickCount": 1})

    mouse("mousePressed", 0.0)
    chrome.execute_script(_COUNT)
    begin = time.monotonic()
    while (spent := time.monotonic() - begin) < 3.0:
        mouse("mouseMoved", 30.0 * (spent % 1.0))
        time.sleep(0.01)
    times = chrome.execute_script("return window.times")
    for one, other in pairwise(times):
        yield max(other - one, 0.1) / 1000.0
