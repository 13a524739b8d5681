"""What `report.json` says of the skin, and the same in the words of a builder."""

from __future__ import annotations

import math
from typing import NamedTuple

from corepath.lengths import mm, said_all
from corepath.reported import Key, report_keys
from corepath.skin.skin_advice import SkinAdvice
from corepath.skin.study import SkinStudy

__all__ = ["SkinReport", "skin_words"]


class _Part(NamedTuple):
    """What every part of the section reads."""

    study: SkinStudy


@report_keys(
    Key("strain", "study.bending.strain", 6), Key("limit", "study.skin.strain_limit", None),
    Key("hollow", "study.bending.hollow"), Key("direction", "study.bending.angle", None),
    Key("along_x", "study.bending.along_x", 6), Key("across_y", "study.bending.across_y", 6),
    Key("with_membrane", "study.together", 6),
)  # fmt: skip
class _Bending(_Part):
    """Strains as shares; the direction bent in degrees from X towards Y."""


@report_keys(
    Key("need", "study.pressure.most"), Key("with_membrane", "study.most_all"),
    Key("at_hand", "study.skin.bar"), Key("averaged_over", "study.pressure.length", 3),
    Key("bridges", "study.bridges", 6), Key("bridges_with_membrane", "study.bridges_all", 6),
    Key("line_load", "study.pressure.line_load"),
)  # fmt: skip
class _Pressure(_Part):
    """Pressures in bar, a line load in N/mm, shares of the covered ground."""


@report_keys(
    Key("tension", "study.tension", 6), Key("compression", "study.compression", 6),
    Key("limit", "study.skin.compression_limit", 6),
)  # fmt: skip
class _Membrane(_Part):
    """Strains as shares."""


@report_keys(Key("*", "study.bending.steepest"), Key("degrees", places=2))
class _Steepest(_Part):
    """The largest slope, a tangent."""

    def degrees(self) -> float:
        return _degrees(self.study)


@report_keys(
    Key("*", "study.bending.jump", 6), Key("from", "before", 6), Key("to", "after", 6),
    "moment",
)  # fmt: skip
class _Jump(_Part):
    """A jump of curvature, 1/mm, and the moment on its line, N."""

    def before(self) -> float:
        return self.study.bending.jump_sides[0]

    def after(self) -> float:
        return self.study.bending.jump_sides[1]

    def moment(self) -> float:
        return _moment(self.study)


@report_keys(
    Key("thickness", "study.skin.thickness", None), Key("covers", "study.cover.size", 2),
    "bending", "pressure", "membrane", Key("least_radius", places=1),
    Key("least_radius_allowed", "study.skin.least_radius", 1), "steepest", "jump",
    Key("says", "message"), Key("advice", "advice.options"),
)  # fmt: skip
class SkinReport(NamedTuple):
    """The section `skin` of the report: lengths in mm."""

    study: SkinStudy
    advice: SkinAdvice

    def bending(self) -> _Bending:
        return _Bending(self.study)

    def pressure(self) -> _Pressure:
        return _Pressure(self.study)

    def membrane(self) -> _Membrane:
        return _Membrane(self.study)

    def least_radius(self) -> float | None:
        radius = self.study.bending.radius
        return None if math.isinf(radius) else radius

    def steepest(self) -> _Steepest:
        return _Steepest(self.study)

    def jump(self) -> _Jump:
        return _Jump(self.study)

    def message(self) -> tuple[str, ...]:
        return skin_words(self.study)


def _degrees(study: SkinStudy) -> float:
    return math.degrees(math.atan(study.bending.steepest.value))


def _moment(study: SkinStudy) -> float:
    """Moment on the line of the largest jump of curvature, N."""
    return study.skin.stiffness * study.bending.jump.value


def skin_words(study: SkinStudy) -> tuple[str, ...]:
    """Returns one sentence each for tightest bend, steepest slope, jump of curvature and need for
    pressure, and one for a load on a line and for ground bridged where there is any."""
    bending, pressure, at_hand = study.bending, study.pressure, study.skin.bar
    if math.isinf(bending.radius):
        return ("The deck is level: nothing bends the skin.",)
    shape = "hollow" if bending.hollow else "crown"
    said = [
        f"Tightest bend: R {mm(bending.radius):.0f~}, a {shape} at {bending.strain.words}, bent "
        f"{_way(bending.angle)}; "
        f"the skin takes R {mm(study.skin.least_radius):.0f~}.",
        f"Steepest: {_degrees(study):.1f}° "
        f"(1 in {1.0 / bending.steepest.value:.0f}) at {bending.steepest.words}.",
        f"Sharpest change of bend: from {_radius(bending.jump_sides[0])} to "
        f"{_radius(bending.jump_sides[1])} within "
        f"{mm(bending.jump_within):.0f~} at {bending.jump.words}, a line moment of "
        f"{_moment(study):.2g} N mm per mm.",
        f"Pressure: it must be pressed down by up to {pressure.most.value:.2f} bar at "
        f"{pressure.most.words}, "
        f"{study.most_all.value:.2f} bar at {study.most_all.words} with what double curvature "
        "adds; "
        f"{at_hand:.2f} bar at hand.",
    ]
    if pressure.line_load is not None:
        said.append(
            f"On a line: {pressure.line_load.value:.2g} N/mm at {pressure.line_load.words}."
        )
    if study.bridges_all > 0.0:
        said.append(f"It bridges over {study.bridges_all:.1%} of its ground.")
    return said_all(said)


def _way(angle: float) -> str:
    if abs(angle) <= 10.0:
        return "along X"
    return "across Y" if abs(angle) >= 80.0 else f"{angle:.0f}° from X towards Y"


def _radius(curvature: float) -> str:
    # 1/mm: a radius over 100 m.
    if abs(curvature) < 1e-5:
        return "straight"
    return f"R {mm(1.0 / abs(curvature)):.0f} {'hollow' if curvature > 0.0 else 'crowned'}"
