"""A cradle of the form's own curve, or a board that does not lie on it, would set trim and holes
beside or below their places."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from typer.testing import CliRunner

from corepath.board.make_board import build_board
from corepath.cli.app import app
from corepath.job.model import Job, ObstacleSection
from corepath.layup.curve import held_curve, rocker_faults, rocker_of
from corepath.layup.laid import bolts_of, laid_up, pad_of
from corepath.layup.off_cradle import off_bolts, off_cradle_lines, stands_off
from corepath.layup.ribs import form_of
from corepath.lengths import MM

HALF, RISE = 120.0, 12.0
PARABOLA = [[-HALF, RISE], [0.0, 0.0], [HALF, RISE]]
"""The coupon's blank is 240 long; three stations give z = RISE (x / HALF)^2."""


@pytest.fixture(scope="module")
def held(rocker_job: Callable[..., Job]) -> Callable[..., Job]:
    """`held(spring_back=3)`: the coupon on that form, in its cradle."""
    return lambda **keys: rocker_job(rocker=PARABOLA, cradle=True, **keys)


def _placed(rise: float, x: float, height: float, kept: float) -> float:
    """X in D of flat `x` at a height over a parabola, from the arc integral and its normal, by
    other means than the code: the arc at `kept` over a curve is its own less kept times the turn
    (differential geometry of parallel curves, textbook)."""
    a = rise / HALF**2

    def arc(at: float) -> float:
        return quad(lambda u: math.hypot(1.0, 2.0 * a * u), 0.0, at)[0] - kept * math.atan(
            2.0 * a * at
        )

    under = brentq(lambda at: arc(at) - x, -2.0 * HALF, 2.0 * HALF, xtol=1e-10)
    return under - height * math.sin(math.atan(2.0 * a * under))


def test_the_cradle_has_the_curve_of_the_form(held: Callable[..., Job]) -> None:
    """Sprung back by 3 of 12, the ends rise 9 and all between by the same share; the ribs of the
    form stay as they were, those of the cradle are lower by 3 at their ends."""
    job = held(spring_back=3.0)
    x = np.linspace(-HALF, HALF, 25)
    assert np.allclose(held_curve(job).rise(x), 0.75 * rocker_of(job).rise(x), atol=1e-9)
    board = build_board(job, Path("none"))
    form, cradle = form_of(job, board), form_of(job, board, cradle=True)
    assert form.top[0, 1] - cradle.top[0, 1] == pytest.approx(3.0, abs=0.05)
    assert form.top[:, 1].min() == pytest.approx(cradle.top[:, 1].min(), abs=0.002)


def test_a_difference_of_5_mm_is_told_wrong(held: Callable[..., Job]) -> None:
    """Holes of a board whose ends rise 7 in a cradle for 12: drilled upright where the cradle has
    them, against the two curves worked out independently; a flatter board bears on its ends and
    stands off by 5 in the middle, a rounder one at its ends."""
    job = held()
    board = build_board(job, Path("none"))
    laid = laid_up(job, board)
    found = {one.id: one for one in off_bolts(job, board, 5.0)}
    assert found
    for bolt in bolts_of(job, board):
        if bolt.id not in found:
            continue
        height = laid.below + float(board.deck.height(bolt.x, bolt.y)) / (
            2.0 if bolt.room is None else 1.0
        )
        aside = _placed(RISE - 5.0, bolt.x, height, laid.kept) - _placed(
            RISE, bolt.x, height, laid.kept
        )
        assert found[bolt.id].aside == pytest.approx(aside, abs=1e-3)
    ends = float(laid.under(-job.blank.length / 2.0)) / HALF
    assert stands_off(job, board, 5.0, 0.0) == pytest.approx(5.0 * ends**2, abs=0.01)
    assert stands_off(job, board, 5.0, 120.0) == pytest.approx(0.0, abs=0.01)
    assert stands_off(job, board, -5.0, 0.0) == pytest.approx(0.0, abs=0.01)
    assert stands_off(job, board, -5.0, 120.0) == pytest.approx(5.0 * ends**2, abs=0.01)
    said = MM.text(off_cradle_lines(job, board)[0])
    assert (
        "no spring-back is allowed for" in said
        and "that rises 5.0 more or less than its cradle" in said
    )
    assert "the web of" in said and "is cut through" in said


def test_z_is_touched_under_the_board(held: Callable[..., Job]) -> None:
    """The pad lies beside the blank, 45 wide to either side, level with the cradle at X0: behind it
    where a clamp stands in front, at the left end where the machine does not reach beyond."""
    job = held()
    board = build_board(job, Path("none"))
    laid = laid_up(job, board)
    x, y, z = pad_of(job, laid)
    assert (x, y) == (0.0, -job.blank.width / 2.0 - 15.0) and z == pytest.approx(0.0, abs=1e-9)
    clamp = ObstacleSection(points=((-9, -80), (9, -80), (9, -50)), height=70.0, setups=("D",))
    x, y, _ = pad_of(job.model_copy(update={"obstacle": (clamp,)}), laid)
    assert (x, y) == (0.0, job.blank.width / 2.0 + 15.0)
    small = job.machine.model_copy(update={"travel": (400.0, 100.0, 80.0)})
    x, y, _ = pad_of(job.model_copy(update={"machine": small}), laid)
    assert x == pytest.approx(laid.ends[0] - 15.0) and y == 0.0


@pytest.mark.parametrize("back", [12.0, -12.5, 40.0])
def test_a_board_springs_back_beyond_level(held: Callable[..., Job], back: float) -> None:
    faults = rocker_faults(held(spring_back=back))
    assert [one.key for one in faults] == ["layup.spring_back"]
    assert not rocker_faults(held(spring_back=back / 4.0))


def test_form_and_cradle_are_one_drawing(tmp_path: Path) -> None:
    """Each is asked for by itself; the cradle's names pins and pad."""
    sample = Path(__file__).parents[2] / "samples" / "cradle-460.toml"
    out = tmp_path / "c.dxf"
    words = ["template", str(sample), "-o", str(out), "--cradle"]
    assert CliRunner().invoke(app, [*words, "--form"]).exit_code == 2 and not out.exists()
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0 and "pins, square to the top: dowel 1 X-231.2" in done.stdout
    assert "a pad to touch Z on at X0.0 Y-125.0" in done.stdout
