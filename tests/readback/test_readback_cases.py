"""Other stops and other blanks, on the small plan: nothing found where all is well, and what arises
only there."""

from __future__ import annotations

import pytest
from shapely import box

from corepath.gcode.read.findings import Finding
from corepath.readback.cases import new_findings, read_cases, shifted
from corepath.readback.plan_files import PlanFiles
from corepath.readback.result import Case, CaseOutcome

STOPS = (
    Case("earliest stop", "if the skim stops at 12.90", 1),
    Case("latest stop", "if the skim stops at 11.90", 3),
)
THICK = Case("thickest blank", "on a blank of 12.10", 2, 0.1)
THIN = Case("thinnest blank", "on a blank of 11.90", 2, -0.1)


def tried(plan, *cases: Case):
    good = plan.with_shop(outline=box(-30, -18, 30, 18))
    return read_cases(good.shop, good.works, PlanFiles(good.files), cases, cell=0.5)


@pytest.mark.parametrize("flip", ["x", "y"])
@pytest.mark.parametrize("zero", ["bed", "face"])
def test_nothing_is_found_in_other_cases_of_a_good_plan(plan_maker, flip, zero):
    """A false alarm would keep a good plan from being written."""
    outcomes = tried(plan_maker(flip=flip, z=zero), STOPS[1], THIN, THICK)
    found = [(outcome.case.name, str(one)) for outcome in outcomes for one in outcome.findings]
    assert found == []
    assert [outcome.again for outcome in outcomes] == [zero == "face", False, False]


def test_seats_and_floors_hang_on_no_stop_nor_blank(plan):
    """With the zero on the bed: seats follow the skimmed face, floor and deck stand above the
    bed."""
    early, late, thin, thick = tried(plan, *STOPS, THIN, THICK)
    assert (
        early.figures["least_floor"] == late.figures["least_floor"] == thick.figures["least_floor"]
    )
    assert thin.figures["thinnest"] == pytest.approx(thick.figures["thinnest"], abs=1e-4), (
        "the bed bears both"
    )
    assert early.figures["wood_over_seat"] == pytest.approx(
        late.figures["wood_over_seat"], abs=1e-4
    )


def test_with_the_zero_on_a_face_a_thicker_blank_has_a_thicker_floor(plan_maker):
    """The floor is measured from the raw top there: 0.1 more of blank is 0.1 more under the
    casting."""
    thin, thick = tried(plan_maker(z="face"), THIN, THICK)
    assert thick.figures["least_floor"] - thin.figures["least_floor"] == pytest.approx(
        0.2, abs=1e-4
    )


def test_what_arises_only_at_an_early_stop_says_so(plan):
    """Stopped at 11.2 the deck at 8 meets 3.2 of wood at once, which its file was not planned for.

    A line 11.5 beside the one before, at 2000, takes 73.6 cm³/min there and 57.5 at the planned
    stop; planned are 60.
    """
    wide = plan.edited("08-C-deck.nc", "Y-21.4286", "Y-18.5", count=2)
    known = wide.read().findings
    assert "load" not in known.counts
    found = new_findings(tried(wide, *STOPS, THICK), known)
    assert found.counts == {"load": 1}
    (told,) = found
    assert told.file == "08-C-deck.nc" and told.line is not None
    assert told.message.endswith("(if the skim stops at 12.90)")


def test_what_arises_only_on_a_thick_blank_says_so(plan):
    """Rapids just above the blank of the plan, over bare wood, go through one that is 0.1
    thicker."""
    low = plan.edited("01-A-dowels.nc", "G0 Z25", "G0 Z12.05", count=10_000)
    before = low.read().findings
    assert "rapid-through-material" not in before.counts
    found = new_findings(tried(low, THIN, THICK), before)
    says = [one.message for one in found if one.kind == "rapid-through-material"]
    assert says and all(text.endswith("(on a blank of 12.10)") for text in says)


def test_straight_down_only_into_a_thicker_blank_is_found(plan):
    """Down to the planned raw top, 12: on a blank of 12.10 that is 0.1 straight into solid wood, by
    a cutter of 12 without edges in its middle."""
    first = "G0 X-60 Y-30\nG1 Z11.2000\n"
    down = "F1500\nG0 X10 Y5\nG0 Z13\nG1 Z12\nG0 Z25\nF2000\n"
    low = plan.edited("05-B-skim-pass-1.nc", first, down + first)
    known = low.read().findings
    assert not known.counts
    (told,) = new_findings(tried(low, THIN, THICK), known)
    assert (told.kind, told.file) == ("plunge", "05-B-skim-pass-1.nc")
    assert told.depth == pytest.approx(0.1, abs=1e-4) and "(on a blank of 12.10)" in told.message


def test_a_finding_known_before_is_not_told_again(plan):
    """The same fault in five cases is one fault."""
    bad = plan.edited("08-C-deck.nc", "Z8.0", "Z7.5", count=10_000)
    known = bad.read().findings
    assert known.counts
    assert not new_findings(tried(bad, STOPS[1], THIN), known).counts


def test_cases_that_share_a_finding_are_named_together():
    """Otherwise each case would repeat it."""

    one = Finding("load", "a.nc", 3, None, 1.0, "takes much")
    outcomes = [CaseOutcome(case, (one,), {}, False) for case in (*STOPS, THICK)]
    (told,) = new_findings(outcomes, [])
    assert told.message == (
        "takes much (if the skim stops at 12.90; if the skim stops at 11.90; on a blank of 12.10)"
    )


def test_a_work_that_is_not_moved_is_the_same(plan):
    """Zero on the bed: nothing moves, not even by rounding."""
    assert all(shifted(work, 0.0) is work for work in plan.works)
