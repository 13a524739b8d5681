"""A file read in parts: the same motions, events and findings as read whole, and memory that does
not grow with it."""

from __future__ import annotations

import io
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.gcode.read import motions
from corepath.gcode.read import text_source as source
from corepath.gcode.read.motions import read_program, stream_program
from corepath.gcode.read.text_source import FileSource, TextSource, lines_of
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter
from corepath.readback.foreign.foreign_facts import ForeignSetup
from corepath.readback.foreign.foreign_file import read_foreign
from corepath.readback.foreign.tools_called import changes_by_m6
from corepath.reported import reported

HEAD = "G17 G21 G90 G94 G54\nG40 G49 G80 G64\nT1 M6\nM3 S12000\nG4 P3\nG0 X0 Y0 Z5\n"
BODY = """G1 Z-1 F600
X20 F900
G2 X24 Y4 I0 J4
G0 Z5
M5
M0
M3 S9000
G4 P1
G4 P1
G0 X-20
G81 X-10 Y-10 Z-3 R2
X-5
G80
G28
G0 X1 Y1 Z5
T2 M6
G1 Z-2 F-3
Z-2 F300
G3 X5 Y5 I9 J9
G91 X1
G90
X30 Q
N9 G1 X12 Y3
G0 Z5
M5
"""


def bench(**more: object) -> ForeignSetup:
    return ForeignSetup(80, 60, 12, (0, 0, 12), {1: Cutter(1, "flat", 6, 0, 2, 20, 30), 2: Cutter(2,
        "ball", 4, 2, 2, 20, 30)},
                 Limits(6000, 500, 0.02), **more)  # type: ignore[arg-type]  # fmt: skip


@pytest.mark.parametrize("chunk", [2, 3, 11, 40])
@pytest.mark.parametrize("fast", [True, False])
def test_parts_make_up_the_whole(monkeypatch, chunk, fast):
    """A motion lost between two parts, or a start taken from the wrong end, would hide a cut."""
    text = HEAD + 3 * BODY + "M30\n"
    whole = read_program(text, "x.nc", fast=fast)
    monkeypatch.setattr(motions, "_CHUNK", chunk)
    parts = list(stream_program(text.split("\n"), "x.nc", fast=fast))
    assert len(parts) > 1
    for name in ("kind", "start", "end", "centre", "feed", "line", "spindle_on"):
        joined = np.concatenate([getattr(part, name) for part in parts])
        assert np.array_equal(joined, getattr(whole, name), equal_nan=joined.dtype.kind == "f"), (
            name
        )
    first = np.cumsum([0, *(part.count for part in parts)])
    events = [
        (event.name, event.line, event.index + int(before), event.value, event.spindle)
        for part, before in zip(parts, first, strict=False)
        for event in part.events
    ]
    assert events == [(e.name, e.line, e.index, e.value, e.spindle) for e in whole.events]
    assert parts[-1].findings.counts == whole.findings.counts
    assert (parts[-1].lines, parts[-1].unstated, parts[-1].ended) == (
        whole.lines,
        whole.unstated,
        True,
    )
    assert all(event.index or not k for k, part in enumerate(parts) for event in part.events)


@pytest.mark.parametrize("chunk", [2, 7, 30])
def test_figures_and_findings_hang_on_no_part(monkeypatch, chunk):
    """Spin-up, tools and stops reach from one part into the next."""
    text = HEAD.replace("G4 P3\n", "") + 2 * BODY + "M30\n"
    whole = reported(read_foreign(text, "x.nc", bench(spin_up=1.5)))
    monkeypatch.setattr(motions, "_CHUNK", chunk)
    parts = reported(read_foreign(text, "x.nc", bench(spin_up=1.5)))
    assert parts["minutes"].pop("total") == pytest.approx(whole["minutes"].pop("total"), rel=0.2), (
        "rests between parts"
    )
    assert {**parts, "minutes": 0, "findings": 0} == {**whole, "minutes": 0, "findings": 0}
    assert whole["counts"]["spindle-not-up"] == 1, (
        "the first start has no dwell, the second two together"
    )

    def key(found: dict) -> tuple:
        return found["kind"], found["line"] or 0, found["says"]

    assert sorted(parts["findings"], key=key) == sorted(whole["findings"], key=key)


def test_a_change_by_m6_is_seen_before_the_file_is_cut():
    """T2 alone only chooses a tool where the file has M6 later on; in a comment it has none."""
    assert changes_by_m6(["T2", "G1 X6", "N4 m06 (now)"])
    assert changes_by_m6(["T2\r", "M6\r"]), "a file whose lines end in CR LF"
    assert not changes_by_m6(["T2", "(M6 is not used) G1 X6", "M60", "M3 S6"])


@given(st.binary(max_size=40), st.integers(1, 9))
@settings(derandomize=True, max_examples=60, deadline=None)
def test_lines_of_a_file_are_those_of_its_text(data, block):
    """Bytes of any kind, blocks of any size: a line cut in two would be another program."""

    class Slow(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            return super().read(block)

    assert list(lines_of(Slow(data))) == data.decode("utf-8", errors="replace").split("\n")


def test_a_line_without_end_is_not_held(tmp_path):
    """A file of one endless line must not fill the memory; it is told as too long."""
    path = tmp_path / "x.nc"
    path.write_bytes(b"G1 X" + b"1" * 5_000_000 + b"\nM2\n")
    lines = list(FileSource(path).lines())
    assert [len(line) for line in lines[1:]] == [2, 0] and len(lines[0]) < 2_000_000
    assert list(TextSource("a\nb").lines()) == ["a", "b"]


def _peak(path: Path, count: int) -> int:
    wave = (
        f"G1 X{30 * (-1) ** k} Y{-25 + k % 50}.{k % 7} Z-{1 + k % 3}.{k % 10}\n"
        for k in range(count)
    )
    path.write_text(HEAD + "F900\n" + "".join(wave) + "G0 Z5\nM5\nM30\n")
    tracemalloc.start()
    read_foreign(FileSource(path), "x.nc", bench(cell=1.0))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_memory_does_not_grow_with_the_file(tmp_path, monkeypatch):
    """Ten times the lines, at most 1.1 times the memory; parts are small here, so that little is
    enough to show it."""
    monkeypatch.setattr(motions, "_CHUNK", 1000)
    monkeypatch.setattr(source, "_BLOCK", 8192)
    read_foreign(HEAD + "G1 X1 Y2 F300\nM2\n", "x.nc", bench(cell=1.0))
    few, many = _peak(tmp_path / "few.nc", 3_000), _peak(tmp_path / "many.nc", 30_000)
    assert many <= 1.1 * few
