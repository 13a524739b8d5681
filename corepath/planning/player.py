"""Turn the read-back into the preview: motions as straight pieces, the clock's times, the blank
before, while and after each file runs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
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
from corepath.readback.cut_stages import cut_stages
from corepath.readback.foreign.timing import motion_seconds
from corepath.readback.remaining import KeptBlank, Remaining
from corepath.readback.result import FileStep, ReadBack
from corepath.readback.steps import few
from corepath.stock.kept_face import KeptFace
from corepath.stock.material import NOWHERE, Singles
from corepath.stock.path import Path
from corepath.views.drawings.scene import Scene
from corepath.views.player import (
    DWELL,
    RAPID,
    SPINDLE,
    STOP,
    Cuts,
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

_STAGES = 48
"""Stages of a file of which the page holds the cut: it sweeps the cutter itself over less than one
of them, whatever place is asked for."""

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
    faces = _Unpacked()
    return tuple(
        _reel(prepared, readback, step, texts[step.file], faces) for step in readback.steps
    )


def _reel(
    prepared: Prepared, readback: ReadBack, step: FileStep, text: str, faces: _Unpacked
) -> PlayedFile:
    units = units_of(prepared.job.units)
    table = _table(step.path, prepared.job.machine.motion_limits)
    return PlayedFile(
        file=step.file,
        setup=step.setup,
        name=step.name,
        face_up=pose_of(prepared.job, cast(Setup, step.setup)).caption,
        text=text,
        cutter=step.path.cutter,
        zero=step.zero,
        motions=_motions(table, step.zero),
        before=faces.blank(step.kept_before),
        after=faces.blank(step.kept_after),
        shapes=_shapes(prepared, step),
        left=tuple(
            (m.id, units.text(f"{in_unit(m.value, m.unit):.3f}"), units.text(m.message))
            for m in readback.measures
            if m.file == step.file
        ),
        cuts=_cuts(step, table),
    )


def motions(path: Path, zero: tuple[float, float, float], limits: Limits) -> Motions:
    """Return the pieces of one file in its own coordinates, mm: arcs as chords, dwells and stops as
    pieces of no length.

    `zero` is where the program's zero lies on the bed, `limits` give the time of each motion.
    """
    return _motions(_table(path, limits), zero)


def _motions(table: Floats, zero: tuple[float, float, float]) -> Motions:
    return Motions(
        points=table[:, :3] - zero,
        line=table[:, 3].astype(np.int64),
        flags=table[:, 4].astype(np.int64),
        feed=table[:, 5],
        time=np.cumsum(table[:, 6]),
    )


def _cuts(step: FileStep, table: Floats) -> Cuts:
    """Return what the stages of a file cut, each of about the same time."""
    motion, ends = table[:, 7].astype(np.int64), np.cumsum(table[:, 6])
    if motion[-1] < 0:
        return Cuts.none()
    # A stage ends with a whole motion. The last is left out: after it the blank is known.
    rows = np.searchsorted(ends, ends[-1] * np.arange(1, _STAGES) / _STAGES)
    last = np.unique(motion[rows])
    last = last[(last >= 0) & (last < motion[-1])]
    stages = tuple(cut_stages(step, last))
    tops = [np.where(one.tops > NOWHERE / 2.0, one.tops, np.nan) for one in stages]
    return Cuts(
        # with the waits behind its last motion
        rows=np.searchsorted(motion, last, side="right") - 1,
        counts=np.array([len(one.columns) for one in stages], dtype=np.int64),
        columns=np.concatenate([np.empty(0), *(one.columns for one in stages)]).astype(np.int32),
        tops=np.concatenate([np.empty(0), *tops]).astype(np.float32),
    )


def _table(path: Path, limits: Limits) -> Floats:
    """Return the pieces of a file on the bed, a row (8,) for each: its end x, y, z, its line, flags
    and feed, the seconds that it takes, and the motion that it belongs to, -1 for the first row."""
    spent, _ = motion_seconds(path, limits)
    lower, upper, owner = flatten(path.kind, path.start, path.end, path.centre, CHORDS)
    count = np.bincount(owner, minlength=len(path.kind))
    feed = np.where(path.kind > 0, np.nan_to_num(path.program.feed[path.index]), 0.0)
    flags = np.where(path.kind == 0, RAPID, 0) | np.where(path.spindle, SPINDLE, 0)
    # One row a chord. The time of an arc is shared equally among its chords, which are equally
    # long.
    table = np.column_stack(
        [
            upper,
            path.line[owner],
            flags[owner],
            feed[owner],
            spent[owner] / np.maximum(count, 1)[owner],
            owner,
        ]
    )
    table = _with_marks(path, table, owner)
    # Row 0 is where the cutter stands at first: pieces are drawn from the row before to their own.
    first = [
        *(lower[0] if len(lower) else (0.0, 0.0, 0.0)),
        *(table[0, 3:5] if len(table) else (1, 0)),
        0.0,
        0.0,
        -1.0,
    ]
    return np.vstack([first, table])


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
        waits = event.value if mark == DWELL else 0.0
        rows.append([*here, event.line, mark | turning, 0.0, waits, owner[at - 1] if at else -1])
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
    outline, castings = prepared.board.outline, prepared.board.castings
    return (
        *_lines("outline", scene.seen(outline)),
        *(line for obstacle in work.obstacles for line in _lines("obstacle", obstacle.area)),
        *(line for casting in castings for line in _lines("casting", scene.seen(casting.area))),
    )


def _lines(kind: Literal["outline", "obstacle", "casting"], area: Polygon) -> Iterator[Shape]:
    """Yield the closed lines that bound an area."""
    plain = area.simplify(CHORDS)
    for ring in (plain.exterior, *plain.interiors):
        yield Shape(kind, np.asarray(ring.coords, dtype=np.float64)[:, :2])
