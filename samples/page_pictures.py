"""Makes the pictures of docs/edit.md from the page itself, opened in chromium with its driver.

`python samples/page_pictures.py` writes those of the guide; with a folder and a job behind it, the
page of that job as wide as a desk's screen and as a phone's, light and dark, whole.
"""

from __future__ import annotations

import base64
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

SAMPLES = Path(__file__).resolve().parent
PICTURES = SAMPLES.parent / "docs" / "pictures"
SHOWN = {"edit-page.png": ("1366", "light"), "edit-page-phone.png": ("390", "dark")}
WIDTHS = {"1366": (1366, 900, False), "390": (390, 844, True)}
DONE = (
    "return document.querySelectorAll('.handle').length > 5"
    " && Math.abs(document.getElementById('plan').viewBox.baseVal.width"
    " - document.getElementById('plan').parentElement.clientWidth * 25.4 / 96) < 2"
    " && !document.getElementById('odds').textContent.includes('…')"
    " && !document.getElementById('fixes-says').textContent.includes('…')"
)


@contextmanager
def browser() -> Iterator[Any]:
    """Yield chromium without a window."""
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or "chromium-browser"
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-dev-shm-usage",
        "--hide-scrollbars",
    ):
        options.add_argument(argument)
    chrome = webdriver.Chrome(
        options=options, service=webdriver.ChromeService(shutil.which("chromedriver"))
    )
    yield chrome
    chrome.quit()


@contextmanager
def page(chrome: Any, job: Path) -> Iterator[Any]:
    """Yield chromium with the page of a copy of a job."""
    from corepath.editing.server import EditServer

    with tempfile.TemporaryDirectory() as folder:
        server = EditServer(Path(shutil.copy(job, folder)))
        thread = server.start()
        try:
            chrome.get(server.url)
            yield chrome
        finally:
            chrome.get("about:blank")
            server.stop()
            thread.join()


def settled(chrome: Any) -> None:
    """Wait until all that follows from a change has come."""
    end = time.monotonic() + 120.0
    time.sleep(0.5)
    while not chrome.execute_script(DONE) and time.monotonic() < end:
        time.sleep(0.2)


def screen(chrome: Any, width: str, scheme: str, whole: bool = False) -> bytes:
    """Return the page as PNG: as wide as `width` names, `scheme` light or dark."""
    wide, high, mobile = WIDTHS[width]
    scheme_now = [{"name": "prefers-color-scheme", "value": scheme}]
    chrome.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme_now})
    metrics = {"width": wide, "height": high, "deviceScaleFactor": 1, "mobile": mobile}
    chrome.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    settled(chrome)
    asked = {"format": "png", "captureBeyondViewport": whole}
    return base64.b64decode(chrome.execute_cdp_cmd("Page.captureScreenshot", asked)["data"])


def main() -> None:
    """Write the guide's pictures, or all four of a job into a folder."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 2 else None
    job = Path(sys.argv[2]) if folder else SAMPLES / "board-1280.toml"
    with browser() as chrome, page(chrome, job):
        if folder is None:
            for name, (width, scheme) in SHOWN.items():
                (PICTURES / name).write_bytes(screen(chrome, width, scheme))
            return
        for width in WIDTHS:
            for scheme in ("light", "dark"):
                made = screen(chrome, width, scheme, whole=True)
                (folder / f"edit-{job.stem}-{width}-{scheme}.png").write_bytes(made)


if __name__ == "__main__":
    main()
