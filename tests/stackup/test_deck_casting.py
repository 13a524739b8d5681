"""What of the casting shows once the deck is cut, counted on columns."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from corepath.planning.prepare import Prepared, prepare
from corepath.stackup.casting_on_deck import Columns, expected_columns, notes, shown_casting

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def coupon() -> Prepared:
    return prepare(SAMPLES / "coupon.toml")


@pytest.fixture(scope="module")
def columns(coupon: Prepared) -> Columns:
    return expected_columns(coupon.stackup, coupon.board)


def test_as_designed_all_of_it_shows(coupon: Prepared, columns: Columns) -> None:
    """Areas against the polygons of the design, within half a cell along their rims."""
    found = shown_casting(coupon.board, columns, coupon.job.groove.inside)
    for casting, one in zip(coupon.board.castings, found.castings, strict=True):
        rim = shapely.length(casting.area) * columns.spacing / 4
        assert one.shows == pytest.approx(casting.area.area, abs=rim), one.id
        assert one.not_filled == 0.0 and one.at is None
    assert found.band.inside == pytest.approx(np.full(len(found.band.inside), 6.0), abs=0.36)
    assert found.band.inside.mean() == pytest.approx(6.0, abs=0.03)
    assert notes(found) == ()


def test_the_drawn_width_is_no_saw(coupon: Prepared, columns: Columns) -> None:
    """The wall is smooth; a curve of 0.5 from place to place would be that of the columns, 0.5
    apart."""
    inside = shown_casting(coupon.board, columns, coupon.job.groove.inside).band.inside
    assert np.abs(np.diff(inside, append=inside[:1])).max() < 0.2
    assert inside == pytest.approx(np.full(len(inside), 6.0), abs=0.2)


def test_a_plug_left_low_is_a_void_of_its_depth(coupon: Prepared, columns: Columns) -> None:
    """The skin would bridge it: how deep, how large and where must be right."""
    plug = coupon.board.castings[1]
    x, y = np.meshgrid(columns.xs, columns.ys)
    inside = shapely.contains_xy(plug.area, x, y)
    casting = np.where(inside, columns.casting - 0.7, columns.casting)
    found = shown_casting(coupon.board, replace(columns, casting=casting), coupon.job.groove.inside)
    one = found.castings[1]
    assert one.shows == 0.0 and one.not_filled == pytest.approx(plug.area.area, rel=0.03)
    assert one.deepest == pytest.approx(0.7, abs=1e-9)
    assert one.at is not None and plug.area.buffer(0.3).contains(shapely.Point(one.at))
    assert found.castings[0].at is None
    assert any(
        line.startswith("P1 was not filled") and "0.70 deep" in line for line in notes(found)
    )


def test_a_pocket_that_was_never_poured_is_open_to_its_floor(
    coupon: Prepared, columns: Columns
) -> None:
    plug = coupon.board.castings[1]
    x, y = np.meshgrid(columns.xs, columns.ys)
    inside = shapely.contains_xy(plug.area, x, y)
    bare = replace(
        columns,
        casting=np.where(inside, np.nan, columns.casting),
        wood=np.where(inside, 1.2, columns.wood),
    )
    one = shown_casting(coupon.board, bare, coupon.job.groove.inside).castings[1]
    highest = coupon.board.deck.height(x[inside], y[inside]).max()
    assert one.shows == 0.0 and one.deepest == pytest.approx(highest - 1.2, abs=1e-6)


def test_a_band_that_is_narrow_in_one_place_is_found_there(
    coupon: Prepared, columns: Columns
) -> None:
    """Cut away 2 mm of the band's inner edge near the tail: least width and its place."""
    x, y = np.meshgrid(columns.xs, columns.ys)
    deep = coupon.board.outline.buffer(-4.0)
    worn = (x < -60) & shapely.contains_xy(deep, x, y) & np.isfinite(columns.casting)
    worn &= shapely.contains_xy(coupon.board.castings[0].area, x, y)
    changed = replace(
        columns,
        casting=np.where(worn, np.nan, columns.casting),
        wood=np.where(worn, coupon.board.deck.height(x, y), columns.wood),
    )
    band = shown_casting(coupon.board, changed, coupon.job.groove.inside).band
    assert band.least == pytest.approx(4.0, abs=0.36) and band.least_at[0] < -55
    assert (band.inside[band.places[:, 0] > -50] > 5.6).all()
