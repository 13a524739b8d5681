"""What is poured into each casting: volume, mass of each part, how low it may lie, how level it
must be.

p is how far the resin lies below the raw top at its lowest point (mm; negative: proud of it). The
*pour line* is `cast.pour_short` below the raw top. Resin is level, the raw top may not be: where it
is out of level by t mm/m, or uneven itself, the resin rises by r at the low end of a casting and
falls by r at the high end, r = t / 1000 x half its span + half the unevenness. Volumes in cm³,
masses in g, depths in mm. Formulas with a worked example: docs/pour.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from corepath.job.model import CastSection
from corepath.job.tables.builtin import resin_of
from corepath.lengths import MM_PER_INCH, Said, either, marked, mm, out_of_level, said_all
from corepath.reported import Key, report_keys
from corepath.stackup.linear import Linear
from corepath.stackup.pour.cups import CupPlan, cup_plan
from corepath.stackup.pour.mixing import Parts, parts

__all__ = [
    "POUR_HEADER", "CastingPour", "LevelLimits", "PourEntry", "PourPlan", "Shows", "StopLimit",
    "Tilt", "depth_loss", "level_limits", "pour_notes", "pour_plan", "pour_rows",
    "resin_low", "tilted", "volume_of",
]  # fmt: skip

Shows = Literal["surely", "likely", "perhaps", "no"]
"""Whether all castings show by a pass: in the worst case, nominally, in the best case only, never.
"""


@report_keys(
    Key("pass", "number"), "plane", Key("p_limit", "p_limit.nominal"), "p_limit_worst", "shows"
)
@dataclass(frozen=True, slots=True)
class StopLimit:
    """How low the resin of one casting may lie if the skim stops after pass `number` at `plane`, mm
    above the bed in B.

    `p_limit` = s - gB + gC - h - fill_margin with its errors, h the highest deck over the casting.
    """

    number: int
    plane: float
    p_limit: Linear
    shows: Shows = "surely"

    @property
    def p_limit_worst(self) -> float:
        return self.p_limit.worst()[0]


@dataclass(frozen=True, slots=True)
class CastingPour:
    """The pour of one casting: `floor` in A, `depth` from the raw top, and `volume` (cm³) up to the
    pour line.

    `p_expected` is how far the cured resin is expected to lie below the raw top at its lowest
    point, after a flush if there is one, and `p_poured` the same before it. `p_limit` is the most
    that still leaves the fill margin above the designed deck at the lowest plane, nominal. `area`
    (mm²) is the footprint, `half_span` (mm) half its longest extent, `uneven` (mm) half the
    difference of the raw top along it. `stops` are the possible stops in the order cut.
    """

    id: str
    floor: float
    depth: float
    volume: float
    p_expected: Linear
    p_limit: float
    area: float = 0.0
    half_span: float = 0.0
    uneven: float = 0.0
    stops: tuple[StopLimit, ...] = ()
    p_poured: float = 0.0


def volume_of(area: float, depth: float, short: float = 0.0) -> float:
    """Return the volume, cm³, of a pocket with upright walls filled to `short` mm below the raw
    top; `area` is mm², `depth` mm from the raw top. Never negative."""
    return area * max(0.0, depth - short) / 1000.0


@report_keys(
    "level",
    "rise",
    "over",
    Key("spilled_cm3", "spilled", 3),
    Key("p_high_end", "p_high"),
    Key("p_low_end", "p_low"),
)
@dataclass(frozen=True, slots=True)
class Tilt:
    """The effect of being out of level by `level` mm/m on one casting, poured and cured.

    `rise` (mm) is how far the resin rises against the raw top at the low end and falls at the high
    end. `over` (mm) is how far it would stand above the raw top at the low end: it spills there, or
    needs a dam of that height. `spilled` (cm³) runs out where there is no dam. `p_high` and `p_low`
    (mm) are how far the cured resin lies below the raw top at the high end, where it is lowest, and
    at the low end.
    """

    level: float
    rise: float
    over: float
    spilled: float
    p_high: float
    p_low: float


def depth_loss(cast: CastSection) -> float:
    """Return the share of its depth by which a casting sinks: what is lost before the resin gels,
    and the linear shrinkage after. Raises KeyError for a resin that is not known, unless the job
    gives `gel_loss`."""
    if cast.gel_loss is not None:
        return cast.gel_loss + cast.shrinkage
    resin = resin_of(cast)
    if resin is None:
        raise KeyError(cast.resin)
    return resin.gel_loss.value + cast.shrinkage


def resin_low(cast: CastSection, depth: float, rise: float, line: float = 0.0) -> float:
    """Return p at the high end, mm: pour_short + loss x depth + rise + what spills at the low end.

    `depth` is D and `rise` as in `Tilt`, mm; `line` is by how many mm the pour ended too low.
    """
    short = cast.pour_short + line
    # Undammed resin runs over the low end until it stands level with the raw top there; the whole
    # surface sinks by as much. A flush needs a dam anyway, and then nothing is lost.
    lost = max(0.0, rise - short) if cast.flush == "none" else 0.0
    return short + lost + rise + depth_loss(cast) * depth


def tilted(pour: CastingPour, cast: CastSection, level: float) -> Tilt:
    """Return what `level` mm/m along the longest extent does to a casting poured to the pour line
    at its middle.

    Without a flush nothing dams the resin: what would stand above the raw top at the low end runs
    out, and the whole surface sinks by as much, so that the high end lies 2 x rise below the raw
    top and not pour_short + rise.
    """
    rise = level / 1000.0 * pour.half_span + pour.uneven
    over = max(0.0, rise - cast.pour_short)
    lost = over if cast.flush == "none" else 0.0
    shrunk = depth_loss(cast) * pour.depth
    return Tilt(
        level=level,
        rise=rise,
        over=over,
        spilled=_area(pour, cast) * lost / 1000.0,
        p_high=resin_low(cast, pour.depth, rise),
        p_low=cast.pour_short + lost - rise + shrunk,
    )


@report_keys(
    Key("fill", places=3),
    Key("spill", places=3),
    Key("after_spill", places=3),
    Key("limit", "least", 3),
    Key("says", "message"),
)
@dataclass(frozen=True, slots=True)
class LevelLimits:
    """How far out of level the blank may lie, mm/m; negative: not even level would be enough.

    `fill`: the high end is still filled; `spill`: the low end does not run over (None with a flush:
    a dam holds it); `after_spill`: the high end is still filled after the low end ran over. All are
    None where the casting has no extent.
    """

    fill: float | None
    spill: float | None
    after_spill: float | None

    @property
    def least(self) -> float | None:
        """The limit up to which neither happens: filled, and nothing runs over."""
        known = [limit for limit in (self.fill, self.spill) if limit is not None]
        return min(known) if known else None

    def message(self) -> str:
        """Return the limit in words, as the thickness of a card under a level of 1 m."""
        least = self.least
        if least is None:
            return "any level will do"
        if least < 0:
            return "not even a level blank will do"
        card = either(f"{least:.2f} mm", f"{least / MM_PER_INCH:.3f} in")
        level = either("1 m", "39.37 in")
        return Said(
            f"{out_of_level(least):.2f~}: a card {card} thick under one end of a {level} level"
        )


def level_limits(pour: CastingPour, cast: CastSection, p_limit: float | None = None) -> LevelLimits:
    """Return the out-of-level limits of a casting whose resin may lie `p_limit` mm low (that of the
    lowest plane if None).

    fill: (p_limit - pour_short - loss x depth - uneven) / half_span; spill: (pour_short - uneven) /
    half_span; after a spill the high end lies 2 x rise low: ((p_limit - loss x depth) / 2 - uneven)
    / half_span.
    """
    room = (pour.p_limit if p_limit is None else p_limit) - depth_loss(cast) * pour.depth

    def level(rise: float) -> float | None:
        return (rise - pour.uneven) / pour.half_span * 1000.0 if pour.half_span > 0 else None

    dammed = cast.flush != "none"
    fill = level(room - cast.pour_short)
    return LevelLimits(
        fill, None if dammed else level(cast.pour_short), fill if dammed else level(room / 2.0)
    )


def pour_notes(pour: CastingPour, cast: CastSection, level: float) -> tuple[str, ...]:
    """Return what to pay attention to before one casting is poured, as sentences; empty if nothing.

    `level` is how far out of level the blank may be, mm/m.
    """
    limits, tilt = level_limits(pour, cast), tilted(pour, cast, level)
    notes = []
    if tilt.over > 0 and cast.flush == "none":
        notes.append(
            f"{pour.id} runs over at the low end if the blank is {out_of_level(level):g~} out of "
            "level: "
            f"{tilt.spilled:.1f} cm³, and the high end sinks to {mm(tilt.p_high):.2f}; "
            f"level to {marked(limits.message())}; or pour {mm(tilt.over):.2f} lower; what has run "
            "over "
            f"must be scraped off before B, or the blank rocks on it"
        )
    elif tilt.over > 0:
        notes.append(
            f"{pour.id} stands up to {mm(tilt.over):.2f} above the raw top while it cures: dam it "
            "higher than that"
        )
    if tilt.p_high > pour.p_limit:
        notes.append(
            f"{pour.id} lies {mm(tilt.p_high):.2f} low at the high end, {mm(pour.p_limit):.2f} is "
            "allowed: "
            f"the level for it is {marked(limits.message())}"
        )
    return said_all(notes)


@report_keys(
    "id", Key("volume_cm3", "pour.volume", 3), Key("flush_full_cm3", "full", 3), Key("depth",
    "pour.depth"),
    Key("p_expected", "pour.p_expected.nominal"), Key("p_limit", "pour.p_limit"), "shrinks",
        Key("*", "mixed"),
    Key("level", optional=True), Key("tilt", optional=True), Key("notes", optional=True),
    Key("stops", optional=True),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class PourEntry:
    """What is mixed for one casting; volumes to the pour line and up to the raw top (`full`), cm³.

    `shrinks` is by how many mm it sinks. `level`, `tilt` and `notes` are None where the casting has
    no extent, the last two also where no level was given.
    """

    pour: CastingPour
    full: float
    shrinks: float
    mixed: Parts
    level: LevelLimits | None
    tilt: Tilt | None
    notes: tuple[str, ...] | None = None

    @property
    def id(self) -> str:
        return self.pour.id

    @property
    def stops(self) -> tuple[StopLimit, ...] | None:
        return self.pour.stops or None


@report_keys(
    "resin",
    Key("extra", places=None),
    "castings",
    Key("volume_cm3", "volume", 3),
    Key("*", "mixed"),
    Key("*", "cups"),
)
@dataclass(frozen=True, slots=True)
class PourPlan:
    """The whole pour: each casting, the sum and the cups; `volume` in cm³, `extra` as a share."""

    resin: str
    extra: float
    castings: tuple[PourEntry, ...]
    volume: float
    mixed: Parts
    cups: CupPlan


def pour_plan(
    castings: Sequence[CastingPour], cast: CastSection, level: float | None = None
) -> PourPlan:
    """Work out what is mixed for all castings.

    With `level` (mm/m, `tolerances.level`) also what being that far out of level does to each
    casting.
    """
    volume = math.fsum(casting.volume for casting in castings)
    entries = tuple(_entry(casting, cast, level) for casting in castings)
    return PourPlan(
        cast.resin, cast.extra, entries, volume, parts(volume, cast), cup_plan(castings, cast)
    )


def _entry(pour: CastingPour, cast: CastSection, level: float | None) -> PourEntry:
    full, shrinks = volume_of(_area(pour, cast), pour.depth), depth_loss(cast) * pour.depth
    mixed = parts(pour.volume, cast)
    if pour.half_span <= 0:
        return PourEntry(pour, full, shrinks, mixed, None, None)
    limits = level_limits(pour, cast)
    if level is None:
        return PourEntry(pour, full, shrinks, mixed, limits, None)
    return PourEntry(
        pour, full, shrinks, mixed, limits, tilted(pour, cast, level), pour_notes(pour, cast, level)
    )


POUR_HEADER = said_all(
    ("casting", "cm³", "full cm³", "A g", "B g", "low", "may", f"level {either('mm/m', 'in/ft')}")
)
"""Columns of `pour_rows`: volume to the pour line and flush full, masses, p expected and allowed,
level limit."""


def pour_rows(castings: Sequence[CastingPour], cast: CastSection) -> tuple[tuple[str, ...], ...]:
    """Return one line of text for each casting, in the columns of `POUR_HEADER`, and the sum."""
    rows = []
    for pour in castings:
        mixed, least = parts(pour.volume, cast), level_limits(pour, cast).least
        full = volume_of(_area(pour, cast), pour.depth)
        figures = (
            pour.volume,
            full,
            mixed.a_g,
            mixed.b_g,
            mm(pour.p_expected.nominal),
            mm(pour.p_limit),
        )
        level = "any" if least is None else "none" if least < 0 else f"{out_of_level(least):.2f}"
        rows.append(said_all((pour.id, *(f"{figure:.2f}" for figure in figures), level)))
    volume = math.fsum(pour.volume for pour in castings)
    full = math.fsum(volume_of(_area(pour, cast), pour.depth) for pour in castings)
    mixed = parts(volume, cast)
    total = (f"{figure:.2f}" for figure in (volume, full, mixed.a_g, mixed.b_g))
    return (*rows, ("all", *total, "", "", ""))


def _area(pour: CastingPour, cast: CastSection) -> float:
    """Return the footprint, mm²; from the volume to the pour line where it was not given."""
    if pour.area > 0:
        return pour.area
    height = pour.depth - cast.pour_short
    return pour.volume * 1000.0 / height if height > 0 else 0.0
