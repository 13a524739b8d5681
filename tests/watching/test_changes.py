"""When a plan is to be made anew: after real changes that have come to rest, however the editor
saves."""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.job.text.regular import open_regular
from corepath.watching import Changes, inputs_of
from corepath.watching import changes as looking
from corepath.watching.changes import GONE, SETTLE


class Time:
    """A clock that a test moves on."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now

    def settle(self, seconds: float = SETTLE) -> None:
        self.now += seconds + 0.01


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "core.toml"
    path.write_text(
        '[blank]\nmeasured = "m.csv"\n[outline]\ndxf = "sub/o.dxf"\n[deck]\nmesh = "d.stl"\n'
    )
    return path


def test_inputs_are_all_that_the_job_names_and_its_record(job: Path) -> None:
    """A file left out would be saved and nothing happen; one not there yet may come."""
    names = [path.relative_to(job.parent).as_posix() for path in inputs_of(job) or ()]
    assert names == ["core.toml", "core.ascut.toml", "m.csv", "sub/o.dxf", "d.stl"]
    job.write_text('[deck]\ngrid = "h.npy"\nmesh = 3\n[blank\n')
    assert inputs_of(job) is None
    job.write_text('outline = 1\n[deck]\ngrid = "h.npy"\n')
    assert [path.name for path in inputs_of(job) or ()] == ["core.toml", "core.ascut.toml", "h.npy"]


def test_a_change_counts_once_it_has_come_to_rest(job: Path) -> None:
    """Planning from a half-written file would show faults that are none."""
    time = Time()
    changes = Changes(lambda: inputs_of(job), time)
    assert not changes.look()
    text = job.read_text()
    job.write_text(text[:20])
    assert not changes.look()
    time.settle(0.0)
    assert not changes.look()
    job.write_text(text + "# more\n")
    time.settle()
    assert not changes.look(), "it has changed since the last look"
    time.settle()
    assert changes.look() and changes.seen == (job,)
    changes.take()
    time.settle()
    assert not changes.look()


def test_the_same_contents_saved_again_are_no_change(job: Path) -> None:
    """A touch, or a save without an edit, must not plan for half a minute."""
    time = Time()
    changes = Changes(lambda: inputs_of(job), time)
    job.with_name("new").write_bytes(job.read_bytes())
    job.with_name("new").replace(job)
    assert not changes.look()
    time.settle()
    assert not changes.look()


@pytest.mark.parametrize("way", ["rename", "remove and write", "move away and write"])
def test_editors_that_do_not_write_in_place(job: Path, way: str) -> None:
    """The job is another file afterwards, and may be gone for a moment, which is no change yet."""
    time = Time()
    changes = Changes(lambda: inputs_of(job), time)
    text = job.read_text() + "# edited\n"
    if way == "rename":
        job.with_name(".tmp").write_text(text)
        job.with_name(".tmp").replace(job)
    else:
        job.unlink() if way == "remove and write" else job.rename(f"{job}~")
        assert not changes.look()
        time.settle()
        assert not changes.look(), "gone for a moment only"
        job.write_text(text)
    assert not changes.look()
    time.settle()
    assert changes.look()


def test_a_job_that_stays_away_is_told_in_the_end(job: Path) -> None:
    time = Time()
    changes = Changes(lambda: inputs_of(job), time)
    job.unlink()
    assert not changes.look()
    time.settle(GONE)
    assert changes.look()


def test_files_that_come_later_and_files_beside_the_job(job: Path) -> None:
    """The record is begun by `corepath record`; a drawing is saved by another program."""
    time = Time()
    changes = Changes(lambda: inputs_of(job), time)
    for name in ("core.ascut.toml", "m.csv", "d.stl"):
        (job.parent / name).write_text("x")
        assert not changes.look()
        time.settle()
        assert changes.look() and [path.name for path in changes.seen] == [name]
        changes.take()
    (job.parent / "other.csv").write_text("x")
    time.settle()
    assert not changes.look()


def test_a_broken_job_does_not_lose_its_other_files(job: Path) -> None:
    """While the job cannot be read, the files that it named before are still looked at."""
    time = Time()
    changes = Changes(lambda: inputs_of(job), time)
    job.write_text("[blank\n")
    changes.take()
    (job.parent / "m.csv").write_text("x")
    assert not changes.look()
    time.settle()
    assert changes.look()


def test_a_large_file_is_read_again_only_when_it_was_written(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mesh of 200 MB must not be read five times a second."""
    time = Time()
    mesh = job.parent / "d.stl"
    mesh.write_bytes(b"x" * (2**20 + 1))
    opened: list[str] = []
    monkeypatch.setattr(
        looking, "open_regular", lambda path: (opened.append(path.name), open_regular(path))[1]
    )
    changes = Changes(lambda: inputs_of(job), time)
    changes.look()
    assert opened.count("d.stl") == 1
    mesh.with_name("new").write_bytes(b"y" * (2**20 + 1))
    mesh.with_name("new").replace(mesh)
    changes.look()
    time.settle()
    assert changes.look() and opened.count("d.stl") == 2
