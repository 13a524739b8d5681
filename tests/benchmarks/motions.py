"""Motions: writing them against a plain loop, and how fitting, timing and cutting grow with
them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.table import Row
from tests.benchmarks.timing import cpu

__all__ = ["growth", "writing"]

MOVES = 50_000


def writing() -> Iterator[Row]:
    """The writer against one f-string for each move: it also rounds, drops what repeats, and tracks
    extents."""
    from corepath.gcode.write import Heading, write
    from corepath.job.model import MachineSection
    from corepath.motion.cutter import Cutter, Cutting
    from corepath.motion.program import Pass, Program, Zero, line, rapid

    moves = [rapid(0, 0, 23.6)]
    moves += [line(300 * math.sin(k), k * 0.001, 10 + math.cos(k), 1000.0) for k in range(MOVES)]
    moves += [rapid(moves[-1].x, moves[-1].y, 23.6)]
    program = Program(
        "03-A-groove", 3, "A", "groove", Cutter(3, "flat", 6.0, 0.0, 2, 22.0, 30.0),
        Cutting(18000, 3600, 1800, 1188, 3, 2.4), Zero(0.0, 0.0, 0.0, "the bed", True), 23.6, (0.0,
            -200.0),
        (Pass.of(moves),),
    )  # fmt: skip
    machine = MachineSection(travel=(1500.0, 620.0, 90.0))

    def ours() -> object:
        return write(program, Heading("x", "0", "deck up", 1.0, None), machine=machine, units="mm")

    def loop() -> object:
        return "\n".join(f"G1 X{move.x:.4f} Y{move.y:.4f} Z{move.z:.4f}" for move in moves)

    yield Row.against(f"writing {MOVES:,} moves", cpu(ours), "one f-string a move", cpu(loop), 10.0)


def growth() -> Iterator[Row]:
    """What must grow with the length of a path, not with its square nor with the blank."""
    from corepath.motion.clock import Limits, seconds
    from corepath.motion.fit import fit_arcs
    from corepath.motion.program import Move, line
    from corepath.stock.contact_kernels import Underside
    from corepath.stock.material import Stock

    def circle(count: int) -> NDArray[np.float64]:
        turn = np.linspace(0, 2 * math.pi, count)
        return np.column_stack([600 * np.cos(turn), 600 * np.sin(turn), np.zeros(count)])

    def path(count: int) -> list[Move]:
        return [line(k * 0.3, math.sin(k * 0.01) * 50, 0.0, 3000.0) for k in range(count)]

    def cut(length: float) -> Callable[[], object]:
        angle = np.linspace(0, 40 * np.pi, 20_001)
        places = np.stack((40 * np.cos(angle), 40 * np.sin(angle), 10 - angle / 40), axis=1)
        numbers = np.arange(20_000, dtype=np.int64)
        return lambda: Stock(length, length, 12.0).cut(
            places[:-1], places[1:], numbers, 20_000, Underside(5.0, 5.0, 0.0)
        )

    fit_arcs(circle(50), feed=1)
    fitted = [(n, cpu(partial(fit_arcs, circle(n), feed=1))) for n in (5_000, 10_000, 20_000)]
    yield Row.growing("fitting arcs", "points", fitted, 1.25)
    limits = Limits(6000.0, 500.0, 0.02)
    seconds(path(100), limits)
    timed = [(n, cpu(partial(seconds, path(n), limits))) for n in (10_000, 20_000, 40_000)]
    yield Row.growing("timing moves", "moves", timed, 1.25)
    cut(100)()
    spent = [(length * length, cpu(cut(length))) for length in (200.0, 400.0)]
    yield Row.growing("cutting the same path in a larger blank", "mm²", spent, 0.66)
