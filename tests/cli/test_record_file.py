"""`record --from FILE`: a figure that is lost or taken for another one spoils the core unseen."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.record.ascut import load_record, record_path
from corepath.job.text.starter import starter_text

LINES = """\
# written at the bench
--cut dowels --cut plug-pockets --cut groove
corepath record other.toml --groove-depth -97 0 9.41 --pocket-depth P1 9.38   # two at once

--fill P1 -0.1 --note "proud at the = end"
corepath record 'my board.toml' --stop-at 8.4
--after-skim --thickness 0 40 8.42
"""


def _job(folder: Path, lines: str) -> tuple[Path, Path]:
    path, figures = folder / "core.toml", folder / "figures.txt"
    path.write_text(starter_text("Core"), encoding="utf-8")
    figures.write_bytes(lines.encode("utf-8"))
    return path, figures


def _record(path: Path, *words: object) -> Result:
    return CliRunner().invoke(app, ["record", str(path), *map(str, words)])


def test_a_file_of_figures_gives_other_entries_than_the_same_ones_typed(tmp_path: Path) -> None:
    """As typed one by one, with a mark, CRLF and a comment in the file; a minus is a figure."""
    path, figures = _job(tmp_path, "\ufeff" + LINES.replace("\n", "\r\n"))
    done = _record(path, "--from", figures, "--moisture", 8)
    assert done.exit_code == 0, done.output
    settled = load_record(record_path(path)).settled()
    assert settled.cut == {"dowels", "plug-pockets", "groove"}
    assert settled.groove_depth == ((-97.0, 0.0, 9.41),)
    assert (settled.pocket_depth, settled.fill) == ({"P1": 9.38}, {"P1": -0.1})
    assert settled.thickness == () and settled.thickness_after == ((0.0, 40.0, 8.42),)
    assert settled.moisture and settled.stopped
    notes = {entry.kind: entry.note for entry in load_record(record_path(path)).entries}
    assert notes["fill"] == "proud at the = end" and notes["cut"] == ""


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ("--cut groove\n--fil P1 0.4\n", "figures.txt:2: --fil: is no figure to record"),
        ("--cut dowels\n\n--fill P1\n", "figures.txt:3: --fill: needs all of its words"),
        ("--fill P1 T\n", "figures.txt:1: --fill: must be a finite number"),
        ("--fill P1 0.4 --stage A\n", "figures.txt:1: --stage: is no figure to record"),
        ("--cut 'groove\n", "figures.txt:1: cannot be read: No closing quotation"),
        ("# nothing\n", "figures.txt: --from: holds no figure"),
        ("groove 3\n", "figures.txt:1: groove: is no figure to record"),
    ],
)
def test_half_of_a_file_is_recorded(tmp_path: Path, lines: str, message: str) -> None:
    """All lines or none, and the line that is wrong is named."""
    path, figures = _job(tmp_path, lines)
    done = _record(path, "--from", figures)
    assert done.exit_code == 2 and message in done.stderr, done.stderr
    assert not record_path(path).exists()


def test_a_file_that_is_not_there_is_taken_for_an_empty_one(tmp_path: Path) -> None:
    path, _ = _job(tmp_path, "")
    assert _record(path, "--from", tmp_path / "none.txt").exit_code == 2
    assert _record(path, "--from", tmp_path).exit_code == 2
    assert not record_path(path).exists()
