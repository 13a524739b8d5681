"""A small plan of our own, written by hand: blank 100 x 60 x 12, a ring, a plug, an insert, two
dowels, a level deck.

The files are made by the plainest of loops, so that the read-back is tested against texts that
nothing in the package wrote. Everything is off the axes, so that a wrong sign or flip cannot hide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from shapely import Point, Polygon, box

from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Zero
from corepath.readback.measure import read_back
from corepath.readback.plan_files import PlanFiles
from corepath.readback.result import ReadBack
from corepath.readback.simulation_setup import Pour, SimulationSetup
from corepath.work.works import Deck, Facing, Hole, Milling, Pocket, Step, Work

LENGTH, WIDTH, THICK = 100.0, 60.0, 12.0
FLOOR, STOP, DECK = 1.2, 10.5, 8.0
GROOVE = box(-35, -20, 35, 20).difference(box(-27, -12, 27, 12))
PLUG = Point(-12.0, 4.0).buffer(6.0, quad_segs=200)
INSERT = (14.0, -3.0)
BLANK = box(-LENGTH / 2, -WIDTH / 2, LENGTH / 2, WIDTH / 2)
DOWELS = ((-44.0, 0.0), (42.0, 0.0))
CUTTERS = {
    1: Cutter(1, "flat", 4.0, 0.0, 2, 14.0, 30.0, centre_cutting=True),
    2: Cutter(2, "flat", 12.0, 0.0, 2, 14.0, 30.0),
    3: Cutter(3, "drill", 4.0, 0.0, 2, 30.0, 40.0),
}
DRILLING = Cutting(18000.0, 300.0, 300.0, 300.0, 3.0, 2.0)
CUTTING = Cutting(18000.0, 2000.0, 1500.0, 1500.0, 3.0, 2.0)


class Level:
    """A deck of one height."""

    def height(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.full(np.shape(x), DECK)


def program(tool: int, body: list[str], safe: float = 25.0, first: bool = False) -> str:
    """A whole file: preamble, body, end; `first` is the first one after its zero was touched
    anew."""
    head = [
        "(test)",
        "G17",
        "G21",
        "G90",
        "G94",
        "G54",
        "G40",
        "G49",
        "G80",
        "G64",
        f"T{tool} M6",
        "M0",
    ]
    head += ["F1000", f"G1 Z{safe:g}", "M0"] if first else [f"G0 Z{safe:g}"]
    return "\n".join([*head, "S18000 M3", "G4 P3", *body, f"G0 Z{safe:g}", "M5", "M2", ""])


def rectangle(x: float, y: float, z: float) -> list[str]:
    corners = ((-x, -y), (x, -y), (x, y), (-x, y), (-x, -y))
    return [f"G1 X{a:.4f} Y{b:.4f} Z{z:.4f}" for a, b in corners]


def groove(x0: float = 0.0, y0: float = 0.0, z0: float = 0.0, floor: float = FLOOR) -> str:
    """Rings at 2 mm from either wall and one between them, in layers."""
    body = ["F1500", "G0 X-33 Y-18"]
    rings = ((33.0, 18.0), (31.0, 16.0), (29.0, 14.0))
    for z in (10.0, 7.0, 4.0, floor):
        body += ["G0 X-33 Y-18 Z25"]
        for x, y in rings:
            body += rectangle(x, y, z)
    return shift(program(1, body), x0, y0, z0)


def circle(x: float, y: float, radius: float, z: float) -> list[str]:
    """Out along X and once round, counter-clockwise, in two halves."""
    if radius < 1e-9:
        return [f"G1 X{x:.4f} Y{y:.4f} Z{z:.4f}"]
    return [
        f"G1 X{x + radius:.4f} Y{y:.4f} Z{z:.4f}",
        f"G3 X{x - radius:.4f} Y{y:.4f} I{-radius:.4f} J0",
        f"G3 X{x + radius:.4f} Y{y:.4f} I{radius:.4f} J0",
    ]


def disc(x: float, y: float, radius: float, cutter: float, levels: tuple[float, ...]) -> list[str]:
    """Clear a round pocket by rings of 1.5 mm."""
    body = [f"G0 X{x:.4f} Y{y:.4f}"]
    for z in levels:
        reach = radius - cutter
        rings = [*np.arange(0.0, reach, 1.5), reach]
        for ring in rings:
            body += circle(x, y, float(ring), z)
        body += [f"G1 X{x:.4f} Y{y:.4f}"]
    return [*body, "G0 Z25"]


STOP_LINES = ["M5", "M0", "S18000 M3", "G4 P3"]


def lines_over(z: float, step: float = 9.0) -> list[str]:
    """Lines along X over the whole blank and past its ends, entered from the side."""
    count = math.ceil(WIDTH / step)
    body = ["G0 X-60 Y-30", f"G1 Z{z:.4f}"]
    for k, y in enumerate(np.linspace(-WIDTH / 2, WIDTH / 2, count + 1)):
        ends = (-60, 60) if k % 2 == 0 else (60, -60)
        body += [f"G1 X{ends[0]} Y{y:.4f}", f"G1 X{ends[1]} Y{y:.4f}"]
    return [*body, "G0 Z25"]


def pecks() -> list[str]:
    """Down to 8 under the bed by 6 at a time, the last 1 of wood and the bed below it at half
    feed."""
    return ["G83 Z1 R13 Q6", "G80", "G0 Z1.1", "F150", "G1 Z-5", "G0 Z13", "G0 Z-4.9", "G1 Z-8"]


def shift(text: str, x0: float, y0: float, z0: float) -> str:
    """Take a zero off every X, Y, Z and R word."""
    if not (x0 or y0 or z0):
        return text
    zero = {"X": x0, "Y": y0, "Z": z0, "R": z0}
    out = []
    for line in text.split("\n"):
        words = [
            f"{w[0]}{float(w[1:]) - zero[w[0]]:.4f}" if w[:1] in zero else w
            for w in line.split(" ")
        ]
        out.append(line if line.startswith("(") else " ".join(words))
    return "\n".join(out)


@dataclass(frozen=True)
class Plan:
    """Shop, works and files of the small plan."""

    shop: SimulationSetup
    works: tuple[Work, ...]
    files: dict[str, str]

    def read(self) -> ReadBack:
        return read_back(self.shop, self.works, PlanFiles(self.files))

    def with_file(self, name: str, text: str | None) -> Plan:
        files = dict(self.files)
        if text is None:
            del files[name]
        else:
            files[name] = text
        return replace(self, files=files)

    def edited(self, name: str, old: str, new: str, count: int = 1) -> Plan:
        assert old in self.files[name], f"{old!r} not in {name}"
        return self.with_file(name, self.files[name].replace(old, new, count))

    def with_shop(self, **changes: object) -> Plan:
        return replace(self, shop=replace(self.shop, **changes))


def make_plan(flip: str = "x", xy: str = "middle", z: str = "bed", cell: float = 0.5) -> Plan:
    """The whole plan, good as it is, for either flip and any zero."""
    touch = (-40.0, 24.0)
    x0, y0 = (0.0, 0.0) if xy == "middle" else (-LENGTH / 2, -WIDTH / 2)
    zero_a = THICK if z == "face" else 0.0
    zero_c = STOP if z == "face" else 0.0
    ix, iy = (INSERT[0], -INSERT[1]) if flip == "x" else (-INSERT[0], INSERT[1])

    def work(
        order: int, setup: str, name: str, tool: int, z0: float, lowest: float, **what: object
    ) -> Work:
        zero = Zero(x0, y0, z0, "", False)
        return Work(
            order,
            setup,
            name,
            CUTTERS[tool],
            CUTTING,
            zero,
            BLANK,
            THICK,
            25.0,
            lowest,
            (0.0, 0.0),
            True,
            **what,
        )  # type: ignore[arg-type]

    holes = tuple(
        Hole(f"D{k}", x, y, THICK, (Step(4.0, -8.0),), 0.0) for k, (x, y) in enumerate(DOWELS)
    )
    seat = Hole("I1", ix, iy, STOP, (Step(10.0, STOP - 1.5), Step(6.0, 2.0)), None)
    planes = (11.2, STOP, 10.0)
    works = (
        replace(work(1, "A", "dowels", 3, zero_a, -8.0, holes=holes), cutting=DRILLING),
        work(2, "A", "plug-pockets", 1, zero_a, FLOOR, pockets=(Pocket("P1", PLUG, THICK, FLOOR),)),
        work(
            3,
            "A",
            "groove",
            1,
            zero_a,
            FLOOR,
            milling=Milling(conventional=True),
            pockets=(Pocket("groove", GROOVE, THICK, FLOOR),),
        ),
        work(5, "B", "skim", 2, zero_a, 10.0, facing=Facing(BLANK, THICK, planes, 1)),
        work(6, "B", "inserts", 1, STOP, 2.0, holes=(seat,)),
        work(
            8,
            "C",
            "deck",
            2,
            zero_c,
            DECK,
            deck=Deck(BLANK, Level(), STOP, 0.05, 0.02, 0.0, deepest=STOP - DECK),
        ),
    )
    drill = [
        line
        for x, y in DOWELS
        for line in (f"G0 X{x:g} Y{y:g}", "G0 Z13", "F300", *pecks(), "G0 Z25")
    ]
    bore = [
        *disc(ix, iy, 5.0, 2.0, (STOP - 0.8, STOP - 1.5)),
        *disc(ix, iy, 3.0, 2.0, (7.0, 4.5, 2.0)),
    ]
    dome = disc(-12.0, 4.0, 6.0, 2.0, (9.0, 6.0, 3.0, FLOOR))
    files = {
        "01-A-dowels.nc": shift(program(3, drill), x0, y0, zero_a),
        "02-A-plug-pockets.nc": shift(program(1, ["F1200", *dome], first=True), x0, y0, zero_a),
        "03-A-groove.nc": groove(x0, y0, zero_a),
        "05-B-skim-all.nc": shift(
            program(
                2,
                ["F2000", *(line for p in planes for line in [*lines_over(p), *STOP_LINES])][:-4],
                first=True,
            ),
            x0,
            y0,
            zero_a,
        ),
        "06-B-inserts.nc": shift(program(1, ["F1200", *bore], first=True), x0, y0, STOP),
        "08-C-deck.nc": shift(program(2, ["F2000", *lines_over(DECK)], first=True), x0, y0, zero_c),
    }
    for k, plane in enumerate(planes, 1):
        body = program(2, ["F2000", *lines_over(plane)], first=k == 1)
        files[f"05-B-skim-pass-{k}.nc"] = shift(body, x0, y0, zero_a)
    pour = {"groove": Pour(GROOVE, 0.6), "P1": Pour(PLUG, 0.6)}
    shop = SimulationSetup(
        LENGTH,
        WIDTH,
        THICK,
        flip,
        xy,
        z,
        touch if z == "face" else None,
        18.0,
        (300.0, 200.0, 80.0),
        CUTTERS,
        pour,
        2,
        cell,
        bores={"I1": (*INSERT, 6.0)},
        seats={"I1": Point(INSERT).buffer(5.0, quad_segs=64)},
        spin_up=3.0,
    )  # type: ignore[arg-type]
    return Plan(shop, works, files)


@pytest.fixture(scope="session")
def plan() -> Plan:
    """The small plan, zeroed on the bed in the middle, flipped about X."""
    return make_plan()


@pytest.fixture(scope="session")
def plan_maker():
    """Makes the small plan for any flip and zero."""
    return make_plan


@pytest.fixture
def ring() -> Polygon:
    return GROOVE
