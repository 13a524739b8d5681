"""A plan's folder under kills, full disks, other runs and odd contents: the earlier plan whole, or
the new one."""

from __future__ import annotations

import errno
import json
import os
import random
import resource
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.errors import InputError, OutputError
from corepath.job.text import writing
from corepath.job.text.writing import locked, write_new
from corepath.planning.folder import exchange as exchange_module
from corepath.planning.folder import in_place as in_place_module
from corepath.planning.folder import plan_folder as folder_module
from corepath.planning.folder.exchange import CannotExchange
from corepath.planning.folder.in_place import HALF_WRITTEN, Change
from corepath.planning.folder.plan_folder import ensure_writable, write_folder
from corepath.planning.proving.reading import read_folder
from corepath.planning.restart.restart_program import restart

NAMES = [f"0{k}-A-groove.nc" for k in range(1, 10)] + [
    "report.json",
    "overview.svg",
    "rehearsal/A-rehearsal.nc",
]
SIZE = 3000


def _plan(mark: str) -> dict[str, str]:
    """Files of a plan that all say whose they are; b has one program fewer, and a body."""
    files = dict.fromkeys(NAMES, f"({mark})\nG0 Z8.\n" + f"(of {mark})\n" * SIZE)
    if mark == "b":
        del files["09-A-groove.nc"]
        files["solid/after-A-wood.stl"] = "b" * SIZE
    files["report.json"] = json.dumps({"of": mark * SIZE, "files": sorted(files)})
    return files


def _state(folder: Path) -> str:
    """Which plan lies there: `a`, `b`, or what is wrong."""
    for mark in "ab":
        files = _plan(mark)
        if all(
            (folder / name).exists() and (folder / name).read_text() == text
            for name, text in files.items()
        ):
            other = set(_plan("ab".replace(mark, ""))) - set(files)
            return (
                f"{mark}, and {other}" if any((folder / name).exists() for name in other) else mark
            )
    return f"neither: {sorted(path.name for path in folder.iterdir())}"


def _all(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(params=["exchanged", "in place"])
def folder(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with plan a and the user's own things, written in either way."""
    if request.param == "in place":

        def cannot(target: Path, change: Change) -> None:
            raise CannotExchange

        monkeypatch.setattr(folder_module, "exchange", cannot)
    folder = tmp_path / "board-plan"
    write_folder(folder, _plan("a"))
    (folder / "notes.txt").write_text("clamp at the X+ end slipped")
    (folder / "photos" / "A").mkdir(parents=True)
    (folder / "photos" / "A" / "1.jpg").write_bytes(b"\xff\xd8")
    (folder / "latest").symlink_to("notes.txt")
    (folder / "done").mkdir()
    (folder / "done" / "02-A-plug-pockets.nc").write_text("(cut)")
    return folder


def _users(folder: Path) -> None:
    assert (folder / "notes.txt").read_text() == "clamp at the X+ end slipped"
    assert (folder / "photos" / "A" / "1.jpg").read_bytes() == b"\xff\xd8"
    assert (folder / "latest").is_symlink() and (folder / "latest").read_text().startswith("clamp")
    assert (folder / "done" / "02-A-plug-pockets.nc").read_text() == "(cut)"


def _tidy(folder: Path) -> None:
    left = [
        path.name
        for path in (*folder.iterdir(), *folder.parent.iterdir())
        if path.name.startswith(".")
    ]
    assert not left and not (folder / HALF_WRITTEN).exists()


def test_a_new_plan_takes_the_place_of_the_old_one_and_nothing_else(folder: Path) -> None:
    """The user's notes would be lost, a file of the old plan lie among those of the new one, or
    litter be left."""
    folder.chmod(0o750)
    written = write_folder(folder, _plan("b"))
    assert _state(folder) == "b"
    assert (
        written.withdrawn == ("09-A-groove.nc",)
        and (folder / "withdrawn" / "09-A-groove.nc").is_file()
    )
    assert len(written.unchanged) == 8 and not written.new
    _users(folder)
    _tidy(folder)
    assert folder.stat().st_mode & 0o777 == 0o750
    write_folder(folder, _plan("a"))
    assert _state(folder) == "a" and not (folder / "solid").exists()
    _users(folder)


def test_a_file_that_was_cut_with_is_never_written_over(folder: Path) -> None:
    """What was cut could not be looked up any more."""
    write_folder(folder, _plan("b"), done=["groove"])
    (folder / "09-A-groove.nc").write_text("(another)\nG0 Z9.\n")
    write_folder(folder, _plan("b"), done=["groove"])
    assert (folder / "done" / "09-A-groove.nc").read_text().startswith("(another)")
    assert (folder / "done" / "09-A-groove.earlier-1.nc").read_text().startswith("(a)")
    _users(folder)


@pytest.mark.parametrize("at", [0, 1, 6, 11])
def test_a_full_disk_leaves_the_earlier_plan_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """The shop would be left with neither plan."""
    before, count = _all(folder), 0

    def full(path: Path, content: bytes) -> None:
        nonlocal count
        count += 1
        if count > at:
            path.write_bytes(content[: len(content) // 2])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        writing.to_disk(path, content)

    monkeypatch.setattr(exchange_module, "to_disk", full)
    monkeypatch.setattr(in_place_module, "to_disk", full)
    with pytest.raises(
        OutputError, match="No space left on device; what was there before is as it was"
    ):
        write_folder(folder, _plan("b"))
    assert _all(folder) == before
    _tidy(folder)


@pytest.mark.parametrize("at", range(0, 30, 4))
def test_a_rename_that_fails_is_undone_with_all_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """The folder would hold files of two plans."""
    write_folder(tmp_path / "p", _plan("a"))
    before, count = _all(tmp_path / "p"), 0
    step = in_place_module._step

    def failing(there: Path, place: Path, undo: list[tuple[Path, Path]]) -> None:
        nonlocal count
        count += 1
        if count == at + 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        step(there, place, undo)

    monkeypatch.setattr(in_place_module, "_step", failing)
    files = {name: text.encode() for name, text in _plan("b").items()}
    change = Change(files, (("09-A-groove.nc", "withdrawn/09-A-groove.nc"),))
    if at >= 24:  # 11 earlier files set aside, 12 written, 1 moved: no more renames than that
        in_place_module.in_place(tmp_path / "p", change)
        assert count == 24 and _state(tmp_path / "p") == "b"
        return
    with pytest.raises(OSError):
        in_place_module.in_place(tmp_path / "p", change)
    assert _all(tmp_path / "p") == before
    _tidy(tmp_path / "p")


def _forked(work: Callable[[], None]) -> int:
    """The number of a process that does `work` and ends, well unless that raised."""
    number = os.fork()
    if number == 0:
        status = 1
        try:
            work()
            status = 0
        finally:
            os._exit(status)
    return number


@contextmanager
def _child(work: Callable[[], None]) -> Iterator[int]:
    """A process that does `work`; killed with SIGKILL at the end if it has not ended."""
    number = _forked(work)
    try:
        yield number
    finally:
        os.kill(number, signal.SIGKILL)
        os.waitpid(number, 0)


def _over_and_over(folder: Path, marks: str = "ba", told: int | None = None) -> None:
    """Write the plans in turn; a byte goes to `told` after each."""
    while True:
        for mark in marks:
            write_folder(folder, _plan(mark))
            if told is not None:
                os.write(told, b".")
            time.sleep(0.004)


def test_kills_at_random_moments(folder: Path) -> None:
    """A killed run would leave half a plan; the wrong half of a groove would be cut."""
    rng = random.Random(20)
    seen, half = set(), 0
    for turn in range(40):
        heard, told = os.pipe()
        # the first plan differs from turn to turn and is waited for: a slow machine sees both plans
        # too
        with _child(
            lambda marks="ab" if turn % 2 else "ba", told=told: _over_and_over(folder, marks, told)
        ):
            os.close(told)  # a child that ends by itself is then heard as well
            assert os.read(heard, 1) == b"."
            time.sleep(rng.uniform(0.0, 0.04))
        os.close(heard)
        if (folder / HALF_WRITTEN).exists():
            half += 1
            with pytest.raises(InputError, match="its files are of two plans"):
                read_folder(folder)
            with pytest.raises(InputError, match="its files are of two plans"):
                restart(folder / "01-A-groove.nc", 2)
            write_folder(folder, _plan("a"))
        state = _state(folder)
        assert state in "ab", state
        seen.add(state)
        _users(folder)
    assert seen == {"a", "b"}
    assert (
        not half
        or folder_module.exchange is not exchange_module.exchange
        or exchange_module._renameat2() is None
    )
    write_folder(folder, _plan("a"))
    assert _state(folder) == "a"
    _users(folder)
    _tidy(folder)


def test_a_disk_that_is_really_full(tmp_path: Path) -> None:
    """The limit on a file's size stands for a full disk: the system itself says no."""
    folder = tmp_path / "p"
    write_folder(folder, _plan("a"))
    before = _all(folder)

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (SIZE, SIZE))
        try:
            write_folder(folder, _plan("b"))
        except OutputError:
            return
        raise AssertionError

    assert os.waitpid(_forked(limited), 0)[1] == 0
    assert _all(folder) == before
    _tidy(folder)


def test_a_reader_never_sees_two_plans_while_two_runs_write(folder: Path) -> None:
    """Two runs into one folder would mix their files."""
    seen = set()
    with _child(lambda: _over_and_over(folder)), _child(lambda: _over_and_over(folder)):
        end = time.monotonic() + 0.6
        while time.monotonic() < end or len(seen) < 2:
            with locked(folder, shared=True):
                seen.add(_state(folder))
            time.sleep(0.002)
            assert time.monotonic() < end + 20
    assert seen == {"a", "b"}


def test_a_folder_in_use_is_refused_in_clear_words(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that waits for ever, or writes all the same."""
    monkeypatch.setattr(
        writing.locked.__wrapped__, "__kwdefaults__", {"shared": False, "wait": 0.1}
    )
    with (
        locked(folder),
        pytest.raises(OutputError, match="another run of corepath is writing here"),
    ):
        write_folder(folder, _plan("b"))
    assert _state(folder) == "a"


@pytest.mark.parametrize("name", ["rehearsal", "withdrawn", "solid"])
def test_links_do_not_lead_out_of_the_folder(folder: Path, tmp_path: Path, name: str) -> None:
    """A plan would write over files elsewhere."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "A-rehearsal.nc").write_text("(mine)")
    if (folder / name).exists():
        (folder / name).rename(tmp_path / "aside")
    (folder / name).symlink_to(elsewhere)
    with pytest.raises(OutputError, match=f"{name} in it is a link"):
        write_folder(folder, _plan("b"))
    assert _all(elsewhere) == {"A-rehearsal.nc": b"(mine)"}


def test_a_link_under_a_file_name_is_replaced_not_followed(folder: Path, tmp_path: Path) -> None:
    """A plan would write over a file elsewhere."""
    (tmp_path / "mine.txt").write_text("mine")
    (folder / "01-A-groove.nc").unlink()
    (folder / "01-A-groove.nc").symlink_to(tmp_path / "mine.txt")
    write_folder(folder, _plan("b"))
    assert _state(folder) == "b" and (tmp_path / "mine.txt").read_text() == "mine"


def test_a_linked_folder_stays_a_link(folder: Path, tmp_path: Path) -> None:
    """The link would be replaced by a folder, and what it names be left with the old plan."""
    (tmp_path / "link").symlink_to(folder)
    write_folder(tmp_path / "link", _plan("b"))
    assert (tmp_path / "link").is_symlink() and _state(folder) == "b"


def test_no_permission_is_said_and_nothing_changed(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that was protected by hand would be exchanged all the same."""
    if os.geteuid() == 0:  # may write everywhere
        monkeypatch.setattr(os, "access", lambda path, mode: False)
    else:
        folder.chmod(0o555)
    if folder_module.exchange is not exchange_module.exchange and os.geteuid() == 0:
        return
    with pytest.raises(OutputError, match=r"[Pp]ermission"):
        write_folder(folder, _plan("b"))
    assert _state(folder) == "a"
    folder.chmod(0o755)


def test_the_folder_one_stands_in_is_written_in_place(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shell would be left standing in a folder that is no more."""
    monkeypatch.chdir(folder)
    before = folder.stat().st_ino
    write_folder(Path(), _plan("b"))
    assert folder.stat().st_ino == before and _state(folder) == "b"
    _tidy(folder)


def test_what_was_saved_at_the_moment_of_the_exchange_is_not_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A note saved in that moment would go with the old folder."""
    folder = tmp_path / "p"
    write_folder(folder, _plan("a"))
    (folder / "notes.txt").write_text("old")
    found = exchange_module._renameat2()
    if found is None:
        pytest.skip("no exchange on this system")

    def renamed() -> Callable[[Path, Path], None]:
        def rename(one: Path, other: Path) -> None:
            (folder / "notes.txt.new").write_text("saved just now")
            os.utime(folder / "notes.txt.new", ns=(2**62, 2**62))
            (folder / "notes.txt.new").replace(folder / "notes.txt")
            (folder / "more.txt").write_text("made just now")
            found(one, other)

        return rename

    monkeypatch.setattr(exchange_module, "_renameat2", renamed)
    write_folder(folder, _plan("b"))
    assert _state(folder) == "b"
    assert (folder / "notes.txt").read_text() == "saved just now"
    assert (folder / "more.txt").read_text() == "made just now"
    _tidy(folder)


STEPS = frozenset(
    ("os.link", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.chmod", "os.utime", "open",
     "shutil.copystat", "shutil.rmtree", "fcntl.flock")
)  # fmt: skip


def _killed_at(folder: Path, step: int, late: bool) -> bool:
    """Write plan b and end at once before the `step`th change of the disk; the user saves a note
    right before the exchange. With `late`, steps count from then on. Whether it came that far."""

    def work() -> None:
        found, count, counting = exchange_module._renameat2(), 0, not late

        def rename(one: Path, other: Path) -> None:
            nonlocal counting
            counting = True
            (folder / "notes.txt.new").write_text("saved just now")
            os.utime(folder / "notes.txt.new", ns=(2**62, 2**62))
            (folder / "notes.txt.new").replace(folder / "notes.txt")
            (folder / "photos" / "more.jpg").write_bytes(b"made just now")
            assert found is not None
            found(one, other)

        def hook(event: str, arguments: tuple[object, ...]) -> None:
            nonlocal count
            count += counting and event in STEPS
            if count > step:
                os._exit(9)

        exchange_module._renameat2 = lambda: rename  # type: ignore[assignment]
        sys.addaudithook(hook)  # it cannot be taken away, but this process ends here
        write_folder(folder, _plan("b"))

    return os.waitstatus_to_exitcode(os.waitpid(_forked(work), 0)[1]) == 9


@pytest.mark.whole
def test_a_kill_at_any_step_leaves_one_plan_whole_and_all_that_is_the_users(
    tmp_path: Path,
) -> None:
    """Killed right after the exchange, the old folder had the name of one that was never in use:
    the next run removed it with the note that was saved last."""
    if exchange_module._renameat2() is None:
        pytest.skip("no exchange on this system")
    folder, seen, saved = tmp_path / "board-plan", set(), 0
    # every 11th step before the exchange, where little differs, then each, and every 7th of those
    # that clear away
    early, cleared = range(0, 60, 11), (*range(24), *range(24, 1000, 7))
    for late, step in (*((False, k) for k in early), *((True, k) for k in cleared)):
        shutil.rmtree(folder, ignore_errors=True)
        write_folder(folder, _plan("a"))
        (folder / "notes.txt").write_text("clamp at the X+ end slipped")
        (folder / "photos").mkdir()
        (folder / "photos" / "1.jpg").write_bytes(b"made before")
        (folder / "photos").chmod(0o750)
        killed = _killed_at(folder, step, late)
        seen.add(_state(folder))
        write_folder(folder, _plan("a"))
        _tidy(folder)
        assert (folder / "photos" / "1.jpg").read_bytes() == b"made before"
        assert (folder / "photos").stat().st_mode & 0o777 == 0o750
        # The note was saved or not yet; once it was, it stays.
        note = (folder / "notes.txt").read_text()
        assert note in ("clamp at the X+ end slipped", "saved just now")
        assert not (late and saved) or note == "saved just now", step
        saved += late and note == "saved just now"
        assert (folder / "photos" / "more.jpg").exists() or saved < 3
        if late and not killed:
            break
    assert seen == {"a", "b"} and saved > 10 and not killed


def test_a_subfolder_of_which_files_go_keeps_its_permissions(tmp_path: Path) -> None:
    """`solid/` holds a body that is removed and a file of the user's: it was made anew, open to
    all."""
    folder = tmp_path / "p"
    write_folder(folder, _plan("b"))
    (folder / "solid" / "mine.txt").write_text("mine")
    (folder / "solid").chmod(0o700)
    write_folder(folder, _plan("a"))
    assert [path.name for path in (folder / "solid").iterdir()] == ["mine.txt"]
    assert (folder / "solid").stat().st_mode & 0o777 == 0o700


def test_a_program_linked_to_its_place_in_withdrawn_still_leaves_the_plan(folder: Path) -> None:
    """A rename does nothing where both names are links to one file: the old program stayed among
    the new ones."""
    (folder / "withdrawn").mkdir(exist_ok=True)
    os.link(folder / "09-A-groove.nc", folder / "withdrawn" / "09-A-groove.nc")
    write_folder(folder, _plan("b"))
    assert _state(folder) == "b" and (folder / "withdrawn" / "09-A-groove.nc").is_file()


def test_a_folder_of_the_users_keeps_its_times(tmp_path: Path) -> None:
    """Photos sorted by the day of their folder would all be of today."""
    folder = tmp_path / "p"
    write_folder(folder, _plan("a"))
    (folder / "photos" / "A").mkdir(parents=True)
    (folder / "photos" / "A" / "1.jpg").write_bytes(b"jpg")
    for name in ("photos/A", "photos"):
        os.utime(folder / name, (1e9, 1e9))
    write_folder(folder, _plan("b"))
    assert [(folder / name).stat().st_mtime for name in ("photos", "photos/A")] == [1e9, 1e9]


def test_a_failure_after_the_exchange_is_not_told_as_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It said "what was there before is as it was" with the new plan in place; the old folder stays
    hidden beside it, and the next run takes over what only that holds."""
    folder = tmp_path / "p"
    write_folder(folder, _plan("a"))
    found = exchange_module._renameat2()
    if found is None:
        pytest.skip("no exchange on this system")

    def failing(old: Path, new: Path, left_out: set[str]) -> None:
        (old / "saved.txt").write_text("just now")
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as patch:
        patch.setattr(exchange_module, "_take_over", failing)
        write_folder(folder, _plan("b"))
    assert _state(folder) == "b" and not (folder / "saved.txt").exists()
    write_folder(folder, _plan("b"))
    assert (folder / "saved.txt").read_text() == "just now"
    _tidy(folder)


def test_a_new_folder_that_cannot_be_filled_is_not_left_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An empty folder would look like a plan."""

    def full(path: Path, content: bytes) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(exchange_module, "to_disk", full)
    monkeypatch.setattr(in_place_module, "to_disk", full)
    with pytest.raises(OutputError):
        write_folder(tmp_path / "p", _plan("a"))
    assert not list(tmp_path.iterdir())
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="cannot write here"):
        write_folder(tmp_path / "file", _plan("a"))
    with pytest.raises(OutputError, match="cannot write here"):
        write_folder(tmp_path / ("x" * 300), _plan("a"))


def test_a_new_file_is_whole_and_never_over_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A starter job, a restart or a list of places would be cut short, or overwrite what is
    there."""
    path = tmp_path / "x.toml"
    write_new(path, b"one")
    with pytest.raises(FileExistsError):
        write_new(path, b"two")
    assert path.read_bytes() == b"one"

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError):
        write_new(tmp_path / "y.toml", b"three")
    assert [one.name for one in tmp_path.iterdir()] == ["x.toml"]


def test_only_what_the_earlier_plan_lists_is_removed(folder: Path) -> None:
    """The user's own drawings, named after the plan's, went without a word."""
    mine = [
        "03-A-groove-marked.svg",
        "deck-sketch.svg",
        "map-of-my-shop.svg",
        "solid/after-C-wood.stl",
    ]
    (folder / "solid").mkdir(exist_ok=True)
    for name in mine:
        (folder / name).write_text("mine")
    theirs = {
        "05-B-skim-pass-9.svg": "drawn",
        "deck-pressure.svg": "drawn",
        "solid/after-B-wood.stl": "body",
    }
    files = {**_plan("a"), **theirs}
    files["report.json"] = json.dumps({"files": [*files, "notes.txt", "../outside.svg", 3]})
    (folder.parent / "outside.svg").write_text("mine")
    write_folder(folder, files)
    write_folder(folder, _plan("b"))
    assert all((folder / name).read_text() == "mine" for name in mine)
    assert not any((folder / name).exists() for name in theirs)
    assert (folder.parent / "outside.svg").exists()
    _users(folder)


@pytest.mark.parametrize("content", ["", "[" * 100_000, '{"files": 3}', "null"])
def test_a_damaged_list_removes_nothing(folder: Path, content: str) -> None:
    (folder / "report.json").write_text(content)
    (folder / "deck-pressure.svg").write_text("whose?")
    write_folder(folder, _plan("b"))
    assert (folder / "deck-pressure.svg").exists()


@pytest.mark.parametrize(
    "kind", ["file", "under a file", "loop", "no such system folder", "no permission"]
)
def test_a_folder_that_cannot_be_written_is_found_before_anything_is_planned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """Minutes of planning were lost to a slip in `-o`."""
    (tmp_path / "file").write_text("mine")
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "shut").mkdir(mode=0o500)
    names = {"file": "file", "under a file": "file/x", "loop": "loop", "no permission": "shut/x"}
    target = Path("/proc/nowhere/x") if kind == "no such system folder" else tmp_path / names[kind]
    if kind == "no permission" and os.access(tmp_path / "shut", os.W_OK):
        pytest.skip("nothing is shut to this user")
    if kind == "no such system folder" and not Path("/proc/self").exists():
        pytest.skip("there is no such folder here")
    monkeypatch.setattr(
        "corepath.planning.prepare.prepare", lambda *words: pytest.fail("something was planned")
    )
    before = sorted(tmp_path.rglob("*"))
    job = Path(__file__).parents[2] / "samples" / "coupon.toml"
    for command in ("plan", "preview"):
        result = CliRunner().invoke(app, [command, str(job), "-o", str(target)])
        assert result.exit_code == 2 and "cannot write here" in result.stderr, result.output
        assert "nothing has been planned" in result.stderr
    assert sorted(tmp_path.rglob("*")) == before


def test_a_trial_leaves_nothing_behind(folder: Path) -> None:
    before = _all(folder)
    ensure_writable(folder)
    ensure_writable(folder.parent / "a" / "new" / "one")
    assert _all(folder) == before and not (folder.parent / "a").exists()
    _tidy(folder)
