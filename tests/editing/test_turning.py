"""Where a verdict turns along one number: found by trying it."""

from __future__ import annotations

import pytest

from corepath.editing.turning import State, TurnWay, turns


@pytest.mark.parametrize("step", [0.1, 1.0])
def test_a_turn_is_found_elsewhere(step: float) -> None:
    """Worse from 12.34 on and again from 15.2 on, better below 3.21: each is named to half a step,
    with its check."""
    tried = []

    def found(key: str, value: str) -> State:
        if key != "groove.floor":
            return "ready" if float(value) < 3.21 else "with care", ()
        tried.append(value)
        x = float(value)
        if x >= 15.2:
            return "no", ("seat", "window")
        if x >= 12.34:
            return "accepted", ("seat", "floor")
        return ("with care", ("seat",)) if x >= 3.21 else ("ready", ())

    ways = [TurnWay("groove.floor", 8.0, step), TurnWay("groove.inside", 8.0, step)]
    all_found = list(turns(ways, found))
    values = [one["value"] for one in all_found if one["key"] == "groove.inside"]
    assert values == pytest.approx([3.21], abs=0.51 * step)
    mine = [one for one in all_found if one["key"] == "groove.floor"]
    assert all(one["now"] == 8.0 for one in mine)
    up, above, down = sorted(mine, key=lambda one: (one["value"] < 8.0, one["value"]))
    assert up["value"] == pytest.approx(12.34, abs=0.51 * step) and up["checks"] == ["floor"]
    assert above["value"] == pytest.approx(15.2, abs=0.51 * step) and above["checks"] == ["window"]
    assert down["value"] == pytest.approx(3.21, abs=0.51 * step) and down["checks"] == ["seat"]
    assert [one["answer"] for one in (up, above, down)] == ["accepted", "no", "ready"]
    # each takes up to five values and six between two of them; five where there is none behind
    assert len(tried) <= 3 * (5 + 6) + 1 + 5


def test_where_nothing_turns_a_line_is_drawn() -> None:
    assert list(turns([TurnWay("a", 1.0, 0.1)], lambda *_: ("ready", ()))) == []
