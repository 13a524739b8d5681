"""The lap after an entry: cut as wide as the cutter until it has come round, and no farther."""

from __future__ import annotations

import numpy as np

from corepath.stock.entry_slots import Samples, WayIn, first_laps
from corepath.stock.path import Pieces

RADIUS = 4.0


def laps(points: list[tuple[float, float, float]], wide: list[bool]) -> list[bool]:
    """Of a path whose first piece is the way down: which of its pieces lie in it or its lap; one
    sample each."""
    ends = np.array(points)
    pieces = Pieces(ends[:-1], ends[1:], np.arange(len(ends) - 1))
    place, long = (ends[:-1] + ends[1:]) / 2.0, np.linalg.norm(np.diff(ends, axis=0), axis=1)
    place[0, 2] = ends[1, 2]
    samples = Samples(np.arange(len(pieces)), place, long)
    return first_laps(pieces, samples, np.array(wide), (WayIn(0, 0),), RADIUS).tolist()


# A slot 30 long, its lap 3 wide, entered by a short ramp at the middle of the upper side. Opposite
# of what the lap has cut by then it is no slot, beyond that it is one again (but in the turn),
# until it comes round to the ramp's end.
RAMP = [(10.0, 3.0, 0.3), (16.0, 3.0, 0.0)]
LAP = [
    (30.0, 3.0, 0.0),
    (30.0, 0.0, 0.0),
    (10.0, 0.0, 0.0),
    (0.0, 0.0, 0.0),
    (0.0, 3.0, 0.0),
    (10.0, 3.0, 0.0),
]
WIDE = [True, True, True, False, True, False, True]


def test_a_lap_that_comes_back_beside_itself_is_a_lap_to_its_end() -> None:
    """A slot entered by a short ramp was said to be cut too wide at its other end, and the plan
    withheld."""
    closed = [*RAMP, *LAP, (16.0, 3.0, 0.0)]
    assert laps(closed, [*WIDE, False]) == [True, True, True, False, True, False, True, True]


def test_what_is_cut_after_the_lap_is_no_part_of_it() -> None:
    """Another lap too far out is cut too wide: the first excuses only itself."""
    more = [
        (16.0, -20.0, 0.0),
        (30.0, -20.0, 0.0),
        (0.0, -20.0, 0.0),
        (16.0, 3.0, 0.0),
        (20.0, 3.0, 0.0),
    ]
    closed = [*RAMP, *LAP, (16.0, 3.0, 0.0), *more]
    assert laps(closed, [*WIDE, False, False, True, True, False, False])[8:11] == [
        False,
        False,
        False,
    ]


def test_a_path_that_does_not_come_round_is_no_lap() -> None:
    """Nor one that rises on its way: it would excuse whatever is cut wide at one height."""
    assert laps([*RAMP, *LAP[:-1]], WIDE[:-1])[4:] == [False, False]
    risen = [*RAMP, *LAP[:3], (10.0, 0.0, 9.0), (10.0, 0.0, 0.0), *LAP[3:], (16.0, 3.0, 0.0)]
    assert laps(risen, [True, True, True, False, False, False, True, False, True, False])[6:8] == [
        False,
        False,
    ]
