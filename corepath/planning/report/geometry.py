"""`geometry.json`: what an independent program needs, besides the files, to check them with numpy
alone.

Polygons keep within 0.005 mm and stand in the bed frame of their set-up (B already mirrored);
`floor` and `top` are heights above its bed. The deck's heights stand on a 1 mm grid in the board
frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from corepath.board.deck.make_deck import FILE_GRAIN
from corepath.geometry.polygons import Rings, rings_of
from corepath.job.text.schema import GEOMETRY, KEY
from corepath.planning.folder.held_deck import grid_over
from corepath.planning.prepare import Prepared
from corepath.reported import Key, report_keys, reported
from corepath.work import Work
from corepath.work.cutting.waste import finished_area

__all__ = ["geometry_dict"]

SIMPLIFY = 0.002
"""mm by which vertices may be thinned; with the 0.001 of the polygons themselves well within
0.005."""

CHORD = 0.002
"""mm by which a bore's polygon may pass inside its circle."""


@report_keys(
    "id", "kind", Key("operation", "work.name"), Key("setup", "work.setup"),
    Key("at", optional=True), Key("diameter", optional=True), Key("top", optional=True),
    Key("floor", optional=True), Key("web", places=None, optional=True),
    Key("outer", "rings.outer"), Key("holes", "rings.holes"),
)  # fmt: skip
class Area(NamedTuple):
    """An area that a work cuts from `top` down to `floor`, or keeps: a bore has its middle and
    diameter, what is kept until trimming the `web` under it."""

    id: str
    kind: str
    work: Work
    rings: Rings
    top: float | None = None
    floor: float | None = None
    at: tuple[float, float] | None = None
    diameter: float | None = None
    web: float | None = None


def geometry_dict(prepared: Prepared) -> dict[str, Any]:
    """Return outline, areas and bores with set-up and heights, and the deck's grid; lengths in
    mm."""
    return {
        KEY: GEOMETRY.newest,
        "plan": prepared.digest,
        "units": "mm",
        "frame": "polygons: bed frame of their set-up, origin at the middle of the blank; deck: "
        "board frame",
        "outline": reported(rings_of(prepared.board.outline).outer),
        "finished": _finished(prepared),
        "areas": reported(area for work in prepared.works for area in _areas(work)),
        "deck": _deck(prepared),
    }


def _areas(work: Work) -> Iterator[Area]:
    for pocket in work.pockets:
        rings = rings_of(pocket.area, SIMPLIFY)
        yield Area(pocket.id, "pocket", work, rings, pocket.top, pocket.floor)
    if work.trim is not None:
        rings = rings_of(work.trim.area, SIMPLIFY)
        yield Area("trim", "kept", work, rings, web=work.trim.web)
    for hole in work.holes:
        top = hole.top
        for step in hole.steps:
            at, size = (hole.x, hole.y), step.diameter
            rings = Rings(_circle(hole.x, hole.y, size / 2.0))
            yield Area(hole.id, "bore", work, rings, top, step.floor, at, size)
            top = step.floor


def _finished(prepared: Prepared) -> Any:
    """Return the rings of what is finished of the deck; None where that is the whole blank."""
    area = finished_area(prepared.job, prepared.board)
    if area is None:
        return None
    rings = rings_of(area, SIMPLIFY)
    return {"outer": reported(rings.outer), "holes": reported(rings.holes)}


def _circle(x: float, y: float, radius: float) -> list[tuple[float, float]]:
    # Chords of n equal parts pass inside the circle by r (1 - cos(pi / n)); at least 24, so that
    # small bores are round too.
    count = max(24, math.ceil(math.pi / math.acos(1 - CHORD / radius)))
    angles = np.arange(count) * (2 * math.pi / count)
    xs, ys = x + radius * np.cos(angles), y + radius * np.sin(angles)
    return list(zip(xs.tolist(), ys.tolist(), strict=True))


def _deck(prepared: Prepared) -> dict[str, Any]:
    deck, blank = prepared.board.deck, prepared.job.blank
    x0, y0, grid = grid_over(deck, blank.length, blank.width)
    # Of a deck from a file these are the only heights that the folder has: they are kept finer.
    decimals = 4 if deck.source.sha256 is None else FILE_GRAIN
    heights = (np.round(grid, decimals) + 0.0).tolist()
    return {"x0": reported(x0), "y0": reported(y0), "step": 1.0, "h": heights}
