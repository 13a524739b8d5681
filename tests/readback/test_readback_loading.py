"""The loops loaded ahead of time are those that a read-back runs."""

from __future__ import annotations

from corepath.stock.column_kernels import cut_pieces, fill_polygon
from corepath.stock.exact_kernels import sweep_points
from corepath.stock.loading import load_loops


def test_a_loop_is_loaded_for_other_types_than_the_read_back_has(plan) -> None:
    """Each process would load, or in a first run compile, the right one besides."""
    load_loops()
    plan.read()
    for loop in (cut_pieces, fill_polygon, sweep_points):
        assert len(loop.signatures) == 1, loop
