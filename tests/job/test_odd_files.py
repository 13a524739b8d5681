"""Files that are none, jobs that hold too much, and texts that would do something to what shows
them."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from corepath.board.deck.files.file_bytes import read_bytes
from corepath.board.outline.dxf import read_outline
from corepath.errors import CorepathError, InputError
from corepath.gcode.read.text_source import FileSource
from corepath.job.load import load_job
from corepath.job.measured import read_measured
from corepath.job.record.ascut import load_record
from corepath.job.rules.counts import MOST_PLACES, MOST_ROWS, MOST_TABLES
from corepath.job.text.regular import TooLarge, read_regular
from corepath.plain_text import safe
from corepath.planning.folder.limited import read_limited
from corepath.planning.proving.reading import read_folder
from tests.given import load_text

COUPON = (Path(__file__).parents[2] / "samples" / "coupon.toml").read_text(encoding="utf-8")

READERS: dict[str, Callable[[Path], object]] = {
    "job": load_job,
    "record": load_record,
    "measured places": read_measured,
    "DXF": lambda path: read_outline(path, None, "mm", 0.05),
    "mesh or grid": lambda path: read_bytes(path, "deck.mesh"),
    "report and .nc of a plan": read_limited,
    "any .nc file": lambda path: list(FileSource(path).lines()),
}


@pytest.fixture(params=["device", "link to a device", "pipe"])
def odd(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / "odd.stl"
    if request.param == "pipe":
        os.mkfifo(path)
        return path
    if request.param == "device":
        return Path("/dev/zero")
    path.symlink_to("/dev/zero")
    return path


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
@pytest.mark.parametrize("reader", READERS)
def test_no_device_is_read_and_no_pipe_waited_for(odd: Path, reader: str) -> None:
    """/dev/zero never ends and would fill the memory; a pipe that nobody writes to would keep us
    for ever."""
    raised: list[BaseException] = []

    def read() -> None:
        try:
            READERS[reader](odd)
        except (CorepathError, OSError) as error:
            raised.append(error)

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    thread.join(5.0)
    assert not thread.is_alive()
    assert "is a pipe or a device, not a file" in str(raised[0])


def test_a_pipe_in_place_of_a_folder_is_told_as_one(odd: Path, tmp_path: Path) -> None:
    """It is there: "no such folder" sends one to look for a slip in its name."""
    with pytest.raises(CorepathError, match="is a pipe or a device"):
        read_folder(odd)
    with pytest.raises(CorepathError, match="no such folder"):
        read_folder(tmp_path / "none")


def test_a_file_is_read_up_to_the_limit_whatever_size_it_states(tmp_path: Path) -> None:
    """Files under /proc state no size and hold bytes all the same; one that grows while it is read
    does too."""
    path = tmp_path / "x"
    path.write_bytes(b"x" * 100)
    assert read_regular(path, 100) == b"x" * 100
    with pytest.raises(TooLarge, match="larger than 99 bytes"):
        read_regular(path, 99)
    stated = Path("/proc/self/maps")
    if stated.exists() and stated.stat().st_size == 0:
        assert len(read_regular(stated, 1 << 20)) > 99
        with pytest.raises(TooLarge):
            read_regular(stated, 99)
    with pytest.raises(IsADirectoryError):
        read_regular(tmp_path, 1)


def _many(count: int, table: str) -> str:
    places = ", ".join(f"[{k % 100}.0, {k // 100}.0]" for k in range(count))
    keys = {
        "plug": "diameter = 3.0\nbolt_hole = 1.0",
        "insert": "barrel = 1.0\nflange = 2.0\nflange_thickness = 0.5\nlength = 3.0",
    }[table]
    return f'{COUPON}\n[[{table}]]\nname = "Q1"\nat = [{places}]\n{keys}\n'


@pytest.mark.parametrize(("table", "count"), [("plug", 5000), ("insert", 20_000)])
def test_a_job_of_thousands_is_refused_within_a_second(table: str, count: int) -> None:
    """It kept the checks busy for half a minute and took more than a gigabyte."""
    text = _many(count, table)
    start = time.process_time()
    with pytest.raises(InputError) as told:
        load_text(text, "x.toml")
    assert time.process_time() - start < 1.0
    (fault,) = told.value.faults
    assert (fault.key, fault.value) == (table, str(count + 1))
    assert (
        fault.allowed == f"at most {MOST_PLACES[table]} in all tables together"
        and fault.line is not None
    )


def test_each_list_of_a_job_has_a_limit_and_the_limit_itself_passes() -> None:
    """One list without a limit would be enough to keep the checks busy."""
    cutters = "".join(
        f"\n[[cutter]]\nnumber = {k}\n" for k in range(10, 10 + MOST_TABLES["cutter"] - 3)
    )
    with pytest.raises(InputError) as told:
        load_text(COUPON + cutters, "x.toml")
    assert "cutter" in {fault.key for fault in told.value.faults}
    for key, most in MOST_ROWS.items():
        section, name = key.split(".")
        if f"[{section}]" not in COUPON:
            continue
        rows = ", ".join(f"[{k}.0, 5.0]" for k in range(most + 1))
        text = COUPON.replace(f"[{section}]\n", f"[{section}]\n{name} = [{rows}]\n", 1)
        text = (
            text.replace("\nstations = [[-100", "\n# stations = [[-100")
            if name == "stations"
            else text
        )
        with pytest.raises(InputError) as told:
            load_text(text, "x.toml")
        assert (key, str(most + 1)) in {(fault.key, fault.value) for fault in told.value.faults}
        with pytest.raises(InputError) as told:  # other faults, none about the count
            load_text(text.replace(f"[{most}.0, 5.0]", "", 1) + "\nwrong = 1\n", "x.toml")
        assert "has too many entries" not in str(told.value)


UNSAFE = {
    "escape": ("title", r"Board \u001b[2J", r"\u001b"),
    "line feed": ("title", r"Board\nok", r"\u000a"),
    "C1 control": ("title", r"Board \u009b2J", r"\u009b"),
    "override": ("title", r"Board \u202egnp", r"\u202e"),
    "isolate": ("blank.measured", r"a\u2066.csv", r"\u2066"),
    "line separator": ("plug[1].name", r"P\u2028", r"\u2028"),
}


@pytest.mark.parametrize("case", UNSAFE)
def test_a_text_that_does_something_to_what_shows_it_is_refused(case: str) -> None:
    """It would clear a screen, make a drawing unreadable, or show a name that is not the file's."""
    key, typed, letter = UNSAFE[case]
    edits = {
        "title": ('"Coupon"', f'"{typed}"'),
        "blank.measured": ("spoil_board", f'measured = "{typed}"\nspoil_board'),
        "plug[1].name": ('"P1"', f'"{typed}"'),
    }
    with pytest.raises(InputError) as told:
        load_text(COUPON.replace(*edits[key], 1), "x.toml")
    says = [fault.message for fault in told.value.faults if fault.key == key]
    assert any(letter in one for one in says), told.value.faults


def test_letters_of_any_language_and_a_word_joined_by_hand_are_no_such_text() -> None:
    """A board may be called what its owner likes."""
    for title in ("Brett für Zoë", "板", "доска 2", "no\u00a0break"):
        assert load_text(COUPON.replace('"Coupon"', f'"{title}"', 1), "x.toml").title == title


def test_what_is_printed_keeps_lines_and_tabs_and_escapes_the_rest() -> None:
    assert safe("a\tb\nc") == "a\tb\nc"
    assert (
        safe("\x1b[2J\r\x07\x7f\x9b\u202e\u2069")
        == r"\u001b[2J\u000d\u0007\u007f\u009b\u202e\u2069"
    )
