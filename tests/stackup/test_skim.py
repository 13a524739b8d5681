"""The skim schedule: planes, and who shows when."""

import pytest

from corepath.job.model import SkimSection
from corepath.stackup.linear import Linear
from corepath.stackup.skim import plan_skim

STEPS = SkimSection(step=0.5, largest_step=0.5)


def shows(nominal: float, error: float) -> Linear:
    return Linear.of(nominal) + Linear.term("thickness", error)


def test_planes_end_at_the_lowest_and_start_below_the_thickest_blank():
    """A plane above the stock cuts air; one missing leaves a double depth."""
    plan = plan_skim(11.4, STEPS, 13.7, [shows(12.4, 0.3)])
    assert plan.planes == pytest.approx((13.4, 12.9, 12.4, 11.9, 11.4))


def test_a_top_on_a_plane_needs_no_pass_there():
    """No branch may hang on float noise: 13.4 + 1e-12 is 13.4."""
    assert plan_skim(11.4, STEPS, 13.4 + 1e-12, [shows(12.4, 0.3)]).planes[0] == pytest.approx(12.9)


def test_best_nominal_and_worst_case_pick_their_passes():
    plan = plan_skim(11.4, STEPS, 13.7, [shows(12.4, 0.45)])
    assert (plan.earliest, plan.likely, plan.latest) == (3, 3, 4)
    assert plan.planned_stop == plan.latest
    assert plan.planned_plane == pytest.approx(11.9)
    assert plan.thickest_plane == pytest.approx(12.4)


def test_first_sight_is_of_any_and_earliest_of_all():
    """A deep plug is seen before the ring: stops must begin with it."""
    plan = plan_skim(11.4, STEPS, 13.7, [shows(11.9, 0.1), shows(12.9, 0.1)])
    assert plan.first_sight == 2
    assert plan.earliest == 4


def test_no_pass_shows_all():
    """Then the plan goes on to the lowest plane and the checks tell."""
    plan = plan_skim(11.4, STEPS, 13.7, [shows(11.2, 0.1)])
    assert plan.latest is None and plan.likely is None
    assert plan.planned_stop == 5


def test_a_blank_below_the_lowest_plane_still_has_one():
    assert plan_skim(11.4, STEPS, 10.0, [shows(9.0, 0.1)]).planes == (11.4,)


def test_passes_are_deeper_while_nothing_can_show():
    """Down to first sight, 12.4: the highest plane at or below 12.7. From 13.4 it lies within one
    largest step, so a pass at 12.9 would only take minutes."""
    plan = plan_skim(11.4, SkimSection(step=0.5, largest_step=1.0), 16.0, [shows(12.4, 0.3)])
    assert plan.planes == pytest.approx((15.4, 14.4, 13.4, 12.4, 11.9, 11.4))
    assert plan.planes[plan.first_sight - 1] == pytest.approx(12.4)


def test_a_thin_first_pass_above_first_sight_is_not_cut():
    """The sample's blank, 13.6 at its thickest: 13.4 would take 0.2 of wood in a pass of its own,
    and 12.9, where something may show first, is 0.7 below the raw bottom."""
    found = plan_skim(11.4, SkimSection(step=0.5, largest_step=1.0), 13.6, [shows(12.6, 0.4)])
    assert found.planes == pytest.approx((12.9, 12.4, 11.9, 11.4))
    assert found.first_sight == 1


def test_what_is_cut_below_the_place_where_a_casting_may_show_is_one_step_at_most():
    """However deep the pass that reaches first sight is: more would hide how far the casting is."""
    steps = SkimSection(step=0.3, largest_step=1.0)
    for nominal in (12.0, 12.17, 12.39, 12.5, 12.88):
        found = plan_skim(11.4, steps, 14.1, [shows(nominal, 0.1)])
        assert nominal + 0.1 - found.planes[found.first_sight - 1] < 0.3 + 1e-6


def test_no_pass_is_deeper_than_the_largest_step():
    """Also the first, on the thickest blank."""
    for top in (13.45, 14.0, 14.72, 15.9, 16.31):
        found = plan_skim(
            11.4, SkimSection(step=0.3, largest_step=0.8), top, [shows(12.0, 0.2)]
        ).planes
        depths = [above - below for above, below in zip((top, *found), found, strict=False)]
        assert max(depths) <= 0.8 + 1e-6
        assert found[-1] == pytest.approx(11.4)


def test_a_recorded_stop_settles_the_schedule():
    """What the machine showed wins over what was predicted; fill is then judged there and not
    lower."""
    plan = plan_skim(11.4, STEPS, 13.7, [shows(12.4, 0.3)], recorded_stop=3)
    assert plan.recorded and plan.planned_stop == plan.earliest == plan.latest == 3
    assert plan.judged_plane == pytest.approx(12.4)
    assert not plan_skim(11.4, STEPS, 13.7, [shows(12.4, 0.3)]).recorded
