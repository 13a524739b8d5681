"""The sheet of `corepath plan --watch` in a real browser: it loads itself anew, tells of faults,
and says when nobody watches any more."""

from __future__ import annotations

import queue
import re
import threading
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette", reason="the extra corepath[edit] is not installed")
pytest.importorskip("uvicorn", reason="the extra corepath[edit] is not installed")
pytest.importorskip("watchfiles", reason="the extra corepath[edit] is not installed")

from corepath.editing.plans.plan_loop import PlanLoop
from corepath.editing.server import EditServer

LIMIT = 30.0
TEMPLATE = (
    resources.files("corepath.views.player")
    .joinpath("templates", "preview.html.j2")
    .read_text("utf-8")
)
POLICY = re.findall("<meta http-equiv=.Content-Security-Policy[^\n]*", TEMPLATE)[0]
"""What the preview forbids itself; it is served by the same server and must follow the job all the
same."""


@pytest.mark.whole
def test_the_open_page_stays_behind_the_job(chrome: Any, tmp_path: Path) -> None:
    """Waiting, first plan, faults in plain text with the page kept, next plan at the same place
    after each save, end of the watch."""
    from selenium.webdriver.support.ui import WebDriverWait

    folder, job = tmp_path / "core-plan", tmp_path / "core.toml"
    job.write_text('title = "one"\n')
    wanted: queue.Queue[dict[str, Any]] = queue.Queue()

    def make(progress: Callable[[str, float], None]) -> dict[str, Any]:
        progress("begun", 0.0)
        found = wanted.get(timeout=LIMIT)
        if name := found.get("plan"):
            folder.mkdir(exist_ok=True)
            (folder / "sheet.html").write_text(
                f"<!DOCTYPE html>{POLICY}<title>{name}</title><body><p "
                f"style='height:9000px'>{name}</p></body>"
            )
        return found

    def until(what: str, script: str) -> None:
        WebDriverWait(chrome, LIMIT, 0.02).until(
            lambda it: it.execute_script(f"return {script}"), what
        )

    def told(words: str) -> None:
        until(
            words,
            f"(document.getElementById('corepath-watch')?.textContent ?? '').includes({words!r})",
        )

    plans = PlanLoop(folder, make)
    server = EditServer(job, plans=plans)
    thread = server.start()
    threading.Thread(target=plans.run, daemon=True).start()
    try:
        chrome.get_log("browser")
        chrome.get(server.sheet)
        assert "no plan yet" in chrome.title
        told("Planning again")
        wanted.put({"state": "done", "says": "written", "plan": "one"})
        until("the first plan", "document.title === 'one'")
        until("no notice", "!document.getElementById('corepath-watch')")
        job.write_text('title = "two\n')
        told("Planning again")
        wanted.put({"state": "failed", "says": "core.toml:3: groove.flor: unknown key <b>"})
        told("core.toml:3: groove.flor: unknown key <b>")
        told("what is shown is plan one")
        assert chrome.title == "one"
        chrome.execute_script("window.scrollTo(0, 4000)")
        job.write_text('title = "two"\n')
        wanted.put({"state": "failed", "says": "a check failed", "plan": "two"})
        until("the second plan", "document.title === 'two' && window.scrollY > 3900")
        severe = [line for line in chrome.get_log("browser") if line["level"] == "SEVERE"]
        assert [line for line in severe if "favicon" not in line["message"]] == []
    finally:
        server.stop()
        thread.join(LIMIT)
    assert not thread.is_alive()
    told("no longer watches")
    chrome.get("about:blank")
