"""Whole drawings, by structure and numbers: what is where, what is said, what can be read."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from types import SimpleNamespace
from typing import Any

import pytest

from corepath.views.drawings.drawing import drawings, operation_drawing
from corepath.views.drawings.overview_tables import files_table
from corepath.views.style import DEEP, GREY, INK, PAPER, SHALLOW, TINT, WOOD, pale, shade
from corepath.views.svg import Box, Document, text_box, upward_box
from tests.given import contrast

SVG = "{http://www.w3.org/2000/svg}"
NAMES = {
    "01-A-dowels.svg",
    "02-A-plug-pockets.svg",
    "03-A-groove.svg",
    "05-B-skim.svg",
    "06-B-inserts.svg",
    "08-C-deck.svg",
}


@pytest.fixture(scope="module")
def sheets(shop: Any) -> dict[str, str]:
    minutes = {program.stem: 3.4 for program in shop.programs}
    return drawings(shop.plan("3fa91c04", minutes=minutes))


def texts(root: ET.Element) -> list[tuple[str, Box, str]]:
    """Words, estimated place and class of every text on the sheet."""
    out = []
    for element in root.iter(f"{SVG}text"):
        x, y, size = (float(element.get(name, "nan")) for name in ("x", "y", "font-size"))
        boxed = text_box if element.get("transform") is None else upward_box
        box = boxed(x, y, element.text or "", size=size, anchor=element.get("text-anchor", "start"))
        out.append((element.text or "", box, element.get("class", "")))
    return out


def named(root: ET.Element, id_: str) -> ET.Element:
    return next(element for element in root.iter() if element.get("id") == id_)


def matrix(root: ET.Element) -> tuple[float, float, float]:
    """Scale and origin of the plan; the transform turns Y upwards and does nothing else."""
    k, b, c, d, x, y = (
        float(v) for v in re.findall(r"-?[\d.]+", named(root, "plan").get("transform", ""))
    )
    assert b == c == 0 and d == -k
    return k, x, y


def spot(root: ET.Element, words: str) -> tuple[float, float]:
    """Middle of the text `words`, in model mm of the plan."""
    k, ox, oy = matrix(root)
    box = next(box for text, box, _ in texts(root) if text == words)
    return ((box.x0 + box.x1) / 2 - ox) / k, (oy - (box.y0 + box.y1) / 2) / k


def test_one_drawing_an_operation_and_the_skim_once(sheets: dict[str, str]) -> None:
    assert set(sheets) == NAMES | {"overview.svg"}


def test_ids_are_unique_and_size_is_small(sheets: dict[str, str]) -> None:
    for name, text in sheets.items():
        ids = [element.get("id") for element in ET.fromstring(text).iter() if element.get("id")]
        assert len(ids) == len(set(ids)), name
        assert len(text) < 60_000, name


def test_no_label_leaves_the_sheet_and_none_is_small(sheets: dict[str, str]) -> None:
    for name, text in sheets.items():
        for words, box, _ in texts(ET.fromstring(text)):
            assert Box(20, 10, 410, 287).holds(box), (name, words, box)
        assert min(float(size) for size in re.findall(r'font-size="([\d.]+)"', text)) >= 3.0


def test_no_label_covers_another(sheets: dict[str, str]) -> None:
    for name, text in sheets.items():
        found = texts(ET.fromstring(text))
        for k, (words, box, _) in enumerate(found):
            for other, at, _ in found[k + 1 :]:
                assert not box.grown(-0.35).meets(at.grown(-0.35)), (name, words, other)


def test_the_blank_is_drawn_to_scale_and_dimensioned(sheets: dict[str, str]) -> None:
    for name in NAMES:
        root = ET.fromstring(sheets[name])
        k, _, _ = matrix(root)
        blank = named(root, "blank")
        assert float(blank.get("width", 0)) == 240 and float(blank.get("height", 0)) == 90
        scale = next(
            re.search(r"scale (\d+):([\d.]+)", words)
            for words, _, _ in texts(root)
            if words.startswith("scale")
        )
        assert k == pytest.approx(float(scale[1]) / float(scale[2]), rel=1e-4)
        assert {"240", "90"} <= {words for words, _, _ in texts(root)}


@pytest.mark.parametrize("name", ["05-B-skim.svg", "06-B-inserts.svg"])
def test_b_is_mirrored_by_the_flip_and_its_words_are_not(
    sheets: dict[str, str], shop: Any, name: str
) -> None:
    root = ET.fromstring(sheets[name])
    sx, sy = (1, -1) if shop.job.machine.flip_about == "x" else (-1, 1)
    for text, x, y in (("P1", -52, 7), ("I1b", 52, -6)):
        if text in [words for words, _, _ in texts(root)]:
            found = spot(root, text)
            assert math.hypot(found[0] - sx * x, found[1] - sy * y) < 26, (text, found)
    seats = [c for c in named(root, "plan").iter(f"{SVG}circle") if "seat" in c.get("class", "")]
    places = {(float(c.get("cx", 0)), float(c.get("cy", 0))) for c in seats}
    assert places == {(sx * 20.0, sy * -6.0), (sx * 52.0, sy * -6.0)}
    assert any("SEEN FROM BELOW, BOTTOM UP" in words for words, _, _ in texts(root))
    assert not any("scale(-1" in (e.get("transform") or "") for e in root.iter(f"{SVG}text"))


def test_a_and_c_are_seen_as_the_board_lies(sheets: dict[str, str]) -> None:
    for name in ("03-A-groove.svg", "08-C-deck.svg"):
        seats = [
            c
            for c in named(ET.fromstring(sheets[name]), "plan").iter(f"{SVG}circle")
            if "seat" in c.get("class", "")
        ]
        assert (float(seats[1].get("cx", 0)), float(seats[1].get("cy", 0))) == (52.0, -6.0)


def test_castings_are_hatched_once_they_are_cast(sheets: dict[str, str]) -> None:
    kinds = {
        name: named(ET.fromstring(sheets[name]), "casting-groove").get("class", "")
        for name in NAMES
    }
    assert all(("resin" in kind) == (name[3] in "BC") for name, kind in kinds.items())


def test_rapids_and_cuts_are_apart(sheets: dict[str, str]) -> None:
    root = ET.fromstring(sheets["03-A-groove.svg"])
    assert [p.get("class") for p in named(root, "rapids")] == ["rapid"]
    cuts = [p.get("class", "") for p in named(root, "cuts")]
    assert cuts and all(kind.startswith("cut z") for kind in cuts)
    style = root.find(f"{SVG}style").text or ""
    rules = re.findall(r"\.plan \.(\w+)\{([^}]*)\}", style)
    dashed = {name for name, rule in rules if "dasharray" in rule}
    assert "rapid" in dashed and "cut" not in dashed


def test_the_path_lies_where_the_program_runs(sheets: dict[str, str], shop: Any) -> None:
    root = ET.fromstring(sheets["03-A-groove.svg"])
    cutter = named(root, "cutter")
    first = next(move for move in shop.programs[2].moves if move.feed)
    assert (float(cutter.get("cx", 0)), float(cutter.get("cy", 0))) == pytest.approx(
        (first.x, first.y), abs=0.001
    )
    assert float(cutter.get("r", 0)) == shop.works[2].cutter.radius


def test_legend_figures_run_from_the_face_to_the_deepest_cut(sheets: dict[str, str]) -> None:
    root = ET.fromstring(sheets["03-A-groove.svg"])
    figures = [words for words, _, kind in texts(named(root, "legend-depth")) if kind == "figure"]
    assert figures[0].startswith("13.60 to") and figures[-2].endswith("to 1.20")
    assert figures[1].startswith("0.00 to") and figures[-1].endswith("to 12.40")


def test_the_section_names_the_depths(sheets: dict[str, str]) -> None:
    def levels(name: str) -> list[str]:
        return [words for words, _, kind in texts(ET.fromstring(sheets[name])) if "level" in kind]

    assert "1.20  floor, 12.40 deep" in levels("03-A-groove.svg")
    assert "-8.00  hole, into the bed" in levels("01-A-dowels.svg")
    assert "11.90  pass: planned stop" in levels("05-B-skim.svg")
    assert {"10.20  seat, 1.70 deep", "2.40  bore, 9.50 deep"} <= set(levels("06-B-inserts.svg"))
    assert "11.90  raw top, planned stop" in levels("08-C-deck.svg")


def test_the_title_block_tells_cutter_zero_and_plan(sheets: dict[str, str]) -> None:
    for name in NAMES:
        words = " ".join(text for text, _, _ in texts(named(ET.fromstring(sheets[name]), "title")))
        assert "3fa91c04" in words and "rpm" in words and name[:-4][:9] in words
    skim = " ".join(
        text for text, _, _ in texts(named(ET.fromstring(sheets["05-B-skim.svg"]), "title"))
    )
    assert "05-B-skim-pass-1.nc to 5" in skim and "05-B-skim-all.nc" in skim
    assert "17.0 min, all in one 3.4 min" in skim and "do not touch off again" in skim
    assert "Test piece <7> & more" in skim


def test_the_work_zero_stands_where_the_program_counts_from(
    sheets: dict[str, str], shop: Any
) -> None:
    for work in shop.works:
        root = ET.fromstring(sheets[f"{work.stem}.svg"])
        k, ox, oy = matrix(root)
        dot = named(root, "work-zero").find(f"{SVG}circle")
        found = (float(dot.get("cx", 0)), float(dot.get("cy", 0)))
        assert found == pytest.approx((ox + k * work.zero.x, oy - k * work.zero.y), abs=0.01)


def test_the_touched_place_is_mirrored_with_the_blank(shop: Any) -> None:
    machine = shop.job.machine.model_copy(update={"z_zero": "face", "touch_at": (84.0, -20.0)})
    job = shop.job.model_copy(update={"machine": machine})
    sx, sy = (1, -1) if machine.flip_about == "x" else (-1, 1)
    for name, place in (
        ("groove", (84, -20)),
        ("skim", (sx * 84, sy * -20)),
        ("inserts", (sx * 84, sy * -20)),
    ):
        work = shop.work(name)
        text = operation_drawing(shop.plan(job=job, programs=()), work)
        root = ET.fromstring(text)
        k, ox, oy = matrix(root)
        x, y = (float(v) for v in re.findall(r"-?[\d.]+", named(root, "touch")[0].get("d", ""))[:2])
        assert ((x - ox) / k, (oy - y) / k) == pytest.approx(place, abs=0.02), name
        assert "touch Z here" in text


def test_no_place_is_marked_where_the_bed_is_touched(sheets: dict[str, str]) -> None:
    assert not any("touch Z here" in text for text in sheets.values())


def test_obstacles_are_drawn_and_explained(sheets: dict[str, str]) -> None:
    root = ET.fromstring(sheets["03-A-groove.svg"])
    assert [p for p in root.iter(f"{SVG}path") if "obstacle" in p.get("class", "")]
    assert "obstacle: keep off" in [words for words, _, _ in texts(root)]
    assert "obstacle: keep off" not in sheets["06-B-inserts.svg"]


def test_deck_contours_carry_their_height(sheets: dict[str, str]) -> None:
    root = ET.fromstring(sheets["08-C-deck.svg"])
    lines = [e.get("id") for e in named(root, "contours")]
    assert lines == [f"contour-{z}" for z in range(5, 11)]
    assert len({words for words, _, kind in texts(root) if kind == "figure halo"}) >= 4


def test_overview_lists_files_in_order_and_the_worst_of_each_check(
    sheets: dict[str, str], shop: Any
) -> None:
    root = ET.fromstring(sheets["overview.svg"])
    listed = [words for words, _, _ in texts(named(root, "files"))]
    assert [w for w in listed if w[:2].isdigit() and "-" in w] == [
        program.stem for program in shop.programs
    ]
    checks = [words for words, _, _ in texts(named(root, "checks"))]
    rows = [tuple(checks[k : k + 4]) for k in range(1, len(checks), 4)]
    assert rows == [
        ("ok", "window", "1.00", "0.00"),
        ("CAUTION", "fill", "0.20", "0.00"),
        ("FAIL", "seat", "0.05", "0.10"),
    ]


def test_overview_stack_up_is_true_to_the_numbers(sheets: dict[str, str]) -> None:
    """Blank 13.6, floor 1.2, stop 11.9: groove 12.4 deep, its floor 0.5 below the finished
    bottom."""
    words = {
        text for text, _, kind in texts(ET.fromstring(sheets["overview.svg"])) if "level" in kind
    }
    assert "-0.50  floor, 1.20 in A; groove 12.40 deep" in words
    assert "-1.70  raw bottom" in words and "11.90  raw top; blank 13.60 thick" in words
    assert "0.50  lowest plane, 11.40 in B" in words and "1.70  seat of I1a" in words


def test_overview_dimensions_hardware(sheets: dict[str, str]) -> None:
    root = ET.fromstring(sheets["overview.svg"])
    words = {text for text, _, _ in texts(root)}
    assert {"blank 240", "board 185", "-110", "-52", "20", "52", "108"} <= words
    assert any(text.startswith("Groove 14 wide") for text in words)
    assert any("pitch 32 in X" in text for text in words)


def test_same_input_same_bytes(shop_x: Any) -> None:
    shop = shop_x
    once = drawings(shop.plan())
    assert once == drawings(shop.plan())


def test_without_programs_the_work_is_drawn_without_cuts(shop_x: Any) -> None:
    shop = shop_x
    for work in shop.works:
        text = operation_drawing(shop.plan(programs=()), work)
        root = ET.fromstring(text)
        assert not [e for e in root.iter() if e.get("id") == "cutter"]
        assert f"{work.stem}.nc" in text


def test_programs_belong_to_their_operation(shop_x: Any) -> None:
    assert [len(shop_x.plan().programs_of(work)) for work in shop_x.works] == [1, 1, 1, 6, 1, 1]


def test_colours_can_be_read() -> None:
    """Text at least 4.5 : 1 and lines 3 : 1 on what lies under them (WCAG 2.1, 1.4.3 and
    1.4.11)."""
    for ground in (PAPER, WOOD, TINT):
        assert contrast(INK, ground) >= 4.5 and contrast(GREY, ground) >= 4.5
        assert contrast(SHALLOW, ground) >= 3.0
    assert all(
        contrast(shade(k / 6), pale(k / 6)) >= 3.0 and contrast(INK, pale(k / 6)) >= 4.5
        for k in range(7)
    )
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_deeper_is_darker_also_in_grey() -> None:
    steps = [contrast(shade(k / 6), PAPER) for k in range(7)]
    assert steps == sorted(steps) and steps[-1] == contrast(DEEP, PAPER)
    assert all(b / a > 1.1 for a, b in itertools.pairwise(steps))


@pytest.mark.parametrize(("room", "rows"), [(-3.0, 0), (0.4, 0), (1.4, 1), (3.4, 3), (5.4, 5)])
def test_a_list_of_files_stays_above_the_title_block(room: float, rows: int) -> None:
    """Rows are 4.5 high under a head of 8. With no room at all it drew every file but the last,
    over the title block."""
    works = [
        SimpleNamespace(stem=f"0{k}-A-groove", cutter=SimpleNamespace(describe=lambda: "T1"))
        for k in range(1, 6)
    ]
    svg = Document(100, 100, "", "")
    end = files_table(svg, works, (), {}, 10.0, 10.0 + 8.0 + 4.5 * room)  # type: ignore[arg-type]
    text = svg.render()
    assert text.count("-A-groove") == (rows if rows == 5 else max(rows - 1, 0))
    assert text.count("and more") == (0 < rows < 5)
    assert end <= 10.0 + 8.0 + 4.5 * max(room, 0.0) and (rows or end == 10.0)
