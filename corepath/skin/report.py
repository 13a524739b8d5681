"""What `report.json` says of the skin, and the same in the words of a builder."""

from __future__ import annotations

import math
from typing import Any

from corepath.lengths import mm, said_all
from corepath.skin.skin_advice import SkinAdvice
from corepath.skin.study import SkinStudy
from corepath.skin.terms import BAR, PlacedFigure

__all__ = ["skin_report", "skin_words"]


def skin_report(study: SkinStudy, advice: SkinAdvice) -> dict[str, Any]:
    """Returns the section of the report: lengths mm, strains as shares, pressures bar, line loads
    N/mm, moments on a line N."""
    bending, pressure, line = study.bending, study.pressure, study.pressure.line
    return {
        "thickness": study.skin.thickness,
        "covers": [round(2.0 * study.cover.half_x, 2), round(2.0 * study.cover.half_y, 2)],
        "bending": {
            "strain": _at(bending.strain, 6),
            "limit": study.skin.strain_limit,
            "hollow": bending.hollow,
            "direction": bending.angle,
            "along_x": _at(bending.along_x, 6),
            "across_y": _at(bending.across_y, 6),
            "with_membrane": _at(study.together, 6),
        },
        "pressure": {
            "need": _at(pressure.most, 4),
            "with_membrane": _at(study.most_all, 4),
            "at_hand": round(study.skin.pressure / BAR, 4),
            "averaged_over": round(pressure.length, 3),
            "bridges": round(study.bridges, 6),
            "bridges_with_membrane": round(study.bridges_all, 6),
            "line_load": None if line is None or line.is_moment else _at(line.load, 4),
        },
        "membrane": {
            "tension": _at(study.tension, 6),
            "compression": _at(study.compression, 6),
            "limit": round(study.skin.compression_limit, 6),
        },
        "least_radius": None if math.isinf(bending.radius) else round(bending.radius, 1),
        "least_radius_allowed": round(study.skin.least_radius, 1),
        "steepest": {
            **_at(bending.steepest, 4),
            "degrees": round(math.degrees(math.atan(bending.steepest.value)), 2),
        },
        "jump": {
            **_at(bending.jump, 6),
            "from": round(bending.jump_sides[0], 6),
            "to": round(bending.jump_sides[1], 6),
            "moment": round(study.skin.stiffness * bending.jump.value, 4),
        },
        "says": list(skin_words(study)),
        "advice": advice.as_list(),
    }


def _at(place: PlacedFigure, digits: int) -> dict[str, float]:
    return {
        "value": round(place.value, digits) + 0.0,
        "x": round(place.x, 2) + 0.0,
        "y": round(place.y, 2) + 0.0,
    }


def skin_words(study: SkinStudy) -> tuple[str, ...]:
    """Returns one sentence each for tightest bend, steepest slope, jump of curvature and need for
    pressure, and one for a load on a line and for ground bridged where there is any."""
    bending, pressure, at_hand = study.bending, study.pressure, study.skin.pressure / BAR
    if math.isinf(bending.radius):
        return ("The deck is level: nothing bends the skin.",)
    shape = "hollow" if bending.hollow else "crown"
    said = [
        f"Tightest bend: R {mm(bending.radius):.0f~}, a {shape} at {bending.strain.words}, bent "
        f"{_way(bending.angle)}; "
        f"the skin takes R {mm(study.skin.least_radius):.0f~}.",
        f"Steepest: {math.degrees(math.atan(bending.steepest.value)):.1f}° "
        f"(1 in {1.0 / bending.steepest.value:.0f}) at {bending.steepest.words}.",
        f"Sharpest change of bend: from {_radius(bending.jump_sides[0])} to "
        f"{_radius(bending.jump_sides[1])} within "
        f"{mm(bending.jump_within):.0f~} at {bending.jump.words}, a line moment of "
        f"{study.skin.stiffness * bending.jump.value:.2g} N mm per mm.",
        f"Pressure: it must be pressed down by up to {pressure.most.value:.2f} bar at "
        f"{pressure.most.words}, "
        f"{study.most_all.value:.2f} bar at {study.most_all.words} with what double curvature "
        "adds; "
        f"{at_hand:.2f} bar at hand.",
    ]
    if pressure.line is not None and not pressure.line.is_moment:
        said.append(
            f"On a line: {pressure.line.load.value:.2g} N/mm at {pressure.line.load.words}."
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
