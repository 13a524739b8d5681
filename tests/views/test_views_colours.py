"""Drawings for tired and colour-blind eyes: every colour of the style sheet, as it is, in grey, and
as few see it."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest

from corepath.views.drawings.drawing import drawings
from corepath.views.style import GREY, INK, PAPER, TINT, WOOD, pale, shade, stylesheet
from tests.given import contrast

SVG = "{http://www.w3.org/2000/svg}"
BANDS = 7  # the most that `Bands` makes of a depth
GROUNDS = (PAPER, WOOD, TINT)

# Machado, Oliveira, Fernandes: A Physiologically-based Model for Simulation of Color Vision
# Deficiency (2009), table 1, severity 1.0 (from memory). On linear RGB.
BLIND = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
    "none": np.eye(3).tolist(),
}


def linear(colour: str) -> np.ndarray:
    """Linear RGB, 0 to 1 (IEC 61966-2-1)."""
    parts = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lightness(colour: str, eyes: str = "none") -> float:
    """CIE L*, 0 to 100, as `eyes` see it (Rec. 709 luminance; from memory). It is what a grey print
    keeps."""
    y = float(
        np.array([0.2126, 0.7152, 0.0722]) @ np.clip(np.array(BLIND[eyes]) @ linear(colour), 0, 1)
    )
    return 116 * y ** (1 / 3) - 16 if y > 216 / 24389 else y * 24389 / 27


@pytest.fixture(scope="module")
def rules() -> dict[str, dict[str, str]]:
    """Declarations of each selector of the sheet's own style, as `plan` writes it."""
    found: dict[str, dict[str, str]] = {}
    for selectors, body in re.findall(r"([^{}]+)\{([^}]*)\}", stylesheet({"plan": 5.0}, BANDS)):
        told = dict(part.split(":", 1) for part in body.split(";") if part)
        for selector in selectors.split(","):
            found.setdefault(selector.strip(), {}).update(told)
    return found


def test_the_matrices_leave_grey_alone() -> None:
    """Each row sums to 1: a misremembered figure would tint what has no colour, and prove
    nothing."""
    for rows in BLIND.values():
        assert np.sum(rows, axis=1) == pytest.approx([1, 1, 1], abs=2e-6)


def test_every_line_stands_out_from_what_lies_under_it(rules: dict[str, dict[str, str]]) -> None:
    """3 : 1 for whatever has to be seen to understand a drawing (WCAG 2.1, 1.4.11, from memory)."""
    strokes = {
        name: told["stroke"]
        for name, told in rules.items()
        if told.get("stroke", "none").startswith("#")
    }
    # a light edge round dark ink
    edges = {name for name in strokes if name.endswith((".halo", ".arrow"))}
    assert len(strokes) > 25 and all(strokes[name] == PAPER for name in edges)
    for name, colour in strokes.items():
        for ground in GROUNDS if name not in edges else ():
            assert contrast(colour, ground) >= 3.0, (name, ground)
    assert all(contrast(GREY, pale(k / (BANDS - 1))) >= 3.0 for k in range(BANDS))


def test_every_text_can_be_read_on_every_ground(rules: dict[str, dict[str, str]]) -> None:
    """4.5 : 1 (WCAG 2.1, 1.4.3, from memory), names on the deck's shades with the help of their
    halo."""
    assert (rules["text"]["fill"], rules[".quiet"]["fill"]) == (INK, GREY)
    assert rules[".halo"]["stroke"] == PAPER and rules[".halo"]["paint-order"] == "stroke"
    for ground in GROUNDS:
        assert contrast(INK, ground) >= 4.5 and contrast(GREY, ground) >= 4.5, ground


@pytest.mark.parametrize("eyes", sorted(BLIND))
def test_neighbouring_depths_stay_apart(eyes: str) -> None:
    """4 of L* between neighbours, in colour, in grey and to the colour-blind; 1 to 2 can just be
    seen (from memory)."""
    for colours in (
        [shade(k / (BANDS - 1)) for k in range(BANDS)],
        [pale(k / 3) for k in range(4)],
    ):
        seen = [lightness(colour, eyes) for colour in colours]
        least = 4.0 if colours[0] == shade(0) else 2.0
        assert all(a - b >= least for a, b in itertools.pairwise(seen)), (eyes, seen)
    assert min(lightness(PAPER, eyes), lightness(WOOD, eyes)) - lightness(shade(0.0), eyes) > 25


def test_drawings_bring_their_own_paper_and_ink(shop_x: Any) -> None:
    """On a dark page, or in a browser that darkens pages, a drawing without a ground of its own
    could not be read."""
    shop = shop_x
    sheets = drawings(shop.plan())
    for name, text in sheets.items():
        root = ET.fromstring(text)
        first = next(
            element
            for element in root
            if element.tag not in (f"{SVG}title", f"{SVG}desc", f"{SVG}style")
        )
        sheet = [root.get("viewBox", "").split()[k] for k in (2, 3)]
        assert (
            first.get("class") == "paper" and [first.get("width"), first.get("height")] == sheet
        ), name
        assert "currentColor" not in text and "prefers-color-scheme" not in text
        assert "color-scheme:only light" in root.get("style", ""), name
        bare = [
            e
            for e in root.iter()
            if e.tag.endswith(("}path", "}line", "}circle", "}rect")) and not e.get("class")
        ]
        assert not bare, (name, bare[:3])


def test_the_scale_the_units_and_the_legend_are_on_each_operation(shop_x: Any) -> None:
    shop = shop_x
    sheets = drawings(shop.plan())
    for name, text in sheets.items():
        root = ET.fromstring(text)
        ids = {element.get("id") for element in root.iter()}
        assert {"heading", "plan", "dimensions", "title"} <= ids, name
        assert re.search(r"scale \d+:[\d.]+ at A3[^<]*mm", text), name
        assert name == "overview.svg" or {"legend-depth", "cuts", "rapids", "work-zero"} <= ids, (
            name
        )
