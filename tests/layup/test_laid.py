"""Where the flat core lies after lay-up: a place wrong here is a hole beside its plug."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from corepath.board.make_board import build_board
from corepath.layup.laid import bolts_of, laid_up, pins_of, skin_outside

R = 2000.0


@pytest.fixture(scope="module")
def laid(rocker_job, tmp_path_factory):
    stations = [[x, R - math.sqrt(R * R - x * x)] for x in np.linspace(-130, 130, 27).tolist()]
    job = rocker_job(rocker=stations)
    return job, laid_up(job, build_board(job, tmp_path_factory.mktemp("none")))


def test_a_place_lies_on_its_circle(laid):
    """Kept at 0.6 of laminate and half of 8.0: the core's length is an arc of radius R - 4.6."""
    _, board = laid
    x = np.linspace(-110.0, 110.0, 12)
    for height in (0.0, 4.6, 9.4):
        where, z = board.place(x, height)
        angle = x / (R - 4.6)
        assert np.abs(where - (R - height) * np.sin(angle)).max() < 1e-4
        assert np.abs(z - (R - (R - height) * np.cos(angle))).max() < 1e-4


def test_top_and_place_agree(laid):
    """The top over a place of D is the face of the flat place that lies there."""
    _, board = laid
    x, y = np.meshgrid(np.linspace(-110.0, 110.0, 23), np.linspace(-40.0, 40.0, 9))
    height = board.below + board.deck.height(x, y) + board.above
    where, z = board.place(x, height)
    assert np.abs(board.top(where, y) - z).max() < 1e-6
    where, z = board.place(x, height - board.above)
    assert np.abs(board.top(where, y, off=board.above) - z).max() < 1e-6


def test_many_places_have_the_tops_of_each_alone(laid):
    """A grid is worked out in parts, and in each only the places that still move: to the last bit
    as one place after another."""
    _, board = laid
    x, y = np.meshgrid(np.linspace(-140.0, 140.0, 301), np.linspace(-45.0, 45.0, 61))
    tops = board.top(x, y)
    some = np.random.default_rng(4).integers(0, x.size, 300)
    alone = [float(board.top(x.flat[k], y.flat[k])) for k in some]
    assert tops.ravel()[some].tolist() == alone


def test_face_shift_is_the_arc_of_the_face(laid):
    """On a circle an arc at height t is (R - t) / (R - kept) of the kept one."""
    _, board = laid
    x, y = np.array([-90.0, 20.0, 80.0]), np.array([3.0, -8.0, 0.0])
    height = board.below + board.deck.height(x, y) + board.above
    assert np.abs(x + board.face_shift(x, y) - x * (R - height) / (R - board.kept)).max() < 1e-4


def test_shape_is_seen_from_above(laid):
    _, board = laid
    square = shapely.box(-100.0, -20.0, 100.0, 20.0)
    seen = board.shape(square, board.kept)
    assert seen.bounds[2] == pytest.approx(
        (R - board.kept) * math.sin(100.0 / (R - board.kept)), abs=1e-4
    )
    assert seen.area < square.area


def test_bolts_name_plugs_and_inserts(rocker_job, tmp_path):
    job = rocker_job()
    plug, insert = bolts_of(job, build_board(job, tmp_path))
    assert (plug.id, plug.diameter, plug.room) == ("P1", 5.5, None)
    assert (insert.id, insert.diameter) == ("I1", None)
    assert insert.room is not None and insert.room > 0.5


def test_the_underside_is_the_longest_on_a_hollow_form(laid):
    """On a circle the form's own face has the radius R, where the core's length is an arc of R -
    4.6."""
    _, board = laid
    x = np.array([-100.0, 0.0, 64.0])
    assert np.abs(x + board.under_shift(x) - x * R / (R - 4.6)).max() < 1e-4


class Wedge:
    """A core that is 8 thick at X = 0 and loses 0.02 a mm both ways, alike across."""

    edge = 4.0

    def height(self, x, y):
        return 8.0 - 0.02 * np.abs(np.asarray(x, dtype=float)) + 0.0 * np.asarray(y, dtype=float)


def test_a_core_that_tapers_keeps_its_length_lower(laid):
    """Middle of the wedge: 4 - 0.01 |x| over the core's bottom, 0.01 |x| below the 4.0 that is
    taken. Its integral over the turn d(x / 1995.4) is 0.01 x^2 / 2 / 1995.4: places lie nearer to
    the middle by that, at either end."""
    _, board = laid
    wedge = replace(board, deck=Wedge())
    x = np.array([-100.0, 0.0, 60.0])
    wanted = -np.sign(x) * 0.01 * x**2 / 2.0 / (R - 4.6)
    assert np.abs(wedge.taper_shift(x) - wanted).max() < 1e-5


def test_the_skins_reach_beyond_the_slot_unless_the_job_says_otherwise(rocker_job):
    job = rocker_job()
    assert skin_outside(job, None) == job.groove.outside == 5.0
    assert skin_outside(job, 6.3) == pytest.approx(12.3)
    assert skin_outside(rocker_job(skin_outside=8.0), 6.3) == 8.0


def test_a_pin_stands_on_the_cradle_under_its_dowel_hole(laid):
    """On a circle the hole's axis runs through the centre: at the face X = R sin(a) with a = x / (R
    - 4.6)."""
    _, board = laid
    for x, pin in zip((-113.0, 102.0), pins_of(board, [(-113.0, 0.0), (102.0, 3.0)]), strict=True):
        angle = x / (R - 4.6)
        assert (pin.x, pin.z) == pytest.approx(
            (R * math.sin(angle), R * (1.0 - math.cos(angle))), abs=1e-4
        )
        assert pin.tilt == pytest.approx(angle, abs=1e-5)
