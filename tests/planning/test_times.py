"""What files take beside cutting: dwells as the file asks for them, stops and changes counted
apart."""

from __future__ import annotations

import re

import pytest

from corepath.planning.plan import Plan
from corepath.planning.report.times import (
    CHANGE,
    CHANGE_BY_MACHINE,
    LOOK,
    STOP,
    MinutesApart,
    together,
)


@pytest.fixture(scope="module")
def planned(coupon_planned: Plan) -> Plan:
    return coupon_planned


def test_dwells_and_stops_are_those_of_the_file(planned: Plan) -> None:
    """A dwell that the file does not hold, or one forgotten, would make the total wrong."""
    for made in planned.made:
        dwells = [float(p) for p in re.findall(r"^G4 P([\d.]+)", made.text, re.M)]
        assert made.apart.dwell == pytest.approx(sum(dwells) / 60.0), made.name
        stops = len(re.findall(r"^M0$", made.text, re.M)) - 1
        assert (made.apart.stops, made.apart.changes) == (stops, 1)
        looks = len(re.findall(r"^M0$", made.text.partition(" M3\n")[0], re.M)) - 1
        assert made.apart.stop_minutes == pytest.approx(STOP * (stops - looks) + LOOK * looks)


def test_minutes_hold_no_dwell_and_the_total_adds_up(planned: Plan) -> None:
    """Stops in the minutes would hide how good a path is; left out of the report, how long the day
    is."""
    report = planned.report
    last = report["skim"]["planned_stop"]
    later = {f"05-B-skim-pass-{k}.nc" for k in range(last + 1, 99)}
    entries = [e for e in report["operations"] if not e.get("combined") and e["file"] not in later]
    assert report["minutes"] == pytest.approx(sum(e["minutes"] for e in entries), abs=0.05)
    dwell = sum(e["minutes_apart"]["dwell"] for e in entries)
    assert report["minutes_apart"]["dwell"] == pytest.approx(dwell, abs=0.01)
    combined = next(e for e in report["operations"] if e.get("combined"))
    assert combined["minutes_apart"]["count"]["stops"] > 0
    assert report["minutes_apart"]["count"]["stops"] == 4, (
        "a look at the zero of the inserts, one at that of C, at the cutters of pockets and skim"
    )
    for entry in report["operations"]:
        assert entry["over_bound"] == pytest.approx(entry["minutes"] / entry["bound"], rel=0.1)


def test_a_cutter_that_stays_is_not_changed() -> None:
    """Five passes of the skim with one cutter are one change, not five."""
    one = MinutesApart(0.1, 0, 1, 0.0, CHANGE)
    total = together([(2, one), (3, one), (3, one), (2, one)])
    assert (total.changes, total.change_minutes) == (3, 3 * CHANGE)
    assert total.minutes == pytest.approx(0.4 + 3 * CHANGE)
    assert CHANGE_BY_MACHINE < CHANGE
