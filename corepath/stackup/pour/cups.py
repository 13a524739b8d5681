"""How the resin of all castings is divided into cups, with notes for the pour.

A cup holds no more than may be mixed at once of this kind of resin: it must be poured within its
pot life, and a large one heats itself, which shortens the pot life. All cups are equal; they are
poured in the order given, plugs first, since a plug is small and easily forgotten, then the groove.
Masses in g, volumes in cm³.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from corepath.geometry.step_counts import fewest_steps
from corepath.job.model import CastSection
from corepath.job.tables.builtin import Resin, resin_of
from corepath.lengths import mm
from corepath.reported import Key, report_keys
from corepath.stackup.pour.mixing import LIGHT, Parts, parts

__all__ = ["Cup", "CupPlan", "Poured", "cup_plan"]


class Poured(Protocol):
    """A casting as the cups see it: depth from the raw top (mm) and volume (cm³) to the pour
    line."""

    @property
    def id(self) -> str: ...
    @property
    def depth(self) -> float: ...
    @property
    def volume(self) -> float: ...


@report_keys("id", Key("cm3", places=2))
class Filled(NamedTuple):
    """A casting and the cm³ that it takes of a cup."""

    id: str
    cm3: float


@report_keys("id", "pours")
class Layers(NamedTuple):
    """A casting too deep for one pour, and in how many pours it is filled."""

    id: str
    pours: int


@report_keys(Key("cup", "number"), "fills")
@dataclass(frozen=True, slots=True)
class Cup:
    """One cup, numbered from 1 in the order poured, and the castings that it fills."""

    number: int
    fills: tuple[Filled, ...]


@report_keys("cups", Key("each_cup", "each"), "layers", "notes", "cautions")
@dataclass(frozen=True, slots=True)
class CupPlan:
    """All cups: `each` is what goes into one of them; `layers` are the castings too deep for one
    pour; `notes` and `cautions` are sentences."""

    cups: tuple[Cup, ...]
    each: Parts
    layers: tuple[Layers, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def cup_plan(castings: Sequence[Poured], cast: CastSection) -> CupPlan:
    """Divide the volume of all castings into equal cups.

    A resin that is not in the table is mixed in one cup, since its limit is not known.
    """
    known = resin_of(cast)
    ordered = sorted(castings, key=lambda casting: casting.id == "groove")
    volume = math.fsum(casting.volume for casting in ordered)
    whole = parts(volume, cast)
    count = _count(whole.total_g, known)
    each = whole.shared(count)
    layers = _layers(ordered, cast, known)
    notes = _notes(each, count, layers, cast, known)
    return CupPlan(
        _filled(ordered, volume, count), each, layers, notes, known.cautions if known else ()
    )


def _count(mass: float, resin: Resin | None) -> int:
    return max(1, fewest_steps(mass, resin.cup.value)) if resin else 1


def _filled(castings: Sequence[Poured], volume: float, count: int) -> tuple[Cup, ...]:
    """Return what each cup fills, pouring cup after cup into casting after casting."""
    # Both are intervals on one line of volume: a casting takes from a cup what they overlap. What
    # is below a millionth of a cup is rounding where two ends coincide.
    size = volume / count
    fills: list[list[Filled]] = [[] for _ in range(count)]
    poured = 0.0
    for casting in castings:
        start, end = poured, poured + casting.volume
        for k in range(count):
            taken = min(end, (k + 1) * size) - max(start, k * size)
            # A millionth of a cup is what rounding leaves where a casting ends with its cup.
            if taken > 1e-6 * max(size, 1.0):
                fills[k].append(Filled(casting.id, taken))
        poured = end
    return tuple(Cup(k + 1, tuple(filled)) for k, filled in enumerate(fills))


def _layers(
    castings: Sequence[Poured], cast: CastSection, resin: Resin | None
) -> tuple[Layers, ...]:
    if resin is None:
        return ()
    counted = ((c.id, fewest_steps(c.depth - cast.pour_short, resin.layer.value)) for c in castings)
    return tuple(Layers(name, count) for name, count in counted if count > 1)


def _notes(
    each: Parts, count: int, layers: Sequence[Layers], cast: CastSection, resin: Resin | None
) -> tuple[str, ...]:
    notes = [
        f"{count} cup{'s' if count > 1 else ''}, each of {each.a_g:.1f} g A and {each.b_g:.1f} g B"
    ]
    if cast.ratio_by == "volume":
        notes[0] += f" ({each.a_ml:.1f} ml and {each.b_ml:.1f} ml)"
    if resin is None:
        return (
            *notes,
            f"the resin table does not know {cast.resin}: take cup size and pot life from the "
            "maker's sheet",
        )
    notes.append(
        f"a cup must be poured within its pot life, about {resin.pot_life.value:g} min "
        f"({resin.pot_life.source}); "
        f"mix the next one only when it is empty"
    )
    if min(each.a_g, each.b_g) < LIGHT:
        notes.append(
            f"less than {LIGHT:g} g of a part: weigh to 0.01 g, or mix more than is needed"
        )
    if layers:
        names = ", ".join(f"{name} in {number}" for name, number in layers)
        notes.append(
            f"deeper than one pour of {mm(resin.layer.value):g~} ({resin.layer.source}): {names} "
            "pours, unless the "
            f"maker's sheet allows more at once"
        )
    return tuple(notes)
