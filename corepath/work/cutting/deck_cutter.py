"""Which listed cutter finishes the deck: the one with the fewest minutes among those that fit into
its hollows.

Minutes are the integral of dA over step and feed (`corepath.work.cutting.deck_steps`), with a share
on top for turns and whole numbers of lines. What a cutter cannot reach is the morphological closing
of the surface by its shape, less the surface itself (the lowest that the cutter, resting on the
ground from every place, leaves). It is looked for on a grid of `_GRID` mm for a flat end, on every
node for a rounded one; for a ball it is worked out finely where it is deepest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.errors import Fault
from corepath.geometry.morphology import closed
from corepath.job.model import Job
from corepath.motion.cutter import DECK_SHAPES, Cutter
from corepath.motion.cutter_profile import footprint
from corepath.work.cutting.cutters import Chosen, Need, choose, chosen
from corepath.work.cutting.deck_steps import Bounds, level_step, slopes_over, surface_minutes
from corepath.work.cutting.running import CutRequest

Array = NDArray[np.float64]

__all__ = ["Offer", "choose_deck", "deck_offers", "hollow_left"]

DEEPEST_HOLLOW = 0.3
"""Share of the allowed ridge that a cutter may leave in hollows into which it does not fit."""
# mm between the nodes at which a flat end is closed over the surface; less for a small cutter.
_GRID = 3.0
_LOOKS = 6
"""Most places at which a hollow is looked at finely."""
_TRUE = 0.002
"""mm: what a ball seems to leave on these nodes though it fits is kept below this."""
_OVERHEAD = {True: 1.6, False: 1.1}
"""How many times the integral a path takes, by whether the cutter has a flat end: that one turns
more often."""


@dataclass(frozen=True, slots=True)
class Offer:
    """One listed cutter for the deck: how it would be run, least minutes for the whole blank and
    for its slopes."""

    chosen: Chosen
    minutes: float
    sloped: float

    @property
    def estimate(self) -> float:
        """Estimated minutes, with turns and whole numbers of lines."""
        return self.minutes * _OVERHEAD[self.chosen.cutter.flat_radius > 0.0]


def deck_offers(
    job: Job,
    surface: DeckSurface,
    bounds: Bounds,
    deep: float,
    finished: Polygon | None = None,
) -> list[Offer]:
    """All listed cutters that could finish the deck, the one with the fewest estimated minutes
    first.

    `bounds` is (left, low, right, high) of the blank; `deep` is the most stock over the deck, mm;
    `finished` is the part of it that is finished, None for all.
    """
    offers = []
    slopes = cache(lambda: slopes_over(surface, bounds, finished))
    part = None if finished is None else finished.wkb
    for section in job.cutter:
        if section.shape not in DECK_SHAPES or _lies_on_its_cone(section.cutter, surface):
            continue
        run = chosen(
            job, section, CutRequest(1.0 - job.skim.overlap, scallop=job.deck.scallop, deep=deep)
        )
        widest = level_step(run.cutter, job.deck.scallop, run.cutting.stepover)
        asked = (run.cutter, job.deck.scallop, widest, run.cutting.finish)
        least = partial(_least_minutes, slopes, surface.step, *asked)
        whole, sloped = surface.kept.of(("minutes", bounds, part, *asked), least)
        offers.append(Offer(run, whole, sloped))
    return sorted(offers, key=lambda offer: (round(offer.estimate, 3), offer.chosen.cutter.number))


def _least_minutes(
    slopes: Callable[[], tuple[Array, Array]],
    step: float,
    cutter: Cutter,
    scallop: float,
    widest: float,
    feed: float,
) -> tuple[float, float]:
    return surface_minutes(slopes(), step, cutter, scallop, widest, feed)


def _lies_on_its_cone(cutter: Cutter, surface: DeckSurface) -> bool:
    """Whether the deck is somewhere as steep as the flank of a tapered ball, which may then touch
    it: its paths are worked out for the ball."""
    return surface.steepest >= cutter.profile.cone_slope


def choose_deck(
    job: Job,
    surface: DeckSurface,
    bounds: Bounds,
    passes: Sequence[Callable[[Cutter], bool]],
    deep: float,
    finished: Polygon | None = None,
) -> Chosen | Fault:
    """The cutter for the finished deck in stock up to `deep` mm over it, or the fault that none is
    listed.

    Of those that pass beside a frame and obstacles by the first of `passes` that any passes, the
    strictest first; where none does, the smallest. Where none fits all hollows, the one that leaves
    least.
    """
    offers = deck_offers(job, surface, bounds, deep, finished)
    if not offers:
        fault = choose(job, Need("the deck", DECK_SHAPES, None, 0.0, "deck"))
        return fault if isinstance(fault, Fault) else _too_steep(fault.cutter, surface)
    for passing in passes:
        left: list[tuple[float, Chosen]] = []
        # Both questions take a second for a wide cutter: none is asked after the first that does.
        for offer in offers:
            if not passing(offer.chosen.cutter):
                continue
            hollow = hollow_left(surface, offer.chosen.cutter)
            if hollow <= DEEPEST_HOLLOW * job.deck.scallop:
                return offer.chosen
            left.append((round(hollow, 4), offer.chosen))
        if left:
            return min(left, key=lambda found: found[0])[1]
    smallest = min(offers, key=lambda one: (one.chosen.cutter.diameter, one.chosen.cutter.number))
    return smallest.chosen


def _too_steep(cutter: Cutter, surface: DeckSurface) -> Fault:
    steepest = math.degrees(math.atan(surface.steepest))
    return Fault(
        "deck",
        f"is {steepest:.0f} degrees steep, as steep as the flank of a tapered ball or steeper",
        cutter.describe(),
        f"a ball, or a taper of less than {90.0 - steepest:.0f} degrees a side",
    )


def hollow_left(surface: DeckSurface, cutter: Cutter) -> float:
    """Height (mm) of what `cutter` must leave in the deepest hollow that it does not fit."""
    return surface.kept.of(("hollow", cutter), lambda: _hollow_left(surface, cutter))


def _hollow_left(surface: DeckSurface, cutter: Cutter) -> float:
    spacing = float(surface.xs[1] - surface.xs[0])
    if cutter.flat_radius == 0.0 and cutter.corner_radius * _most_hollow(surface) <= 1.0:
        return 0.0
    # A flat end needs a grid no coarser than half its radius, or its disc would be but a few nodes.
    every = (
        max(1, round(min(_GRID, cutter.radius / 2.0) / spacing))
        if cutter.corner_radius == 0.0
        else 1
    )
    grid = np.asarray(surface.grid, dtype=np.float64)[::every, ::every]
    rough = _bridged(grid, cutter, every * spacing, cutter.radius)
    if cutter.flat_radius > 0.0:
        # Where level lines on a slope turn about as tightly as a disc, what it leaves hangs on a
        # hair of its radius, and finer nodes would tell it no better.
        return float(rough.max())
    reach = _steep_share(surface) * cutter.corner_radius
    apart = math.ceil((reach + spacing) / spacing)
    # Beyond its last node the deck is unknown, and a cutter there reaches twice as far as it
    # touches. The nodes go on 40 mm beyond the blank.
    within = (slice(2 * apart, -2 * apart),) * 2
    inside = np.zeros_like(rough)
    inside[within] = rough[within]
    rough, deepest = inside, 0.0
    # Between nodes the contact is missed, and a ball seems to leave something in creases that it
    # fits. The deepest places are looked at finely, deepest first.
    for _ in range(_LOOKS):
        i, j = np.unravel_index(int(np.argmax(np.round(rough, 9))), rough.shape)
        if rough[i, j] <= deepest:
            break
        at = float(surface.xs[i]), float(surface.ys[j])
        deepest = max(deepest, _looked_at(surface, cutter, at, spacing, reach))
        rough[max(i - apart, 0) : i + apart + 1, max(j - apart, 0) : j + apart + 1] = 0.0
    return deepest


def _bridged(grid: Array, cutter: Cutter, spacing: float, reach: float) -> Array:
    """What the cutter leaves over each node of a grid, mm: the closing by its end as far as `reach`
    from the axis, less the grid."""
    end = footprint(cutter.profile, spacing)
    skip = len(end) // 2 - math.ceil(reach / spacing)
    if skip > 0:
        end = end[skip:-skip, skip:-skip]
    return closed(grid, end) - grid


def _looked_at(
    surface: DeckSurface, cutter: Cutter, at: tuple[float, float], around: float, reach: float
) -> float:
    """What a ball leaves within `around` mm of a place, on nodes as near as it needs.

    `reach` is how far from the axis it can touch the deck.
    """
    # On nodes a step apart a ball seems to leave up to step²/(2·r): contact and place each miss by
    # half a diagonal.
    fine = min(around, math.sqrt(2.0 * cutter.corner_radius * _TRUE))
    halo = 2.0 * math.ceil(reach / fine) * fine
    count = math.ceil((around + halo) / fine)
    along = np.arange(-count, count + 1) * fine
    x, y = np.meshgrid(
        np.clip(at[0] + along, surface.xs[0], surface.xs[-1]),
        np.clip(at[1] + along, surface.ys[0], surface.ys[-1]),
        indexing="ij",
    )
    left = _bridged(surface.height(x, y), cutter, fine, reach)
    keep = math.ceil(around / fine)
    middle = slice(count - keep, count + keep + 1)
    return float(left[middle, middle].max())


def _steep_share(surface: DeckSurface) -> float:
    """How far from its centre, as a share of its radius, a ball can touch the deck at most."""
    return math.sin(math.atan(surface.steepest))


def _most_hollow(surface: DeckSurface) -> float:
    """A bound of the surface's upward curvature, 1/mm: a ball of a smaller radius than 1 over it
    fits everywhere. Second derivatives of a uniform cubic B-spline are means of the second
    differences of its coefficients, and the largest curvature is at most the larger of the two
    along the axes and the twist.
    """
    coef, step = surface.coefficients, surface.step
    upward = max(float(np.diff(coef, 2, axis=axis).max()) for axis in (0, 1))
    twist = float(np.abs(np.diff(np.diff(coef, axis=0), axis=1)).max())
    return float((max(upward, 0.0) + twist) / step**2)
