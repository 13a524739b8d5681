"""The preview in a real browser: opened from disk, played, dragged, asked. Skipped where there is
none."""

from __future__ import annotations

import re
import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corepath.views.player import Cuts, PageHead, PlayedFile, preview_html

SIZE = (120.0, 60.0)
DRAG = """
const done = arguments[0], slider = document.getElementById("when"), frames = [];
let last = performance.now(), left = 40, to = 0;
function next() {
  const now = performance.now();
  frames.push(now - last);
  last = now;
  if (left-- === 0) return done(frames);
  to = (to + 0.37) % 1;
  slider.value = to * Number(slider.max);
  slider.dispatchEvent(new Event("input"));
  requestAnimationFrame(() => requestAnimationFrame(next));
}
requestAnimationFrame(next);
"""


@pytest.fixture(scope="module")
def page(reels: tuple[PlayedFile, ...], tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("preview") / "preview.html"
    solids = {"A": reels[1].after}
    path.write_text(
        preview_html(reels, PageHead("t", "abcd1234"), size=SIZE, solids=solids),
        encoding="utf-8",
    )
    return path


@pytest.fixture
def browser(chrome: Any, page: Path) -> Any:
    chrome.get_log("browser")
    opened(chrome, page.as_uri())
    return chrome


def opened(chrome: Any, address: str) -> None:
    chrome.get("about:blank")
    chrome.get(address)
    told(chrome, "return !!player.t && !!player.after && !player.waiting && !!planView.layers")


def told(browser: Any, script: str, *arguments: Any) -> Any:
    """The first answer that is not empty, within ten seconds."""
    until = time.monotonic() + 10.0
    while time.monotonic() < until:
        answer = browser.execute_script(script, *arguments)
        if answer:
            return answer
        time.sleep(0.02)
    raise AssertionError(f"no answer to {script}")


def figures(browser: Any) -> tuple[float, float, float]:
    """What stands under X, Y and Z once all is drawn."""
    told(browser, "return !player.waiting")
    shown = browser.execute_script(
        "return ['x', 'y', 'z'].map(a => document.getElementById('at-' + a).textContent)"
    )
    x, y, z = (float(text.replace("−", "-")) for text in shown)
    return x, y, z


def words(line: str) -> tuple[float, float, float]:
    """X, Y and Z of a line of the file."""
    x, y, z = (float(re.search(rf"{axis}(-?[0-9.]+)", line)[1]) for axis in "XYZ")  # type: ignore[index]
    return x, y, z


def key(browser: Any, name: str) -> None:
    from selenium.webdriver.common.keys import Keys

    browser.switch_to.active_element.send_keys(getattr(Keys, name, name))


def test_it_opens_from_disk_without_error_or_request(browser: Any) -> None:
    # What the browser's own drawing without a graphics card is slow at is not the page's fault.
    assert [line for line in browser.get_log("browser") if line["source"] != "rendering"] == []
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0
    first = browser.execute_script(
        "return performance.getEntriesByName('first-contentful-paint')[0].startTime"
    )
    assert first < 2000.0


def test_the_slider_moves_the_cutter_to_where_the_file_says(
    browser: Any, reels: tuple[PlayedFile, ...]
) -> None:
    """At the end of each move the readout is the line's own figures; halfway it is halfway."""
    reel = reels[0]
    lines, ends = reel.text.splitlines(), reel.motions.time
    slide = (
        "const s = document.getElementById('when'); s.value = arguments[0]; s.dispatchEvent(new "
        "Event('input'));"
    )
    for k in (1, 3, 6, len(ends) - 1):
        browser.execute_script(slide, float(ends[k]))
        assert figures(browser) == pytest.approx(words(lines[k]), abs=0.0015)
        assert browser.execute_script(
            "return document.getElementById('at-line').textContent"
        ).startswith(f"{k + 1} of")
        assert lines[k] in browser.execute_script(
            "return document.querySelector('#text b').textContent"
        )
    browser.execute_script(slide, float(ends[2] + ends[3]) / 2)
    assert figures(browser) == pytest.approx(
        np.mean([words(lines[2]), words(lines[3])], axis=0), abs=0.002
    )
    assert browser.execute_script("return document.getElementById('at-bed').textContent") == "8.000"


def test_all_goes_by_keyboard(browser: Any, reels: tuple[PlayedFile, ...]) -> None:
    lines = reels[0].text.splitlines()
    for name, line in (
        ("ARROW_RIGHT", 1),
        ("ARROW_RIGHT", 2),
        ("ARROW_LEFT", 1),
        ("END", len(lines) - 1),
        ("HOME", 0),
    ):
        key(browser, name)
        assert figures(browser) == pytest.approx(words(lines[line]), abs=0.0015), name
    scale = browser.execute_script("return planView.view.scale")
    key(browser, "+")
    assert browser.execute_script("return planView.view.scale") == pytest.approx(1.3 * scale)
    key(browser, "d")
    key(browser, "0")
    assert browser.execute_script("return [planView.view.scale, planView.view.x]") == [
        pytest.approx(scale),
        0,
    ]
    key(browser, " ")
    told(browser, "return player.playing && player.spot.piece > 0")
    key(browser, " ")
    assert not browser.execute_script("return player.playing")
    key(browser, "PAGE_DOWN")
    told(browser, "return player.t.reel.file === '06-A-inserts.nc' && !!player.after")
    field = browser.find_element("id", "goto")
    field.send_keys("3\t")
    assert figures(browser) == pytest.approx(words(reels[1].text.splitlines()[2]), abs=0.0015)


def test_a_link_opens_a_file_at_a_line(
    chrome: Any, page: Path, reels: tuple[PlayedFile, ...]
) -> None:
    opened(chrome, page.as_uri() + "#06-A-inserts.nc:4")
    assert figures(chrome) == pytest.approx(words(reels[1].text.splitlines()[3]), abs=0.0015)


def test_loaded_anew_it_stands_where_it_stood(browser: Any, reels: tuple[PlayedFile, ...]) -> None:
    """`plan --watch` loads the page anew after each plan; the place must not be lost."""
    for name in ("PAGE_DOWN", "ARROW_RIGHT", "ARROW_RIGHT"):
        key(browser, name)
        told(browser, "return player.t.reel.file === '06-A-inserts.nc' && !player.waiting")
    told(browser, "return location.hash === '#06-A-inserts.nc:3'")
    browser.refresh()
    told(browser, "return !!player.t && !!player.after && !player.waiting")
    assert figures(browser) == pytest.approx(words(reels[1].text.splitlines()[2]), abs=0.0015)


def test_the_pointer_tells_what_is_left(browser: Any) -> None:
    """Over the pocket of the first file: 12 before, 4 after; on the hole of the second: nothing
    left."""
    place = "const v = planView, c = v.canvas.getBoundingClientRect();" + (
        "const at = {clientX: c.left + 1 + toX(v, arguments[0]), clientY: c.top + 1 + toY(v, "
        "arguments[1])};"
        "v.canvas.dispatchEvent(new PointerEvent('pointermove', {...at, bubbles: true, pointerId: "
        "7}));"
        "return document.getElementById('place').textContent"
    )
    said = browser.execute_script(place, 10.2, -4.2)
    assert "before 12.000 wood" in said and "after 4.000 wood" in said and "takes 8.000" in said
    x, y = (
        float(text)
        for text in re.match(
            r"X ([0-9.]+) Y "
            r"([0-9.]+):",
            said,
        ).groups()
    )  # type: ignore[union-attr]
    assert (x, y) == pytest.approx((70.2, 25.8), abs=0.3)
    key(browser, "PAGE_DOWN")
    told(browser, "return player.t.reel.file === '06-A-inserts.nc' && !!player.after")
    assert "after nothing left" in browser.execute_script(place, 45.2, 0.2)
    assert "beside the blank" in browser.execute_script(place, 70.0, 0.0)


def test_wheel_and_fingers_zoom_about_where_they_are(browser: Any) -> None:
    """What lies under the pointer stays there; two fingers spread to twice their distance double
    the scale."""
    before, under = browser.execute_script("return [planView.view.scale, fromX(planView, 200)]")
    browser.execute_script(
        "planView.canvas.focus(); const c = planView.canvas.getBoundingClientRect();"
        "planView.canvas.dispatchEvent(new WheelEvent('wheel', {deltaY: -200, cancelable: true,"
        " clientX: c.left + 200, clientY: c.top + 50}))"
    )
    after, still = browser.execute_script("return [planView.view.scale, fromX(planView, 200)]")
    assert after > 1.2 * before and still == pytest.approx(under, abs=0.3)
    browser.execute_script(
        "const v = planView.canvas, c = v.getBoundingClientRect(); v.setPointerCapture = () => 0;"
        "const at = (type, id, x) => v.dispatchEvent(new PointerEvent(type,"
        " {pointerId: id, clientX: c.left + x, clientY: c.top + 80, pointerType: 'touch'}));"
        "at('pointerdown', 1, 100); at('pointerdown', 2, 200); at('pointermove', 2, 300);"
        "at('pointerup', 1, 100); at('pointerup', 2, 300);"
    )
    assert browser.execute_script("return planView.view.scale") == pytest.approx(2.0 * after)


def test_sections_and_a_closer_drawing_follow_the_cutter(
    browser: Any, reels: tuple[PlayedFile, ...]
) -> None:
    """Beside the blank the section stays on it; while it plays, the cutter does not leave the
    drawing."""
    key(browser, "ARROW_RIGHT")
    assert browser.execute_script("return [now().cut.x, now().cut.y]") == pytest.approx(
        [-27.0, -7.0]
    )
    assert browser.execute_script("return [onBlank(80, 0), onBlank(-80, 1)]") == pytest.approx(
        [59.5, -29.5]
    )
    browser.execute_script("zoomPlan(40, 0, 0); play()")
    inside = (
        "const v = planView, z = player.t.reel.zero, t = now().tip, x = toX(v, t.x + z[0]), y = "
        "toY(v, t.y + z[1]);"
        "return player.spot.piece > 2 && x >= 0 && x <= v.width && y >= 0 && y <= v.height"
    )
    told(browser, inside)
    browser.execute_script("halt()")


def test_everything_has_a_name(browser: Any) -> None:
    """A screen reader must be able to say what each control is."""
    tree = browser.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    roles = {
        "button",
        "slider",
        "checkbox",
        "radio",
        "link",
        "combobox",
        "textbox",
        "image",
        "group",
    }
    nodes = [node for node in tree if node["role"]["value"] in roles and not node["ignored"]]
    unnamed = [node for node in nodes if not node.get("name", {}).get("value")]
    assert (
        len(nodes) > 25
        and [(node["role"]["value"], node["backendDOMNodeId"]) for node in unnamed] == []
    )
    slider = browser.execute_script(
        "return document.getElementById('when').getAttribute('aria-valuetext')"
    )
    assert re.fullmatch(r"0:00 of \d:\d\d, line 1", slider)


def shown(browser: Any) -> list[int]:
    """How many pixels of the 3-D view are paper, wood, and as dark as the casting."""
    counted = """
relief.drawn = "";
paintRelief(now());
const r = relief, gl = r.gl, w = r.canvas.width, h = r.canvas.height, p = new Uint8Array(4 * w * h);
gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, p);
const n = [0, 0, 0];
for (let i = 0; i < p.length; i += 4) n[p[i] > 250 ? 0 : p[i + 2] < p[i] ? 1 : 2]++;
return n;"""
    told(browser, "return !player.waiting && relief.drawn !== ''")
    counts: list[int] = browser.execute_script(counted)
    return counts


def test_the_core_turns_in_3d_without_the_network(browser: Any) -> None:
    """The blank is drawn; from straight above it fills more of the picture than from the side; a
    set-up's core can be saved; nothing is asked of the network."""
    browser.execute_script("document.getElementById('relief').scrollIntoView()")
    told(browser, "return relief.seen && relief.drawn !== ''")
    tilted = shown(browser)
    assert min(tilted[:2]) > 1000
    browser.execute_script("turnRelief(0, -9)")
    above = shown(browser)
    browser.execute_script("turnRelief(0, 9)")
    beside = shown(browser)
    assert above[1] > 1.2 * tilted[1] and beside[1] < 0.5 * tilted[1]
    assert browser.execute_script("return document.getElementById('save').hidden")
    browser.execute_script("document.querySelector('[data-solid=A]').click()")
    told(browser, "return relief.wanted === 'A' && !!relief.solid && !!relief.columns")
    told(browser, "return !document.getElementById('save').hidden")
    assert browser.find_element("id", "save").get_attribute("download") == "core-after-A.glb"
    asked = browser.execute_script(
        "return performance.getEntriesByType('resource').map(e => e.name.slice(0, 5))"
    )
    assert set(asked) <= {"data:", "blob:"}
    assert [line for line in browser.get_log("browser") if line["level"] == "SEVERE"] == []


def standing(browser: Any, x: float, y: float) -> float:
    """Height of the blank as it is shown at a place on the bed, mm."""
    script = "const s = now().shown; return s.top[columnAt(s, arguments[0], arguments[1])]"
    return float(browser.execute_script(script, x, y)) * 0.005


def test_the_blank_is_shown_as_it_is_while_the_file_runs(browser: Any) -> None:
    """Halfway along the first side of a pocket 4 mm deep it is cut as far as the cutter stands, and
    whole beyond; back at the start it is whole again; at the end it is what the read-back left."""
    browser.execute_script("stand({piece: 3, share: 0.5})")  # at X0 Y-7 on the bed, 8 high
    assert [standing(browser, x, -6.5) for x in (-26.5, -0.5, 2.5, 3.5, 20.5)] == pytest.approx(
        [8.0, 8.0, 8.0, 12.0, 12.0]
    )
    assert browser.execute_script("return now().isRunning")
    browser.execute_script("standAt(0)")
    assert standing(browser, -26.5, -6.5) == pytest.approx(12.0)
    browser.execute_script("standAt(6)")
    assert standing(browser, 25.5, 6.5) == pytest.approx(8.0)
    key(browser, "END")
    assert standing(browser, -26.5, -6.5) == pytest.approx(4.0)
    ways = """
const fresh = () => runningBlank(player.before, player.running.cuts), one = fresh(), t = player.t;
for (const at of arguments[0]) {
  const spot = { piece: Math.floor(at), share: at % 1 || 1 }, other = fresh();
  runBlank(one, t, spot);
  runBlank(other, t, spot);
  if (one.top.some((top, i) => top !== other.top[i])) return at;
}
return -1;"""
    wanted = [2, 3.5, 3.25, 7.75, 1, 9, 4.5, 4.75, 8.5, 0.5]
    assert browser.execute_script(ways, wanted) == -1, "going back leaves another blank"


def test_the_cut_of_the_read_back_replaces_the_page_s_own(
    chrome: Any, reels: tuple[PlayedFile, ...], tmp_path: Path
) -> None:
    """A stage lowers one column to 7 that the cutter swept to 8, and puts back none that it did not
    cut: what the page swept before it ended is forgotten."""
    cuts = Cuts(np.array([4]), np.array([1]), np.array([23 * 120 + 33]), np.array([7.0]))
    path = tmp_path / "preview.html"
    page = preview_html([replace(reels[0], cuts=cuts)], PageHead("t", "d"), size=SIZE, solids={})
    path.write_text(page, encoding="utf-8")
    opened(chrome, path.as_uri())
    chrome.execute_script("stand({piece: 4, share: 0.9})")
    assert standing(chrome, -26.5, -6.5) == pytest.approx(8.0)
    chrome.execute_script("standAt(4)")
    assert standing(chrome, -26.5, -6.5) == pytest.approx(7.0)
    assert standing(chrome, -20.5, -6.5) == pytest.approx(12.0)
    chrome.execute_script("stand({piece: 3, share: 0.5})")
    assert standing(chrome, -26.5, -6.5) == pytest.approx(8.0)


def test_it_opens_on_the_groove(chrome: Any, reels: tuple[PlayedFile, ...], tmp_path: Path) -> None:
    """Not on the two holes of the dowels, which come first."""
    groove = replace(reels[1], file="03-A-groove.nc", name="groove")
    path = tmp_path / "preview.html"
    page = preview_html([reels[0], groove], PageHead("t", "d"), size=SIZE, solids={})
    path.write_text(page, encoding="utf-8")
    opened(chrome, path.as_uri())
    assert chrome.execute_script("return player.t.reel.file") == "03-A-groove.nc"
    opened(chrome, path.as_uri() + "#02-A-plug-pockets.nc")
    assert chrome.execute_script("return player.t.reel.file") == "02-A-plug-pockets.nc"


def test_a_phone_shows_it_without_scrolling_sideways(browser: Any) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True},
    )
    wide, small = browser.execute_script(
        "const all = [...document.querySelectorAll('button, select, input[type=range]')];"
        "const low = all.filter(e => e.offsetParent && e.getBoundingClientRect().height < 40);"
        "return [document.documentElement.scrollWidth, low.length]"
    )
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide <= 390 and small == 0


def test_a_hundred_thousand_moves_are_dragged_as_smoothly_as_a_few(
    chrome: Any,
    reels: tuple[PlayedFile, ...],
    reel_maker: Callable[..., PlayedFile],
    tmp_path: Path,
) -> None:
    """Frames while the slider jumps to and fro, against those of a file of 400 moves in the same
    browser: 1.4 times as long, 2.9 if the page had to sweep the whole file."""
    medians = []
    for count in (400, 100_000):
        k = np.arange(count) * (100_000 // count)
        x = np.abs((k * 0.3) % 240.0 - 120.0)
        points = np.column_stack([x, np.floor(k * 0.3 / 120.0) * 0.2, -3.0 + np.sin(k * 0.01)])
        blanks = reels[0].before, reels[0].after
        reel = reel_maker("08-C-deck.nc", points, *blanks, (-60.0, -30.0, 12.0))
        # stages as a plan has them, which lower nothing here
        rows = np.linspace(0, count - 1, 48)[1:-1].astype(np.int64)
        counts = np.zeros(len(rows), dtype=np.int64)
        reel = replace(reel, cuts=replace(Cuts.none(), rows=rows, counts=counts))
        path = tmp_path / f"{count}.html"
        page = preview_html([reel], PageHead("t", "d"), size=SIZE, solids={})
        path.write_text(page, encoding="utf-8")
        opened(chrome, path.as_uri())
        assert chrome.execute_script("return player.t.count") == count
        medians.append(statistics.median(chrome.execute_async_script(DRAG)[1:]))
    few, many = medians
    assert many < 2.5 * few, medians
