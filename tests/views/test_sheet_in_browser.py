"""The set-up sheet in a real browser: opened from disk, ticked, typed into, printed. Skipped where
there is none."""

from __future__ import annotations

import base64
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corepath.planning.prepare import prepare
from corepath.views.drawings.overview import overview
from corepath.views.sheet_html import Facts, pages, sheet_html

SAMPLES = Path(__file__).parents[2] / "samples"
PAPER = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}


@pytest.fixture(scope="module")
def sheet(
    tmp_path_factory: pytest.TempPathFactory, facts_of: Callable[..., Facts]
) -> tuple[Path, list[str], str]:
    """The coupon's sheet on disk, the keys of its pages, its digest."""
    facts = facts_of(prepare(SAMPLES / "coupon.toml"))
    path = tmp_path_factory.mktemp("sheet") / "sheet.html"
    path.write_text(sheet_html(facts), encoding="utf-8")
    return path, [page.key for page in pages(facts)], facts.digest


@pytest.fixture(scope="module")
def browser(chrome: Any, sheet: tuple[Path, list[str], str]) -> Any:
    chrome.get_log("browser")
    chrome.get(sheet[0].as_uri())
    return chrome


def test_it_opens_from_disk_without_error_or_request(browser: Any) -> None:
    assert browser.get_log("browser") == []
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0


def test_ticks_and_figures_stay_and_reach_the_command(
    browser: Any, sheet: tuple[Path, list[str], str]
) -> None:
    """By keyboard alone; after a reload they are still there, and kept under the plan's digest
    only."""
    browser.execute_script("document.getElementById('do-a-2').focus()")
    browser.switch_to.active_element.send_keys(" ")
    box = browser.find_element("id", "groove-1")
    box.send_keys("9,38")
    browser.refresh()
    assert browser.execute_script("return document.getElementById('do-a-2').checked")
    assert browser.execute_script("return document.getElementById('groove-1').value") == "9,38"
    code = browser.find_element("css selector", "#depths code:has([data-shows='groove-1'])")
    typed = " ".join(code.text.split())
    assert re.fullmatch(
        r"corepath record coupon.toml --groove-depth -?[0-9.]+ -?[0-9.]+ "
        r"9\.38",
        typed,
    ), typed
    assert browser.execute_script("return Object.keys(localStorage)") == [
        f"corepath-sheet:{sheet[2]}"
    ]


def test_no_page_is_wider_than_a_phone(browser: Any) -> None:
    """Only drawings and wide tables scroll sideways, each in a frame of its own."""
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True},
    )
    wide, small = browser.execute_script(
        "return [document.documentElement.scrollWidth, "
        "[...document.querySelectorAll('label:has(.tick), button')]"
        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 40).length]"
    )
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide <= 390 and small == 0


@pytest.fixture(scope="module", params=["coupon", "board-1280", "cradle-460"])
def printed(
    request: pytest.FixtureRequest, chrome: Any, tmp_path_factory: pytest.TempPathFactory,
    facts_of: Callable[..., Facts],
) -> tuple[Any, list[str], str]:  # fmt: skip
    """A sample's sheet in the browser, the titles of the sheets of paper in their order, its
    digest."""
    facts = facts_of(prepare(SAMPLES / f"{request.param}.toml"))
    path = tmp_path_factory.mktemp("printed") / "sheet.html"
    path.write_text(sheet_html(facts), encoding="utf-8")
    chrome.get(path.as_uri())
    titles = [
        page.title + (", continued" if k else "")
        for page in pages(facts)
        for k in range(page.sheets)
    ]
    return chrome, titles, facts.digest


FACES = {
    "as it is": "",
    "DejaVu": 'html, text { font-family: "DejaVu Sans" !important }',
    "Liberation": 'html, text { font-family: "Liberation Sans" !important }',
    "a tenth wider": "html { letter-spacing: .05em }",
}
"""Style sheets; a face that is not installed leaves the one that is there. The last needs none."""


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("paper", PAPER)
def test_it_prints_a_sheet_a_page(
    printed: tuple[Any, list[str], str], paper: str, face: str, tmp_path: Path
) -> None:
    """Each page on the sheets planned for it, in whatever face, with its title and the plan's
    digest on every one."""
    browser, titles, digest = printed
    browser.execute_script(
        "const s = document.getElementById('face') || "
        "document.head.appendChild(document.createElement('style'));"
        "s.id = 'face'; s.textContent = arguments[0]",
        FACES[face],
    )
    width, height = PAPER[paper]
    told = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": width, "paperHeight": height})
    made = base64.b64decode(told["data"])
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) == len(titles)
    reader = shutil.which("pdftotext")
    if reader is not None:
        (tmp_path / "sheet.pdf").write_bytes(made)
        texts = subprocess.run(
            [reader, tmp_path / "sheet.pdf", "-"], capture_output=True, text=True, check=True
        ).stdout
        sheets = [" ".join(one.split()) for one in texts.split("\f")[:-1]]
        assert len(sheets) == len(titles)
        for one, title in zip(sheets, titles, strict=True):
            assert digest in one and title in one


def test_a_drawing_fits_the_window_and_prints_in_its_size(
    chrome: Any, shop_x: Any, tmp_path: Path
) -> None:
    """At 1366 x 900 an A3 sheet would scroll both ways; printed it is 420 x 297 mm, 96 pixels to
    the inch."""
    path = tmp_path / "overview.svg"
    path.write_text(overview(shop_x.plan("0badc0de", checks=())), encoding="utf-8")
    chrome.set_window_size(1366, 900)
    chrome.get(path.as_uri())
    size = (
        "const e = document.documentElement; return [e.scrollWidth, e.scrollHeight, innerWidth, "
        "innerHeight]"
    )
    wide, high, window, tall = chrome.execute_script(size)
    assert wide <= window and high <= tall
    chrome.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    box = chrome.execute_script(
        "const b = document.documentElement.getBoundingClientRect(); return [b.width, b.height]"
    )
    chrome.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert box == pytest.approx([420 / 25.4 * 96, 297 / 25.4 * 96], abs=0.5)
