"""Terms of the skin: its elastic figures, the surface it lies on, the ground it covers.

Units: lengths mm, stresses and pressures N/mm² inside, 1 bar = 0.1 N/mm², 1 GPa = 1000 N/mm²;
strains are shares. The skin is taken as isotropic: one modulus and one Poisson's ratio in every
direction of its plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box

from corepath.board.footprints import offset
from corepath.job.model import Job, SkinSection
from corepath.lengths import mm
from corepath.reported import GIVEN, Key, report_keys

__all__ = [
    "BAG",
    "BAR",
    "Laminate",
    "PlacedFigure",
    "SkinCover",
    "cover_of",
    "laminate_of",
    "largest",
    "pressure_cautions",
]

Floats = NDArray[np.float64]

BAR = 0.1
"""N/mm² in one bar."""

BAG = 0.95
"""The most that a vacuum bag gives, bar: air at sea level presses with 1.013, and a pump leaves
some of it."""

_THICKNESSES = 20.0
_LEAST_REACH = 1e-3  # mm: a skin that ends at the outline


@dataclass(frozen=True, slots=True)
class Laminate:
    """The elastic figures of a skin: `thickness` t mm, `modulus` E N/mm², `poisson` nu, `average`
    the length pressures are averaged over, mm; limits on bending and compression as shares,
    `pressure` at hand in N/mm²."""

    thickness: float
    modulus: float
    poisson: float
    average: float
    strain_limit: float
    compression_limit: float
    pressure: float

    @property
    def stiffness(self) -> float:
        """D = E t³ / (12 (1 - nu²)), N mm (Timoshenko and Woinowsky-Krieger, Theory of Plates and
        Shells, eq. 3)."""
        return self.modulus * self.thickness**3 / (12.0 * (1.0 - self.poisson**2))

    @property
    def least_radius(self) -> float:
        """The radius, mm, at which bending reaches the limit: t / (2 strain_limit)."""
        return self.thickness / (2.0 * self.strain_limit)

    @property
    def bar(self) -> float:
        """The pressure at hand, bar."""
        return self.pressure / BAR


def laminate_of(skin: SkinSection) -> Laminate:
    """Returns the figures of the skin of a job. What is not given is filled in: 20 thicknesses to
    average over, and the compression that lifts.

    A skin with the compression N = E t eps (N/mm) and a waviness a sin(k x) pushes off by a (N k² -
    D k⁴) at most, a N² / (4 D) at k² = N / (2 D). The pressure p holds it down up to eps = 2 √(D p
    / a) / (E t), which for a waviness of half the thickness is 2 √(p / (6 (1 - nu²) E)), whatever
    the thickness. (Derived here from the plate's equation; half the thickness is common practice,
    no source.)
    """
    modulus, pressure = skin.modulus * 1000.0, skin.pressure * BAR
    lifts = 2.0 * (pressure / (6.0 * (1.0 - skin.poisson**2) * modulus)) ** 0.5
    return Laminate(
        thickness=skin.thickness,
        modulus=modulus,
        poisson=skin.poisson,
        average=_THICKNESSES * skin.thickness if skin.average is None else skin.average,
        strain_limit=skin.strain_limit,
        compression_limit=lifts if skin.compression_limit is None else skin.compression_limit,
        pressure=pressure,
    )


@dataclass(frozen=True, slots=True)
class SkinCover:
    """What ground the skin covers: half its size along X and Y, mm, and its `edge` where it is
    no rectangle."""

    half_x: float
    half_y: float
    edge: Polygon | None = None

    @property
    def size(self) -> tuple[float, float]:
        """Length and width of the rectangle round it, mm."""
        return 2.0 * self.half_x, 2.0 * self.half_y

    def lattice(self, step: float) -> tuple[Floats, Floats]:
        """Returns nodes (n,), (m,) from edge to edge of the rectangle, about `step` mm apart, with
        a node in the middle."""
        return tuple(_nodes(half, step) for half in (self.half_x, self.half_y))  # type: ignore[return-value]

    def holds(self, xs: Floats, ys: Floats) -> NDArray[np.bool_]:
        """Returns (n, m) which nodes of `xs` (n,) by `ys` (m,) the skin covers, its edge included
        where it is a rectangle."""
        if self.edge is None:
            return np.ones((len(xs), len(ys)), dtype=np.bool_)
        from shapely import contains_xy, prepare

        prepare(self.edge)
        return np.asarray(contains_xy(self.edge, *np.meshgrid(xs, ys, indexing="ij")))


def _nodes(half: float, step: float) -> Floats:
    count = max(2, round(half / step))
    return np.linspace(-half, half, 2 * count + 1)


def cover_of(job: Job, outline: Polygon, reach: float) -> SkinCover:
    """Returns what the skin of `job` covers: the blank's rectangle, or the board inside `outline`
    and `reach` mm beyond it, as far as its laminates are cut."""
    if job.skin is not None and job.skin.covers == "board":
        half_x, half_y = job.blank.length / 2.0, job.blank.width / 2.0
        blank = box(-half_x, -half_y, half_x, half_y)
        edge = offset(outline, max(reach, _LEAST_REACH)).intersection(blank)
        if isinstance(edge, Polygon):
            left, low, right, high = edge.bounds
            return SkinCover(max(-left, right), max(-low, high), edge)
    return SkinCover(job.blank.length / 2.0, job.blank.width / 2.0)


@report_keys(Key("value", places=GIVEN), Key("x", places=2), Key("y", places=2))
@dataclass(frozen=True, slots=True)
class PlacedFigure:
    """A figure and the place of it, mm in the board frame."""

    value: float
    x: float
    y: float

    @property
    def words(self) -> str:
        return f"X{mm(round(self.x) + 0.0):.0f} Y{mm(round(self.y) + 0.0):.0f}"


def largest(values: Floats, xs: Floats, ys: Floats) -> PlacedFigure:
    """Returns the largest of `values` (n, m) on `xs` by `ys` with its place; of those equal to nine
    figures the first."""
    # a symmetric deck has its largest value twice: rounded, every machine names the same place
    most = max(float(values.max()), -float(values.min())) or 1.0
    # only those next to the largest are rounded: what is less by more stays less
    near = np.flatnonzero(values >= values.max() - 2e-9 * most)
    found = near[int(np.argmax(np.round(values.ravel()[near] / most, 9)))]
    i, j = np.unravel_index(int(found), values.shape)
    return PlacedFigure(float(values[i, j]), float(xs[i]) + 0.0, float(ys[j]) + 0.0)


def pressure_cautions(job: Job) -> tuple[str, ...]:
    """Returns a caution where the pressure at hand is more than a vacuum bag can give."""
    if job.skin is None or job.skin.pressure <= BAG:
        return ()
    return (
        f"skin.pressure is {job.skin.pressure:g} bar; a vacuum bag gives {BAG:g} at most: use a "
        "press, "
        "or give what the bag's gauge shows",
    )
