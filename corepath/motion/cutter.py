"""Cutters, as solids of revolution about the spindle axis with the tip at the origin, and how they
are run. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

from corepath.lengths import mm
from corepath.motion.cutter_profile import CutterProfile

__all__ = [
    "ANGLES",
    "DECK_SHAPES",
    "OPTIONS",
    "Cutter",
    "Cutting",
    "EndFault",
    "Helix",
    "Material",
    "Origin",
    "Shape",
    "cutter_words",
    "end_faults",
    "missing_sizes",
    "own_sizes",
]

Shape = Literal["flat", "ball", "bull", "drill", "taper"]
Helix = Literal["up", "down", "straight"]
Material = Literal["carbide", "high-speed steel"]

DECK_SHAPES: tuple[Shape, ...] = ("taper", "ball", "bull", "flat")
"""Shapes that finish a deck; backwards: those that rough one, the preferred first."""


class _End(NamedTuple):
    """What a shape's end is made of: its `corner` (none; half the diameter; or one of its own, told
    beside the diameter since it does not follow from it), a `cone` over the corner; whether it cuts
    to its `centre`; the keys of sizes that it alone has (`own`)."""

    corner: Literal["none", "half", "own"] = "none"
    cone: bool = False
    centre: bool = False
    own: tuple[str, ...] = ()


# One owner for what follows from the shape: rules, path finding, profile and words need no cases.
_ENDS: dict[Shape, _End] = {
    "flat": _End(),
    "ball": _End("half", centre=True),
    "bull": _End("own"),
    "drill": _End(centre=True),
    "taper": _End("half", cone=True, centre=True, own=("taper_angle",)),
}

OPTIONS = {
    "corner_radius": "corner radius",
    "cutting_length": "edges",
    "shank": "shank",
    "stick_out": "out",
    "taper_angle": "angle",
}
"""How a command line names the sizes of a cutter, by their keys."""

ANGLES = frozenset({"taper_angle"})
"""Those that are degrees, no lengths."""

_STEEPEST = 30.0  # degrees a side of a cone


@dataclass(frozen=True, slots=True)
class Cutter:
    """One cutter, the same from job to paths; lengths in mm.

    A drill counts as flat at its tip: depths are those of its full diameter. `helix` is the way in
    which the flutes move chips; `ramp_angle` (degrees) the steepest way into solid wood; a
    `centre_cutting` one may plunge. `shank` is the diameter above the edges, 0 for that of the
    edges. `listed` is the diameter in the job where `diameter` was measured, else 0.

    The corner radius follows the shape, whatever is given: half the diameter for a ball, 0 for a
    flat one and a drill, at most half the diameter for a bull. Ball and drill cut to their centre.

    A tapered ball (`taper`) is a ball of `diameter` whose flank is a cone, `taper_angle` degrees to
    the axis, as far as the edges go (`cutting_length`) and no wider than its `shank` where that is
    given. Its `radius` is that of the cone's wide end: all that keeps away from something reckons
    with it. (ISO 13399 calls the two DC and DCX, from memory.)
    """

    number: int
    shape: Shape
    diameter: float
    corner_radius: float
    flutes: int
    cutting_length: float
    stick_out: float
    helix: Helix = "up"
    centre_cutting: bool = False
    ramp_angle: float = 3.0
    material: Material = "carbide"
    shank: float = 0.0
    listed: float = 0.0
    taper_angle: float = 0.0

    def __post_init__(self) -> None:
        half = self.diameter / 2.0
        corners = {"none": 0.0, "half": half, "own": min(self.corner_radius, half)}
        object.__setattr__(self, "corner_radius", corners[_ENDS[self.shape].corner])
        plunges = self.centre_cutting or _ENDS[self.shape].centre
        object.__setattr__(self, "centre_cutting", plunges)
        above = 0.0 if self.coned else self.listed
        object.__setattr__(self, "shank", self.shank or above)
        object.__setattr__(self, "listed", self.listed if self.listed != self.diameter else 0.0)

    @property
    def coned(self) -> bool:
        """Whether a cone of `taper_angle` goes on over its corner."""
        return _ENDS[self.shape].cone

    @property
    def measured(self) -> bool:
        """Whether its diameter was measured and differs from the one that the job lists."""
        return self.listed > 0.0

    @property
    def radius(self) -> float:
        """Radius, mm, of all that its edges sweep: of a tapered ball that of its widest part."""
        return self._cone_end() if self.coned else self.diameter / 2.0

    def _cone_end(self) -> float:
        """Radius of the cone at the upper end of the edges, no larger than that of the shank.

        The cone begins at r·cos a beyond the flat part and r·(1 − sin a) over the tip, where its
        flank is tangent to the corner of radius r.
        """
        corner, side = self.corner_radius, math.radians(self.taper_angle)
        flank = self.cutting_length - corner * (1.0 - math.sin(side))
        wide = self.flat_radius + corner * math.cos(side) + max(flank, 0.0) * math.tan(side)
        return min(wide, self.shank / 2.0) if self.shank > 0.0 else wide

    @property
    def flat_radius(self) -> float:
        """Radius of the flat part of its end, mm; 0 for a ball, tapered or not."""
        return self.diameter / 2.0 - self.corner_radius

    @property
    def profile(self) -> CutterProfile:
        """The tool profile z(r) of its end."""
        if not self.coned:
            return CutterProfile(self.radius, self.flat_radius, self.corner_radius)
        side, corner = math.radians(self.taper_angle), self.corner_radius
        cone = (corner * math.cos(side), 1.0 / math.tan(side))
        return CutterProfile(self.radius, self.flat_radius, corner, *cone)

    @property
    def end_sizes(self) -> tuple[float, ...]:
        """The sizes of its end that `cutter_words` tells after the diameter, in their order, mm."""
        return (self.corner_radius,) if _ENDS[self.shape].corner == "own" else ()

    @property
    def end_angles(self) -> tuple[float, ...]:
        """The angles that `cutter_words` tells after the sizes, degrees."""
        return (self.taper_angle,) if self.coned else ()

    def reaches(self, depth: float) -> bool:
        """Whether its edges are long enough for a cut `depth` mm deep."""
        return self.cutting_length >= depth

    def form(self) -> dict[str, Any]:
        """Shape and sizes of its end, as reports hold them and `cutter_words` takes them."""
        told = {name: getattr(self, name) for name in ("shape", "diameter", "corner_radius")}
        if self.coned:
            told |= {"taper_angle": self.taper_angle, "largest_diameter": 2.0 * self.radius}
        return told

    def facts(self) -> dict[str, Any]:
        """The same as `form`, after the cutter's number."""
        return {"number": self.number, **self.form()}

    def describe(self) -> str:
        """Return shape and diameter in words, and the listed diameter where it was measured."""
        listed = f" (listed as {mm(self.listed):g})" if self.measured else ""
        return cutter_words(self.facts(), " D", " corner R") + listed


def cutter_words(
    facts: Mapping[str, Any],
    diameter: str = " ",
    corner: str = ", corner radius ",
    size: Callable[[float], str] = lambda length: f"{mm(length):g}",
    measured: str = "",
) -> str:
    """Returns a cutter in words: number, shape, diameter and the other sizes of its shape.

    `facts` come from `Cutter.facts` or `Cutter.form`, maybe through a report. `diameter` and
    `corner` are put before the figures, which `size` writes, `measured` after the diameter.
    """
    end = _ENDS[facts["shape"]]
    number = f"T{facts['number']} " if "number" in facts else ""
    more = f"{corner}{size(facts['corner_radius'])}" if end.corner == "own" else ""
    if end.cone:
        more += f", {facts['taper_angle']:g} degrees a side"
    return f"{number}{facts['shape']}{diameter}{size(facts['diameter'])}{measured}{more}"


class EndFault(NamedTuple):
    """What is wrong with one size of a cutter's end: the key, the fault, what is allowed."""

    key: str
    message: str
    allowed: str


def own_sizes(shape: Shape) -> tuple[str, ...]:
    """Return the keys of sizes that such a cutter has and those of some other shapes have not."""
    return _ENDS[shape].own


def missing_sizes(shape: Shape) -> frozenset[str]:
    """Return the keys of sizes that cutters of other shapes have and such a one has not."""
    return frozenset(key for end in _ENDS.values() for key in end.own) - set(_ENDS[shape].own)


def end_faults(cutter: Cutter, corner: float | None) -> Iterator[EndFault]:
    """Yields what is wrong with the end of a cutter as it was asked for.

    `corner` is the corner radius that was given, mm, None for none: the cutter's own follows from
    its shape.
    """
    yield from _corner_faults(cutter, corner)
    if cutter.coned:
        yield from _cone_faults(cutter)
    elif cutter.taper_angle != 0.0:
        yield EndFault(
            "taper_angle", f"a {cutter.shape} cutter has none", 'leave it out, or shape = "taper"'
        )


def _corner_faults(cutter: Cutter, corner: float | None) -> Iterator[EndFault]:
    half, kind = cutter.diameter / 2.0, _ENDS[cutter.shape].corner
    key = "corner_radius"
    if kind == "own" and (corner is None or corner <= 0.0):
        says = f"a {cutter.shape} cutter needs its corner radius"
        yield EndFault(key, says, f"more than 0 and less than {half:g} mm")
    elif kind == "own" and corner is not None and corner >= half:
        yield EndFault(key, "is half the diameter or more", f"less than {half:g} mm")
    # a ball's corner radius follows from its diameter and may be left out; 1e-6 mm allows for the
    # rounding of a radius given in inches
    elif kind == "half" and corner is not None and abs(corner - half) > 1e-6:
        yield EndFault(key, "a ball's radius is half its diameter", f"leave it out, or {half:g} mm")
    elif kind == "none" and corner:
        says = f"a {cutter.shape} cutter has none"
        yield EndFault(key, says, 'leave it out, or shape = "bull"')


def _cone_faults(cutter: Cutter) -> Iterator[EndFault]:
    """The angle of a cone, and edges and a shank that let it get wider than the end below it."""
    if not 0.0 < cutter.taper_angle <= _STEEPEST:
        allowed = f"more than 0, at most {_STEEPEST:g} degrees a side"
        yield EndFault("taper_angle", "a tapered ball needs its taper", allowed)
    elif 0.0 < cutter.shank <= cutter.diameter:
        allowed = f"more than its diameter, {cutter.diameter:g} mm"
        yield EndFault("shank", "a tapered ball's shank is thicker than its ball", allowed)
    elif cutter.radius <= cutter.diameter / 2.0:
        says = "ends before the taper is as wide as the ball"
        yield EndFault("cutting_length", says, "longer edges, or a larger taper_angle")


class Origin(NamedTuple):
    """Where the figures of a `Cutting` come from, in words: `job`, or a table with the mark of its
    source."""

    chip_load: str = "job"
    rpm: str = "job"
    feed: str = "chip load"


@dataclass(frozen=True, slots=True)
class Cutting:
    """How a cutter is run: rpm, feeds in mm/min, depths in mm.

    `feed` sideways, right for a full-width cut; `ramp` along a ramp or helix, `plunge` straight
    down; `depth` of one layer, the axial depth of cut; `stepover` largest distance between
    neighbouring lines of a clearing path. `finish` is the feed of a finishing pass, along a wall or
    in lines beside one another over the deck; 0 means as `feed`. The chip load is feed / (flutes ·
    rpm).
    """

    rpm: float
    feed: float
    ramp: float
    plunge: float
    depth: float
    stepover: float
    finish: float = 0.0
    origin: Origin = field(default_factory=Origin)

    def __post_init__(self) -> None:
        if self.finish <= 0.0:
            object.__setattr__(self, "finish", self.feed)

    @property
    def fastest(self) -> float:
        """The largest feed of all, mm/min."""
        return max(self.feed, self.ramp, self.plunge, self.finish)
