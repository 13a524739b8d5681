"""Maps of the blank, by structure and numbers: what is drawn where, what is said, what can be
read."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from corepath.stackup.height_table import Course
from corepath.stackup.pass_shows import PassShows
from corepath.views.maps.blank_maps import SkimShows, maps
from corepath.views.maps.field import Field, bands_of, laid_over
from corepath.views.svg import Box, text_box, upward_box

SVG = "{http://www.w3.org/2000/svg}"
NAMES = {"map-wood-under.svg", "map-groove-depth.svg", "map-shows.svg"}
PASSES = tuple(
    PassShows(number, plane, {"groove": (0.0, ring, 1.0), "P1": (0.0, plug, 1.0)})
    for number, plane, ring, plug in (
        (1, 13.0, 0.0, 0.0),
        (2, 12.4, 0.454, 0.99),
        (3, 11.9, 1.0, 1.0),
        (4, 11.4, 1.0, 1.0),
    )
)


@dataclass(frozen=True)
class Lying:
    """A blank whose front edge (Y-) stands off the bed, and that is thicker towards X+."""

    edge: float = 0.5
    wedge: float = 0.4
    measured: bool = True
    gap_measured: bool = True
    nominal: float = 13.6
    cautions: tuple[str, ...] = ("thickness 14.10 at X0 Y0 is 0.50 more than the other places say",)

    def gap(self, x: Any, y: Any) -> Any:
        return np.clip(-np.asarray(y) / 45.0, 0.0, 1.0) * self.edge + 0.0 * np.asarray(x)

    def raw_top(self, x: Any, y: Any) -> Any:
        return 13.6 + self.wedge * np.asarray(x) / 240.0 + self.gap(x, y)


def courses_of(shop: Any, blank: Any, gauged: Any, flushed: float | None) -> dict[str, Course]:
    """Heights of the castings over a made-up blank, from where each was gauged to lie, or 1.2 above
    the bed."""

    def course(name: str) -> Course:
        deep = gauged.get(name, lambda x, y: blank.raw_top(x, y) - 1.2)
        under = lambda x, y: blank.raw_top(x, y) - deep(x, y)  # noqa: E731
        shows = deep if flushed is None else (lambda x, y: flushed - under(x, y))
        return Course(lambda x, y: under(x, y) - blank.gap(x, y), deep, shows, name in gauged)

    return {casting.id: course(casting.id) for casting in shop.board.castings}


def drawn(shop: Any, blank: Any, **more: Any) -> dict[str, ET.Element]:
    courses = courses_of(shop, blank, more.pop("gauged", {}), more.pop("flushed", None))
    skim = SkimShows(PASSES, planned_stop=3)
    sheets = maps(shop.job, shop.board, blank, courses, skim, digest="3fa91c04")
    assert set(sheets) == NAMES
    return {
        name.removeprefix("map-").removesuffix(".svg"): ET.fromstring(text)
        for name, text in sheets.items()
    }


def words(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def matrix(root: ET.Element) -> tuple[float, ...]:
    plan = next(element for element in root.iter() if element.get("id") == "plan")
    return tuple(float(part) for part in re.findall(r"[-\d.]+", plan.get("transform", "")))


def box_of(element: ET.Element) -> Box:
    x, y, size = (float(element.get(name, "nan")) for name in ("x", "y", "font-size"))
    boxed = text_box if element.get("transform") is None else upward_box
    return boxed(x, y, element.text or "", size=size, anchor=element.get("text-anchor", "start"))


def spot(root: ET.Element, text: str) -> tuple[float, float]:
    """Board-like model place of a label, in the frame drawn."""
    element = next(e for e in root.iter(f"{SVG}text") if (e.text or "").startswith(text))
    box = box_of(element)
    k, _, _, _, ox, oy = matrix(root)
    return ((box.x0 + box.x1) / 2 - ox) / k, -((box.y0 + box.y1) / 2 - oy) / k


def test_thin_wood_is_marked_where_it_is_seen_from_below(shop: Any) -> None:
    """The edge at Y- stands off the bed. Turned over about X it is seen at Y+, about Y still at
    Y-."""
    root = drawn(shop, Lying())["wood-under"]
    assert "SEEN FROM BELOW" in words(root)
    seals = [element for element in root.iter(f"{SVG}path") if "seal" in element.get("class", "")]
    assert seals
    sign = 1 if shop.job.machine.flip_about == "x" else -1
    _, y = spot(root, "seal here")
    assert sign * y > 10
    figure = float(next(text for text in words(root) if text.startswith("seal here")).split(":")[1])
    # the groove's outer wall lies 32 mm off the middle: floor 1.2 less 32/45 of half a millimetre
    assert figure == pytest.approx(1.2 - 0.5 * 32 / 45, abs=0.01)


def test_plug_keeps_its_place_in_the_mirror(shop: Any) -> None:
    """P1 at (-52, 7), its edge at -1 over a gap of 0.01, stands mirrored as the flip has it."""
    root = drawn(shop, Lying())["wood-under"]
    assert any(text == "P1 1.19" for text in words(root))
    x, y = spot(root, "P1 ")
    fx, fy = (1, -1) if shop.job.machine.flip_about == "x" else (-1, 1)
    assert abs(x - fx * -52) < 45 and abs(y - fy * 7) < 30


def test_nothing_to_seal_on_a_flat_bed(shop_x: Any) -> None:
    root = drawn(shop_x, Lying(edge=0.0))["wood-under"]
    assert not any("seal" in text for text in words(root))
    assert not any("seal" in element.get("class", "") for element in root.iter())


def test_thin_all_round_is_marked_all_round(shop_x: Any) -> None:
    """With no spread at all there is no lowest tenth, but what lies under the bound is marked."""
    groove = shop_x.job.groove.model_copy(update={"least_floor": 1.1})
    shop = replace(shop_x, job=shop_x.job.model_copy(update={"groove": groove}))
    root = drawn(shop, Lying(edge=0.0))["wood-under"]
    assert any(text == "seal here: 1.20" for text in words(root))


def test_depth_by_the_wedge(shop_x: Any) -> None:
    """T + gA - f on the plug: 13.6 less 1.2, thicker by 0.4 x 52/240 less towards X-."""
    root = drawn(shop_x, Lying(edge=0.0))["groove-depth"]
    assert "DECK UP" in words(root)
    least = 12.4 - 0.4 * 60 / 240
    assert f"P1 {least:.2f}" in words(root)
    assert matrix(root)[0] == -matrix(root)[3] > 0


def test_what_shows_after_each_pass(shop_x: Any) -> None:
    """Nominal shares of the passes as the stack-up has them, a plug only when all of it shows; the
    stop is named."""
    root = drawn(shop_x, Lying(edge=0.0))["shows"]
    said = " ".join(words(root))
    assert "pass at 13.00: 0% of the ring; plugs none" in said
    assert "pass at 12.40: 45% of the ring; plugs none" in said
    assert "pass at 11.90 (planned stop): 100% of the ring; all plugs" in said


def test_what_the_depth_gauge_found_is_drawn(shop_x: Any) -> None:
    """A plug 0.3 shallower than planned: its depth, the wood under it and the plane at which it
    shows follow."""
    sheets = drawn(shop_x, Lying(0.0, 0.0), gauged={"P1": lambda x, y: np.full(np.shape(x), 12.1)})
    depth = sheets["groove-depth"]
    assert "P1 12.10" in words(depth) and any(text.endswith(": 12.40") for text in words(depth))
    assert "P1 1.50" in words(sheets["wood-under"]) and any(
        text.endswith(": 1.20") for text in words(sheets["wood-under"])
    )
    assert "P1 12.10" in words(sheets["shows"])
    assert len(list(depth.iter(f"{SVG}clipPath"))) == 2
    assert any("floors as gauged" in text for text in words(depth))


def test_a_flushed_face_is_what_shows(shop_x: Any) -> None:
    """Flushed to 13.2 above the bed, a floor at 1.2 shows at 12.0, whatever the raw top was."""
    assert "P1 12.00" in words(drawn(shop_x, Lying(0.0, 0.0), flushed=13.2)["shows"])


def test_contours_bands_and_legend(shop_x: Any) -> None:
    """Contour lines bear their figures, bands have one swatch each, in one hue."""
    root = drawn(shop_x, Lying())["groove-depth"]
    lines = [element for element in root.iter(f"{SVG}path") if element.get("class") == "contour"]
    assert len(lines) >= 3
    levels = {float((element.get("id") or "").removeprefix("contour-")) for element in lines}
    figures = {float(text) for text in words(root) if re.fullmatch(r"\d+\.\d\d", text)}
    assert len(levels & figures) >= 2
    swatches = [
        element for element in root.iter(f"{SVG}rect") if "swatch" in element.get("class", "")
    ]
    assert len(swatches) == sum(" to " in text and text[0].isdigit() for text in words(root))


@pytest.mark.parametrize("blank", [Lying(), Lying(0.0, 0.0), Lying(0.3, 1.0)])
def test_labels_do_not_overlap(shop: Any, blank: Lying) -> None:
    """Two texts on top of each other cannot be read; none leaves the sheet."""
    for name, root in drawn(shop, blank).items():
        boxes = [(element.text, box_of(element)) for element in root.iter(f"{SVG}text")]
        sheet = Box(0, 0, 420, 297)
        assert all(sheet.holds(box) for _, box in boxes), name
        meeting = [
            (a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if one.meets(other)
        ]
        assert not meeting, (name, meeting)


def test_cautions_are_said(shop_x: Any) -> None:
    for root in drawn(shop_x, Lying()).values():
        assert "thickness 14.10 at X0 Y0" in " ".join(words(root))


def test_unmeasured_is_said(shop_x: Any) -> None:
    """A level map must not pass for a measured one."""
    sheets = drawn(shop_x, Lying(0.0, 0.0, False, False))
    assert "not measured and drawn as none" in " ".join(words(sheets["wood-under"]))
    assert "not measured and drawn level" in " ".join(words(sheets["groove-depth"]))


def test_same_bytes(shop_x: Any) -> None:
    courses = courses_of(shop_x, Lying(), {}, None)
    one, other = (
        maps(shop_x.job, shop_x.board, Lying(), courses, SkimShows(PASSES), digest="3fa91c04")
        for _ in range(2)
    )
    assert one == other


def test_bands() -> None:
    """They cover the range, are round inside, and noise gets no pattern."""
    assert bands_of(1.03, 1.27).bounds[0] == 1.27 and bands_of(1.03, 1.27).bounds[-1] == 1.03
    flat = bands_of(1.2, 1.2001)
    assert flat.bounds[0] - flat.bounds[-1] >= 0.05 - 1e-9


def test_field_is_laid_over_the_whole_blank() -> None:
    field = laid_over(1400.0, 480.0, lambda x, y: x + 2 * y)
    assert isinstance(field, Field)
    assert (field.xs[0], field.xs[-1], field.ys[0], field.ys[-1]) == (-700, 700, -240, 240)
    np.testing.assert_allclose(field.grid, field.xs[:, None] + 2 * field.ys[None, :])
    assert max(np.diff(field.xs).max(), np.diff(field.ys).max()) < 6
