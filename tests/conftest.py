"""For all tests: no network, what is quick first, and which of them are unit tests.

A unit test works on one module's own figures. The folders of `UNITS` hold such tests, but for those
marked `whole`, which work through a whole sample or many cases and take seconds: `-m unit` runs the
rest in less than a minute. Tests of operations, drawings, read-back and planning mostly make whole
paths, and are none.
"""

from __future__ import annotations

import ipaddress
import os
import shutil
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

# as the command itself, before any test loads numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# pytest-xdist keeps all cores busy already
os.environ.setdefault("COREPATH_CORES", "1")

HERE = Path(__file__).parent
UNITS = (
    "board",
    "geometry",
    "job",
    "layup",
    "gcode",
    "motion",
    "outside",
    "skin",
    "stackup",
    "work",
)

_BOARD_PARTS = 36
"""Outlines, decks and grooves kept in each process; most are of pieces of a few hundred mm."""


def pytest_configure(config: pytest.Config) -> None:
    """Gives the run a folder of its own for kept paths: not the user's, nor that of an earlier run.

    Processes of this run, those of pytest-xdist too, take it from the environment.
    """
    if not hasattr(config, "workerinput"):
        folder = tempfile.mkdtemp(prefix="corepath-tests-")
        os.environ["COREPATH_CACHE"] = folder
        config.add_cleanup(lambda: shutil.rmtree(folder, ignore_errors=True))


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks the unit tests and takes them first; else the order stays."""
    for item in items:
        folder = item.path.relative_to(HERE).parts[0] if item.path.is_relative_to(HERE) else ""
        if (
            folder in UNITS
            and not item.get_closest_marker("whole")
            and not item.get_closest_marker("slow")
        ):
            item.add_marker("unit")
    items.sort(key=lambda item: item.get_closest_marker("unit") is None)


def _near(address: Any) -> bool:
    """Whether an address is of this machine; a name has to be localhost."""
    host = address[0] if isinstance(address, tuple) else ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host in ("", "localhost")


@pytest.fixture(autouse=True, scope="session")
def no_network() -> Iterator[None]:
    """A test that asks another machine fails: what it says would hang on what stands there
    today."""
    real = socket.socket.connect

    def connect(self: socket.socket, address: Any) -> None:
        if self.family in (socket.AF_INET, socket.AF_INET6) and not _near(address):
            raise PermissionError(f"a test may not reach {address}")
        real(self, address)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", connect)
        yield


@pytest.fixture(autouse=True, scope="session")
def boards_kept() -> Iterator[None]:
    """Outline, deck and groove of a job are made once in each process, by the keys that the engine
    keeps them by. Heights, checks, works, paths and read-back are worked out anew each time.

    `tests/planning/test_engine.py` proves that what is kept is what a job gets alone. Where making
    a board is what a test is about, `boards_anew` leaves it to the package.
    """
    from corepath.board import make_board
    from corepath.kept import Kept

    held = Kept(_BOARD_PARTS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(make_board, "Kept", lambda most: Kept(most) if most else held)
        yield


@pytest.fixture
def boards_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each board of this test is made from nothing, as in a process of its own."""
    from corepath.board import make_board
    from corepath.kept import Kept

    monkeypatch.setattr(make_board, "Kept", Kept)


@pytest.fixture(scope="session")
def chrome() -> Iterator[Any]:
    """A browser without a window; skips with a clear word where there is none."""
    webdriver = pytest.importorskip(
        "selenium.webdriver", reason="selenium is not installed: no page is opened here"
    )
    binary, driver = (
        shutil.which("chromium") or shutil.which("chromium-browser"),
        shutil.which("chromedriver"),
    )
    if binary is None or driver is None:
        pytest.skip("no chromium with its driver here: no page is opened in a browser")
    options = webdriver.ChromeOptions()
    options.binary_location = binary
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-dev-shm-usage",
        "--window-size=1366,900",
    ):
        options.add_argument(argument)
    options.add_argument("--enable-unsafe-swiftshader")  # 3-D without a graphics card
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield browser
    browser.quit()
