"""The sheet of the deck's deviations: bars as long as their shares, what is not allowed dark, worst
places marked."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from corepath.planning.prepare import prepare
from corepath.views.deck.deviation_sheet import Deviations, deck_deviation_sheet

FOUND = Deviations(
    edges=(-0.01, -0.005, 0.0, 0.02, 0.05, 0.1), counts=(30, 0, 120, 500, 250, 99, 1), low=-0.031,
        low_at=(-20.0, 10.0),
    high=0.204, high_at=(30.0, -12.0), mean=0.011, ridge=0.05, gouge=0.01,
)  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def prepared():  # type: ignore[no-untyped-def]
    return prepare(Path(__file__).parents[2] / "samples" / "coupon.toml")


def sheet(prepared, found: Deviations) -> str:  # type: ignore[no-untyped-def]
    return deck_deviation_sheet(prepared.job, prepared.board, found, digest="abc123")


def test_bars_are_as_long_as_their_shares_and_dark_where_not_allowed(prepared) -> None:  # type: ignore[no-untyped-def]
    """A nick of a hundredth of the deck must not look like ridges as asked."""
    root = ElementTree.fromstring(sheet(prepared, FOUND))
    bars = {
        bar.get("id"): bar
        for bar in root.iter(f"{SVG}rect")
        if (bar.get("class") or "").startswith("bar")
    }
    widths = [float(bars[f"class-{k}"].get("width", "nan")) for k in range(7)]
    longest = max(widths)
    assert [width / longest for width in widths] == pytest.approx(
        [n / 500 for n in FOUND.counts], abs=0.002
    )
    assert [str(bars[f"class-{k}"].get("class")) for k in range(7)] == [
        "bar f1", "bar f0", "bar f0", "bar f0", "bar f0", "bar f1", "bar f1",
    ]  # fmt: skip


def test_figures_stand_in_words(prepared) -> None:  # type: ignore[no-untyped-def]
    text = re.sub(r"<[^>]+>", "|", sheet(prepared, FOUND))
    for words in (
        "below -0.01",
        "above 0.1",
        "0.02 to 0.05",
        "50.00 %",
        "0.10 %",
        "lowest -0.031",
        "highest 0.204",
    ):
        assert f"|{words}|" in text, words
    assert "-0.031 at X-20 Y10" in text and "ridges of 0.05" in text


def test_nothing_measured_divides_by_nothing(prepared) -> None:  # type: ignore[no-untyped-def]
    empty = replace(FOUND, counts=(0,) * 7)
    assert empty.shares == (0.0,) * 7
    ElementTree.fromstring(sheet(prepared, empty))
