"""Dimensions of places and walls beside a plan: true to the board, mirrored with the blank, inside
the sheet."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

import pytest

from corepath.views.drawings.dimensions import distinct_places
from corepath.views.drawings.drawing import operation_drawing
from corepath.views.drawings.overview_tables import measure_lines
from corepath.views.drawings.scene import Scene

SVG = "{http://www.w3.org/2000/svg}"


def said(shop: Any, name: str, group: str) -> list[str]:
    """Words of a group of the drawing of operation `name`."""
    work = shop.work(name)
    text = operation_drawing(shop.plan(), work)
    found = next(e for e in ET.fromstring(text).iter(f"{SVG}g") if e.get("id") == group)
    return [e.text or "" for e in found.iter(f"{SVG}text")]


def test_the_groove_shows_its_width_and_what_is_left_outside_it(shop: Any) -> None:
    """A rim too narrow to hold must be seen on paper: 240 × 90 less the ring at both ends and at
    the back."""
    ring, blank = shop.board.ring.bounds, shop.board.blank.bounds
    left, right, back = ring[0] - blank[0], blank[2] - ring[2], blank[3] - ring[3]
    assert (left, right, back) == pytest.approx((24.0, 19.0, 13.0), abs=0.7)
    words = said(shop, "groove", "dimensions")
    assert {f"{left:.1f}".removesuffix(".0"), f"{right:.1f}".removesuffix(".0"), "14 wide"} <= set(
        words
    )
    assert f"{back:.1f} to the edge".replace(".0 ", " ") in words


@pytest.mark.parametrize(
    ("name", "places"), [("dowels", ((-110, 0), (108, 0))), ("plug-pockets", ((-52, 7),))]
)
def test_places_are_dimensioned_from_the_middle(
    shop: Any, name: str, places: tuple[tuple[int, int], ...]
) -> None:
    words = said(shop, name, "dimensions")
    assert {str(value) for place in places for value in place} | {"0"} <= set(words)


def test_a_place_is_dimensioned_as_it_is_and_once() -> None:
    """1.95 in is 49.53 mm; as 49.5 it read 1.949 beside "Y 1.95" in the list."""
    assert distinct_places([49.53, -12.0, 49.53 + 1e-9, 0.04]) == [-12.0, 0.0, 49.53]


def test_places_lie_in_b_as_the_blank_was_turned(shop: Any) -> None:
    """A figure of the board frame beside a blank that lies bottom up would send the operator to the
    wrong hole."""
    words = said(shop, "inserts", "dimensions")
    turned = shop.job.machine.flip_about == "x"
    wanted, wrong = (
        ({"20", "52", "6"}, {"-20", "-6"}) if turned else ({"-20", "-52", "-6"}, {"20", "6"})
    )
    assert wanted <= set(words) and not wrong & set(words)


def test_pitches_are_told_where_holes_are_cut(shop_x: Any) -> None:
    assert "pitch 32 in X" in " ".join(said(shop_x, "inserts", "measures"))
    assert "The dowels stand 218 apart." in said(shop_x, "dowels", "measures")


def test_measures_of_all_kinds_are_those_of_each(shop_x: Any) -> None:
    scene = Scene(shop_x.job, shop_x.board, shop_x.stack, "A")
    parts = [measure_lines(scene, kind) for kind in ("groove", "plug", "insert", "dowel")]
    assert measure_lines(scene) == [line for part in parts for line in part] and all(parts)
