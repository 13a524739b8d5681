"""`geometry.json`: what an independent program needs, besides the files, to check them with numpy
alone.

Polygons keep within 0.005 mm and stand in the bed frame of their set-up (B already mirrored);
`floor` and `top` are heights above its bed. The deck's heights stand on a 1 mm grid in the board
frame.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from shapely import Polygon

from corepath.board.deck.make_deck import FILE_GRAIN
from corepath.job.text.schema import GEOMETRY, KEY
from corepath.planning.folder.held_deck import grid_over
from corepath.planning.prepare import Prepared
from corepath.work import Hole, Work

__all__ = ["geometry_dict"]

SIMPLIFY = 0.002
"""mm by which vertices may be thinned; with the 0.001 of the polygons themselves well within
0.005."""

CHORD = 0.002
"""mm by which a bore's polygon may pass inside its circle."""


def geometry_dict(prepared: Prepared) -> dict[str, Any]:
    """Return outline, areas and bores with set-up and heights, and the deck's grid; lengths in
    mm."""
    areas: list[dict[str, Any]] = []
    for work in prepared.works:
        areas += [
            {
                "id": p.id,
                "kind": "pocket",
                **_named(work),
                "top": _round(p.top),
                "floor": _round(p.floor),
                **_polygon(p.area),
            }
            for p in work.pockets
        ]
        if work.trim is not None:
            trim = work.trim
            areas.append(
                {
                    "id": "trim",
                    "kind": "kept",
                    **_named(work),
                    "web": trim.web,
                    **_polygon(trim.area),
                }
            )
        areas += [_bore(work, hole, k) for hole in work.holes for k in range(len(hole.steps))]
    return {
        KEY: GEOMETRY.newest,
        "plan": prepared.digest,
        "units": "mm",
        "frame": "polygons: bed frame of their set-up, origin at the middle of the blank; deck: "
        "board frame",
        "outline": _ring(prepared.board.outline.exterior.coords),
        "areas": areas,
        "deck": _deck(prepared),
    }


def _named(work: Work) -> dict[str, Any]:
    return {"operation": work.name, "setup": work.setup}


def _bore(work: Work, hole: Hole, k: int) -> dict[str, Any]:
    step = hole.steps[k]
    top = hole.top if k == 0 else hole.steps[k - 1].floor
    radius = step.diameter / 2
    # Chords of n equal parts pass inside the circle by r (1 - cos(pi / n)); at least 24, so that
    # small bores are round too.
    count = max(24, math.ceil(math.pi / math.acos(1 - CHORD / radius)))
    angles = np.arange(count) * (2 * math.pi / count)
    circle = np.column_stack([hole.x + radius * np.cos(angles), hole.y + radius * np.sin(angles)])
    return {
        "id": hole.id,
        "kind": "bore",
        **_named(work),
        "at": [_round(hole.x), _round(hole.y)],
        "diameter": _round(step.diameter),
        "top": _round(top),
        "floor": _round(step.floor),
        "outer": [[_round(x), _round(y)] for x, y in circle],
        "holes": [],
    }


def _polygon(area: Polygon) -> dict[str, Any]:
    thinned = area.simplify(SIMPLIFY)
    return {
        "outer": _ring(thinned.exterior.coords),
        "holes": [_ring(hole.coords) for hole in thinned.interiors],
    }


def _ring(coords: Any) -> list[list[float]]:
    return [[_round(x), _round(y)] for x, y in list(coords)[:-1]]


def _round(value: float) -> float:
    return round(float(value), 4) + 0.0


def _deck(prepared: Prepared) -> dict[str, Any]:
    deck, blank = prepared.board.deck, prepared.job.blank
    x0, y0, grid = grid_over(deck, blank.length, blank.width)
    # Of a deck from a file these are the only heights that the folder has: they are kept finer.
    decimals = 4 if deck.source.sha256 is None else FILE_GRAIN
    return {
        "x0": _round(x0),
        "y0": _round(y0),
        "step": 1.0,
        "h": (np.round(grid, decimals) + 0.0).tolist(),
    }
