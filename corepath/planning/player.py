"""Turn the read-back into the preview: motions as straight pieces, the clock's times, the blank
before and after each file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, cast

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.gcode.read.arcs import flatten
from corepath.job.pose import pose_of
from corepath.lengths import in_unit, units_of
from corepath.motion.clock import Limits
from corepath.motion.program import Setup
from corepath.planning.prepare import Prepared
from corepath.readback.foreign.timing import motion_seconds
from corepath.readback.remaining import KeptBlank, Remaining
from corepath.readback.result import FileStep, ReadBack
from corepath.readback.steps import few
from corepath.stock.kept_face import KeptFace
from corepath.stock.material import Singles
from corepath.stock.path import Path
from corepath.views.drawings.scene import Scene
from corepath.views.player import (
    DWELL,
    RAPID,
    SPINDLE,
    STOP,
    Faces,
    Lattice,
    Motions,
    PageHead,
    PlayedBlank,
    PlayedFile,
    Shape,
    preview_html,
)

__all__ = ["CHORDS", "NAME", "motions", "player_page", "reels"]

NAME = "preview.html"

CHORDS = 0.02
"""mm by which a chord shown may lie off its arc: far less than a line on a screen is wide."""

_SOLID_COLUMNS = 60_000
"""Columns of a body in 3-D: 3.5 mm apart on a long board. `--stl` writes all there are."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_MARKS = {"dwell": DWELL, "stop": STOP, "optional-stop": STOP, "tool-change": STOP, "end": STOP}


def player_page(
    prepared: Prepared, readback: ReadBack, texts: Mapping[str, str], warning: str = ""
) -> str:
    """Return the whole page; `texts` are the files that were read (name to text), `warning` is
    shown above everything else."""
    job = prepared.job
    page = preview_html(
        reels(prepared, readback, texts),
        PageHead(job.title, prepared.digest, warning),
        size=(job.blank.length, job.blank.width),
        solids={setup: _few(left) for setup, left in readback.remaining.items()},
        inch=job.units == "inch",
    )
    return units_of(job.units).text(page)


def reels(
    prepared: Prepared, readback: ReadBack, texts: Mapping[str, str]
) -> tuple[PlayedFile, ...]:
    """Return one reel for every file that was read, in the order of the plan."""
    units, faces = units_of(prepared.job.units), _Unpacked()
    return tuple(
        PlayedFile(
            file=step.file,
            setup=step.setup,
            name=step.name,
            face_up=pose_of(prepared.job, cast(Setup, step.setup)).caption,
            text=texts[step.file],
            cutter=step.path.cutter,
            zero=step.zero,
            motions=motions(step.path, step.zero, prepared.job.machine.motion_limits),
            before=faces.blank(step.kept_before),
            after=faces.blank(step.kept_after),
            shapes=_shapes(prepared, step),
            left=tuple(
                (m.id, units.text(f"{in_unit(m.value, m.unit):.3f}"), units.text(m.message))
                for m in readback.measures
                if m.file == step.file
            ),
        )
        for step in readback.steps
    )


def motions(path: Path, zero: tuple[float, float, float], limits: Limits) -> Motions:
    """Return the pieces of one file in its own coordinates, mm: arcs as chords, dwells and stops as
    pieces of no length.

    `zero` is where the program's zero lies on the bed, `limits` give the time of each motion.
    """
    spent, _ = motion_seconds(path, limits)
    lower, upper, owner = flatten(path.kind, path.start, path.end, path.centre, CHORDS)
    count = np.bincount(owner, minlength=len(path.kind))
    feed = np.where(path.kind > 0, np.nan_to_num(path.program.feed[path.index]), 0.0)
    flags = np.where(path.kind == 0, RAPID, 0) | np.where(path.spindle, SPINDLE, 0)
    # One row a chord: end x, y, z, line, flags, feed, seconds. The time of an arc is shared equally
    # among its chords, which are equally long.
    table = np.column_stack(
        [
            upper,
            path.line[owner],
            flags[owner],
            feed[owner],
            spent[owner] / np.maximum(count, 1)[owner],
        ]
    )
    table = _with_marks(path, table, owner)
    # Row 0 is where the cutter stands at first: pieces are drawn from the row before to their own.
    first = [
        *(lower[0] if len(lower) else (0.0, 0.0, 0.0)),
        *(table[0, 3:5] if len(table) else (1, 0)),
        0.0,
        0.0,
    ]
    table = np.vstack([first, table])
    return Motions(
        points=table[:, :3] - zero,
        line=table[:, 3].astype(np.int64),
        flags=table[:, 4].astype(np.int64),
        feed=table[:, 5],
        time=np.cumsum(table[:, 6]),
    )


def _with_marks(path: Path, table: Floats, owner: Ints) -> Floats:
    """Return the rows with those of dwells and stops inserted where they happen."""
    rows, places = [], []
    motion = path.index[owner]
    for event in path.program.events:
        mark = _MARKS.get(event.name)
        if mark is None or not len(table):
            continue
        # Before the first chord of the motion that follows the event, at the place where the one
        # before it ended.
        at = int(np.searchsorted(motion, event.index))
        here = table[at - 1, :3] if at else path.start[0]
        turning = SPINDLE if mark == DWELL and event.spindle else 0
        rows.append([*here, event.line, mark | turning, 0.0, event.value if mark == DWELL else 0.0])
        places.append(at)
    return np.insert(table, places, np.array(rows), axis=0) if rows else table


class _Unpacked:
    """The faces of all states, each unpacked once however many states share it."""

    def __init__(self) -> None:
        self._made: dict[int, Singles] = {}

    def blank(self, kept: KeptBlank) -> PlayedBlank:
        low, high, bottom, top = (self._face(face) for face in kept.faces)
        return _blank(Remaining(kept.setup, kept.grid, (low, high), (bottom, top)))

    def _face(self, kept: KeptFace) -> Singles:
        if id(kept) not in self._made:
            self._made[id(kept)] = kept.face()
        return self._made[id(kept)]


def _few(left: Remaining) -> PlayedBlank:
    """Return a part of the columns that a set-up left, few enough for 3-D."""
    grid, pick = few(left.grid, _SOLID_COLUMNS)
    # copies: a view would hold on to all columns
    wood, casting = (
        (low[pick].copy(), high[pick].copy()) for low, high in (left.wood, left.casting)
    )
    return _blank(Remaining(left.setup, grid, wood, casting))


def _blank(left: Remaining) -> PlayedBlank:
    grid = left.grid
    lattice = Lattice(grid.x0, grid.y0, grid.px, grid.py, grid.nx, grid.ny)
    return PlayedBlank(lattice, Faces(left.wood, left.casting))


def _shapes(prepared: Prepared, step: FileStep) -> tuple[Shape, ...]:
    """Return the board's outline and the obstacles as they lie in the set-up of a step."""
    scene = Scene(prepared.job, prepared.board, prepared.stackup, cast(Setup, step.setup))
    work = next(
        work for work in prepared.works if work.setup == step.setup and work.name == step.name
    )
    shapes = [_shape("outline", scene.seen(prepared.board.outline))]
    shapes += [_shape("obstacle", obstacle.area) for obstacle in work.obstacles]
    return tuple(shapes)


def _shape(kind: Literal["outline", "obstacle"], area: Polygon) -> Shape:
    return Shape(kind, np.asarray(area.simplify(CHORDS).exterior.coords, dtype=np.float64)[:, :2])
