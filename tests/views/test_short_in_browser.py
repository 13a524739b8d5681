"""The short sheet in a real browser: printed, one page a set-up; on a phone, one step at a time,
its figures handed back to the record. Skipped where there is no browser."""

from __future__ import annotations

import base64
import re
import shlex
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.job.record.ascut import load_record, record_path
from corepath.planning.prepare import prepare
from corepath.views.sheet_html import Facts, sheet_html
from corepath.views.short_sheet import one_pages, short_sheet
from tests.planning.test_inch_twin import twin

SAMPLES = Path(__file__).parents[2] / "samples"
PAPER = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
FACES = ("", "html { letter-spacing: .05em }")
"""The face that is there, and one that is a tenth wider."""

SETUPS = {"coupon": 3, "board-1280": 3, "cradle-460": 4, "inch": 3}


@pytest.fixture(scope="module")
def coupon(tmp_path_factory: pytest.TempPathFactory, facts_of: Callable[..., Facts]) -> Path:
    """A folder with the coupon's job and both of its sheets."""
    folder = tmp_path_factory.mktemp("short")
    job = folder / "coupon.toml"
    job.write_text((SAMPLES / "coupon.toml").read_text(encoding="utf-8"), encoding="utf-8")
    facts = facts_of(prepare(job))
    (folder / "short.html").write_text(short_sheet(facts), encoding="utf-8")
    (folder / "sheet.html").write_text(sheet_html(facts), encoding="utf-8")
    return folder


@pytest.fixture(autouse=True)
def nothing_kept(chrome: Any) -> Iterator[None]:
    """Leave nothing in the browser, which other tests share."""
    yield
    chrome.execute_script("localStorage.clear()")


def _opened(chrome: Any, page: Path, width: int = 0) -> Any:
    if width:
        phone = {"width": width, "height": 844, "deviceScaleFactor": 1, "mobile": True}
        chrome.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", phone)
    else:
        chrome.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    chrome.get(page.as_uri())
    return chrome


@pytest.mark.parametrize("name", SETUPS)
def test_each_set_up_is_one_page(
    chrome: Any, name: str, facts_of: Callable[..., Facts], tmp_path: Path
) -> None:
    """On A4 and on Letter, in the face that is there and in a wider one, each with the plan's
    code."""
    job = SAMPLES / f"{name}.toml"
    if name == "inch":
        job = tmp_path / "coupon.toml"
        job.write_text(twin(), encoding="utf-8")
    facts = facts_of(prepare(job))
    page = tmp_path / "short.html"
    page.write_text(short_sheet(facts), encoding="utf-8")
    assert len(one_pages(facts)) == SETUPS[name]
    _opened(chrome, page)
    for face in FACES:
        chrome.execute_script(
            "document.head.appendChild(document.createElement('style')).textContent = arguments[0]",
            face,
        )
        for width, height in PAPER.values():
            told = chrome.execute_cdp_cmd(
                "Page.printToPDF", {"paperWidth": width, "paperHeight": height}
            )
            made = base64.b64decode(told["data"])
            assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) == SETUPS[name], (face, width)


def test_a_phone_shows_one_step_at_a_time(chrome: Any, coupon: Path) -> None:
    """Nothing is wider than the phone, buttons are large enough for a thumb, and no request is
    made."""
    chrome.get_log("browser")
    browser = _opened(chrome, coupon / "short.html", 390)
    assert browser.get_log("browser") == []
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0
    count = browser.execute_script("return document.querySelectorAll('.card').length")
    seen = []
    for _ in range(count):
        shown, wide, low = browser.execute_script(
            "return [[...document.querySelectorAll('.card')].filter(c => c.offsetParent)"
            ".map(c => c.id), document.documentElement.scrollWidth,"
            "[...document.querySelectorAll('.card.current .figure input, .go button, .did')]"
            ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44).length]"
        )
        assert len(shown) == 1 and wide <= 390 and low == 0, shown
        seen += shown
        browser.execute_script("document.getElementById('next').click()")
    assert len(set(seen)) == count and seen[-1] == "card-finish"


_TYPED = """
const put = (key, value) => {
  const box = document.querySelector(`.card [data-figure="${key}"]`);
  box.value = value;
  box.dispatchEvent(new Event("input"));
};
for (const [key, value] of Object.entries(arguments[0])) put(key, value);
for (const tick of document.querySelectorAll(".card [data-tick]")) if (!tick.checked) tick.click();
"""

FIGURES = {
    "t1": "10.61", "t2": "10,62", "groove-1": "9.4", "groove-2": "9.38", "pocket-P1": "9.41",
    "fill-groove": "0.4", "fill-P1": "-0.1", "after-1": "9.38", "after-6": "9.42",
    "touch-inserts": "9.4", "seat-I1": "1.7", "took-03-A-groove": "2.4", "took-08-C-deck": "3.1",
    "short-note": "it's in rack 3 & dry",
}  # fmt: skip


def test_its_figures_go_to_the_record_at_once(
    chrome: Any, coupon: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All typed on a phone: the file that it saves is what `record --from` takes, and its one line
    is a command that it takes too; after a reload all is there, and the full sheet has it."""
    browser = _opened(chrome, coupon / "short.html", 390)
    browser.execute_script(_TYPED, FIGURES)
    browser.execute_script("document.querySelector('button.stop[data-stop=\"9.4\"]').click()")
    shown = browser.execute_script("return document.querySelector('.card.current').dataset.skim")
    assert shown is None
    browser.refresh()
    lines, line, missing = browser.execute_script(
        "return ['figures', 'line', 'missing'].map(id => document.getElementById(id).textContent)"
    )
    assert missing == "" and "--stop-at 9.4\n" in lines
    # before the skim, after it, and the note by itself
    assert line.count("corepath record coupon.toml") == 3
    (coupon / "figures.txt").write_text(lines, encoding="utf-8")
    monkeypatch.chdir(coupon)
    told = CliRunner().invoke(app, ["record", "coupon.toml", "--from", "figures.txt", "-q"])
    assert told.exit_code == 0, told.output
    record = load_record(record_path(coupon / "coupon.toml"))
    settled, entries = record.settled(), record.entries
    assert [round(t, 2) for _, _, t in settled.thickness] == [10.61, 10.62]
    assert dict(settled.fill) == {"groove": 0.4, "P1": -0.1}
    assert settled.stop_plane == pytest.approx(9.4, abs=1e-3)
    assert settled.touches["inserts"] == 9.4
    assert {"dowels", "plug-pockets", "groove", "inserts", "deck"} <= settled.cut
    took = {entry.file: entry.value for entry in entries if entry.kind == "minutes"}
    assert took == {"03-A-groove.nc": 2.4, "08-C-deck.nc": 3.1}
    assert [entry.note for entry in entries if entry.kind == "note"] == ["it's in rack 3 & dry"]
    record_path(coupon / "coupon.toml").unlink()
    for command in line.split(" && "):
        again = CliRunner().invoke(app, [*shlex.split(command)[1:], "-q"])
        assert again.exit_code == 0, again.output
    assert len(load_record(record_path(coupon / "coupon.toml")).entries) == len(entries)
    _opened(browser, coupon / "sheet.html")
    assert browser.execute_script("return document.getElementById('fill-groove').value") == "0.4"
    record_path(coupon / "coupon.toml").unlink()


def test_what_is_no_figure_is_told_and_what_is_recorded_is_left_out(
    chrome: Any, coupon: Path
) -> None:
    """A slip on a phone's keyboard reaches no record; figures handed back do not come again."""
    browser = _opened(chrome, coupon / "short.html", 390)
    browser.execute_script("localStorage.clear(); window.confirm = () => true")
    browser.refresh()
    browser.execute_script("window.confirm = () => true")
    put = _TYPED[: _TYPED.index("for (const tick")]
    browser.execute_script(put, {"groove-1": "9..4", "fill-P1": "0.3"})
    told = "return ['figures', 'missing'].map(id => document.getElementById(id).textContent)"
    lines, missing = browser.execute_script(told)
    assert lines == "--fill P1 0.3\n" and "no number" in missing and "9..4" in missing
    browser.execute_script("document.getElementById('sent').click()")
    browser.execute_script(put, {"groove-1": "9.4"})
    lines, missing = browser.execute_script(told)
    assert lines.startswith("--groove-depth ") and "fill" not in lines and missing == ""


def test_the_saved_file_is_what_stands_there(chrome: Any, coupon: Path, tmp_path: Path) -> None:
    """The button writes the lines into a file named after job and plan."""
    if shutil.which("chromium") is None:
        pytest.skip("downloads are set up for chromium alone")
    browser = _opened(chrome, coupon / "short.html", 390)
    browser.execute_cdp_cmd(
        "Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(tmp_path)}
    )
    put = _TYPED[: _TYPED.index("for (const tick")]
    browser.execute_script(put, {"fill-P1": "0.3"})
    name = browser.execute_script("return document.getElementById('name').textContent")
    browser.execute_script("document.getElementById('save').click()")
    for _ in range(50):
        if (tmp_path / name).exists():
            break
        browser.execute_async_script("setTimeout(arguments[0], 100)")
    assert (tmp_path / name).read_text(encoding="utf-8") == "--fill P1 0.3\n"
