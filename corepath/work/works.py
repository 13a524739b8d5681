"""What an operation must reach and may touch, without any path.

All geometry is in the *bed frame of the set-up* (X, Y from the middle of the blank as it lies: B is
already mirrored; Z up from the bed), mm. Operations find paths for a `Work`; the read-back compares
the virtual blank with the same `Work`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from shapely import MultiPolygon, Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.layup.laid import LaidUp
from corepath.lengths import said_all
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Approach, Setup, Zero

__all__ = [
    "SAME_SIZE",
    "Deck",
    "Facing",
    "Hole",
    "Milling",
    "Obstacle",
    "Pocket",
    "Step",
    "Trim",
    "Work",
    "point_of",
]

SAME_SIZE = 0.01
"""mm; a hole this close to a cutter's diameter is made straight down, and a drill this close to a
hole's is of its size."""

# of the diameter: a point of 118 degrees (common practice, no source)
_POINT = math.tan(math.radians(31.0)) / 2.0


def point_of(cutter: Cutter) -> float:
    """How far (mm) the point of a drill stands out beyond its full diameter; 0 for other cutters.

    Depths of holes are those of the full diameter; the point goes deeper by this.
    """
    return _POINT * cutter.diameter if cutter.shape == "drill" else 0.0


@dataclass(frozen=True, slots=True)
class FileOf:
    """Which file of a plan: number, set-up and name of its operation; `part` counts the files of
    one operation, each with a cutter of its own."""

    order: int
    setup: Setup
    name: str
    part: int = 1


@dataclass(frozen=True, slots=True)
class Pocket:
    """A closed area (holes allowed) to be cut to a level floor; walls are made along its boundary.

    `thin`: little wood is left below the floor, so the last layer is a light one. `proud`: only
    what stands above the floor is removed, as in a flush; what lies lower stays, and walls do not
    matter. `cleared` is the part that an earlier file of the same operation has cut to the floor
    with a larger cutter.
    """

    id: str
    area: Polygon
    top: float
    floor: float
    thin: bool = True
    proud: bool = False
    cleared: Polygon | MultiPolygon | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One diameter of a hole, down to `floor`; `spring` asks for a second finishing turn, as in a
    seat."""

    diameter: float
    floor: float
    spring: bool = False


@dataclass(frozen=True, slots=True)
class Hole:
    """A round hole with steps from the widest and shallowest to the narrowest and deepest.

    `breaks_through` is the height at which it leaves the wood (the bed), or None if it stays blind.
    """

    id: str
    x: float
    y: float
    top: float
    steps: tuple[Step, ...]
    breaks_through: float | None = None


@dataclass(frozen=True, slots=True)
class Facing:
    """The whole blank, planed to each of `planes` (mm above the bed) in turn, from the highest
    down.

    `first_stop` is the index into `planes` after which the combined file first stops. `spare` is
    the part of `area` that obstacles keep the cutter from, `sawn` the part of that which is sawn
    off before the next set-up.
    """

    area: Polygon
    top: float
    planes: tuple[float, ...]
    first_stop: int
    spare: Polygon | MultiPolygon | None = None
    sawn: Polygon | MultiPolygon | None = None


@dataclass(frozen=True, slots=True)
class Opening:
    """A bore from below over which the deck is cut; it is open from above once the stock is lower
    than `top`."""

    id: str
    x: float
    y: float
    diameter: float
    top: float


@dataclass(frozen=True, slots=True)
class Deck:
    """The deck over `area` (the blank, or what a frame leaves of it), surfaced to `surface` from
    stock up to `top`.

    Nothing is cut below the surface by more than `gouge`, and ridges stand at most `scallop` above
    it. `rough` is what roughing leaves on (0 for finishing). `framed`: a frame around `area` is
    left at full height, and no cut may reach beyond `area`. `spare` is the part of `area` where the
    cutter cannot come down to the surface because of obstacles or of its own corner beside the
    frame. `grain_penalty` multiplies the minutes of lines across the grain when their direction is
    chosen. `openings` are bores that are opened or crossed: from `milling.break_through` above them
    downwards the feed is halved. `opened` is where roughing left at most one layer of the finishing
    cutter, whose whole width stays inside it. `deepest` is the most stock over the surface that the
    operation meets, except where something kept the cutter before it off. `one_go` is, for
    roughing, the stock over the surface that the finishing takes in one go under its planned load:
    where no more stands nothing is roughed. `finished` is the part of `area` that is to come to the
    surface; what lies outside it is waste, roughed or left (None: all of it is finished).
    `outline` is that of the board, along which the deck slopes; lines may run square to it.
    """

    area: Polygon
    surface: DeckSurface
    top: float
    scallop: float
    gouge: float
    rough: float
    framed: bool = False
    spare: Polygon | MultiPolygon | None = None
    grain_penalty: float = 1.0
    openings: tuple[Opening, ...] = ()
    opened: Polygon | MultiPolygon | None = None
    deepest: float = math.inf
    one_go: float = 0.0
    finished: Polygon | None = None
    outline: Polygon | None = None

    @property
    def asked(self) -> Polygon:
        """The part of `area` that is to come to the surface."""
        return self.area if self.finished is None else self.finished


@dataclass(frozen=True, slots=True)
class Trim:
    """The laid-up board, cut free around `area`, seen from above in D; nothing of it is touched.

    Roughing laps leave `finish` on its wall. `web` is the least left over the cradle, to be cut by
    hand, `depth` the deepest that the cutter stands in the laid-up blank, `feed` that of the
    finishing lap, mm/min.
    """

    area: Polygon
    laid: LaidUp
    finish: float
    web: float
    depth: float
    feed: float


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Something on the bed: cutter and collet keep off `area` below `height`.

    `name` is for messages; `sawn_off`: what it leaves uncut in the skim is sawn off before C.
    """

    area: Polygon
    height: float
    name: str = "obstacle"
    sawn_off: bool = False


@dataclass(frozen=True, slots=True)
class Milling:
    """What paths follow of the shop's wishes and the machine's capabilities; mm.

    `conventional`: conventional instead of climb milling. `finish_allowance` is what clearing
    leaves on walls for a finishing lap, `light_layer` the depth of the last layer over a thin
    floor, `break_through` the height above the end of a hole from which feeds are halved. `canned`:
    drilling cycles may be written. `limits`: how the machine moves.
    """

    conventional: bool = False
    finish_allowance: float = 0.2
    light_layer: float = 0.3
    break_through: float = 1.0
    canned: bool = False
    limits: Limits = field(default_factory=Limits)


@dataclass(frozen=True, slots=True)
class Work:
    """One operation with one cutter; `<order>-<setup>-<name>` is its file stem.

    `stock_top` is the highest the stock may stand; `clear` the height of free rapids (safe_z above
    the highest of blank and obstacles); `lowest` the lowest a cut may go in this operation;
    `collet` the largest diameter of what turns above the cutter, from its stick-out upwards.
    Exactly one of `pockets`, `holes`, `facing`, `deck`, `trim` says what is to be cut. `sloped`:
    the top of the stock differs from place to place by more than an operation cuts, so each hole's
    own `top` counts. `approach` is the first descent where zero or cutter differ from those of the
    work before, `look` the place where the tip is looked at (x, y) and the nominal height of the
    blank there. `kept` is the earlier file whose touch of Z this one relies on, if any.
    """

    order: int
    setup: Setup
    name: str
    cutter: Cutter
    cutting: Cutting
    zero: Zero
    blank: Polygon
    stock_top: float
    clear: float
    lowest: float
    park: tuple[float, float]
    arcs: bool
    milling: Milling = field(default_factory=lambda: Milling())
    pockets: tuple[Pocket, ...] = ()
    holes: tuple[Hole, ...] = ()
    facing: Facing | None = None
    deck: Deck | None = None
    trim: Trim | None = None
    sloped: bool = False
    obstacles: tuple[Obstacle, ...] = ()
    watch: tuple[str, ...] = ()
    part: int = 1
    collet: float = 40.0
    approach: Approach | None = None
    look: tuple[float, float, float] = (0.0, 0.0, 0.0)
    kept: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "watch", said_all(self.watch))

    @property
    def stem(self) -> str:
        """File stem; a second cutter for the same operation adds `-2`."""
        base = f"{self.order:02d}-{self.setup}-{self.name}"
        return base if self.part == 1 else f"{base}-{self.part}"
