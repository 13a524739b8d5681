"""The table of stops: every check that hangs on the plane, for every pass after which the skim may
stop."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from corepath.job.model import SkimSection
from corepath.planning.prepare import prepare
from corepath.reported import reported
from corepath.stackup import Stackup, depth_checks
from corepath.stackup.checks.judge import judge
from corepath.stackup.linear import Linear
from corepath.stackup.skim import plan_skim
from corepath.stackup.stop_table import (
    Question,
    Stop,
    _asks_shows,
    possible_stops,
    stop_limits,
    stop_table,
    table_of,
)

SAMPLE = Path(__file__).parents[2] / "samples" / "coupon.toml"
STEPS = SkimSection(step=0.5, largest_step=0.5)


@pytest.fixture(scope="module")
def stack() -> Stackup:
    return prepare(SAMPLE).stackup


def test_stops_run_from_the_earliest_to_the_last():
    """Shows at 12.4 ± 0.3: earliest 12.5, likely 12.0 and latest 12.0; a pass before nothing can
    show is no stop."""
    skim = plan_skim(11.0, STEPS, 13.6, [12.4 + Linear.term("thickness", 0.3)])
    assert [(stop.plane, stop.shows) for stop in possible_stops(skim)] == [
        (12.5, "perhaps"),
        (12.0, "surely"),
        (11.5, "surely"),
        (11.0, "surely"),
    ]
    assert [stop.planned for stop in possible_stops(skim)] == [False, True, False, False]


def test_a_blank_that_never_shows_keeps_one_stop():
    """A blank too thin still gets a table, so that one sees what else is wrong."""
    skim = plan_skim(11.0, STEPS, 11.4, [Linear.of(9.0)])
    (stop,) = possible_stops(skim)
    assert (stop.number, stop.shows) == (1, "no")


def test_a_casting_that_cannot_show_yet_is_not_looked_for(stack):
    """The coupon's groove is 9.4 deep: at 8.4 it surely shows, at 12.4 it cannot, whatever the
    errors."""
    groove = next(casting for casting in stack.castings if casting.casting.id == "groove")
    word = _asks_shows(stack, groove).word
    assert word is not None
    assert [word(plane) for plane in (8.4, 9.39, 9.6, 12.4)] == [
        "surely",
        "likely",
        "perhaps",
        "no",
    ]


def test_rows_agree_with_the_checks(stack):
    """At the plane that a check is made for, the table says the same, value and verdict."""
    table = stop_table(stack)
    checks = {
        (check.id, check.where.split(";")[0].split(",")[0]): check for check in depth_checks(stack)
    }
    planned = next(k for k, stop in enumerate(table.stops) if stop.planned)
    rows = {row.name: row for row in table.rows}
    for casting in ("groove", "P1"):
        lowest = rows[f"fill {casting}"].checks[-1]
        assert lowest.value == pytest.approx(checks["fill", casting].value)
        assert lowest.worst == pytest.approx(checks["fill", casting].worst)
    clean_up = rows["clean-up"].checks[planned]
    wanted = next(check for check in depth_checks(stack) if check.id == "clean-up")
    assert (clean_up.value, clean_up.verdict) == (pytest.approx(wanted.value), wanted.verdict)


def test_a_lower_stop_costs_fill_and_clean_up(stack):
    """From one stop to the next, fill and clean-up lose just the step; showing gains it."""
    table = stop_table(stack)
    step = stack.job.skim.step
    for row in table.rows:
        values = [check.value for check in row.checks]
        lost = [before - after for before, after in pairwise(values)]
        if row.name.startswith("fill") or row.name == "clean-up":
            assert lost == pytest.approx([step] * len(lost)), row.name
        elif row.name.startswith("shows"):
            assert lost == pytest.approx([-step] * len(lost)), row.name


def test_limits_of_a_casting_are_its_fill(stack):
    """p_limit less p is the fill of the table, stop by stop; at the lowest plane it is the report's
    p_limit."""
    for casting in stack.castings:
        limits = stop_limits(stack, casting)
        row = next(
            row for row in stop_table(stack).rows if row.name == f"fill {casting.casting.id}"
        )
        for limit, check in zip(limits, row.checks, strict=True):
            assert limit.p_limit.nominal - casting.pour.p_expected.nominal == pytest.approx(
                check.value
            )
        assert limits[-1].p_limit.nominal == pytest.approx(casting.pour.p_limit)


def test_what_is_seen_does_not_enter_the_verdict():
    """A stop at which the casting only likely shows is still good, once it is seen; a failed fill
    is not."""
    stops = (Stop(3, 12.0, "likely"), Stop(4, 11.5, "surely", planned=True))
    seen = Question(
        "shows P1a",
        lambda plane: judge("shows", Linear.of(-1.0), 0.0, message="", where="P1a"),
        lambda _: "likely",
    )
    fill = Question(
        "fill P1a",
        lambda plane: judge("fill", Linear.of(plane - 11.8), 0.0, message="", where="P1a"),
    )
    table = table_of(stops, [seen, fill])
    assert table.good == (3,)
    assert table.verdict(4) == "fail"
    assert table.header() == ("", "12.00", "11.50*")
    assert table.lines() == (
        ("shows P1a", "likely", "likely"),
        ("fill P1a", "0.20 ok", "-0.30 fail"),
    )


def test_data_of_the_table(stack):
    """The report holds one answer for each stop in each row, and the planned stop is marked
    once."""
    data = reported(stop_table(stack))
    assert sum(stop["planned"] for stop in data["stops"]) == 1
    assert {row["name"] for row in data["rows"]} == {
        "shows groove", "shows P1", "fill groove", "fill P1", "clean-up", "rim", "seats"
    }  # fmt: skip
    assert all(len(row["at"]) == len(data["stops"]) for row in data["rows"])
