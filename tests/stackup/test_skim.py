"""The skim schedule: planes, and who shows when."""

import pytest

from corepath.stackup.linear import Linear
from corepath.stackup.skim import plan_skim


def shows(nominal: float, error: float) -> Linear:
    return Linear.of(nominal) + Linear.term("thickness", error)


def test_planes_end_at_the_lowest_and_start_below_the_thickest_blank():
    """A plane above the stock cuts air; one missing leaves a double depth."""
    plan = plan_skim(11.4, 0.5, 13.7, [shows(12.4, 0.3)])
    assert plan.planes == pytest.approx((13.4, 12.9, 12.4, 11.9, 11.4))


def test_a_top_on_a_plane_needs_no_pass_there():
    """No branch may hang on float noise: 13.4 + 1e-12 is 13.4."""
    assert plan_skim(11.4, 0.5, 13.4 + 1e-12, [shows(12.4, 0.3)]).planes[0] == pytest.approx(12.9)


def test_best_nominal_and_worst_case_pick_their_passes():
    plan = plan_skim(11.4, 0.5, 13.7, [shows(12.4, 0.45)])
    assert (plan.earliest, plan.likely, plan.latest) == (3, 3, 4)
    assert plan.planned_stop == plan.latest
    assert plan.planned_plane == pytest.approx(11.9)
    assert plan.thickest_plane == pytest.approx(12.4)


def test_first_sight_is_of_any_and_earliest_of_all():
    """A deep plug is seen before the ring: stops must begin with it."""
    plan = plan_skim(11.4, 0.5, 13.7, [shows(11.9, 0.1), shows(12.9, 0.1)])
    assert plan.first_sight == 2
    assert plan.earliest == 4


def test_no_pass_shows_all():
    """Then the plan goes on to the lowest plane and the checks tell."""
    plan = plan_skim(11.4, 0.5, 13.7, [shows(11.2, 0.1)])
    assert plan.latest is None and plan.likely is None
    assert plan.planned_stop == 5


def test_a_blank_below_the_lowest_plane_still_has_one():
    assert plan_skim(11.4, 0.5, 10.0, [shows(9.0, 0.1)]).planes == (11.4,)
