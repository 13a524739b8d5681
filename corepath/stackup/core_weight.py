"""What the finished core weighs, and where it balances. Board frame, mm; volumes cm³, masses g.

The core is what lies inside the outline under the deck, with seats and bores taken out: no inserts,
no bolt holes, no laminate. Castings are full up to the deck, as the checks ask.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.board.features import Board
from corepath.geometry.rasters import edges_of, inside
from corepath.job.model import CastSection
from corepath.job.tables.builtin import Wood, woods
from corepath.lengths import Said, mm
from corepath.reported import Key, report_keys
from corepath.stackup.pour.mixing import parts
from corepath.stackup.stackup import Stackup

__all__ = ["CoreWeight", "core_weight"]

_NODES = 6_000
"""Heights of the deck that a volume is worked out from: a deck is smooth, so that their mean is
good to far better than the density."""

WOOD_VARIES = 0.10
"""By how much boards of a species differ in density: the coefficient of variation of the specific
gravity (Wood Handbook, chapter 5, from memory)."""


@report_keys(
    Key("wood_cm3", places=1), Key("resin_cm3", places=1), Key("wood_g", places=0),
    Key("resin_g", places=0), Key("total_g", places=0), Key("wood_varies_g", places=0),
    Key("balances_at", "at", 1), Key("beside_middle", places=1), "wood_density", "density_source",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class CoreWeight:
    """Volumes and masses of wood and resin; `at` is the (x, y) where the core balances, and
    `beside_middle` how far in X that lies from the middle of the board's length.

    `wood_density` is g/cm³ at 12 % moisture, from the table of woods; `density_source` as there.
    """

    wood_cm3: float
    resin_cm3: float
    wood_g: float
    resin_g: float
    at: tuple[float, float]
    beside_middle: float
    wood_density: float
    density_source: str

    @property
    def total_g(self) -> float:
        return self.wood_g + self.resin_g

    @property
    def wood_varies_g(self) -> float:
        """± of the wood's mass: one standard deviation between boards of a species."""
        return self.wood_g * WOOD_VARIES

    def message(self) -> str:
        """Return the weight in words, with what it hangs on."""
        return (
            f"about {self.total_g:.0f} g: wood {self.wood_g:.0f} g ± {self.wood_varies_g:.0f} at "
            f"{self.wood_density:.2f} g/cm³ (12 % moisture), resin {self.resin_g:.0f} g"
        )

    def balances(self) -> str:
        """Return where it balances in words."""
        x, y = self.at
        beside = self.beside_middle
        way = "in the middle of its length"
        if abs(beside) >= 0.5:
            way = f"{mm(abs(beside)):.0f~} towards X{'+' if beside > 0 else '-'} from its middle"
        return Said(f"at X{mm(x + 0.0):.0f} Y{mm(_no_minus(y)):.0f}, {way}")


def _no_minus(value: float) -> float:
    return 0.0 if abs(value) < 0.5 else value


@dataclass(frozen=True, slots=True)
class _Body:
    """A volume, mm³, and its moments about the axes of the board, mm⁴."""

    volume: float
    x: float
    y: float

    def __add__(self, other: _Body) -> _Body:
        return _Body(self.volume + other.volume, self.x + other.x, self.y + other.y)

    def __mul__(self, factor: float) -> _Body:
        return _Body(self.volume * factor, self.x * factor, self.y * factor)


_NOTHING = _Body(0.0, 0.0, 0.0)


def core_weight(stack: Stackup, board: Board) -> CoreWeight:
    """Returns what the core of a job weighs as it is planned."""
    wood = woods()[stack.job.blank.wood]
    plugs = [casting.area for casting in board.castings if casting.plug is not None]
    edge = _polygons(board.ring.intersection(board.outline))
    resin = _sum(_under(board.deck, area) for area in [*edge, *plugs])
    whole = _under(board.deck, board.outline)
    holes = _sum(_bored(stack, board.deck))
    left = whole + (resin + holes) * -1.0
    of_wood, of_resin = wood.density.value / 1000.0, _cured(stack.job.cast)
    mass = left * of_wood + resin * of_resin
    west, _, east, _ = board.outline.bounds
    x, y = mass.x / mass.volume, mass.y / mass.volume
    return CoreWeight(
        wood_cm3=left.volume / 1000.0,
        resin_cm3=resin.volume / 1000.0,
        wood_g=left.volume / 1000.0 * of_wood,
        resin_g=resin.volume / 1000.0 * of_resin,
        at=(x, y),
        beside_middle=x - (west + east) / 2.0,
        wood_density=of_wood,
        density_source=_source(wood),
    )


def _source(wood: Wood) -> str:
    return f"{wood.title}: {wood.density.source}"


def _cured(cast: CastSection) -> float:
    """Return the density of the cured resin, g/cm³: what is mixed keeps its mass as it shrinks."""
    volume = 1.0 / (1.0 + cast.extra)  # `parts` adds the extra again
    return parts(volume, cast).total_g / (1.0 - cast.shrinkage) ** 3


def _bored(stack: Stackup, deck: DeckSurface) -> Iterable[_Body]:
    """Yield the seats and bores, each from the bottom face up to the deck."""
    for one in stack.places:
        place = one.place
        height = float(deck.height(place.x, place.y))
        seat = place.seat.area.area * min(one.seat_depth, height)
        bore = place.bore_area.area * max(0.0, height - one.seat_depth)
        yield _Body(1.0, place.x, place.y) * (seat + bore)


def _under(deck: DeckSurface, area: Polygon) -> _Body:
    """Return what stands between the finished bottom and the deck over an area."""
    west, south, east, north = area.bounds
    step = min(math.sqrt(area.area / _NODES), (east - west) / 8.0, (north - south) / 8.0)
    xs, ys = (
        low + (np.arange(count) + 0.5) * (high - low) / count
        for low, high, count in (
            (west, east, math.ceil((east - west) / step)),
            (south, north, math.ceil((north - south) / step)),
        )
    )
    mask = inside(edges_of(area), xs, ys)
    x, y = (grid[mask] for grid in np.meshgrid(xs, ys, indexing="ij"))
    height = np.asarray(deck.height(x, y))
    means = (float(of.mean()) for of in (height, height * x, height * y))
    return _Body(*(area.area * mean for mean in means))


def _polygons(shape: shapely.Geometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]


def _sum(bodies: Iterable[_Body]) -> _Body:
    total = _NOTHING
    for body in bodies:
        total += body
    return total
