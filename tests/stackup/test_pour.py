"""What is poured: masses, cups, how level it must be. Arithmetic stands beside each figure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.job.model import CastSection
from corepath.job.tables.builtin import resins
from corepath.reported import reported
from corepath.stackup.linear import Linear
from corepath.stackup.pour.cups import cup_plan
from corepath.stackup.pour.mixing import LIGHT, parts
from corepath.stackup.pour.pour import (
    POUR_HEADER,
    CastingPour,
    StopLimit,
    level_limits,
    pour_notes,
    pour_plan,
    pour_rows,
    resin_low,
    tilted,
    volume_of,
)

CAST = CastSection(fill_margin=0.5, pour_short=0.5, shrinkage=0.005, gel_loss=0.0)


def casting(name: str = "P1a", *, area: float = 254.0, half_span: float = 9.0, depth: float = 12.0,
            p_limit: float = 2.0, uneven: float = 0.0) -> CastingPour:  # fmt: skip
    return CastingPour(
        id=name,
        floor=1.2,
        depth=depth,
        volume=volume_of(area, depth, CAST.pour_short),
        p_expected=Linear.of(0.6),
        p_limit=p_limit,
        area=area,
        half_span=half_span,
        uneven=uneven,
    )


def test_groove_by_hand():
    """1400 x 6 x 4 mm = 33.6 cm³ at 1.05 g/cm³ is 35.28 g, with a tenth extra 38.81 g
    (arithmetic)."""
    cast = CastSection(ratio=(1.0, 1.0), density=(1.05,), extra=0.10)
    assert parts(33.6, cast).total_g == pytest.approx(38.808, abs=1e-3)
    assert parts(33.6, cast).a_g == pytest.approx(19.404, abs=1e-3)


def test_by_weight_with_two_densities():
    """100 : 90 by weight of 1.00 and 1.20: mixed density 190 / 175 = 1.0857, 100 : 75 by volume
    (arithmetic)."""
    cast = CastSection(ratio=(100.0, 90.0), density=(1.00, 1.20), extra=0.0)
    found = parts(10.0, cast)
    assert found.total_g == pytest.approx(10.857, abs=1e-3)
    assert found.b_g / found.a_g == pytest.approx(0.9)
    assert found.b_ml / found.a_ml == pytest.approx(0.75)
    assert found.a_ml + found.b_ml == pytest.approx(10.0)


def test_what_is_reported_of_a_mix():
    """100 g of A and 90 of B are 190 in all; whoever weighs the sum in the cup goes by it."""
    found = reported(
        parts(175.0, CastSection(ratio=(100.0, 90.0), density=(1.00, 1.20), extra=0.0))
    )
    assert found == {
        "part_a_g": 100.0,
        "part_b_g": 90.0,
        "total_g": 190.0,
        "part_a_ml": 100.0,
        "part_b_ml": 75.0,
    }


def test_by_volume():
    """1 : 1 by volume of 1.00 and 1.15 is 100 : 115 by weight (arithmetic)."""
    cast = CastSection(ratio=(1.0, 1.0), ratio_by="volume", density=(1.00, 1.15), extra=0.0)
    found = parts(10.0, cast)
    assert found.b_g / found.a_g == pytest.approx(1.15)
    assert found.total_g == pytest.approx(10.75)
    assert (found.a_ml, found.b_ml) == pytest.approx((5.0, 5.0))


def test_an_empty_pocket_takes_nothing():
    """A pour line below the floor must not give a negative volume, which would be taken off the
    sum."""
    assert volume_of(250.0, 0.4, 0.5) == 0.0


def test_level_limits_by_hand():
    """(2.0 - 0.5 - 0.06) / 9 = 160 mm/m to fill; 0.5 / 9 = 55.6 to spill; ((2.0 - 0.06) / 2) / 9 =
    107.8 after it."""
    limits = level_limits(casting(), CAST)
    assert limits.fill == pytest.approx(160.0)
    assert limits.spill == pytest.approx(55.556, abs=1e-3)
    assert limits.after_spill == pytest.approx(107.778, abs=1e-3)
    assert limits.least == limits.spill
    assert limits.message() == "55.56 mm/m: a card 55.56 mm thick under one end of a 1 m level"


def test_a_fill_that_no_level_gives_is_said():
    """A casting whose deck lies too high must not come out with a level of a negative card."""
    limits = level_limits(casting(p_limit=0.4), CAST)
    assert limits.fill is not None
    assert limits.fill < 0
    assert limits.message() == "not even a level blank will do"


def test_a_flush_dams_the_spill():
    """Where the proud resin is planed off, a dam holds the low end, and only the high end limits
    the level."""
    limits = level_limits(casting(), CAST.model_copy(update={"flush": "local"}))
    assert limits.spill is None
    assert limits.least == limits.fill == limits.after_spill


@settings(max_examples=60, derandomize=True, deadline=None)
@given(
    half_span=st.floats(5, 700),
    depth=st.floats(3, 20),
    p_limit=st.floats(0.8, 8),
    uneven=st.floats(0, 0.3),
)
def test_at_its_limit_the_fill_just_holds(half_span, depth, p_limit, uneven):
    """At the fill limit p without a spill is p_limit, after a spill at the other one; at the spill
    limit nothing stands over."""
    pour = casting(half_span=half_span, depth=depth, p_limit=p_limit, uneven=uneven)
    limits = level_limits(pour, CAST)
    assert limits.fill is not None
    assert limits.spill is not None
    assert limits.after_spill is not None
    dammed = tilted(pour, CAST.model_copy(update={"flush": "local"}), limits.fill)
    assert dammed.p_high == pytest.approx(p_limit, abs=1e-9)
    assert tilted(pour, CAST, limits.spill).over == pytest.approx(0.0, abs=1e-9)
    spilt = tilted(pour, CAST, limits.after_spill)
    if spilt.over > 0:
        assert spilt.p_high == pytest.approx(p_limit, abs=1e-9)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(level=st.floats(0, 3), half_span=st.floats(20, 700), short=st.floats(0, 1.0))
def test_tilt_against_a_trough_in_slices(level, half_span, short):
    """A trough of 10 mm cut in slices, the raw top tilted: what stays below the lowest rim, slice
    by slice."""
    cast = CastSection(pour_short=short, shrinkage=0.0, gel_loss=0.0)
    depth, width, count = 12.0, 10.0, 2000
    pour = casting(area=2 * half_span * width, half_span=half_span, depth=depth)
    x = (np.arange(count) + 0.5) / count * 2 * half_span - half_span
    top = level / 1000.0 * x
    poured = -short
    surface = min(poured, -level / 1000.0 * half_span)
    held = float(np.sum(surface - (top - depth))) * width * (2 * half_span / count) / 1000.0
    tilt = tilted(pour, cast, level)
    assert volume_of(pour.area, depth, short) - tilt.spilled == pytest.approx(
        held, rel=1e-9, abs=1e-9
    )
    assert tilt.p_high == pytest.approx(level / 1000.0 * half_span - surface, abs=1e-9)
    assert tilt.p_low == pytest.approx(-level / 1000.0 * half_span - surface, abs=1e-9)
    assert tilt.p_high == pytest.approx(resin_low(cast, depth, tilt.rise))


def test_notes_only_where_something_goes_wrong():
    """A long casting runs over at the level a short one does not mind; the note says how much and
    what mends it."""
    assert pour_notes(casting(), CAST, 1.0) == ()
    (note,) = pour_notes(casting("groove", area=41000.0, half_span=646.0, p_limit=6.7), CAST, 1.0)
    # 0.646 - 0.5 = 0.146 over 41000 mm²: 5.99 cm³; the high end 2 x 0.646 + 0.06 = 1.352
    assert "6.0 cm³" in note
    assert "sinks to 1.35" in note
    (low,) = pour_notes(casting(half_span=9.0, p_limit=0.55), CAST, 1.0)
    assert "not even a level blank" in low


def test_report_keys_of_a_casting():
    """The report names volume, masses, limits and stops of each casting, and the sum is that of the
    castings."""
    stop = StopLimit(4, 11.9, Linear.of(2.5) + Linear.term("touch", 0.1), "surely")
    small = CastingPour(
        "P1a", 1.2, 12.0, 3.0, Linear.of(0.6), 2.0, area=254.0, half_span=9.0, stops=(stop,)
    )
    report = reported(
        pour_plan([casting("groove", area=41000.0, half_span=646.0), small], CAST, 1.0)
    )
    groove, plug = report["castings"]
    assert groove["volume_cm3"] + plug["volume_cm3"] == pytest.approx(report["volume_cm3"])
    assert plug["flush_full_cm3"] == pytest.approx(3.048)
    assert plug["shrinks"] == pytest.approx(0.06)
    assert plug["stops"] == [
        {"pass": 4, "plane": 11.9, "p_limit": 2.5, "p_limit_worst": 2.4, "shows": "surely"}
    ]
    assert groove["tilt"]["rise"] == pytest.approx(0.646)
    assert groove["notes"]
    assert plug["notes"] == []


def test_rows_to_print():
    """A line for each casting under the header's columns, and the sum of those that can be
    summed."""
    pours = [
        casting("groove", area=41000.0, half_span=646.0),
        casting("P1a"),
        casting("P1b", p_limit=0.4),
    ]
    rows = pour_rows(pours, CAST)
    assert all(len(row) == len(POUR_HEADER) for row in rows)
    assert [row[0] for row in rows] == ["groove", "P1a", "P1b", "all"]
    assert [row[-1] for row in rows] == ["0.77", "55.56", "none", ""]
    for column in range(1, 5):
        assert float(rows[-1][column]) == pytest.approx(
            sum(float(row[column]) for row in rows[:-1]), abs=0.02
        )


def test_report_of_castings_without_footprint():
    """Callers that give a volume alone still get volume flush full: area from the volume to the
    pour line."""
    bare = CastingPour("P1a", 1.2, 12.0, 2.3, Linear.of(0.6), 2.0)
    (entry,) = reported(pour_plan([bare], CAST))["castings"]
    assert entry["flush_full_cm3"] == pytest.approx(2.4)
    assert "level" not in entry


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.lists(st.floats(0.5, 300), min_size=1, max_size=6))
def test_cups_hold_all_and_none_too_much(volumes):
    """The cups together fill every casting, in order, each by the same amount, and none is larger
    than allowed."""
    pours = [
        CastingPour("groove" if k == 0 else f"P{k}", 1.2, 12.0, volume, Linear.of(0.6), 2.0)
        for k, volume in enumerate(volumes)
    ]
    plan = cup_plan(pours, CAST)
    limit = resins()[CAST.resin].cup.value
    assert plan.each.total_g <= limit + 1e-6
    assert math.ceil(parts(sum(volumes), CAST).total_g / limit - 1e-9) == len(plan.cups)
    taken = dict.fromkeys((pour.id for pour in pours), 0.0)
    for cup in plan.cups:
        assert sum(cm3 for _, cm3 in cup.fills) == pytest.approx(
            sum(volumes) / len(plan.cups), rel=1e-4
        )
        for name, cm3 in cup.fills:
            taken[name] += cm3
    for pour in pours:
        assert taken[pour.id] == pytest.approx(pour.volume, rel=1e-4)
    assert plan.cups[-1].fills[-1][0] == "groove"


def test_cups_of_a_known_pour():
    """500 cm³ of 1.0 g/cm³ with no extra: 500 g, in cups of at most 200 g three of 166.7 g."""
    cast = CastSection(ratio=(1.0, 1.0), density=(1.0,), extra=0.0)
    plan = cup_plan([CastingPour("groove", 1.2, 12.0, 500.0, Linear.of(1.0), 6.0)], cast)
    assert len(plan.cups) == 3
    assert plan.each.a_g == pytest.approx(83.333, abs=1e-3)
    assert "pot life" in plan.notes[1]
    assert plan.cautions


def test_a_thick_epoxy_pour_comes_in_layers():
    """12 mm less 0.5 in pours of 10 mm: two; the polyurethane takes it at once."""
    pour = casting(depth=12.0)
    assert cup_plan([pour], CAST.model_copy(update={"resin": "epoxy"})).layers == (("P1a", 2),)
    assert cup_plan([pour], CAST).layers == ()


def test_layers_are_counted_from_the_pour_line():
    """A pocket 10.4 mm deep is poured 9.9 mm high: one pour of 10 mm, for the last half millimetre
    stays empty."""
    epoxy = CAST.model_copy(update={"resin": "epoxy"})
    assert cup_plan([casting(depth=10.4)], epoxy).layers == ()
    assert cup_plan([casting(depth=10.6)], epoxy).layers == (("P1a", 2),)


def test_a_resin_of_ones_own_is_not_guessed():
    """A resin that the table does not know has no pot life and no cup size; that is said, not made
    up."""
    plan = cup_plan([casting(area=1e5)], CAST.model_copy(update={"resin": "house brand"}))
    assert len(plan.cups) == 1
    assert "maker's sheet" in plan.notes[-1]
    assert plan.cautions == ()


def test_too_little_to_weigh():
    """0.3 cm³ is mixed in a batch whose lighter part is 5 g, in the same ratio."""
    few = parts(0.3, CAST)
    batch = few.weighable()
    assert min(batch.a_g, batch.b_g) == pytest.approx(LIGHT)
    assert batch.a_g / batch.b_g == pytest.approx(few.a_g / few.b_g)
    enough = parts(30.0, CAST)
    assert enough.weighable() is enough


@pytest.mark.parametrize("resin", resins().values(), ids=list(resins()))
def test_each_resin_says_where_its_figures_come_from(resin):
    """A figure without source or mark would pass for a maker's figure."""
    for figure in (resin.shrinkage, resin.pot_life, resin.cup, resin.layer):
        assert figure.source.startswith(("from memory", "common practice, no source")), figure
        assert figure.value > 0
    words = " ".join(resin.cautions)
    assert "maker's sheet" in words
    assert "gloves" in words.lower()


def test_what_is_lost_before_the_gel_comes_from_the_kind_of_resin_or_the_job():
    """12.0 deep, level, by hand: epoxy 12 x (0.03 + 0.005) = 0.42; a job's own 0.01 gives 12 x
    0.015 = 0.18."""
    table, own = (
        CastSection(resin="epoxy", pour_short=0.5),
        CastSection(resin="epoxy", pour_short=0.5, gel_loss=0.01),
    )
    assert resin_low(table, 12.0, 0.0) == pytest.approx(0.5 + 0.42)
    assert resin_low(own, 12.0, 0.0) == pytest.approx(0.5 + 0.18)
    assert resins()["epoxy"].gel_loss.source.startswith("no source")
