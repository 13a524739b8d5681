"""The reader against parsers of the registries, on the same modal lines, in one run.

Only what returns the same motions is a baseline for the ratio: the npm package gcode-toolpath gives
start and end of each line and arc, and pygcode's machine the place after each block; gcode-machine
tracks it too. gcodeparser gives words without a modal state, so it is named beside them, not as a
baseline. What is not installed is said so: `pip install pygcode gcodeparser gcode-machine`, `npm
install gcode-toolpath` and NODE_PATH to its node_modules. Times are CPU seconds of the process,
best of several, so that other work on the machine counts on neither side.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import Timed, cpu

__all__ = ["reading"]

LINES = 200_000
FEW = 5_000
RATE = 250_000
RATIO = 1.5
UNIT = "lines/s"
HEAD = "G17 G21 G90 G94\nF500\nG0 X0 Y0 Z5\n"

_NODE = """
const fs = require('fs');
const found = require('gcode-toolpath');
const Toolpath = found.default || found;
const text = fs.readFileSync(process.argv[1], 'utf8');
const runs = [];
let last = null, count = 0;
for (let round = 0; round < 5; round++) {
  const out = [];
  const begin = process.cpuUsage();
  const path = new Toolpath({
    addLine: (modal, from, to) => out.push([modal.motion, to.x, to.y, to.z]),
    addArcCurve: (modal, from, to, centre) =>
      out.push([modal.motion, to.x, to.y, to.z, centre.x, centre.y]),
  });
  path.loadFromStringSync(text);
  const spent = process.cpuUsage(begin);
  runs.push((spent.user + spent.system) / 1e6);
  last = out[out.length - 1];
  count = out.length;
}
console.log(JSON.stringify({ seconds: runs, motions: count, last: last }));
"""


def _body(count: int) -> str:
    return "".join(
        f"G1 X{k * 0.013:.4f} Y{k % 40:.4f} Z{3 + k % 5 * 0.1:.4f}\n" for k in range(count)
    )


def reading() -> Iterator[Row]:
    """Lines a second of the reader, plain and in full, and of each parser that is installed."""
    from corepath.gcode.read.motions import read_program

    text = f"{HEAD}{_body(LINES)}M2\n"
    few = f"{HEAD}{_body(FEW)}"
    ends = read_program(text, "x.nc").end
    ours = Figure.rate(LINES, UNIT, cpu(lambda: read_program(text, "x.nc")))
    yield Row("reading modal lines", ours, RATE, least=True)
    full = cpu(lambda: read_program(few + "M2\n", "x.nc", fast=False), 3)
    yield Row("reading, every line in full", Figure.rate(FEW, UNIT, full))
    rivals = {
        "gcode-toolpath": _toolpath(text, ends[-1]),
        "gcode-machine": _machine(few),
        "pygcode": _pygcode(few),
    }
    known = {name: figure for name, figure in rivals.items() if figure is not None}
    for name, figure in known.items():
        yield Row(f"reading, {name}", figure, note="the same motions")
    words = _gcodeparser(few)
    if words is not None:
        yield Row("reading, gcodeparser", words, note="words only, no baseline")
    missing = ", ".join(name for name in rivals if name not in known)
    fastest = max(known, key=lambda name: known[name].best, default="")
    note = f"not installed: {missing}" if missing else ""
    yield Row(
        "reading against other parsers",
        ours,
        RATIO if known else None,
        fastest,
        known.get(fastest),
        None,
        True,
        note,
    )


def _toolpath(text: str, last: np.ndarray) -> Figure | None:
    node = shutil.which("node")
    if node is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "x.nc"
        file.write_text(text, encoding="ascii")
        done = subprocess.run(
            [node, "-e", _NODE, str(file)], capture_output=True, text=True, check=False
        )
    if done.returncode:
        return None
    told = json.loads(done.stdout)
    if told["motions"] != LINES + 1 or not np.allclose(told["last"][1:4], last):
        raise AssertionError("gcode-toolpath gives other motions")
    return Figure.rate(LINES, UNIT, Timed(tuple(told["seconds"])))


def _pygcode(text: str) -> Figure | None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            import pygcode
        except ImportError:
            return None

        def run() -> None:
            machine = pygcode.Machine()
            for line in text.splitlines():
                machine.process_block(pygcode.Line(line).block)

        return Figure.rate(FEW, UNIT, cpu(run, 2))


def _machine(text: str) -> Figure | None:
    try:
        from gcode_machine import GcodeMachine
    except ImportError:
        return None

    def run() -> None:
        machine = GcodeMachine()
        for line in text.splitlines():
            machine.set_line(line)
            machine.parse_state()
            machine.done()

    return Figure.rate(FEW, UNIT, cpu(run, 3))


def _gcodeparser(text: str) -> Figure | None:
    try:
        from gcodeparser import parse_gcode_lines
    except ImportError:
        return None
    return Figure.rate(FEW, UNIT, cpu(lambda: list(parse_gcode_lines(text)), 3))
