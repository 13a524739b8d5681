"""The served page in a real browser: it loads itself anew, tells of faults, and says when nobody
watches any more."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from corepath.watching import NoticeBoard, serving

webdriver = pytest.importorskip(
    "selenium.webdriver", reason="selenium is not installed: the page is not opened here"
)
wait = pytest.importorskip("selenium.webdriver.support.ui", reason="selenium is not installed")
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    BROWSER is None or DRIVER is None,
    reason="no chromium with its driver here: the page is not opened in a browser",
)
LIMIT = 30.0
TEMPLATE = (
    resources.files("corepath.views.player")
    .joinpath("templates", "preview.html.j2")
    .read_text("utf-8")
)
POLICY = re.findall("<meta http-equiv=.Content-Security-Policy[^\n]*", TEMPLATE)[0]
"""What the preview forbids itself; it is served by the same server and must follow the job all the
same."""


@pytest.fixture
def browser() -> Iterator[Any]:
    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


def test_the_open_page_follows_the_job(browser: Any, tmp_path: Path) -> None:
    """Waiting, first plan, faults in plain text with the page kept, next plan at the same place,
    end of the watch."""

    def until(what: str, script: str) -> None:
        wait.WebDriverWait(browser, LIMIT, 0.02).until(
            lambda it: it.execute_script(f"return {script}"), what
        )

    def told(words: str) -> None:
        until(
            words,
            f"(document.getElementById('corepath-watch')?.textContent ?? '').includes({words!r})",
        )

    def plan(name: str) -> None:
        text = (
            f"<!DOCTYPE html>{POLICY}<title>{name}</title><body><p "
            f"style='height:9000px'>{name}</p></body>"
        )
        (tmp_path / "sheet.html").write_text(text)
        board.planned(name)

    board = NoticeBoard()
    with serving(tmp_path, board, port=None) as server:
        browser.get(server.url)
        assert browser.current_url == f"{server.url}sheet.html" and "no plan yet" in browser.title
        plan("one")
        until("the first plan", "document.title === 'one'")
        board.begin()
        told("Planning again")
        board.failed(["core.toml:3: groove.flor: unknown key <b>"])
        told("core.toml:3: groove.flor: unknown key <b>")
        assert browser.title == "one"
        browser.execute_script("window.scrollTo(0, 4000)")
        plan("two")
        until("the second plan", "document.title === 'two' && window.scrollY > 3900")
        until("no notice", "!document.getElementById('corepath-watch')")
        assert [line for line in browser.get_log("browser") if line["level"] == "SEVERE"] == []
    told("no longer watches")
