"""A seat that is no circle: drawings and sections show the area that the board gives it."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import box

from corepath.board.footprints import Footprint
from corepath.views.drawings.overview import overview
from corepath.views.drawings.scene import Scene
from corepath.views.drawings.section import section_of


def odd_seat(shop: Any) -> Any:
    """The shop's board, the first seat 4 to the left of its middle, 9 to the right, 3 before it, 6
    behind."""
    first, *others = shop.board.places
    area = box(first.x - 4.0, first.y - 3.0, first.x + 9.0, first.y + 6.0)
    seat = Footprint(first.x, first.y, area)
    return replace(shop.board, places=(replace(first, seat=seat), *others))


def test_a_seat_lies_in_b_as_the_blank_was_turned(shop: Any) -> None:
    """Drawn as it lies in A, a seat longer to one side would be looked for on the other."""
    board = odd_seat(shop)
    first = board.places[0]
    (seen, *_) = Scene(shop.job, board, shop.stack, "B").places
    about_x = shop.job.machine.flip_about == "x"
    x, y = (first.x, -first.y) if about_x else (-first.x, first.y)
    wanted = (x - 4, y - 6, x + 9, y + 3) if about_x else (x - 9, y - 3, x + 4, y + 6)
    assert (seen.x, seen.y) == (x, y)
    assert seen.seat.area.bounds == pytest.approx(wanted)
    # the farthest corner is 9 along and 6 across
    assert seen.seat.reach == pytest.approx(math.hypot(9.0, 6.0))
    assert seen.seat.size.count("×") == 1


def test_a_seat_that_is_no_circle_is_drawn_as_its_area(shop_x: Any) -> None:
    """A circle in its place would show wood where the pocket will be."""
    board = odd_seat(shop_x)
    svg = overview(replace(shop_x.plan(), board=board))
    seats = [one for one in ET.fromstring(svg).iter() if one.get("class") == "seat narrow"]
    assert [one.tag.rpartition("}")[2] for one in seats] == ["path", "circle"]
    first = board.places[0]
    start = re.match(r"M(-?[\d.]+) (-?[\d.]+)", seats[0].attrib["d"])
    assert start is not None
    corner = (float(start[1]) - first.x, float(start[2]) - first.y)
    assert corner in {(-4.0, -3.0), (9.0, -3.0), (9.0, 6.0), (-4.0, 6.0)}


def test_the_section_has_the_width_of_the_seat_where_it_is_cut(shop_x: Any) -> None:
    """A section through a circle would be narrower beside the middle; 5 across it the seat is still
    13 wide."""
    board = odd_seat(shop_x)
    scene = Scene(shop_x.job, board, shop_x.stack, "C")
    first = board.places[0]
    depth, _ = scene.insert_depths(first.id)
    cut = section_of(scene, shop_x.work("deck"), first.y + 5.0)
    gone = box(first.x - 20, 0.0, first.x + 20, depth).difference(cut.wood).difference(cut.removed)
    assert gone.bounds == pytest.approx((first.x - 4.0, 0.0, first.x + 9.0, depth))
