"""A low casting: what is missing at each stop, and what mends it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.job.model import CastSection
from corepath.reported import reported
from corepath.stackup.linear import Linear
from corepath.stackup.pour.pour import CastingPour, StopLimit, resin_low
from corepath.stackup.pour.top_up import FILL_ERROR, Reached, common_stop, judge_fill

CAST = CastSection(
    ratio=(1.0, 1.0), density=(1.0,), extra=0.0, pour_short=0.3, shrinkage=0.005, gel_loss=0.0
)
PLANES = ((2, 12.9, "perhaps"), (3, 12.4, "likely"), (4, 11.9, "surely"), (5, 11.4, "surely"))


def plug(
    lowest: float, error: float = 0.0, *, area: float = 250.0, half_span: float = 9.0
) -> CastingPour:
    """A plug of 250 mm² that may lie `lowest` low at the lowest plane, and as much more at the
    higher ones."""
    errors = Linear.term("touch", error)
    stops = tuple(
        StopLimit(n, plane, errors + (lowest + plane - 11.4), shows) for n, plane, shows in PLANES
    )
    return CastingPour(
        "P1a", 1.2, 12.4, 3.0, Linear.of(0.4), lowest, area=area, half_span=half_span, stops=stops
    )  # fmt: skip


def test_enough_is_said_and_nothing_mended():
    """A fill of 1.3 where 2.3 is allowed needs nothing."""
    advice = judge_fill(plug(2.3), 1.3, CAST, level=1.0)
    assert advice.fix == "nothing"
    assert advice.verdict == "ok"
    assert advice.top_up is None
    assert "high enough" in advice.message[0]


def test_missing_at_each_stop_by_hand():
    """1.9 where 1.0 is allowed: 0.95 missing with 0.05 of measuring, 0.45 at the stop above it,
    nothing at 12.4."""
    advice = judge_fill(plug(1.0), 1.9, CAST, level=1.0)
    assert [found.number for found in advice.missing] == [2, 3, 4, 5]
    assert [found.worst for found in advice.missing] == pytest.approx([0.0, 0.0, 0.45, 0.95])
    assert [found.value for found in advice.missing] == pytest.approx([0.0, 0.0, 0.4, 0.9])
    assert advice.deciding.volume == pytest.approx(0.2375)
    assert advice.verdict == "fail"


def test_an_earlier_stop_is_the_last_that_serves():
    """Of the stops that leave enough the last one is named, since there the castings most surely
    show."""
    advice = judge_fill(plug(1.0), 1.9, CAST, level=1.0)
    assert advice.earlier is not None
    assert (advice.earlier.number, advice.earlier.shows) == (3, "likely")
    assert advice.fix == "either"
    assert "stop after the pass at 12.40" in advice.message[2]


def test_top_up_by_hand():
    """To the pour line 0.3: 1.6 more, 0.4 cm³, of 1.0 g/cm³ in equal parts 0.2 g each; too little,
    so 5 g each."""
    advice = judge_fill(plug(1.0), 1.9, CAST, level=1.0)
    top_up = advice.top_up
    assert top_up is not None
    assert top_up.raises == pytest.approx(1.6)
    assert top_up.volume == pytest.approx(0.4)
    assert top_up.mixed.a_g == pytest.approx(0.2)
    assert top_up.weigh.a_g == pytest.approx(5.0)
    # 0.3 + 0.005 x (1.95 - 0.3) + 0.009
    assert top_up.p_after == pytest.approx(0.31725)
    assert "before the blank is turned over" in top_up.when
    assert any("abrade" in step for step in top_up.steps)


def test_what_is_cut_cannot_be_stopped_earlier():
    """With four passes cut the third is gone, with a stop recorded all are; a top-up waits until it
    lies deck up."""
    pour = plug(1.0)
    assert judge_fill(pour, 1.9, CAST, level=1.0, reached=Reached("B", passed=4)).fix == "top-up"
    recorded = judge_fill(pour, 1.9, CAST, level=1.0, reached=Reached("B", 4))
    assert recorded.deciding.number == 4
    assert recorded.fix == "top-up"
    assert recorded.top_up is not None
    assert "before anything is cut in C" in recorded.top_up.when
    assert judge_fill(pour, 1.9, CAST, level=1.0, reached=Reached("after B", 3)).fix == "nothing"


def test_after_the_deck_only_a_repair_is_left():
    """Once the deck is cut neither mends it, and the advice must not send anyone back to pour from
    above."""
    advice = judge_fill(plug(1.0), 1.9, CAST, level=1.0, reached=Reached("C", 5))
    assert advice.fix == "neither"
    assert "by hand" in advice.message[-1]


def test_a_plug_in_the_wrong_place():
    """Where the deck to be lies above the raw top, no pour that is not proud reaches it; a higher
    plane may."""
    advice = judge_fill(plug(-0.8), 0.6, CAST, level=1.0)
    assert advice.top_up is None
    assert advice.fix == "earlier stop"
    assert "only in the best case" in advice.message[1]
    hopeless = judge_fill(plug(-3.0), 0.6, CAST, level=1.0)
    assert hopeless.fix == "neither"
    assert "where the deck is lower" in hopeless.message[-1]


def test_a_flush_makes_a_proud_top_up_possible():
    """With a pour line 0.2 above the raw top the same casting can be topped up to it, and then
    reaches."""
    proud = CAST.model_copy(update={"pour_short": -0.2, "flush": "local"})
    assert judge_fill(plug(-0.1), 0.6, CAST, level=1.0).top_up is None
    top_up = judge_fill(plug(-0.1), 0.6, proud, level=1.0).top_up
    assert top_up is not None
    assert top_up.line == pytest.approx(-0.2)
    assert top_up.p_after <= -0.1


def test_a_long_casting_must_lie_more_level():
    """Over a half span of 646 and 1 mm/m nothing lies higher than 1.29; 0.9 wants the blank level
    within 0.69 mm/m."""
    groove = plug(0.9, area=40000.0, half_span=646.0)
    top_up = judge_fill(groove, 2.0, CAST, level=1.0).top_up
    assert top_up is not None
    assert top_up.within is not None
    # rise where it just does not spill: (0.9 - 0.005 x 2.05) / 1.995 = 0.44599
    assert top_up.within == pytest.approx(0.44599 / 0.646, abs=1e-4)
    assert top_up.line == pytest.approx(0.44599, abs=1e-4)
    assert f"{top_up.within:.2f} mm/m" in judge_fill(groove, 2.0, CAST, level=1.0).message[1]


def test_caution_is_no_failure():
    """Where only the worst case fails, it is said to be *perhaps* too low."""
    pour = plug(2.0)
    wide = tuple(
        replace(stop, p_limit=stop.p_limit + Linear.term("a", 0.2) + Linear.term("b", 0.2))
        for stop in pour.stops
    )
    advice = judge_fill(replace(pour, stops=wide), 1.65, CAST, level=1.0)
    assert advice.verdict == "caution"
    assert "may be too low" in advice.message[0]


def test_one_stop_serves_all_castings():
    """One casting that is only right after pass 3 and one that never matters: pass 3; one that
    never is: none."""
    low = judge_fill(plug(1.0), 1.9, CAST, level=1.0)
    high = judge_fill(plug(3.0), 1.9, CAST, level=1.0)
    never = judge_fill(plug(-3.0), 1.9, CAST, level=1.0)
    assert common_stop([low, high]) == 3
    assert common_stop([high]) == 5
    assert common_stop([low, never]) is None


def test_unknown_stops_are_refused():
    """A pass that is no possible stop, or no stops at all, is a slip of the caller and must not
    pass as a verdict."""
    with pytest.raises(ValueError, match="stop 9"):
        judge_fill(plug(1.0), 1.9, CAST, level=1.0, reached=Reached(stop=9))
    with pytest.raises(ValueError, match="no possible stops"):
        judge_fill(replace(plug(1.0), stops=()), 1.9, CAST, level=1.0)


def test_report_is_plain_data():
    """Everything in the report is rounded numbers and words, with the pass of the earlier stop."""
    data = reported(judge_fill(plug(1.0), 1.9, CAST, level=1.0))
    assert data["mend"] == "either"
    assert data["earlier_stop"] == 3
    assert data["top_up"]["part_a_g"] == 0.2
    assert data["stops"][-1]["missing_worst"] == 0.95


@settings(max_examples=150, derandomize=True, deadline=None)
@given(
    allowed=st.floats(-1, 3),
    p=st.floats(0, 4),
    error=st.floats(0, 0.3),
    level=st.floats(0, 2),
    half_span=st.floats(5, 700),
)
def test_a_top_up_that_is_advised_does_mend(allowed, p, error, level, half_span):
    """Poured as advised it is high enough in the worst case and does not run over; where none is
    advised, none is."""
    pour = plug(allowed, error, half_span=half_span)
    advice = judge_fill(pour, p, CAST, level=level)
    if advice.verdict == "ok":
        return
    limit, low = allowed - error, p + FILL_ERROR
    if advice.top_up is None:
        for line in (0.0, 0.001, 0.01, 0.1, 0.3):  # even dead level
            poured = CAST.model_copy(update={"pour_short": line})
            assert line >= p - 1e-6 or resin_low(poured, low - line, 0.0) > limit - 1e-6
        return
    top_up = advice.top_up
    at = level if top_up.within is None else top_up.within
    assert at <= level + 1e-9
    rise = at / 1000.0 * half_span
    assert rise <= top_up.line + 1e-9
    poured = CAST.model_copy(update={"pour_short": top_up.line})
    assert resin_low(poured, low - top_up.line, rise) == pytest.approx(top_up.p_after, abs=1e-9)
    assert top_up.p_after <= limit + 1e-9
