"""Ratios and rates that the read-back promises; processor time, generous so that a loaded machine passes."""

from __future__ import annotations

import time

import numpy as np

from corepath.readback.material import Stock
from corepath.readback.motions import read_program


def test_plain_lines_are_read_fast():
    """At least 100,000 modal lines a second here (250,000 on an idle machine); a slip to the full reader is a third."""
    head = "G17 G21 G90 G94\nG0 X0 Y0 Z5\nG1 F500\n".replace("G1 F500", "F500\nG1 Z4")
    text = head + "".join(f"X{i * 0.013:.4f} Y{i % 40:.4f} Z{3 + i % 5 * 0.1:.4f}\n" for i in range(100_000)) + "M2\n"
    begin = time.process_time()
    program = read_program(text, "x.nc")
    spent = time.process_time() - begin
    assert program.count == 100_002
    assert spent < 1.0


def test_cutting_grows_with_the_path_not_with_the_blank():
    """Ten thousand pieces on a blank four times as large may not take four times as long."""

    def spent(length: float, width: float) -> float:
        stock = Stock(length, width, 12.0)
        angle = np.linspace(0, 40 * np.pi, 20_001)
        path = np.stack((40 * np.cos(angle), 40 * np.sin(angle), 10 - angle / 40), axis=1)
        begin = time.process_time()
        stock.cut(path[:-1], path[1:], np.arange(20_000, dtype=np.int64), 20_000, 5.0, 5.0)
        return time.process_time() - begin

    spent(100, 100)
    small = min(spent(200, 200) for _ in range(3))
    large = min(spent(400, 400) for _ in range(3))
    assert large < 2.0 * small + 0.05
