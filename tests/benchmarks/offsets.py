"""Timed ratios of the deck: offset surface against grey dilation, growth with cutter and area, the
whole program."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Any, Literal

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import box

from corepath.board.deck.surface import DeckSurface
from tests.benchmarks.table import Figure, Row
from tests.benchmarks.timing import SAMPLE, Timed, cpu, peak_memory

__all__ = ["offsets"]

Array = NDArray[np.float64]

STEP = 0.5
SHAPES: tuple[tuple[Literal["flat", "bull", "ball"], float], ...] = (
    ("flat", 0.0),
    ("bull", 0.25),
    ("ball", 0.5),
)
DIAMETERS = (16.0, 25.0, 32.0)


def offsets() -> Iterator[Row]:
    """All rows of this module; CPU seconds, both sides in turn."""
    from corepath.planning.prepare import prepare

    prepared = prepare(SAMPLE)
    yield from _against_dilation(prepared.board.deck)
    yield from _program(next(work for work in prepared.works if work.name == "deck"))
    yield _kept(prepare(SAMPLE.with_name("coupon.toml")))
    yield _split(prepare(SAMPLE.with_name("pads-900.toml")))


def _against_dilation(deck: Any) -> Iterator[Row]:
    from scipy.ndimage import grey_dilation

    from corepath.motion.cutter import Cutter
    from corepath.operations.deck.drop_cutter import DropCutter

    xs, ys = np.arange(-639.75, 640.0, STEP), np.arange(-209.75, 210.0, STEP)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    ground = deck.height(x, y)
    for shape, share in SHAPES:
        spent: list[tuple[float, Timed]] = []
        for diameter in DIAMETERS:
            corner = share * diameter
            offset = DropCutter(deck, Cutter(1, shape, diameter, corner, 2, 30.0, 40.0))
            offset.tip(x[:2], y[:2])
            ours = cpu(partial(offset.tip, x, y), 3)
            spent.append((diameter, ours))
            reach = int(diameter / 2 / STEP)
            along = np.arange(-reach, reach + 1) * STEP
            away = np.hypot(along[:, None], along[None, :])
            out = np.clip(away - (diameter / 2 - corner), 0.0, corner)
            rise = corner - np.sqrt(corner**2 - out**2)
            under = away <= diameter / 2

            def dilate(under: Any = under, rise: Any = rise) -> object:
                return grey_dilation(ground, footprint=under, structure=-rise, mode="nearest")

            theirs = cpu(dilate, 1 if diameter > 16.0 else 3)
            name = f"offset of the deck at {STEP:g} mm, {shape} D{diameter:g}"
            yield Row.against(name, ours, "grey_dilation of scipy", theirs, 1.0)
        yield Row.growing(f"offset of the deck, {shape}, by diameter", "mm of diameter", spent, 0.6)
    each = peak_memory(lambda: offset.tip(x, y)) / x.size
    yield Row("offset of the deck, memory", Figure(each, "bytes a place"), 64.0)


def _program(work: Any) -> Iterator[Row]:
    from corepath.operations.deck.surfacing import finished

    finished(work)
    yield Row("deck program of board-1280", Figure.of(cpu(lambda: finished(work), 2)), 20.0)
    spent: list[tuple[float, Timed]] = []
    for share in (0.25, 0.5, 1.0):
        part = _cropped(work, share)
        spent.append((part.blank.area, cpu(partial(finished, part, rounds=1), 2)))
    yield Row.growing("deck program, laid once", "mm² of blank", spent, 1.2)


def _kept(prepared: Any) -> Row:
    """The deck of the coupon, laid and mended several times, against the same with the height of
    each place searched for each time."""
    from corepath.operations.deck import drop_cutter
    from corepath.operations.deck.surfacing import finished

    work = next(one for one in prepared.works if one.deck is not None and one.deck.rough == 0.0)
    finished(work)
    ours = cpu(lambda: finished(work), 3)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drop_cutter, "_MANY", 0)
        theirs = cpu(lambda: finished(work), 3)
    return Row.against("deck of the coupon, heights kept", ours, "each searched", theirs, 0.75)


def _split(prepared: Any) -> Row:
    """The deck's path where its ridges are searched in small cells and in coarse ones."""
    from corepath.operations.deck import deck_finish
    from corepath.operations.deck.surfacing import finished

    work = next(work for work in prepared.works if work.name == "deck")
    ours = cpu(lambda: finished(work), 2)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(deck_finish, "_PLACES_A_CELL", math.inf)
        theirs = cpu(lambda: finished(work), 2)
    return Row.against("deck of pads-900, small cells", ours, "coarse cells", theirs, 0.9)


def _cropped(work: Any, share: float) -> Any:
    """The same deck of a blank that is shorter at both ends."""
    surface, (left, low, right, high) = work.deck.surface, work.blank.bounds
    inside = np.abs(surface.xs) <= share * right + 1e-9
    part = DeckSurface(surface.xs[inside], surface.ys, surface.grid[inside], surface.edge)
    blank = box(share * left, low, share * right, high)
    return replace(
        work, blank=blank, deck=replace(work.deck, area=blank, surface=part, openings=())
    )
