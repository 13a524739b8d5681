"""What the page shows of the coupon: drawings to scale, handles where their numbers say."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from corepath.editing.handles import _taken_out
from corepath.editing.workshop import Workshop

COUPON = Path(__file__).parents[2] / "samples" / "coupon.toml"
VIEW = {"wide": 220.0, "narrow": 110.0}


@pytest.fixture(scope="module")
def shop() -> Workshop:
    return Workshop(COUPON)


def asked(shop: Workshop, kind: str = "draft", at: float = 0.0) -> dict[str, Any]:
    text = COUPON.read_text(encoding="utf-8")
    *_, last = shop.answers({"kind": kind, "number": 1, "text": text, "at": at, **VIEW})
    return last


@pytest.mark.whole
def test_a_handle_lies_beside_what_it_moves(shop: Workshop) -> None:
    """The blank is 240 × 90, in drawings 220 wide with 5 of margin: 0.875 to 1, its middle at
    (110, 44.375). Blank 10.6, stop at 8.9 and floor 1.2 in A: the floor ends 0.5 below the finished
    bottom, and the raw bottom 1.7 below it, but for 0.0004: the nodes of the deck reach 7.9996."""
    found = asked(shop)
    plan = found["drawings"]["plan"]
    assert plan["across"] == pytest.approx([110.0, 0.875])
    assert plan["up"] == pytest.approx([90.0 * 0.875 / 2 + 5.0, 0.875])
    handles = {one["id"]: one for one in found["handles"]}
    assert handles["plan-outline-station-2"]["at"] == [-94.0, 19.0]
    assert handles["plan-P1"]["at"] == [-66.0, 7.0] and handles["plan-P1"]["row"] == "plug[1]"
    assert handles["long-deck-station-1"]["at"] == [-100.0, 6.2]
    assert handles["stack-floor-of-the-groove"]["at"][1] == pytest.approx(-0.5, abs=0.001)
    # an end of the board stays on the axis
    assert list(handles["plan-outline-station-1"]["ways"]) == ["across"]
    ways = handles["plan-dowel-2"]["ways"]
    assert [(way["key"], way["now"]) for way in ways.values()] == [
        ("dowel[2].at[1]", 102), ("dowel[2].at[2]", 0),
    ]  # fmt: skip
    # more clean-up leaves the lowest plane higher over the bed, nearer to the finished bottom
    assert handles["stack-lowest-plane-of-the-skim"]["ways"]["up"]["sign"] == -1
    stack = found["drawings"]["stack"]
    low, high = stack["up"][0] + 1.7 * stack["up"][1], stack["up"][0] - 8.9 * stack["up"][1]
    assert 0.0 < high < low < stack["height"]


@pytest.mark.whole
def test_a_section_beyond_the_board_has_an_edge_to_drag(shop: Workshop) -> None:
    """The board ends at X 88; at 20 it is 30 to each side: edge band 7 and blend 22 from there."""
    within = {one["id"]: one["at"][0] for one in asked(shop, "cross", 20.0)["handles"]}
    assert within["cross-edge-of-the-core"] == pytest.approx(30.0, abs=0.01)
    assert within["cross-end-of-the-edge-band"] == pytest.approx(23.0, abs=0.01)
    assert within["cross-end-of-the-blend"] == pytest.approx(1.0, abs=0.01)
    beyond = [one["id"] for one in asked(shop, "cross", 95.0)["handles"]]
    assert not any(one.startswith("cross") for one in beyond)


def test_the_last_place_of_a_row_leaves_an_empty_one() -> None:
    """A place goes alone where others stay; the row goes with its last place."""
    alone, two, both = {"at": [[1, 2]]}, {"at": [[1, 2], [3, 4]]}, {"at": [[1, 2]], "pattern": {}}
    row = ("insert", 1)
    first, middle = (*row, "at", 0), (*row, "pattern", "at")
    assert _taken_out(alone, row, first) == row and _taken_out(two, row, first) == first
    assert _taken_out(both, row, first) == (*row, "at")
    assert _taken_out(both, row, middle) == (*row, "pattern")
    assert _taken_out({"pattern": {}}, row, middle) == row
    assert _taken_out({"at": [1, 2]}, ("dowel", 0), ("dowel", 0, "at")) == ("dowel", 0)
