"""What is poured into each casting: volume, mass of each part, and how low the resin may lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from corepath.job.model import CastSection
from corepath.stackup.linear import Linear

__all__ = ["CastingPour", "mix", "pour_report"]


@dataclass(frozen=True, slots=True)
class CastingPour:
    """One casting: `floor` in A, depth from the raw top, volume (cm³) poured to `pour_short` below it.

    `p_expected` is how far the cured resin is expected to lie below the raw top at its lowest point,
    `p_limit` the most that still leaves the fill margin above the deck to be, at the lowest plane
    (both mm); `p_limit` has no errors in it.
    """

    id: str
    floor: float
    depth: float
    volume: float
    p_expected: Linear
    p_limit: float


def mix(volume: float, cast: CastSection) -> dict[str, float]:
    """Mass in grams of parts A and B for `volume` cm³ of mixed resin plus `cast.extra`.

    Ideal mixing: the volumes of the parts add up. By weight a : b the mixed density is
    (a + b) / (a / dA + b / dB); by volume it is (a dA + b dB) / (a + b).
    """
    a, b = cast.ratio
    density_a, density_b = cast.density[0], cast.density[-1]
    if cast.ratio_by == "volume":
        a, b = a * density_a, b * density_b
    mixed = (a + b) / (a / density_a + b / density_b)
    total = volume * mixed * (1.0 + cast.extra)
    return {"part_a_g": total * a / (a + b), "part_b_g": total * b / (a + b), "total_g": total}


def pour_report(castings: Sequence[CastingPour], cast: CastSection) -> dict[str, Any]:
    """The `pour` entry of the report: each casting and the sum."""
    entries = []
    for casting in castings:
        masses = {name: round(mass, 2) for name, mass in mix(casting.volume, cast).items()}
        entries.append(
            {
                "id": casting.id,
                "volume_cm3": round(casting.volume, 3),
                "depth": round(casting.depth, 4),
                "p_expected": round(casting.p_expected.nominal, 4),
                "p_limit": round(casting.p_limit, 4),
                **masses,
            }
        )
    volume = sum(casting.volume for casting in castings)
    totals = {name: round(mass, 2) for name, mass in mix(volume, cast).items()}
    return {"resin": cast.resin, "extra": cast.extra, "castings": entries, "volume_cm3": round(volume, 3), **totals}
