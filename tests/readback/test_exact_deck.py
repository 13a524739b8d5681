"""The exact proof of the deck: sweeps against brute force and closed forms, limits, ridges between
columns."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from shapely import box

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter
from corepath.readback.simulation_setup import Allowed
from corepath.readback.surfaces.exact_deck import Swept, prove_deck, sections
from corepath.readback.surfaces.measures import MeasureList
from corepath.reported import reported
from corepath.stock.contact_kernels import Underside
from corepath.stock.exact_kernels import sweep_points
from corepath.stock.path import Path, lay
from corepath.work.works import Deck

BLANK = box(-50.0, -30.0, 50.0, 30.0)
DECK, STOP = 8.0, 10.5
STRICT = Allowed(ridges=0.0)
FLAT = Cutter(2, "flat", 12.0, 0.0, 2, 14.0, 30.0)
BALL = Cutter(4, "ball", 8.0, 4.0, 2, 14.0, 30.0)
BULL = Cutter(5, "bull", 10.0, 2.0, 2, 14.0, 30.0)


class Level:
    """A deck of one height, as in the small plan."""

    def height(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.full(np.shape(x), DECK)


def program(tool: int, body: list[str]) -> str:
    head = [
        "(test)",
        "G17",
        "G21",
        "G90",
        "G94",
        "G54",
        "G40",
        "G49",
        "G80",
        "G64",
        f"T{tool} M6",
        "M0",
        "G0 Z25",
    ]
    return "\n".join([*head, "S18000 M3", "G4 P3", *body, "G0 Z25", "M5", "M2", ""])


def lines_over(z: float, step: float = 9.0) -> list[str]:
    """Lines along X over the whole blank and past its ends: entry, then two moves a line, then
    up."""
    body = ["G0 X-60 Y-30", f"G1 Z{z:.4f}"]
    for k, y in enumerate(np.linspace(-30.0, 30.0, math.ceil(60.0 / step) + 1)):
        side = 60 if k % 2 else -60
        body += [f"G1 X{side} Y{y:.4f}", f"G1 X{-side} Y{y:.4f}"]
    return [*body, "G0 Z25"]


def laid(body: list[str], cutter: Cutter) -> Path:
    return lay(
        read_program(program(2, body), "08-C-deck.nc"),
        (0.0, 0.0, 0.0),
        cutter,
        12.0,
        0.0005,
        Findings(),
    )


def alone(a: tuple[float, ...], b: tuple[float, ...], cutter: Cutter, x: float, y: float) -> float:
    """What one piece leaves at one point."""
    left, by = np.array([1e3]), np.array([-1])
    sweep_points(
        np.array([x]), np.array([y]), np.array([0, 1]), x, y, 1.0, 1, 1, np.array([a]),
            np.array([b]),
        Underside(cutter.radius, cutter.corner_radius, cutter.flat_radius), left, by,
            np.array([7]), np.array([8]),
    )  # fmt: skip
    return float(left[0])


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    st.sampled_from((FLAT, BALL, BULL)),
    st.floats(-9, 9), st.floats(-9, 9), st.floats(-12, 12), st.floats(-12, 12), st.floats(-3, 3),
)  # fmt: skip
def test_a_sweep_is_the_least_over_many_places_of_the_cutter(
    cutter: Cutter, x: float, y: float, bx: float, by: float, rise: float
):
    """A wrong solution on a ramp would leave a gouge or a ridge unseen."""
    a, b = (0.0, 0.0, 5.0), (bx, by, 5.0 + rise)
    solved = alone(a, b, cutter, x, y)

    radius, corner = cutter.diameter / 2, cutter.corner_radius

    def left(t: float) -> float:
        away = math.hypot(x - bx * t, y - by * t)
        out = max(away - radius + corner, 0.0)
        return (
            5.0 + rise * t + corner - math.sqrt(max(corner**2 - out**2, 0.0))
            if away <= radius
            else math.inf
        )

    reached = [t for t in np.linspace(0.0, 1.0, 4001).tolist() if math.isfinite(left(t))]
    if not reached:
        return
    found = minimize_scalar(
        left, bounds=(reached[0], reached[-1]), method="bounded", options={"xatol": 1e-12}
    )
    least = min(found.fun, *(left(t) for t in reached))
    assert solved <= least + 1e-6
    assert solved >= least - 1e-6 - _beyond(left, reached[0], reached[-1])


def _beyond(left, first: float, last: float) -> float:
    """How much lower it may get within one step beyond the places reached, where the rim of the
    cutter enters."""
    ends = [t for t in (first - 1 / 4000, last + 1 / 4000) if 0.0 <= t <= 1.0]
    return 4.0 / 4000 if ends else 0.0  # the rise, 3 mm at most, over one step


def test_ball_lines_leave_the_ridge_of_the_closed_form():
    """r - sqrt(r² - (s/2)²), elementary geometry: else the highest figure is not the ridge."""
    step = 1.2
    body = ["F2000", "G0 X-60 Y-32", f"G1 Z{DECK}"]
    for k in range(55):
        y = -32.0 + step * k
        body += [f"G1 Y{y:.4f}", f"G1 X{60 if k % 2 == 0 else -60}"]
    deck = Deck(BLANK, Level(), STOP, 0.05, 0.02, 0.0)
    measures = MeasureList("x")
    found = Findings("x")
    prove_deck(deck, Swept([laid(body, BALL)], STOP), STRICT, measures, found, points=4000)
    ridge = 4.0 - math.sqrt(16.0 - (step / 2) ** 2)
    by_id = {measure.id: measure.value for measure in measures}
    assert by_id["deck exact high"] == pytest.approx(ridge, abs=2e-5)
    assert by_id["deck exact low"] == pytest.approx(0.0, abs=1e-9)
    assert not found.counts


def test_a_ridge_too_narrow_for_the_columns_is_found(plan):
    """One line left out for 0.4 mm, between columns 0.5 mm apart: the reason for the proof."""
    text = program(2, ["F2000", *lines_over(DECK, 12.2)])
    plan = plan.with_file("08-C-deck.nc", text)
    read = plan.read()
    gap = 60.0 / math.ceil(60.0 / 12.2)  # lines as they really lie: all but touching
    assert gap <= 12.0
    assert "deck-height" not in read.counts
    # 0.25 beyond 12 from Y6
    narrow = [line.replace("Y18.0000", "Y18.2500") for line in lines_over(DECK, 12.2)]
    read = plan.with_file("08-C-deck.nc", program(2, ["F2000", *narrow])).read()
    assert read.counts.get("not-reached", 0) + read.counts.get("deck-height", 0) > 0
    assert any(
        "this very point" in f.message or "nothing cuts the deck here" in f.message
        for f in read.findings
    )


@pytest.mark.parametrize("off", [-0.022, 0.052])
def test_a_deck_beyond_its_limits_is_told_with_place_line_and_depth(plan, off: float):
    plan = plan.with_shop(allowed=STRICT)
    plan = plan.with_file("08-C-deck.nc", program(2, ["F2000", *lines_over(DECK + off)]))
    told = [
        f for f in plan.read().findings if f.kind == "deck-height" and "very point" in f.message
    ]
    assert (
        told
        and told[0].line
        and told[0].place
        and told[0].depth == pytest.approx(abs(off), abs=1e-6)
    )


@pytest.mark.parametrize("off", [-0.019, 0.049])
def test_a_deck_within_its_limits_is_not_told(plan, off: float):
    plan = plan.with_shop(allowed=STRICT)
    plan = plan.with_file("08-C-deck.nc", program(2, ["F2000", *lines_over(DECK + off)]))
    assert "deck-height" not in plan.read().counts


def test_two_files_are_proved_together():
    """Each file cuts half: neither alone would do, both together leave nothing."""
    deck = Deck(BLANK, Level(), STOP, 0.05, 0.02, 0.0)
    lines = lines_over(DECK)
    first, second = (
        laid(["F2000", *lines[:10], "G0 Z25"], FLAT),
        laid(["F2000", *lines[:2], *lines[10:]], FLAT),
    )
    one, both = Findings("x"), Findings("x")
    prove_deck(deck, Swept([first], STOP), STRICT, MeasureList("x"), one, points=2000)
    prove_deck(deck, Swept([first, second], STOP), STRICT, MeasureList("x"), both, points=2000)
    assert one.counts and not both.counts


def test_what_is_spared_is_left_out():
    deck = Deck(BLANK, Level(), STOP, 0.05, 0.02, 0.0)
    lines = lines_over(DECK)
    path = laid(["F2000", *lines[:10]], FLAT)
    x0, _, x1, y1 = BLANK.bounds
    found = Findings("x")
    prove_deck(
        replace(deck, spare=box(x0, -6.0, x1, y1)),
        Swept([path], STOP),
        STRICT,
        MeasureList("x"),
        found,
        points=2000,
    )
    assert not found.counts


def test_sections_lie_a_fortieth_of_the_lines_distance_apart():
    points, apart = sections(
        [laid(["F2000", *lines_over(DECK)], FLAT)], BLANK, np.random.default_rng(1), STOP
    )
    assert apart == pytest.approx(60.0 / math.ceil(60.0 / 9.0), abs=1e-3)
    steps = np.hypot(*np.diff(points, axis=0).T)
    assert np.median(steps) == pytest.approx(apart / 40.0, rel=1e-3)


def test_the_same_files_give_the_same_figures(plan):
    assert reported(plan.read())["measures"] == reported(plan.read())["measures"]
