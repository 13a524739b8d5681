"""An asymmetric test piece with hand-made board, stack-up, works and programs, so that drawings are
tested alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from shapely import Point, Polygon
from shapely.geometry import box

from corepath.board.features import Board, Casting, Place
from corepath.board.footprints import seat_footprint
from corepath.job.model import Job
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Pass, Program, Zero, arc, line, rapid
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.report.checks_report import lists_of
from corepath.stackup.checks.verdict import Check
from corepath.stackup.height_table import Column, HeightTable, InsertHeights
from corepath.stackup.linear import Linear
from corepath.views.drawings.scene import DrawnPlan
from corepath.views.player import (
    RAPID,
    SPINDLE,
    Faces,
    Lattice,
    Motions,
    PlayedBlank,
    PlayedFile,
    Shape,
)
from corepath.views.sheet_html import Facts, PlannedFile
from corepath.work.works import Deck, Facing, Hole, Obstacle, Pocket, Step, Work

JOB: dict[str, Any] = {
    "title": "Test piece <7> & more",
    "board": {"thickness": 11.0, "edge_thickness": 4.2},
    "outline": {"points": [(-90, -26), (80, -26), (95, 0), (80, 26), (-90, 26)]},
    "deck": {"stations": [(-90, 11.0), (90, 9.0)], "edge_band": 6.0, "blend": 16.0},
    "blank": {"length": 240.0, "width": 90.0, "thickness": 13.6, "wood": "basswood"},
    "groove": {"inside": 8.0, "outside": 6.0, "floor": 1.2},
    "plug": [{"name": "P1", "at": [(-52, 7)], "diameter": 16.0, "bolt_hole": 6.6}],
    "insert": [
        {
            "name": "I1",
            "at": [(20, -6), (52, -6)],
            "barrel": 7.6,
            "flange": 14.0,
            "flange_thickness": 1.4,
            "length": 8.0,
        }
    ],
    "dowel": [
        {"at": (-110, 0), "diameter": 6.0, "depth_in_bed": 8.0, "stand": 3.5},
        {"at": (108, 0), "diameter": 6.0, "depth_in_bed": 8.0, "stand": 3.5},
    ],
    "machine": {"travel": (1500, 600, 90), "flip_about": "x"},
    "cutter": [
        {
            "number": 1,
            "shape": "flat",
            "diameter": 6.0,
            "cutting_length": 25.0,
            "stick_out": 32.0,
            "chip_load": 0.1,
            "rpm": 18000,
        }
    ],
}

SAMPLES = Path(__file__).parents[2] / "samples"


class FakeDeck:
    """A dome: the edge thickness outside an ellipse, 11 in the middle."""

    def __init__(self) -> None:
        self.xs = np.arange(-160.0, 161.0)
        self.ys = np.arange(-85.0, 86.0)
        self.grid = self.height(*np.meshgrid(self.xs, self.ys, indexing="ij"))

    def height(self, x: Any, y: Any) -> Any:
        inside = np.clip(1.0 - (np.asarray(x) / 92.0) ** 2 - (np.asarray(y) / 26.0) ** 2, 0.0, 1.0)
        return 4.2 + 6.8 * inside**2 * (3 - 2 * inside)


@dataclass(frozen=True)
class FakeStack:
    """What the drawings ask of a stack-up."""

    skim: Any
    table: HeightTable


@dataclass(frozen=True)
class Shop:
    """Everything one call of the drawings takes."""

    job: Job
    board: Board
    stack: FakeStack
    works: tuple[Work, ...]
    programs: tuple[Program, ...]
    checks: tuple[Check, ...]

    def work(self, name: str) -> Work:
        return next(work for work in self.works if work.name == name)

    def plan(self, digest: str = "a", **more: Any) -> DrawnPlan:
        """What the drawings show of it."""
        known: Any = {"job": self.job, "programs": self.programs, "checks": self.checks, **more}
        return DrawnPlan(
            board=self.board, stackup=self.stack, works=self.works, digest=digest, **known
        )


def _board(job: Job) -> Board:
    outline = Polygon(job.outline.points)
    ring = outline.buffer(6).difference(outline.buffer(-8))
    plug = Point(-52, 7).buffer(8, quad_segs=32)
    castings = (
        Casting("groove", "groove", ring, 1.2, 97.0),
        Casting("P1", "plug", plug, 1.2, 8.0, job.plug[0]),
    )
    places = tuple(
        Place(f"I1{k}", x, y, seat_footprint(job.insert[0], x, y), 7.8, job.insert[0])
        for k, (x, y) in zip("ab", job.insert[0].at, strict=True)
    )
    deck: Any = FakeDeck()
    return Board(
        outline,
        box(-120, -45, 120, 45),
        ring,
        outline.buffer(-8),
        castings,
        places,
        job.dowel,
        deck,
    )


def _table(board: Board, low: float) -> HeightTable:
    """Heights by hand: blank 13.6, floors 1.2, stop 11.9, inserts 8.0 long with a flange of 1.4,
    recessed 0.3.

    A blind bore ends half of the least clean-up (0.4) past the deck.
    """
    of = Linear.of

    def columns(name: str) -> dict[Any, Column]:
        return {
            ("A", name): Column(
                name, (0.0, 0.0), of(13.6), of(0.0), of(1.2), of(13.6 - low), of(12.4), of(12.4)
            ),
            ("B", name): Column(
                name, (0.0, 0.0), of(0.0), of(13.6), of(12.4), of(low), of(12.4), of(12.4)
            ),
            ("C", name): Column(
                name, (0.0, 0.0), of(11.9), of(-1.7), of(-0.5), of(11.9 - low), of(12.4), of(12.4)
            ),
        }

    inserts = {
        place.id: InsertHeights(
            place.id,
            of(1.7),
            of(8.3),
            of(11.9 if place.insert.through else board.deck.height(place.x, place.y) + 0.2),
        )
        for place in board.places
    }
    both = {**columns("groove"), **columns("P1")}
    return HeightTable(13.6, of(11.9), of(11.4), 11.0, 4.2, both, {}, inserts)


def _loop(ring: Any, z: float) -> list[Any]:
    points = list(ring.coords)
    moves = [rapid(*points[0], 22.0), line(*points[0], z, 300.0)]
    moves += [line(x, y, z, 2000.0) for x, y in points[1:]]
    return [*moves, rapid(*points[0], 22.0)]


def _circle(x: float, y: float, r: float, z: float) -> list[Any]:
    start = [rapid(x + r, y, 22.0), line(x + r, y, z + 1, 300.0)]
    helix = [
        arc(False, (x - r, y, z + 0.5), (-r, 0.0), 900.0),
        arc(False, (x + r, y, z), (r, 0.0), 900.0),
    ]
    return [*start, *helix, arc(False, (x + r, y, z), (-r, 0.0), 900.0), rapid(x + r, y, 22.0)]


def _raster(z: Any, step: float) -> list[Any]:
    moves: list[Any] = [rapid(-126, -45, 22.0)]
    xs = np.linspace(-126, 126, 64)
    for k, y in enumerate(np.arange(-45, 45.01, step)):
        way = xs if k % 2 == 0 else xs[::-1]
        moves += [line(float(x), float(y), float(z(x, y)), 2500.0) for x in way]
    return [*moves, rapid(moves[-1].x, moves[-1].y, 22.0)]


def build(flip: str = "x") -> Shop:
    job = Job.model_validate({**JOB, "machine": {"travel": (1500, 600, 90), "flip_about": flip}})
    board = _board(job)
    planes = (13.4, 12.9, 12.4, 11.9, 11.4)
    skim = SimpleNamespace(planes=planes, lowest_plane=11.4, planned_plane=11.9, planned_stop=4)
    stack = FakeStack(skim, _table(board, job.cast.pour_short))
    cutter = Cutter(1, "flat", 6.0, 0.0, 2, 25.0, 32.0)
    ball = Cutter(4, "ball", 12.0, 6.0, 2, 30.0, 40.0)
    cutting = Cutting(18000.0, 2400.0, 1200.0, 600.0, 3.0, 2.4)
    bed = Zero(0.0, 0.0, 0.0, "the bed beside the blank", True)
    corner = Zero(
        -120.0,
        -45.0,
        13.6,
        "the raw bottom at X20 Y-6 from the middle, before the first pass",
        False,
    )
    skimmed = Zero(0.0, 0.0, 11.9, "the skimmed face", True)
    sx, sy = (1, -1) if flip == "x" else (-1, 1)

    def work(
        order: int,
        setup: Any,
        name: str,
        zero: Zero,
        lowest: float,
        used: Cutter = cutter,
        **what: Any,
    ) -> Work:
        return Work(
            order,
            setup,
            name,
            used,
            cutting,
            zero,
            board.blank,
            13.7,
            22.0,
            lowest,
            (-120, 45),
            True,
            **what,
        )

    clamp = Obstacle(box(112, -44, 128, -30), 20.0)
    surface = board.deck
    works = (
        work(1, "A", "dowels", bed, -8.0, holes=tuple(
            Hole(f"dowel {k}", *d.at, 13.7, (Step(6.0, -8.0),), 0.0) for k,
                d in enumerate(job.dowel, start=1))),
        work(2, "A", "plug-pockets", bed, 1.2, pockets=(Pocket("P1", board.castings[1].area, 13.7,
            1.2),)),
        work(3, "A", "groove", bed, 1.2, pockets=(Pocket("groove", board.ring, 13.7, 1.2),),
            obstacles=(clamp,),
             watch=("thin floor; hold island and rim (tape) apart from each other",)),
        work(5, "B", "skim", corner, 11.4, facing=Facing(board.blank, 13.7, planes, 2),
             watch=("stop when the casting shows full width all round; keep hands clear until the "
                    "spindle has stopped",)),
        work(6, "B", "inserts", skimmed, 2.4, holes=tuple(
            Hole(p.id, sx * p.x, sy * p.y, 11.9, (Step(14.2, 10.2), Step(7.8, 2.4)),
                None) for p in board.places)),
        work(8, "C", "deck", bed, 4.2, ball, deck=Deck(board.blank, surface, 12.5, 0.05, 0.01,
            0.0)),
    )  # fmt: skip

    def program(
        w: Work, passes: list[list[Any]], stem: str = "", combined: bool = False
    ) -> Program:
        made = tuple(Pass(tuple(moves)) for moves in passes)
        return Program(
            stem or w.stem,
            w.order,
            w.setup,
            w.name,
            w.cutter,
            w.cutting,
            w.zero,
            22.0,
            (-120, 45),
            made,
            combined,
        )

    path = board.outline.buffer(-1)
    groove = [
        move
        for z in (9.0, 5.0, 1.2)
        for d in (4, 0, -4)
        for move in _loop(path.buffer(d).exterior, z)
    ]
    holes = [
        m
        for h in works[4].holes
        for r, z in ((4.1, 10.2), (0.9, 2.4))
        for m in _circle(h.x, h.y, r, z)
    ]
    programs = (
        program(
            works[0],
            [
                [
                    m
                    for d in job.dowel
                    for m in (rapid(*d.at, 22.0), line(*d.at, -8.0, 300.0), rapid(*d.at, 22.0))
                ]
            ],
        ),
        program(works[1], [[m for z in (8.0, 4.0, 1.2) for m in _circle(-52, 7, 5, z)]]),
        program(works[2], [groove]),
        *(
            program(works[3], [_raster(lambda x, y, z=z: z, 5.0)], f"05-B-skim-pass-{k}")
            for k, z in enumerate(planes, 1)
        ),
        program(
            works[3], [_raster(lambda x, y, z=z: z, 5.0) for z in planes], "05-B-skim-all", True
        ),
        program(works[4], [holes]),
        program(works[5], [_raster(surface.height, 1.0)]),
    )
    checks = (
        Check("window", "ok", 1.0, 0.6, 0.8, 0.0, "mm", "groove against deck", "groove"),
        Check("fill", "caution", 0.2, -0.1, 0.05, 0.0, "mm", "resin high enough", "P1"),
        Check("fill", "ok", 0.6, 0.3, 0.4, 0.0, "mm", "resin high enough", "groove"),
        Check("seat", "fail", 0.05, 0.0, 0.02, 0.1, "mm", "flange below flush", "I1a"),
    )
    return Shop(job, board, stack, works, programs, checks)


@pytest.fixture(scope="module", params=["x", "y"])
def shop(request: pytest.FixtureRequest) -> Shop:
    """The test piece, turned over about X and about Y."""
    return build(request.param)


@pytest.fixture(scope="module")
def shop_x() -> Shop:
    """The test piece turned over about X."""
    return build("x")


def _planned(prepared: Prepared) -> list[PlannedFile]:
    """The files that lie ahead; figures are invented."""
    found = []
    for work in prepared.ahead:
        stems = [work.stem]
        if work.facing is not None:
            stems = [
                *(f"{work.stem}-pass-{k}" for k in range(1, len(work.facing.planes) + 1)),
                f"{work.stem}-all",
            ]
        for stem in stems:
            program = Program(
                stem=stem,
                order=work.order,
                setup=work.setup,
                name=work.name,
                cutter=work.cutter,
                cutting=work.cutting,
                zero=work.zero,
                clear=work.clear,
                park=work.park,
                passes=(),
                combined=stem.endswith("-all"),
                watch=("mind it",),
            )
            x0, y0, x1, y1 = work.blank.bounds
            found.append(PlannedFile(program, 1.5, ((x0, x1), (y0, y1), (work.lowest, work.clear))))
    return found


@pytest.fixture(scope="session")
def facts_of() -> Callable[..., Facts]:
    """Makes the facts of a set-up sheet of what is prepared; further arguments replace some of
    them."""
    return _facts


@pytest.fixture(scope="session")
def coupon() -> Prepared:
    """The coupon as it is shipped, prepared."""
    return prepare(SAMPLES / "coupon.toml")


@pytest.fixture(scope="session")
def facts(coupon: Prepared) -> Facts:
    """What the coupon's sheets are made from."""
    return _facts(coupon)


def _facts(prepared: Prepared, **more: Any) -> Facts:
    found = {
        "job": prepared.job,
        "board": prepared.board,
        "stackup": prepared.stackup,
        "works": prepared.works,
        "settled": prepared.known.settled,
        "file": prepared.file,
        "digest": prepared.digest,
        "done": prepared.done,
        "checks": prepared.checks,
        "cautions": prepared.cautions,
        "lists": lists_of(prepared),
        "planned": _planned(prepared),
        "minutes": 9.0,
    }
    return Facts(**{**found, **more})


def _blank(tops: tuple[float, float]) -> PlayedBlank:
    """120 by 60, 1 mm columns: 12 high, with a pocket to `tops[0]` and a hole through where
    `tops[1]` is 0."""
    xs, ys = np.meshgrid(np.arange(-59.5, 60.0), np.arange(-29.5, 30.0))
    top = np.full(xs.shape, 12.0, dtype=np.float32)
    top[(abs(xs) < 30) & (abs(ys) < 10)] = tops[0]
    gone = (np.hypot(xs - 45, ys) < 5) & (tops[1] == 0.0)
    top[gone] = np.nan
    none = np.full_like(top, np.nan)
    wood = np.where(np.isnan(top), np.nan, np.float32(0.0)).astype(np.float32), top
    return PlayedBlank(Lattice(-59.5, -29.5, 1.0, 1.0, 120, 60), Faces(wood, (none, none)))


def reel_of(
    file: str,
    points: Any,
    before: PlayedBlank,
    after: PlayedBlank,
    zero: tuple[float, float, float],
) -> PlayedFile:
    """A file that goes through `points` at 600 mm/min, the first and last at rapid; its text is
    what the moves say."""
    table = np.asarray(points, dtype=np.float64)
    count = len(table)
    flags = np.where((np.arange(count) < 2) | (np.arange(count) == count - 1), RAPID, 0) | SPINDLE
    long = np.hypot(*np.diff(table[:, :2], axis=0).T) + abs(np.diff(table[:, 2]))
    words = [
        f"G{int(not f & RAPID)} X{x:.4f} Y{y:.4f} Z{z:.4f}"
        for (x, y, z), f in zip(table, flags, strict=True)
    ]
    motions = Motions(
        points=table,
        line=np.arange(1, count + 1),
        flags=flags,
        feed=np.where(flags & RAPID, 0.0, 600.0),
        time=np.concatenate([[0.0], np.cumsum(long / 10.0)]),
    )
    text = "\n".join(words) + "\n"
    shape = Shape("outline", np.array([(-50.0, -25.0), (50.0, -25.0), (50.0, 25.0), (-50.0, 25.0)]))
    cutter = Cutter(1, "flat", 6.0, 0.0, 2, 25.0, 32.0)
    left = (("pocket floor", "4.000", "its lowest"),)
    return PlayedFile(
        file, "A", "pocket", "DECK UP", text, cutter, zero, motions, before, after, (shape,), left
    )


@pytest.fixture(scope="session")
def reel_maker() -> Callable[..., PlayedFile]:
    """Makes a file that goes through points, with the blank before and after it and its zero."""
    return reel_of


@pytest.fixture(scope="session")
def reels() -> tuple[PlayedFile, ...]:
    """Two files on a small blank: a pocket to 4 mm, then a hole right through; zero on the face, at
    a corner."""
    start, pocketed, done = _blank((12.0, 12.0)), _blank((4.0, 12.0)), _blank((4.0, 0.0))
    zero = (-60.0, -30.0, 12.0)
    rows = [(33.0, 23.0, 5.0), (33.0, 23.0, 1.0)]
    for z in (-4.0, -8.0):
        rows += [(33.0, 23.0, z), (87.0, 23.0, z), (87.0, 37.0, z), (33.0, 37.0, z)]
    hole = [
        (105.0, 30.0, 5.0),
        (105.0, 30.0, 1.0),
        (105.0, 30.0, -13.0),
        (107.0, 30.0, -13.0),
        (107.0, 30.0, 5.0),
    ]
    return (
        reel_of("02-A-plug-pockets.nc", [*rows, (33.0, 37.0, 5.0)], start, pocketed, zero),
        reel_of("06-A-inserts.nc", hole, pocketed, done, zero),
    )
