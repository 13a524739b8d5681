"""An outline to compare with, such as that of an old board: where the board reaches beyond it, and
where it stays inside.

It is drawn beneath the board and measured; nothing is cut by it. Board frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import translate

from corepath.board.outline.dxf import read_outline
from corepath.errors import InputError
from corepath.job.model import OutlineSection
from corepath.lengths import Said, mm
from corepath.reported import report_keys

__all__ = ["Apart", "Template", "compare", "read_template"]

FloatArray = NDArray[np.float64]

_SPACING = 0.5
"""Distances are taken at places so far apart along both curves, mm; between two of them a distance
grows by no more than half of it."""

_CHORD = 0.001
"""The curve that distances are measured to may be thinned by this, mm."""

_KEYS = {
    "outline.dxf": "outline.template",
    "outline.layer": "outline.template_layer",
    "outline.dxf_units": "outline.template_units",
}


@report_keys("distance", "x", "y")
@dataclass(frozen=True, slots=True)
class Apart:
    """The greatest distance between two curves on one side, mm, and where it is."""

    distance: float
    x: float
    y: float


@report_keys("file", "beyond", "within")
@dataclass(frozen=True, slots=True)
class Template:
    """An outline to compare with: `file` as the job names it, its `outline`, and how far the board
    reaches `beyond` it and stays `within` it at most."""

    file: str
    outline: Polygon
    beyond: Apart
    within: Apart

    @property
    def line(self) -> str:
        """What `check` says of it."""
        parts = [
            f"{mm(one.distance):.2f~} {side} (X{mm(one.x):.1f} Y{mm(one.y):.1f})"
            for one, side in ((self.beyond, "beyond"), (self.within, "inside"))
        ]
        return Said(f"Against {self.file} the outline lies at most {' and '.join(parts)}.")


def read_template(section: OutlineSection, folder: Path, board: Polygon) -> Template | None:
    """Returns the template of an outline, compared with the `board`; None where there is none.

    Its file is relative to `folder`. Raises InputError as the reading of an outline does.
    """
    if section.template is None:
        return None
    path = folder / section.template
    try:
        found = read_outline(path, section.template_layer, section.template_units, section.join)
    except InputError as error:
        faults = [replace(fault, key=_KEYS.get(fault.key, fault.key)) for fault in error.faults]
        raise InputError(faults) from None
    placed = translate(found, *section.template_at)
    return Template(section.template, placed, *compare(board, placed))


def compare(board: Polygon, other: Polygon) -> tuple[Apart, Apart]:
    """Returns how far the board reaches beyond the other outline and stays within it at most.

    Distances are from places on either curve to the other curve, so that a bay of either counts.
    """
    ours, inside = _distances(board, other)
    theirs, within = _distances(other, board)
    return (
        _greatest(np.vstack([ours[~inside], theirs[within]])),
        _greatest(np.vstack([ours[inside], theirs[~within]])),
    )


def _distances(one: Polygon, other: Polygon) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Returns x, y and distance to the other's edge of places along the edge of `one`, and which of
    them the other covers."""
    places = shapely.get_coordinates(shapely.segmentize(one.exterior, _SPACING))
    edge = other.exterior.simplify(_CHORD)
    shapely.prepare(other)
    apart = shapely.distance(shapely.points(places), edge)
    return np.column_stack([places, apart]), shapely.contains_xy(other, places)


def _greatest(rows: FloatArray) -> Apart:
    """Returns the greatest distance of the rows, the first of equal ones; 0 of none."""
    if not len(rows):
        return Apart(0.0, 0.0, 0.0)
    # rounded, for the same place on every machine
    x, y, apart = rows[int(np.argmax(np.round(rows[:, 2], 6)))]
    return Apart(float(apart), float(x), float(y))
