"""What changes in the text of a job whose board is scaled or mirrored: places and sizes in plan,
in the units of the file.

The board is scaled in plan: outline, deck stations, the width of the blend. Heights, the groove,
hardware and diameters stay, and so do pitches: places of one table that lie near one another are
one piece of hardware, which moves as a whole. What stands on the rim or beside the blank keeps its
distance from the board.
"""

from __future__ import annotations

import copy
import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from corepath.job.places import all_places
from corepath.job.text.positions import Path
from corepath.lengths import Units, plain

__all__ = ["Mirror", "Reshape", "changes_of", "mirrored"]

_Place = tuple[float, float]
Mirror = Literal["ends", "sides"]
"""What a mirrored board exchanges."""

_Number = tuple[Path, float, float]
"""Path of a number, its value now and the one it gets."""

NEAR = 150.0
"""Places of one table nearer to each other are one piece of hardware, mm; common practice, no
source: the holes of a foot strap, a pad or a fin base."""


@dataclass(frozen=True, slots=True)
class Reshape:
    """How a board changes: by what `factor` in plan, and about what it is mirrored; `length` and
    `width` are those of its outline before, in the units of the file."""

    length: float
    width: float
    factor: float = 1.0
    mirror: Mirror | None = None

    @property
    def changes(self) -> bool:
        """Whether the board is another one."""
        return self.factor != 1.0 or self.mirror is not None

    @property
    def signs(self) -> _Place:
        return (-1.0 if self.mirror == "ends" else 1.0, -1.0 if self.mirror == "sides" else 1.0)

    def on_board(self, place: Sequence[float]) -> _Place:
        """Returns where a place of the board goes."""
        along, across = self.signs
        return along * self.factor * place[0], across * self.factor * place[1]

    def held(self, place: Sequence[float], middle: Sequence[float]) -> _Place:
        """Returns where a place goes that moves with what has its middle there."""
        moved = self.moved(middle)
        return self._turned(place[0] + moved[0] - middle[0], place[1] + moved[1] - middle[1])

    def moved(self, middle: Sequence[float]) -> _Place:
        """Returns where a middle goes before it is mirrored: beyond the board's ends or sides it
        keeps its distance from them."""
        x, y = middle
        more = self.factor - 1.0
        half = (self.length / 2.0, self.width / 2.0)
        return (
            x + (math.copysign(half[0], x) if abs(x) > half[0] else x) * more,
            y + (math.copysign(half[1], y) if abs(y) > half[1] else y) * more,
        )

    def _turned(self, x: float, y: float) -> _Place:
        along, across = self.signs
        return along * x, across * y


def changes_of(document: Mapping[str, Any], shape: Reshape, units: Units) -> dict[Path, str]:
    """Returns the numbers that change, as TOML text by their paths. `document` is a valid job."""
    # What only rounding moves keeps its text as typed.
    return {
        path: plain(after, 4 if units.inch else 2)
        for path, now, after in _numbers(document, shape, units)
        if abs(after - now) > 1e-9
    }


def mirrored(document: Mapping[str, Any], mirror: Mirror, units: Units) -> dict[str, Any]:
    """Returns a valid job's document with the places of the board mirrored, not rounded; under a
    title that says so."""
    made = copy.deepcopy(dict(document))
    for path, now, after in _numbers(document, Reshape(0.0, 0.0, mirror=mirror), units):
        held: Any = made
        for part in path[:-1]:
            held = held[part]
        # a length of a shop file in other units stays marked as one in mm
        held[path[-1]] = type(now)(after) if isinstance(now, float) else after
    said = f", {mirror} mirrored"
    made["title"] = made["title"][: _LONGEST - len(said)] + said
    return made


_LONGEST = 60  # letters of a title


def _numbers(document: Mapping[str, Any], shape: Reshape, units: Units) -> Iterator[_Number]:
    return itertools.chain.from_iterable(part(document, shape, units) for part in _PARTS)


def _outline(document: Mapping[str, Any], shape: Reshape, units: Units) -> Iterator[_Number]:
    section = document["outline"]
    yield from _rows(section, ("outline", "stations"), shape, shape.factor)
    for place, point in enumerate(section.get("points", ())):
        yield from _pair(("outline", "points", place), point, shape.on_board(point))


def _deck(document: Mapping[str, Any], shape: Reshape, units: Units) -> Iterator[_Number]:
    section = document["deck"]
    yield from _rows(section, ("deck", "stations"), shape, 1.0)
    yield from _rows(section, ("deck", "profile"), shape, 1.0)
    if "blend" in section:
        yield ("deck", "blend"), section["blend"], section["blend"] * shape.factor
    for row, patch in enumerate(section.get("patch", ())):
        at: Path = ("deck", "patch", row)
        for place, point in enumerate(patch.get("at", ())):
            yield from _pair((*at, "at", place), point, shape.held(point, point))
        points = patch.get("points", ())
        yield from _whole((*at, "points"), points, shape)
        yield from _angle((*at, "angle"), patch, shape)


def _rows(
    section: Mapping[str, Any], path: Path, shape: Reshape, across: float
) -> Iterator[_Number]:
    """Yields the numbers of [x, value] pairs, values times `across`. Mirrored end for end they
    stand in the opposite order, so that x grows as before."""
    now = section.get(str(path[-1])) or []
    after = [(shape.on_board((x, 0.0))[0], value * across) for x, value in now]
    if shape.mirror == "ends":
        after.reverse()
    for place, (old, new) in enumerate(zip(now, after, strict=True)):
        yield from _pair((*path, place), old, new)


def _hardware(document: Mapping[str, Any], shape: Reshape, units: Units) -> Iterator[_Number]:
    for name in ("plug", "insert"):
        for row, table in enumerate(document.get(name, ())):
            path: Path = (name, row)
            middles = _middles(all_places(table), NEAR / units.scale)
            for place, point in enumerate(table.get("at", ())):
                yield from _pair((*path, "at", place), point, shape.held(point, middles[place]))
            if "pattern" in table:
                # all of a pattern lies about its middle, and moves with its first place
                at, middle = table["pattern"]["at"], middles[len(table.get("at", ()))]
                yield from _pair((*path, "pattern", "at"), at, shape.held(at, middle))
            yield from _angle((*path, "angle"), table, shape)


def _middles(places: Sequence[_Place], near: float) -> list[_Place]:
    """Returns for each place the middle of all that hang together with it, each nearer than `near`
    to the next."""
    group = list(range(len(places)))
    for one, other in itertools.combinations(range(len(places)), 2):
        if group[one] != group[other] and math.dist(places[one], places[other]) < near:
            old, new = group[other], group[one]
            group = [new if member == old else member for member in group]
    found = {}
    for name in set(group):
        members = [place for place, member in zip(places, group, strict=True) if member == name]
        low = [min(place[way] for place in members) for way in (0, 1)]
        high = [max(place[way] for place in members) for way in (0, 1)]
        found[name] = ((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0)
    return [found[name] for name in group]


def _blank(document: Mapping[str, Any], shape: Reshape, units: Units) -> Iterator[_Number]:
    for key, size in (("length", shape.length), ("width", shape.width)):
        now = document["blank"][key]
        yield ("blank", key), now, now + size * (shape.factor - 1.0)


def _around(document: Mapping[str, Any], shape: Reshape, units: Units) -> Iterator[_Number]:
    """Yields the numbers of what stands on the rim or beside the blank, and of the touch."""
    for row, table in enumerate(document.get("dowel", ())):
        if table.get("in_bed") == "there":
            continue  # its hole stays where it is
        yield from _whole(("dowel", row, "at"), [table["at"]], shape, single=True)
    for row, table in enumerate(document.get("obstacle", ())):
        yield from _whole(("obstacle", row, "points"), table["points"], shape)
    for row, table in enumerate(document.get("screw", ())):
        for place, point in enumerate(table["at"]):
            yield from _pair(("screw", row, "at", place), point, shape.held(point, point))
    # without a machine of its own the job has that of the shop file, which no copy changes
    touch = document.get("machine", {}).get("touch_at")
    if touch is not None:
        yield from _pair(("machine", "touch_at"), touch, shape.held(touch, touch))
    yield from _rows(document.get("layup", {}), ("layup", "rocker"), shape, 1.0)


def _whole(
    path: Path, points: Sequence[Sequence[float]], shape: Reshape, single: bool = False
) -> Iterator[_Number]:
    """Yields the numbers of points that move as a whole; `single` where the path is that of the
    only point."""
    if not points:
        return
    middle = [
        (min(point[way] for point in points) + max(point[way] for point in points)) / 2.0
        for way in (0, 1)
    ]
    for place, point in enumerate(points):
        yield from _pair(path if single else (*path, place), point, shape.held(point, middle))


def _angle(path: Path, table: Mapping[str, Any], shape: Reshape) -> Iterator[_Number]:
    """Yields the angle of a mirrored slot or rectangle: the opposite one, about either axis."""
    if shape.mirror is not None and table.get("angle"):
        yield path, table["angle"], -table["angle"]


def _pair(path: Path, now: Sequence[float], after: Sequence[float]) -> Iterator[_Number]:
    for way in (0, 1):
        # 0.0 and not -0.0: zero has no sign in a file
        yield (*path, way), now[way], after[way] + 0.0


_PARTS: tuple[Callable[[Mapping[str, Any], Reshape, Units], Iterator[_Number]], ...] = (
    _outline, _deck, _hardware, _blank, _around,
)  # fmt: skip
