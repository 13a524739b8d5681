"""Timed ratios of paths: planning a metre of path, growth with the points of an outline, a dense
outline from DXF."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from tests.benchmarks.table import Row
from tests.benchmarks.timing import SAMPLE, Timed, cpu

__all__ = ["DENSE", "dense_job", "paths"]

DENSE = 20_000
ROUNDED = 0.001  # mm: spread of points that a drawing rounds to three places
# mm: spread of the points of a traced outline, more than lines and arcs may be thinned by
TRACED = 0.01
COUNTS = (1_250, 2_500, 5_000, 10_000, 20_000)


def dense_job(folder: Path, count: int, noise: float = 0.0) -> Path:
    """The sample's outline as a DXF polyline of `count` points in `folder`, and a job that reads
    it.

    `noise` (mm) is the spread of the points about the curve, as in a traced drawing.
    """
    import ezdxf

    from corepath.planning.prepare import prepare

    ring = prepare(SAMPLE).board.outline.exterior
    at = [ring.interpolate(k / count, normalized=True) for k in range(count)]
    off = np.random.default_rng(7).normal(0.0, noise, (count, 2)) if noise else np.zeros((count, 2))
    drawing = ezdxf.new()
    drawing.header["$INSUNITS"] = 4
    drawing.modelspace().add_lwpolyline(
        [(p.x + dx, p.y + dy) for p, (dx, dy) in zip(at, off, strict=True)],
        close=True,
        dxfattribs={"layer": "outline"},
    )
    drawing.saveas(folder / "dense.dxf")
    text = SAMPLE.read_text()
    begin, end = text.index("[outline]"), text.index("[deck]")
    path = folder / "dense.toml"
    path.write_text(
        f'{text[:begin]}[outline]\ndxf = "dense.dxf"\nlayer = "outline"\n\n{text[end:]}'
    )
    return path


def a_metre_of_path() -> Iterator[Row]:
    """Planning the groove, with entries, crossings and the proof by area, against `buffer(-k step)`
    in a loop."""
    from corepath.motion.clock import Limits, minutes
    from corepath.operations import programs
    from corepath.planning.prepare import prepare

    (work,) = [one for one in prepare(SAMPLE).works if one.name == "groove"]
    (made,) = programs(work)
    # At 1000 mm/min without limits of acceleration, minutes are metres.
    slow = [
        replace(p, moves=tuple(m._replace(feed=1000.0) if m.feed else m for m in p.moves))
        for p in made.passes
    ]
    metres = minutes(slow, Limits(1e9, 1e9, 1e6))

    def plain() -> float:
        area, radius, step = work.pockets[0].area, work.cutter.radius, work.cutting.stepover
        depth = work.pockets[0].top - work.pockets[0].floor
        count, length = math.ceil(depth / work.cutting.depth), 0.0
        for layer in range(1, count + 1):
            z, k, moves = work.pockets[0].top - depth * layer / count, 0, []
            while not (ring := area.buffer(-radius - k * step)).is_empty:
                for part in getattr(ring, "geoms", [ring]):
                    for line in (part.exterior, *part.interiors):
                        moves += [(x, y, z) for x, y in line.coords]
                        length += line.length
                k += 1
        return length / 1000.0

    ours = cpu(lambda: programs(work), 3).times(1.0 / metres)
    theirs = cpu(plain, 3).times(1.0 / plain())
    name, baseline = f"planning a metre of the groove's {metres:.0f}", "plain offset rings"
    yield Row.against(
        name, ours, baseline, theirs, 60.0, "the rings have no entries, no crossings and no proof"
    )


def growth_with_points() -> Iterator[Row]:
    """Exponent of planning time over the points of the outline: 1 is linear."""
    from shapely import Polygon

    from corepath.operations import programs
    from corepath.planning.prepare import prepare

    (work,) = [one for one in prepare(SAMPLE).works if one.name == "groove"]

    def ring(count: int) -> Polygon:
        """A round board with a fine wave of 0.05 mm in its walls, so that no point can be thinned
        away."""
        turn = np.linspace(0.0, math.tau, count, endpoint=False)
        wave = 0.05 * np.cos(np.arange(count) * math.tau / 8)

        def circle(radius: float) -> np.ndarray:
            return np.column_stack([(radius + wave) * np.cos(turn), (radius + wave) * np.sin(turn)])

        return Polygon(circle(206.0), [circle(192.0)])

    spent: list[tuple[float, Timed]] = []
    for count in COUNTS:
        given = replace(work, pockets=(replace(work.pockets[0], area=ring(count)),))
        spent.append((count, cpu(partial(programs, given), 1)))
    yield Row.growing("planning the groove, by points of the outline", "points", spent, 1.25)


def _plan(path: Path) -> None:
    from corepath.planning.plan import plan
    from corepath.planning.prepare import prepare

    plan(prepare(path))


def dense_against_smooth() -> Iterator[Row]:
    """A plan whose outline is a DXF polyline of 20,000 points against the smooth one: whole, and
    its paths.

    Where the points scatter by more than thinning allows, each is a move of its own: no limit, the
    lines tell.
    """
    from corepath.planning.make import make_files, quiet
    from corepath.planning.prepare import prepare

    def lines(path: Path) -> int:
        return sum(made.lines for made in make_files(prepare(path)))

    _plan(SAMPLE)
    plain = cpu(partial(_plan, SAMPLE), 2)
    ready = prepare(SAMPLE)
    bare = cpu(lambda: make_files(ready), 2)
    few = lines(SAMPLE)
    for noise, limit in ((0.0, 3.0), (ROUNDED, 3.0), (TRACED, None)):
        with tempfile.TemporaryDirectory() as folder:
            path = dense_job(Path(folder), DENSE, noise)
            whole = cpu(partial(_plan, path), 1)
            dense = prepare(path)
            stage = cpu(partial(make_files, dense, quiet, (0.0, 1.0)), 1)
            many = lines(path)
        name = f"whole plan, outline of {DENSE:,} points from DXF, {noise:g} mm off"
        note = f"paths alone {stage.best / bare.best:.2f} x, lines of G-code {many / few:.2f} x"
        yield Row.against(name, whole, "the smooth outline", plain, limit, note)


def many_places() -> Iterator[Row]:
    """The order of 500 places against the matrix of their distances alone."""
    from corepath.operations.order import short_order

    there = np.random.default_rng(5).uniform(-600, 600, (500, 2))
    places = [(float(x), float(y)) for x, y in there]

    def distances() -> object:
        return np.hypot(*(there[:, None] - there[None, :]).transpose(2, 0, 1))

    ours = cpu(lambda: short_order(places, (0.0, 0.0)), 3)
    theirs = cpu(lambda: [distances() for _ in range(20)], 3).times(1.0 / 20.0)
    yield Row.against("order of 500 places", ours, "all their distances", theirs, 500.0)


def paths() -> Iterator[Row]:
    """All rows of this module; CPU seconds."""
    for part in (many_places, a_metre_of_path, growth_with_points, dense_against_smooth):
        yield from part()
