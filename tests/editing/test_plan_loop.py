"""Plans made in the terminal's thread, without planning: what gives one up, what is told."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from corepath.editing.plans.plan_loop import PlanLoop

LIMIT = 20.0
Told = Callable[[str, float], None]


def test_a_plan_goes_on_although_another_is_asked_for() -> None:
    """The one that is given up writes nothing; what was asked for twice meanwhile is made once."""
    begun, told = threading.Event(), list[dict[str, Any]]()
    made: list[int] = []

    def make(progress: Told) -> dict[str, Any]:
        number = len(made) + 1
        made.append(number)
        progress("begun", 0.0)
        begun.set()
        while number != 2:  # the first is superseded, the third stopped
            progress("path of deck", 0.5)
        return {"state": "done", "says": "written", "plan": "aaaa1111"}

    async def story() -> None:
        plans = PlanLoop(Path("x-plan"), make)
        plans.connect(told.append)
        plans.start()
        for end in ("superseded", "stopped"):
            begun.clear()
            thread = threading.Thread(target=plans.once)
            thread.start()
            assert await asyncio.to_thread(begun.wait, LIMIT)
            if end == "superseded":
                plans.start()
                plans.start()
                await asyncio.to_thread(thread.join, LIMIT)
                plans.once()
                plans.start()
            else:
                await plans.stop()
                await asyncio.to_thread(thread.join, LIMIT)
        await asyncio.sleep(0)

    asyncio.run(story())
    assert made == [1, 2, 3]
    ends = [one["state"] for one in told if one["state"] != "running"]
    assert ends == ["done", "stopped"]
    assert {one["kind"] for one in told} == {"plan"}
