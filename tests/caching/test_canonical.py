"""Keys of kept results: two inputs that differ in anything never share one."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, is_dataclass, replace
from enum import Enum
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np
import pytest
from shapely import LineString, MultiPolygon, Point, Polygon, box

from corepath.board.deck.surface import DeckSource, DeckSurface
from corepath.caching.canonical import key_of
from corepath.layup.curve import Rocker
from corepath.lengths import Said, mm
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Approach, Zero
from corepath.work.works import Deck, Facing, Hole, Obstacle, Opening, Pocket, Step, Work


class Colour(Enum):
    RED = 1
    BLUE = 1.5


class Pair(NamedTuple):
    x: float
    y: float


@dataclass(frozen=True)
class One:
    x: float


@dataclass(frozen=True)
class Other:
    x: float


SQUARE = box(0, 0, 4, 4)
# each differs from all others
VALUES: tuple[Any, ...] = (
    None, True, False, 0, 1, -1, 2**70, 0.0, -0.0, 1.0, math.nextafter(1.0, 2.0), math.nan, 2e999,
    "", "1", "None", b"", b"1", Said(f"{mm(1.0):.0f} deep"), "1 deep", Said(f"{mm(1.0):.1f} deep"),
    (), [], {}, (1,), (1, 2), ((1,), 2), (1, (2,)), ("ab", "c"), ("a", "bc"), ("a", "b", "c"),
    {"a": 1}, {"a": 1.0}, {"b": 1}, Colour.RED, Colour.BLUE, Pair(1.0, 2.0), (1.0, 2.0),
    One(1.0), Other(1.0), One(2.0), np.float64(1.0).astype(np.float32), np.int64(1), np.bool_(True),
    np.zeros(0), np.zeros((0, 2)), np.zeros(4), np.zeros((2, 2)), np.zeros((4, 1)),
    np.zeros(4, np.float32), np.zeros(4, np.int64), np.array([0.0, 0.0, 0.0, -0.0]),
    SQUARE, SQUARE.reverse(), box(0, 0, 4, math.nextafter(4.0, 5.0)), MultiPolygon([SQUARE]),
    Polygon(SQUARE.exterior, [box(1, 1, 2, 2).exterior]), Polygon(), Point(0, 0), Point(-0.0, 0),
    Point(0, 0, 0), Point(0, 0, 1), LineString([(0, 0), (1, 1)]), LineString([(1, 1), (0, 0)]),
)  # fmt: skip


def test_two_values_that_differ_share_a_key() -> None:
    """A path made for another work would be cut."""
    keys = [key_of(value) for value in VALUES]
    assert all(len(key) == 64 for key in keys)
    same = [
        (VALUES[i], VALUES[k]) for i, k in combinations(range(len(keys)), 2) if keys[i] == keys[k]
    ]
    assert same == []


def test_equal_values_have_different_keys() -> None:
    """Nothing would ever be found again."""
    assert key_of((1.0, "a"), [SQUARE]) == key_of((1.0, "a"), [box(0, 0, 4, 4)])
    sliced = np.arange(12.0).reshape(3, 4)[:, ::2]
    assert key_of(sliced) == key_of(sliced.copy()) != key_of(sliced.T)


def test_what_cannot_be_told_apart_is_refused() -> None:
    """An object taken by its name alone, or by the place where it lies."""
    for value in (object(), {1, 2}, lambda: 1, np.array([object()]), 1j):
        with pytest.raises(TypeError, match="no digest of"):
            key_of(value)


def surface(shift: float = 0.0, edge: float = 5.0, said: str = "") -> DeckSurface:
    grid = np.full((8, 6), 5.0)
    grid[3, 3] += shift
    return DeckSurface(np.arange(8.0), np.arange(6.0), grid, edge, DeckSource(cautions=(said,)))


def test_decks_and_forms_are_told_apart_by_all_that_they_are_made_of() -> None:
    """They are no dataclasses: a grid that differs at one node by one bit is another deck."""
    assert key_of(surface()) == key_of(surface())
    other = surface(math.ulp(5.0)), surface(edge=5.5), surface(said="patched")
    assert len({key_of(one) for one in (surface(), *other)}) == 4
    forms = Rocker([(-9.0, 0.0), (9.0, 0.0)]), Rocker([(-9.0, 0.0), (9.0, 1.0)]), Rocker()
    assert len({key_of(form) for form in forms}) == 3


def full_work() -> Work:
    """A work with something in every field that a path may follow."""
    area = box(-40, -20, 40, 20)
    return Work(
        8, "C", "deck", Cutter(1, "bull", 10.0, 1.0, 2, 30.0, 40.0),
        Cutting(16000.0, 3000.0, 1500.0, 900.0, 3.0, 7.0), Zero(0.0, 0.0, 0.0, "the bed", True),
        area, 12.0, 22.0, 7.9, (0.0, 0.0), True,
        pockets=(Pocket("P1", area, 12.0, 2.0, cleared=box(0, 0, 1, 1)),),
        holes=(Hole("I1", 1.0, 2.0, 12.0, (Step(6.0, 3.0),), 0.0),),
        facing=Facing(area, 12.0, (11.0,), 0, spare=area, sawn=area),
        deck=Deck(area, surface(), 12.0, 0.05, 0.01, 0.0, spare=area, opened=area,
                  openings=(Opening("I1", 1.0, 2.0, 6.0, 4.0),)),
        obstacles=(Obstacle(box(30, 10, 35, 15), 20.0),), watch=("look",),
        approach=Approach(0.0, 0.0, 20.0, 300.0, 900.0, "the bed", 5.0, "", 0.0),
    )  # fmt: skip


def changed(value: Any) -> Any:
    """Another value of the same kind."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, float):
        return math.nextafter(value, math.inf) if math.isfinite(value) else 7.0
    if isinstance(value, str):
        return "steel" if value != "steel" else "other"
    if isinstance(value, DeckSurface):
        return surface(1e-9)
    if isinstance(value, Polygon):
        return box(-40, -20, 40, 21)
    if isinstance(value, tuple):
        return (changed(value[0]), *value[1:]) if value else (0.5,)
    if is_dataclass(value):
        name = fields(value)[0].name
        return replace(value, **{name: changed(getattr(value, name))})  # type: ignore[type-var]
    return 0.5


def variants(value: Any) -> Any:
    """The value with each of its fields changed in turn, and each of the fields of those."""
    for field in fields(value):
        held = getattr(value, field.name)
        told = f"{type(value).__name__}.{field.name}"
        # a shape that there is: what an end is made of follows from it
        shape = "flat" if held == "bull" else "bull"
        new = shape if field.name == "shape" else changed(held)
        yield told, replace(value, **{field.name: new})
        first = held[0] if isinstance(held, tuple) and held else held
        if is_dataclass(first):
            for inner, other in variants(first):
                new = (other, *held[1:]) if isinstance(held, tuple) else other
                yield f"{told} {inner}", replace(value, **{field.name: new})


def test_every_field_of_a_work_counts() -> None:
    """A field that does not would give one work the path of another."""
    work = full_work()
    key, found = key_of(work), dict(variants(work))
    assert len(found) > 90 and {"Deck.surface", "Cutter.ramp_angle", "Limits.accel"} <= {
        told.rpartition(" ")[2] for told in found
    }
    # these follow from the shape, whatever is given: the work stays the same
    free = {name for name, other in found.items() if other == work}
    assert {name.rpartition(" ")[2] for name in free} <= {"Cutter.centre_cutting"}
    assert [name for name, other in found.items() if key_of(other) == key] == sorted(free)
