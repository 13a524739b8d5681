"""The page of `corepath edit` in a real browser: dragged, typed, moved by keys and by a finger,
changed by another program meanwhile. Skipped where there is no browser."""

from __future__ import annotations

import os
import re
import shutil
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette", reason="the extra corepath[edit] is not installed")
pytest.importorskip("uvicorn", reason="the extra corepath[edit] is not installed")
pytest.importorskip("watchfiles", reason="the extra corepath[edit] is not installed")

from corepath.editing.server import EditServer

SAMPLES = Path(__file__).parents[2] / "samples"
LIMIT = 60.0
ANSWER = "document.getElementById('answer').textContent"
STATE = "document.getElementById('state').textContent"
HINT = "document.getElementById('hint').textContent"

FIRST = {
    "plan-I1": "X 34 mm, Y -5 mm",
    "long-deck-station-2": "X -48 mm, thickness 6.4 mm",
    "stack-floor-of-the-groove": "floor 1.2 mm",
}
"""Handles of the coupon as it is shipped, as a screen reader hears them."""


class Sheet:
    """The open page, and the job that it is about."""

    def __init__(self, chrome: Any, job: Path, server: EditServer) -> None:
        self.chrome, self.job, self.text = chrome, job, job.read_text()
        self.server = server

    def js(self, script: str, *arguments: Any) -> Any:
        return self.chrome.execute_script(f"return {script}", *arguments)

    def until(self, script: str) -> Any:
        """The first answer that is not empty."""
        end = time.monotonic() + LIMIT
        while time.monotonic() < end:
            if found := self.js(script):
                return found
            time.sleep(0.03)
        raise AssertionError(f"{script}: {self.js(STATE)}; {self.js(ANSWER)}; {self.js(HINT)}")

    def heard(self) -> None:
        """Wait until the page knows what became of its last change: verdict and drawings come
        before the file is written, and the page is told so, and what can be undone, after that."""
        self.until(f"!{STATE}.includes('…')")

    def holds(self, *lines: str) -> None:
        """Wait until the file differs from the first one by just these lines, and the page knows
        it."""
        end = time.monotonic() + LIMIT
        while time.monotonic() < end:
            before, after = self.text.splitlines(), self.job.read_text().splitlines()
            if sorted(set(after) - set(before)) == sorted(lines) and len(before) == len(after):
                self.heard()
                return
            time.sleep(0.03)
        raise AssertionError(sorted(set(after) - set(before)))

    def undo(self) -> None:
        """Back to the first text."""
        self.heard()
        while not self.js("document.getElementById('undo').disabled"):
            now = self.job.read_text()
            self.js("document.getElementById('undo').click()")
            end = time.monotonic() + LIMIT
            while self.job.read_text() == now and time.monotonic() < end:
                time.sleep(0.03)
            self.heard()
        self.holds()
        self.until(f"{ANSWER}.startsWith('Ready')")
        # the drawings come after the verdict, and with them the handles jump back
        for name, told in FIRST.items():
            one = f"document.querySelector('[data-handle={name}]')"
            self.until(f"{one}?.getAttribute('aria-valuetext') === '{told}'")

    def handle(self, name: str) -> Any:
        one = self.chrome.find_element("css selector", f"[data-handle='{name}'] .hit")
        self.js("arguments[0].scrollIntoView({block: 'center'})", one)
        return one


@pytest.fixture(scope="module")
def opened(chrome: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sheet]:
    folder = tmp_path_factory.mktemp("edit")
    job = Path(shutil.copy(SAMPLES / "coupon.toml", folder / "coupon.toml"))
    server = EditServer(job)
    thread = server.start()
    chrome.set_window_size(1366, 900)
    chrome.get_log("browser")
    chrome.get(server.url)
    yield Sheet(chrome, job, server)
    chrome.get("about:blank")
    server.stop()
    thread.join(LIMIT)


@pytest.fixture
def sheet(opened: Sheet) -> Sheet:
    opened.until("document.querySelectorAll('.handle').length > 10")
    opened.undo()
    return opened


def typed(sheet: Sheet, key: str, text: str) -> None:
    """Type into the field of a key, and leave it."""
    field = sheet.js("document.getElementById(arguments[0])", f"key-{key}")
    sheet.js("arguments[0].closest('details').open = true", field)
    # `clear` would leave the field, and so take the key out of the file
    field.send_keys("\ue009a\ue000", f"{text}\t")  # Ctrl+A


@pytest.mark.whole
def test_a_field_does_not_tell_how_far_its_number_may_go(sheet: Sheet) -> None:
    """While it is at hand, as checks tell: 0.6 of least_floor and the errors of bed (0.05) and
    lying flat (0.10), whose root sum square is 0.11, let 0.8 pass and 0.7 fail; the casting shows
    at 10.6 - 8.0 - 0.4 of clean-up = 2.2 less its errors. An arrow moves it by its last place;
    Escape takes that back."""
    field = sheet.js("document.getElementById('key-groove.floor')")
    sheet.js("arguments[0].closest('details').open = true", field)
    sheet.js("arguments[0].focus()", field)
    turns = "document.getElementById('turns-groove.floor').textContent"
    told = sheet.until(f"/below.*no, by.*above.*no, by/.test({turns}) && {turns}")
    below, above = (re.search(rf"{side} ([\d.]+) no, by", told) for side in ("below", "above"))
    assert below is not None and above is not None
    assert float(below[1]) == 0.75 and 2.0 <= float(above[1]) < 2.2
    field.send_keys("\ue013\ue013\ue015")  # up, up, down
    assert sheet.js("arguments[0].value", field) == "1.3"
    field.send_keys("\ue00c")
    sheet.holds()
    # a value that is written moves nothing of where it turns
    field.send_keys("\ue009a\ue000", "1.3\ue007")
    sheet.holds("floor = 1.3")
    sheet.until(f"/below 0.75 no, by.*above {above[1]} no, by/.test({turns})")


@pytest.mark.whole
@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="no process can be held up so here")
def test_an_old_verdict_looks_like_that_of_what_was_typed(sheet: Sheet) -> None:
    """It is greyed while the next one is worked out, and stays in sight."""
    grey = "document.getElementById('verdict').classList.contains('stale')"
    assert not sheet.js(grey)
    number = sheet.server.desk.workshop_number
    assert number is not None
    os.kill(number, signal.SIGSTOP)
    try:
        typed(sheet, "groove.floor", "1.3")
        sheet.until(grey)
        assert sheet.js(ANSWER).startswith("Ready")
    finally:
        os.kill(number, signal.SIGCONT)
    sheet.until(f"!{grey}")
    sheet.holds("floor = 1.3")


@pytest.mark.whole
def test_what_was_taken_out_cannot_be_put_in_again(sheet: Sheet) -> None:
    """The only insert, by its handle; a usual one then, at the middle of the board."""
    sheet.js("document.querySelector('[data-handle=plan-I1]').focus()")
    sheet.chrome.switch_to.active_element.send_keys("\ue017")  # Delete
    sheet.until("!document.querySelector('[data-handle=plan-I1]')")
    sheet.heard()
    button = (
        "[...document.querySelectorAll('#add button')].find(b => b.textContent.includes('ins'))"
    )
    sheet.js(f"{button}.click()")
    sheet.until("document.querySelector('[data-handle=plan-I1]')")
    sheet.heard()
    lines = sheet.job.read_text().splitlines()
    assert "at = [[0, 0]]" in lines and lines.count("[[insert]]") == 1


@pytest.mark.whole
def test_a_tight_blank_is_not_brought_to_a_yes_by_its_fixes(sheet: Sheet) -> None:
    typed(sheet, "groove.floor", "2.4")
    sheet.until(f"{ANSWER}.startsWith('Not as it is')")
    sheet.holds("floor = 2.4")
    button = sheet.until("document.querySelector('#fixes li button')")
    sheet.js("arguments[0].click()", button)
    sheet.until(f"!{ANSWER}.startsWith('Not')")
    sheet.heard()
    assert "floor = 2.4" not in sheet.job.read_text().splitlines()
    typed(sheet, "groove.inside", "-3")
    wrong = "document.getElementById('wrong-groove.inside').textContent"
    assert "must not be negative" in sheet.until(wrong)
    assert "inside = 6.0" in sheet.job.read_text().splitlines()


@pytest.mark.whole
def test_what_is_dragged_is_written_elsewhere_or_too_early(sheet: Sheet) -> None:
    """A mouse: nothing is written before it is let go; Escape leaves all as it was; then 1 mm by
    the arrow keys, and by a finger."""
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    hand = ActionChains(sheet.chrome, duration=60)
    scale = sheet.js(
        "document.getElementById('plan').getBoundingClientRect().width"
        " / document.getElementById('plan').viewBox.baseVal.width"
        " * document.querySelector('#plan .drawn [transform]').transform.baseVal[0].matrix.a"
    )
    by = round(-6.0 * scale), round(-4.0 * scale)
    hand.move_to_element(sheet.handle("plan-I1")).click_and_hold().move_by_offset(*by).perform()
    told = re.search(r"X (-?\d+), Y (-?\d+)", sheet.js(HINT))
    assert told is not None
    x, y = int(told[1]), int(told[2])
    # 6 mm to the left and 4 up, as near as whole pixels and whole mm come
    assert abs(x - 28) <= 1 and abs(y + 1) <= 1
    assert sheet.job.read_text() == sheet.text
    # wood over the barrel is what first gives way beside the middle
    assert "barrel" in sheet.until("document.querySelector('.turns text')?.textContent")
    hand.release().perform()
    sheet.holds(f"at = [[{x}, {y}]]")

    hand.move_to_element(sheet.handle("plan-P1")).click_and_hold().move_by_offset(9, 3)
    hand.send_keys(Keys.ESCAPE).release().perform()
    sheet.until(f"{HINT}.includes('X -66, Y 7')")
    sheet.holds(f"at = [[{x}, {y}]]")

    sheet.js("document.querySelector('[data-handle=\"long-deck-station-2\"]').focus()")
    sheet.chrome.switch_to.active_element.send_keys(Keys.ARROW_RIGHT, Keys.ARROW_UP)
    line = "stations = [[-100, 6.2], [-47, 6.5], [5, 8.0], [88, 7.8]]"
    sheet.holds(f"at = [[{x}, {y}]]", line)

    box = sheet.handle("stack-floor-of-the-groove").rect
    top = sheet.js("window.scrollY")
    at = {"x": box["x"] + box["width"] / 2, "y": box["y"] - top + box["height"] / 2}
    for kind, down in (("touchStart", 0), ("touchMove", -4), ("touchMove", -9), ("touchEnd", None)):
        points = [] if down is None else [{**at, "y": at["y"] + down}]
        sheet.chrome.execute_cdp_cmd(
            "Input.dispatchTouchEvent", {"type": kind, "touchPoints": points}
        )
    sheet.until(f"{STATE}.includes('saved')")
    floor = re.search(r"^floor = ([\d.]+)$", sheet.job.read_text(), re.MULTILINE)
    assert floor is not None and 1.2 < float(floor[1]) < 3.0


@pytest.mark.whole
def test_a_change_by_another_program_is_lost(sheet: Sheet) -> None:
    """While something is dragged: both are kept apart until one is chosen."""
    from selenium.webdriver.common.action_chains import ActionChains

    hand = ActionChains(sheet.chrome, duration=60)
    hand.move_to_element(sheet.handle("plan-I1")).click_and_hold().move_by_offset(-40, 0).perform()
    theirs = sheet.job.read_text().replace("clean_up = 0.4", "clean_up = 0.5")
    sheet.job.write_text(theirs)
    sheet.until(f"{STATE}.includes('another program')")
    hand.release().perform()
    sheet.until("!document.getElementById('ask').hidden")
    assert sheet.job.read_text() == theirs
    sheet.js("document.querySelector('#ask button').click()")
    sheet.until("document.getElementById('ask').hidden")
    sheet.until(f"{STATE}.includes('saved')")
    after = sheet.job.read_text()
    assert "clean_up = 0.5" in after and "at = [[34, -5]]" not in after
    sheet.undo()
    sheet.job.write_text("[board\nthickness = 8\n")
    sheet.until("document.querySelector('#text mark')?.textContent === '[board'")
    assert sheet.js("document.querySelectorAll('.handle, .key').length") == 0  # read-only
    head = "document.getElementById('faults-head').textContent"
    sheet.until(f"{head}.startsWith('The file cannot be read')")
    sheet.job.write_text(sheet.text)
    sheet.until("document.getElementById('text').hidden")


@pytest.mark.whole
def test_a_phone_scrolls_sideways_or_something_has_no_name(sheet: Sheet) -> None:
    metrics = {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True}
    sheet.chrome.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    try:
        sheet.until("document.getElementById('plan').viewBox.baseVal.width < 110")
        assert sheet.js("document.documentElement.scrollWidth") <= 390
        tree = sheet.chrome.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    finally:
        sheet.chrome.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    roles = {"button", "slider", "textbox", "searchbox", "combobox", "link", "spinbutton"}
    nodes = [node for node in tree if node["role"]["value"] in roles and not node["ignored"]]
    assert len(nodes) > 30
    assert [node for node in nodes if not node.get("name", {}).get("value")] == []
    errors = [line for line in sheet.chrome.get_log("browser") if line["level"] == "SEVERE"]
    assert errors == []


GUIDE = Path(__file__).parents[2] / "docs" / "edit.md"
STEP = re.compile(r"^\| ((?:type|drag|press) .+?) \| (.*?) ?\| \*(.+?)\* \|$", re.MULTILINE)
SIDES = {"up": (0, -1), "down": (0, 1), "left": (-1, 0), "right": (1, 0)}


def dragged(sheet: Sheet, name: str, mm: float, side: str) -> None:
    """Drag a handle by its name, so many mm of the board or of a height."""
    handle = f"[...document.querySelectorAll('.handle')].find(h => h.ariaLabel === '{name}')"
    sheet.until(handle)
    sheet.js(f"{handle}.scrollIntoView({{block: 'center'}})")
    x, y, px = sheet.js(
        f"(h => {{ const r = h.querySelector('.dot').getBoundingClientRect(), s = h.closest('svg');"
        " return [r.x + r.width / 2, r.y + r.height / 2, s.getBoundingClientRect().width"
        f" / s.viewBox.baseVal.width]; }})({handle})"
    )
    scale = px * sheet.js(
        "import(new URL('page/drawings.js', location.href)).then(m => { const s ="
        f" m.shown[{handle}.closest('svg').id]; return s.{'up' if SIDES[side][1] else 'across'}[1]"
        "; })"
    )
    to = [start + way * mm * scale for start, way in zip((x, y), SIDES[side], strict=True)]
    for kind, (at, down) in zip(
        ("mousePressed", "mouseMoved", "mouseReleased"), ((x, y), to, to), strict=True
    ):
        how = {"type": kind, "x": at, "y": down, "button": "left", "buttons": 1, "clickCount": 1}
        sheet.chrome.execute_cdp_cmd("Input.dispatchMouseEvent", how)


def done(sheet: Sheet, step: str) -> None:
    """Do what a line of the guide says."""
    if found := re.match(r"type `(.+)` at `(.+)`", step):
        typed(sheet, found[2], found[1])
    elif found := re.match(r"drag \*(.+)\* ([\d.]+) mm (\w+)", step):
        dragged(sheet, found[1], float(found[2]), found[3])
    elif found := re.match(r"press the up arrow once on \*(.+)\*, then Enter", step):
        one = f"[...document.querySelectorAll('.handle')].find(h => h.ariaLabel === '{found[1]}')"
        sheet.js(f"{one}.focus()")
        sheet.chrome.switch_to.active_element.send_keys("\ue013\ue007")
    else:
        found = re.match(r"press \*(.+?)\*", step)
        assert found is not None, step
        button = (
            f"[...document.querySelectorAll('button')].find(b => b.textContent === '{found[1]}')"
        )
        sheet.until(button)
        sheet.js(f"{button}.click()")


@pytest.mark.parametrize(
    "plans",
    [pytest.param(False, marks=pytest.mark.whole), pytest.param(True, marks=pytest.mark.slow)],
)
def test_the_guide_does_not_lead_from_a_new_job_to_a_plan(
    chrome: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, plans: bool
) -> None:
    """Each step of docs/edit.md, typed and clicked: the file then has what it says, and the page
    says so. The plan itself is made in the slow one."""
    from corepath.job.text.starter import starter_text

    monkeypatch.chdir(tmp_path)
    job = tmp_path / "mine.toml"
    job.write_text(starter_text("Untitled"))
    steps = STEP.findall(GUIDE.read_text(encoding="utf-8"))
    assert len(steps) == 8 and steps[-1][0].startswith("press *Plan*")
    server = EditServer(job)
    thread = server.start()
    try:
        chrome.set_window_size(1366, 900)
        chrome.get(server.url)
        sheet = Sheet(chrome, job, server)
        sheet.until("document.querySelectorAll('.handle').length > 10")
        for step, wanted, says in steps if plans else steps[:-1]:
            before = job.read_text()
            done(sheet, step)
            if not wanted:
                ended = "document.getElementById('planned-says').textContent"
                while not (told := sheet.js(f"/measured|failed|wrong/.test({ended}) && {ended}")):
                    time.sleep(0.5)
                assert says in told
                break
            end = time.monotonic() + LIMIT
            while job.read_text() == before and time.monotonic() < end:
                time.sleep(0.03)
            for line in re.findall("`(.+?)`", wanted):
                assert line in job.read_text() and line not in before, step
            sheet.until(f"{ANSWER}.startsWith('{says}') && {STATE}.includes('saved')")
            # the drawings come after the verdict
            sheet.until("document.querySelector('.stale') === null")
            time.sleep(0.3)
        if plans:
            chrome.get(f"{server.url}plan/sheet.html")
            assert "Tail block" in chrome.title
            assert len(list(Path("mine-plan").glob("*.nc"))) > 6
    finally:
        chrome.get("about:blank")
        server.stop()
        thread.join(LIMIT)
