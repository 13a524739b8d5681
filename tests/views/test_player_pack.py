"""Figures packed into the preview come out as they went in; the page is whole and holds nothing of
the network."""

from __future__ import annotations

import base64
import json
import re
import zlib
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from corepath.motion.cutter import Cutter
from corepath.views.player import Cuts, PageHead, pack, preview_html
from corepath.views.player.preview_page import _end, page_data, page_part
from tests.given import contrast

_mm = st.floats(-5000.0, 5000.0, allow_nan=False, width=32)
_height = st.one_of(st.just(np.nan), st.floats(-60.0, 160.0, width=32))


def _whole(packed: str, kind: str) -> Any:
    """Whole numbers from their packed differences, as the page's script has them."""
    return np.cumsum(
        np.frombuffer(zlib.decompress(base64.b64decode(packed)), dtype=f"<{kind}"), dtype=kind
    )


@settings(max_examples=40, derandomize=True, deadline=None)
@given(arrays(np.float64, st.integers(1, 60), elements=_mm))
def test_coordinates_keep_their_last_decimal(values: Any) -> None:
    """Differences must not add up their rounding: the last move of a long file would lie beside its
    place."""
    assert (
        np.abs(_whole(pack.numbers(values, pack.UNIT), "i4") * pack.UNIT - values).max()
        <= 0.51 * pack.UNIT
    )


@settings(max_examples=40, derandomize=True, deadline=None)
@given(arrays(np.float32, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=_height))
def test_heights_and_holes_come_back(face: Any) -> None:
    """A hole must stay one, and wrap-around of sixteen bits must undo itself."""
    whole = _whole(pack.heights(face), "i2")
    told = np.where(whole == pack.NOTHING, np.nan, whole * pack.HEIGHT_STEP).reshape(face.shape)
    assert np.array_equal(np.isnan(told), np.isnan(face))
    assert np.nanmax(np.abs(told - face), initial=0.0) <= 0.51 * pack.HEIGHT_STEP


def test_a_board_that_stands_high_in_its_cradle_is_not_shown_upside_down(reels: Any) -> None:
    """32,767 steps of 0.005 mm end at 163.835: heights beyond it came back from the other side."""
    assert pack.height_step(163.8) == pack.HEIGHT_STEP
    face = np.array([[163.9, 210.0, np.nan], [-0.7, 327.6, 3.21]], dtype=np.float32)
    step = pack.height_step(327.6)
    assert step == 0.01
    whole = _whole(pack.heights(face, step), "i2").reshape(face.shape)
    assert (
        np.abs(np.where(whole == pack.NOTHING, np.nan, whole * step) - face)[~np.isnan(face)].max()
        <= 0.0051
    )
    assert np.array_equal(whole == pack.NOTHING, np.isnan(face))
    # and the page tells the step of the blanks that it holds
    high = [replace(reel, after=_raised(reel.after)) for reel in reels]
    data = page_data(high, (120.0, 60.0), {}, False)
    assert data["steps"]["height"] == 0.02
    assert page_data(reels, (120.0, 60.0), {}, False)["steps"]["height"] == pack.HEIGHT_STEP


def _raised(blank: Any) -> Any:
    """The blank with its wood 350 mm higher."""
    wood = tuple(np.asarray(face + 350.0, dtype=np.float32) for face in blank.faces.wood)
    return replace(blank, faces=replace(blank.faces, wood=wood))


def test_the_page_holds_each_state_once_and_asks_nothing(reels: Any) -> None:
    page = preview_html(
        reels, PageHead("a </script> & b", "abcd1234"), size=(120.0, 60.0), solids={}
    )
    data = json.loads(
        re.search(
            r'<script type="application/json" '
            r'id="plan">(.*?)</script>',
            page,
            re.S,
        )[1]
    )
    assert [entry["file"] for entry in data["reels"]] == [reel.file for reel in reels]
    states = {tuple(entry[key] for key in ("before", "after")) for entry in data["reels"]}
    assert states == {(0, 1), (1, 2)} and len(data["states"]) == 3
    assert not re.search(r"""(src|href)=["']?(https?:)?//""", page) and "default-src 'none'" in page
    assert "a &lt;/script&gt; &amp; b" in page and 'href="sheet.html"' in page
    again = preview_html(
        reels, PageHead("a </script> & b", "abcd1234"), size=(120.0, 60.0), solids={}
    )
    assert page == again


def test_a_warning_stands_over_all(reels: Any) -> None:
    told = preview_html(reels, PageHead("t", "d", "DO NOT CUT"), size=(1.0, 1.0), solids={})
    assert told.index("DO NOT CUT") < told.index('id="stage"')


def test_stages_of_a_file_come_as_they_are(reels: Any) -> None:
    """Columns one after another over all stages, and a hole in one of them."""
    columns, tops = np.array([5, 6, 900, 3, 5]), np.array([8.0, 8.0, 7.5, 4.0, np.nan])
    cuts = Cuts(np.array([3, 6]), np.array([3, 2]), columns, tops)
    told = page_data([replace(reels[0], cuts=cuts)], (120.0, 60.0), {}, False)["reels"][0]["cuts"]
    assert (told["rows"], told["counts"]) == ([3, 6], [3, 2])
    assert np.array_equal(_whole(told["columns"], "i4"), columns)
    heights = _whole(told["tops"], "i2")
    assert heights[-1] == pack.NOTHING
    assert np.allclose(heights[:-1] * pack.HEIGHT_STEP, tops[:-1])


def test_an_empty_blank_has_no_body(reels: Any) -> None:
    from dataclasses import replace

    from corepath.views.player.bodies import glb

    none = np.full_like(reels[0].before.faces.wood[0], np.nan)
    blank = replace(reels[0].before, faces=replace(reels[0].before.faces, wood=(none, none)))
    with pytest.raises(ValueError, match="nothing is left"):
        glb(blank, (60.0, 30.0))


def test_lines_stand_out_on_every_height_and_heights_on_one_another() -> None:
    """WCAG 2.1, 1.4.11 (non-text contrast, from memory): 3 to 1 for the path to come, 4.5 for what
    is cut already."""
    parts = {name: page_part(f"{name}.js") for name in ("plan", "heights")}
    ink, coming = (
        re.search(rf'{name} = "(#[0-9a-f]+)"', parts["plan"])[1] for name in ("INK", "COMING")
    )  # type: ignore[index]
    ends = [
        re.search(
            rf"{name} = \[([0-9, "
            r"]+)\]",
            parts["heights"],
        )[1].split(", ")
        for name in ("HIGH", "LOW")
    ]  # type: ignore[index]
    high, low = ("#" + "".join(f"{int(part):02x}" for part in end) for end in ends)
    assert contrast(coming, low) >= 3.0 and contrast(coming, high) >= 3.0
    assert contrast(ink, low) >= 4.5 and contrast(ink, high) >= 4.5
    assert contrast(high, low) >= 2.0 and contrast(coming, ink) >= 1.5


def test_a_section_draws_another_end_than_the_cutter_has():
    """Heights from the axis to the rim, by hand: of a ball of 6 at half its radius 3 − √(9 − 1.5²),
    of a bull with the flat part 2 and the corner 1 0 at 2,
    1 − √(1 − 0.5²) at 2.5, 1 at the rim."""
    ball = _end(Cutter(1, "ball", 6.0, 0.0, 2, 20.0, 30.0))
    assert (ball[0], ball[len(ball) // 2], ball[-1]) == (0.0, 0.402, 3.0)
    bull = _end(Cutter(1, "bull", 6.0, 1.0, 2, 20.0, 30.0))
    assert (bull[64], bull[80], bull[-1]) == (0.0, 0.134, 1.0)
    assert set(_end(Cutter(1, "flat", 6.0, 0.0, 2, 20.0, 30.0))) == {0.0}
