"""The reader against parsers of the registries, on the same modal lines, in one run.

Only what returns the same motions is a baseline for the ratio: the npm package gcode-toolpath gives start and end of
each line and arc, and pygcode's machine the place after each block; gcode-machine tracks it too. gcodeparser gives
words without a modal state, so it is named beside them, not as a baseline. What is not installed is said so:
`pip install pygcode gcodeparser gcode-machine`, `npm install gcode-toolpath` and NODE_PATH to its node_modules.
Times are CPU seconds of the process, best of several, so that other work on the machine counts on neither side.
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

from tests.benchmarks.timing import cpu

__all__ = ["reading"]

LINES = 200_000
FEW = 5_000
RATE = 250_000
RATIO = 1.5
HEAD = "G17 G21 G90 G94\nF500\nG0 X0 Y0 Z5\n"

_NODE = """
const fs = require('fs');
const found = require('gcode-toolpath');
const Toolpath = found.default || found;
const text = fs.readFileSync(process.argv[1], 'utf8');
let best = 1e9, last = null, count = 0;
for (let round = 0; round < 5; round++) {
  const out = [];
  const begin = process.cpuUsage();
  const path = new Toolpath({
    addLine: (modal, from, to) => out.push([modal.motion, to.x, to.y, to.z]),
    addArcCurve: (modal, from, to, centre) => out.push([modal.motion, to.x, to.y, to.z, centre.x, centre.y]),
  });
  path.loadFromStringSync(text);
  const spent = process.cpuUsage(begin);
  best = Math.min(best, (spent.user + spent.system) / 1e6);
  last = out[out.length - 1];
  count = out.length;
}
console.log(JSON.stringify({ seconds: best, motions: count, last: last }));
"""


def _body(count: int) -> str:
    return "".join(f"G1 X{k * 0.013:.4f} Y{k % 40:.4f} Z{3 + k % 5 * 0.1:.4f}\n" for k in range(count))


def reading() -> Iterator[str]:
    """Lines a second of the reader, plain and in full, and of each parser that is installed."""
    from corepath.readback.motions import read_program

    text = f"{HEAD}{_body(LINES)}M2\n"
    few = f"{HEAD}{_body(FEW)}"
    ends = read_program(text, "x.nc").end
    ours = LINES / cpu(lambda: read_program(text, "x.nc"))
    full = FEW / cpu(lambda: read_program(few + "M2\n", "x.nc", fast=False), 3)
    yield f"{'ok' if ours >= RATE else 'OVER':5}reading: {ours:,.0f} modal lines/s; target {RATE:,}"
    yield f"     every line in full: {full:,.0f} lines/s"
    rivals = {"gcode-toolpath": _toolpath(text, ends[-1]), "gcode-machine": _machine(few), "pygcode": _pygcode(few)}
    known = {name: rate for name, rate in rivals.items() if rate}
    for name, rate in rivals.items():
        yield f"     {name}: {rate:,.0f} lines/s, the same motions" if rate else f"     {name}: not installed"
    words = _gcodeparser(few)
    yield f"     gcodeparser: {words:,.0f} lines/s, words only" if words else "     gcodeparser: not installed"
    if known:
        fastest = max(known, key=lambda name: known[name])
        ratio = ours / known[fastest]
        yield f"{'ok' if ratio >= RATIO else 'OVER':5}reading: {ratio:.1f} x {fastest}; target {RATIO:g} x"


def _toolpath(text: str, last: np.ndarray) -> float | None:
    node = shutil.which("node")
    if node is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "x.nc"
        file.write_text(text, encoding="ascii")
        done = subprocess.run([node, "-e", _NODE, str(file)], capture_output=True, text=True, check=False)
    if done.returncode:
        return None
    told = json.loads(done.stdout)
    if told["motions"] != LINES + 1 or not np.allclose(told["last"][1:4], last):
        raise AssertionError("gcode-toolpath gives other motions")
    return float(LINES / told["seconds"])


def _pygcode(text: str) -> float | None:
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

        return FEW / cpu(run, 2)


def _machine(text: str) -> float | None:
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

    return FEW / cpu(run, 3)


def _gcodeparser(text: str) -> float | None:
    try:
        from gcodeparser import parse_gcode_lines
    except ImportError:
        return None
    return FEW / cpu(lambda: list(parse_gcode_lines(text)), 3)
