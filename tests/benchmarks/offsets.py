"""Timed ratios of the deck: offset surface against grey dilation, growth with cutter and area, the whole program."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import box

from tests.benchmarks.timing import cpu

__all__ = ["offsets"]

Array = NDArray[np.float64]

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "board-1280.toml"
STEP = 0.5
SHAPES = (("flat", 0.0), ("bull", 0.25), ("ball", 0.5))
DIAMETERS = (16.0, 25.0, 32.0)


@dataclass(frozen=True)
class Crop:
    """A part of a deck, level beyond it."""

    xs: Array
    ys: Array
    grid: Array
    edge: float
    whole: Any

    def __getattr__(self, name: str) -> Any:
        return getattr(self.whole, name)


def offsets() -> Iterator[str]:
    """Lines of the table; CPU seconds of the quickest of three, both sides in turn."""
    from corepath.planning.prepare import prepare

    prepared = prepare(SAMPLE)
    yield from _against_dilation(prepared.board.deck)
    yield from _program(next(work for work in prepared.works if work.name == "deck"))


def _against_dilation(deck: Any) -> Iterator[str]:
    from scipy.ndimage import grey_dilation

    from corepath.motion.cutter import Cutter
    from corepath.operations.offsetting import CutterOffset

    xs, ys = np.arange(-639.75, 640.0, STEP), np.arange(-209.75, 210.0, STEP)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    ground = deck.height(x, y)
    for shape, share in SHAPES:
        spent = {}
        for diameter in DIAMETERS:
            corner = share * diameter
            offset = CutterOffset(deck, Cutter(1, shape, diameter, corner, 2, 30.0, 40.0))
            offset.tip(x[:2], y[:2])
            spent[diameter] = cpu(lambda offset=offset: offset.tip(x, y), 3)  # type: ignore[misc]
            reach = int(diameter / 2 / STEP)
            along = np.arange(-reach, reach + 1) * STEP
            away = np.hypot(along[:, None], along[None, :])
            out = np.clip(away - (diameter / 2 - corner), 0.0, corner)
            rise = corner - np.sqrt(corner**2 - out**2)
            under = away <= diameter / 2

            def dilate(under: Any = under, rise: Any = rise) -> object:
                return grey_dilation(ground, footprint=under, structure=-rise, mode="nearest")

            theirs = cpu(dilate, 1 if diameter > 16.0 else 3)
            verdict = "ok" if spent[diameter] <= theirs else "OVER"
            yield (
                f"{verdict:5}offset of the deck at {STEP:g} mm, {shape} D{diameter:g}: {spent[diameter]:.2f} s, "
                f"{spent[diameter] / theirs:.2f} x grey_dilation ({theirs:.2f} s); target 1"
            )
        power = np.polyfit(np.log(DIAMETERS), np.log([spent[d] for d in DIAMETERS]), 1)[0]
        verdict = "ok" if power < 0.6 else "OVER"
        yield f"{verdict:5}offset, {shape}: time grows with the diameter to the power {power:.2f}; limit 0.6"
    tracemalloc.start()
    offset.tip(x, y)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    each = peak / x.size
    yield f"{'ok' if each < 64 else 'OVER':5}offset: {each:.0f} bytes a place at the peak; target 64"


def _program(work: Any) -> Iterator[str]:
    from corepath.operations.surfacing import finished

    finished(work)
    whole = cpu(lambda: finished(work), 2)
    yield f"{'ok' if whole < 20 else 'OVER':5}deck program of board-1280: {whole:.1f} CPU s; target 20"
    areas, spent = [], []
    for share in (0.25, 0.5, 1.0):
        part = _cropped(work, share)
        areas.append(part.blank.area)
        spent.append(cpu(lambda part=part: finished(part, rounds=1), 2))  # type: ignore[misc]
    power = np.polyfit(np.log(areas), np.log(spent), 1)[0]
    verdict = "ok" if power < 1.2 else "OVER"
    yield f"{verdict:5}deck program, laid once: time grows with the area to the power {power:.2f}; target 1.2"


def _cropped(work: Any, share: float) -> Any:
    """The same deck of a blank that is shorter at both ends."""
    surface, (left, low, right, high) = work.deck.surface, work.blank.bounds
    inside = np.abs(surface.xs) <= share * right + 1e-9
    part = Crop(surface.xs[inside], surface.ys, surface.grid[inside], surface.edge, surface)
    blank = box(share * left, low, share * right, high)
    return replace(work, blank=blank, deck=replace(work.deck, area=blank, surface=part, openings=()))
