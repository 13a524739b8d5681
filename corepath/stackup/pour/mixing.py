"""Mass and volume of the two parts of a resin. Volumes in cm³ (ml), masses in g, densities in
g/cm³."""

from __future__ import annotations

from dataclasses import dataclass

from corepath.job.model import CastSection
from corepath.reported import Key, report_keys

__all__ = ["LIGHT", "Parts", "parts"]

LIGHT = 5.0
"""g: of a part lighter than this the last digit of a 0.1 g scale is 2 % and more of the ratio
(arithmetic)."""


@report_keys(
    Key("part_a_g", "a_g", 2), Key("part_b_g", "b_g", 2), Key("total_g", places=2),
    Key("part_a_ml", "a_ml", 2), Key("part_b_ml", "b_ml", 2),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Parts:
    """What to weigh or measure out: grams and millilitres of the parts A and B."""

    a_g: float
    b_g: float
    a_ml: float
    b_ml: float

    @property
    def total_g(self) -> float:
        return self.a_g + self.b_g

    def shared(self, count: float) -> Parts:
        """Return what goes into one of `count` equal cups."""
        return Parts(self.a_g / count, self.b_g / count, self.a_ml / count, self.b_ml / count)

    def weighable(self, least: float = LIGHT) -> Parts:
        """Return the same, or as much more in the same ratio as is needed for neither part to be
        lighter than `least` grams."""
        # dividing by a share below 1 makes more of it
        light = min(self.a_g, self.b_g)
        return self if light >= least or light <= 0 else self.shared(light / least)


def parts(volume: float, cast: CastSection) -> Parts:
    """Return the parts of `volume` cm³ of mixed resin plus the share `cast.extra`.

    Ideal mixing: the volumes of the parts add up. Mixed a : b by weight the density is (a + b) / (a
    / dA + b / dB), by volume (a dA + b dB) / (a + b).
    """
    # `density` may hold one figure for both parts: then first and last are the same.
    a, b = cast.ratio
    density_a, density_b = cast.density[0], cast.density[-1]
    if cast.ratio_by == "weight":
        a, b = a / density_a, b / density_b
    total = volume * (1.0 + cast.extra)
    a_ml, b_ml = total * a / (a + b), total * b / (a + b)
    return Parts(a_ml * density_a, b_ml * density_b, a_ml, b_ml)
