"""`corepath plan JOB --watch` as a process: saved, broken, mended, recorded, Ctrl-C. Paths are left
out for speed."""

from __future__ import annotations

import queue
import re
import signal
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("uvicorn", reason="the extra corepath[edit] is not installed")

from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.job.text.starter import starter_text

LIMIT = 60.0

PROGRAM = """
import signal
import sys
from types import SimpleNamespace
# A job in the background is born deaf to it.
signal.signal(signal.SIGINT, signal.default_int_handler)
import corepath.planning.plan as planning
from corepath.planning.questions import outcome
from corepath.planning.folder.plan_folder import write_folder

def plan(prepared, **options):
    files = {"sheet.html": f"<html><body>plan {prepared.digest}</body></html>",
             "01-A-dowels.nc": "G21\\n"}
    results = SimpleNamespace(lists=SimpleNamespace(outcome=outcome(prepared)))
    return SimpleNamespace(prepared=prepared, checks=prepared.checks, findings=(), report={},
                           files=files, made=(), results=results, failed=False,
                           write=lambda folder: write_folder(folder, files))

planning.plan = plan
from corepath.cli import main
main()
"""


class Terminal:
    """A running command: its lines as they come, in time or not at all."""

    def __init__(self, folder: Path, *words: str) -> None:
        call = [sys.executable, "-c", PROGRAM, *words]
        self.process = subprocess.Popen(
            call,
            cwd=folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
        )
        self.lines: queue.Queue[str | None] = queue.Queue()
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line)
        self.lines.put(None)

    def close(self) -> None:
        self.process.kill()
        self.process.wait(LIMIT)
        self.reader.join(LIMIT)
        assert self.process.stdout is not None
        self.process.stdout.close()

    def until(self, words: str) -> str:
        """All that is printed up to and with a line that holds these words."""
        said = ""
        while words not in said:
            line = self.lines.get(timeout=LIMIT)
            assert line is not None, f"ended after {said}"
            said += line
        return said


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    (tmp_path / "core.toml").write_text(starter_text("Core"), encoding="utf-8")
    shown = Terminal(tmp_path, "plan", "core.toml", "--watch")
    yield shown
    shown.close()


def page(url: str) -> str:
    with urllib.request.urlopen(url, timeout=LIMIT) as answer:
        text: str = answer.read().decode()
    return text


def test_a_job_is_planned_again_when_it_is_saved(terminal: Terminal, tmp_path: Path) -> None:
    """Each saved state is served; a broken one leaves the earlier files, and is told with its
    line."""
    job = tmp_path / "core.toml"
    good = job.read_text("utf-8")
    begun = terminal.until("Ctrl-C ends")
    url = re.search(r"http://127\.0\.0\.1:\d+/[\w-]+/plan/sheet.html", begun)
    assert url is not None
    page_of_guide = (Path(__file__).parents[2] / "docs" / "watch.md").read_text(encoding="utf-8")
    shown = re.sub(r":\d+/([\w-]{3})[\w-]*", r":7412/\1…", begun.strip())
    assert re.sub(r"/...…", "/kKx…", shown) in page_of_guide
    terminal.until("Waiting for the next save")
    first = page(url[0])
    digest = re.search("plan ([0-9a-f]{8})", first)
    assert digest is not None and "WebSocket" in first

    job.write_text(good.replace("floor = 1.2", "flor = 1.2"), encoding="utf-8")
    told = terminal.until("Waiting for the next save")
    assert "core.toml:" in told and "did you mean floor?" in told and "^^^^" in told
    assert "the files stay as they were" in told
    assert page(url[0]) == first

    job.with_suffix(".new").write_text(good.replace("floor = 1.2", "floor = 1.3"), encoding="utf-8")
    job.with_suffix(".new").replace(job)
    told = terminal.until("Waiting for the next save")
    second = re.search("plan ([0-9a-f]{8})", page(url[0]))
    assert second is not None and second[1] != digest[1] and f"Plan {second[1]}: 22 ok" in told

    recorded = CliRunner().invoke(
        app, ["record", str(job), "--thickness", "0", "0", "10.65", "--date", "2026-05-17"]
    )
    assert recorded.exit_code == 0, recorded.output
    terminal.until("Waiting for the next save")
    third = re.search("plan ([0-9a-f]{8})", page(url[0]))
    assert third is not None and third[1] not in (digest[1], second[1])

    terminal.process.send_signal(signal.SIGINT)
    assert f"holds plan {third[1]}" in terminal.until("No longer watching")
    assert terminal.process.wait(LIMIT) == 0 and terminal.lines.get(timeout=LIMIT) is None


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("none.toml", "--watch"), "there is no such file"),
        (("core.toml", "--watch", "--json"), "tells of one plan; --watch makes many"),
        (("core.toml", "--port", "8000"), "--port: is that of the page of --watch"),
    ],
)
def test_what_cannot_be_watched_ends_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], message: str
) -> None:
    """Waiting for a file with a misspelled name would wait forever."""
    monkeypatch.chdir(tmp_path)
    Path("core.toml").write_text(starter_text("Core"), encoding="utf-8")
    shown = CliRunner().invoke(app, ["plan", *words])
    assert shown.exit_code == 2 and message in shown.stdout + shown.stderr
    assert not Path("core-plan").exists()
