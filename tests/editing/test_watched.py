"""When a job counts as changed: after real changes that have come to rest, however the editor
saves."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

pytest.importorskip("watchfiles", reason="the extra corepath[edit] is not installed")

from corepath.editing import watched
from corepath.editing.inputs import inputs_of
from corepath.editing.watched import Contents, changes_of
from corepath.job.text.regular import open_regular

LIMIT = 20.0


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "core.toml"
    path.write_text(
        '[blank]\nmeasured = "m.csv"\n[outline]\ndxf = "sub/o.dxf"\n[deck]\nmesh = "d.stl"\n'
    )
    return path


Changed = Callable[[], Awaitable[list[str]]]


def watching(job: Path, story: Callable[[Changed], Awaitable[None]]) -> None:
    """Run a story with a function that waits for the next change and returns the names of the
    files changed."""

    async def run() -> None:
        contents = Contents(lambda: inputs_of(job))
        found: asyncio.Queue[list[str]] = asyncio.Queue()

        async def look() -> None:
            async for _ in changes_of(contents):
                found.put_nowait([path.name for path in contents.changed()])
                contents.take()

        async def changed() -> list[str]:
            return await asyncio.wait_for(found.get(), LIMIT)

        task = asyncio.create_task(look())
        await asyncio.sleep(0.05)  # the notices have begun
        await story(changed)
        assert found.empty()
        begin = time.monotonic()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        assert time.monotonic() - begin < 1.0, "Ctrl-C would wait"

    asyncio.run(run())


def test_inputs_are_all_that_the_job_names_and_its_record(job: Path) -> None:
    """A file left out would be saved and nothing happen; one not there yet may come."""
    names = [path.relative_to(job.parent).as_posix() for path in inputs_of(job) or ()]
    assert names == ["core.toml", "core.ascut.toml", "m.csv", "sub/o.dxf", "d.stl"]
    job.write_text('[deck]\ngrid = "h.npy"\nmesh = 3\n[blank\n')
    assert inputs_of(job) is None
    job.write_text('outline = 1\n[deck]\ngrid = "h.npy"\n')
    assert [path.name for path in inputs_of(job) or ()] == ["core.toml", "core.ascut.toml", "h.npy"]


@pytest.mark.parametrize("notices", [True, False])
def test_a_change_is_not_seen_or_seen_twice(
    job: Path, monkeypatch: pytest.MonkeyPatch, notices: bool
) -> None:
    """Written in place, in pieces, by renaming, taken away and written anew; files beside it; one
    in a folder that comes later; with and without notices of the system."""
    if not notices:

        def none(*_: object, **__: object) -> None:
            raise OSError(28, "no more notices")

        monkeypatch.setattr(watched, "awatch", none)
        monkeypatch.setattr(watched, "_ANYWAY", 100)
    text = job.read_text()

    async def story(changed: Changed) -> None:
        job.write_text(text + "# in place\n")
        assert await changed() == ["core.toml"]
        if notices:
            for piece in (20, 40, 60):
                job.write_text(text[:piece])
                await asyncio.sleep(0.02)
            job.write_text(text)
            assert await changed() == ["core.toml"]
        job.with_name(".new").write_text(text + "# renamed\n")
        job.with_name(".new").replace(job)
        assert await changed() == ["core.toml"]
        job.rename(f"{job}~")
        await asyncio.sleep(0.3)
        job.write_text(text + "# gone for a moment\n")
        assert await changed() == ["core.toml"]
        for name in ("core.ascut.toml", "m.csv", "d.stl"):
            (job.parent / name).write_text("x")
            assert await changed() == [name]
        (job.parent / "other.csv").write_text("x")
        job.with_name(".new").write_bytes(job.read_bytes())  # saved again as it was
        job.with_name(".new").replace(job)
        (job.parent / "sub").mkdir()
        (job.parent / "sub" / "o.dxf").write_text("x")
        assert await changed() == ["o.dxf"]
        job.unlink()
        assert await changed() == ["core.toml"]

    watching(job, story)


def test_a_broken_job_loses_its_other_files(job: Path) -> None:
    """While the job cannot be read, the files that it named before are still looked at."""
    contents = Contents(lambda: inputs_of(job))
    job.write_text("[blank\n")
    contents.take()
    (job.parent / "m.csv").write_text("x")
    assert [path.name for path in contents.changed()] == ["m.csv"]


def test_a_large_file_is_read_at_each_look(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A mesh of 200 MB is read again only when it was written."""
    mesh = job.parent / "d.stl"
    mesh.write_bytes(b"x" * (2**20 + 1))
    opened: list[str] = []
    monkeypatch.setattr(
        watched, "open_regular", lambda path: (opened.append(path.name), open_regular(path))[1]
    )
    contents = Contents(lambda: inputs_of(job))
    assert contents.changed() == () and opened.count("d.stl") == 1
    mesh.with_name("new").write_bytes(b"y" * (2**20 + 1))
    mesh.with_name("new").replace(mesh)
    assert contents.changed() == (mesh,) and opened.count("d.stl") == 2
