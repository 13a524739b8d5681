"""The short sheet as text: valid, self-contained, true to the plan, and what it leaves out."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import html5lib
import pytest

from corepath.job.record.settled import Settled
from corepath.planning.prepare import Prepared
from corepath.views.sheet_html import Facts
from corepath.views.sheet_html.page_parts import Slot, Table
from corepath.views.short_sheet import one_pages, short_sheet
from corepath.views.short_sheet.boxes import BoxGroup, box_groups
from corepath.views.short_sheet.cards import cards, record_lines

SAMPLES = Path(__file__).parents[2] / "samples"
XHTML = "{http://www.w3.org/1999/xhtml}"

MakeFacts = Callable[..., Facts]


@pytest.fixture(scope="module")
def page(facts: Facts) -> ElementTree.Element:
    found: ElementTree.Element = html5lib.HTMLParser(strict=True).parse(short_sheet(facts))
    return found


def test_it_is_valid_and_needs_no_network(facts: Facts, page: ElementTree.Element) -> None:
    """Two boxes of one id would share a label; a box without a name is silent to a screen
    reader."""
    text = short_sheet(facts).replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert "http:" not in text and "https:" not in text
    assert not re.search(r"<link|@import|\ssrc=|<img|<iframe|fetch\(|XMLHttpRequest", text)
    ids = [one.get("id") for one in page.iter() if one.get("id") is not None]
    assert len(ids) == len(set(ids))
    labels = {one.get("for") for one in page.iter(f"{XHTML}label")}
    wrapped = {id(box) for one in page.iter(f"{XHTML}label") for box in one.iter(f"{XHTML}input")}
    for one in page.iter(f"{XHTML}input"):
        assert one.get("aria-label") or one.get("id") in labels or id(one) in wrapped, one.attrib


def test_a_page_has_all_that_runs_its_set_up(facts: Facts) -> None:
    """Each file once, in order, with cutter, stick-out and a box for its minutes; zero, heights."""
    files = []
    for one in one_pages(facts):
        table = next(block for block in one.blocks if isinstance(block, Table))
        for row in table.rows:
            files.append(f"{row[1]}.nc")
            assert str(row[2]).startswith("T") and str(row[3]) and isinstance(row[6], Slot)
        titles = [block.title for block in one.blocks if not isinstance(block, Table | BoxGroup)
                  and hasattr(block, "title")]  # fmt: skip
        assert titles[:2] == ["Lay, hold, zero", "Heights to read"]
    assert files == [file.name for file in facts.planned if not file.program.combined]


def test_heights_are_those_of_the_table_of_heights(facts: Facts) -> None:
    """Z from the skimmed face counts from the plane of the stop, all others from the bed."""
    text = short_sheet(facts)
    stop = facts.stackup.skim.planned_plane
    face = facts.table.face("A").nominal
    floor = facts.table.column("A").floor.nominal
    assert f"bed 0.00 · floor of the groove {floor:.2f} · raw top {face:.2f}" in text
    assert f"bed −{stop:.2f} · skimmed face 0.00" in text


def test_every_box_of_the_cards_reaches_the_record(facts: Facts) -> None:
    """A box whose figure goes nowhere would be measured for nothing."""
    held = {
        piece.key
        for line in record_lines(facts)
        for option in line.options
        for piece in option
        if isinstance(piece, Slot)
    }
    asked = {slot.key for card in cards(facts) for slot in card.slots}
    paper = {
        slot.key
        for one in one_pages(facts)
        for block in one.blocks
        if isinstance(block, BoxGroup)
        for slot in block.slots
    }
    assert asked <= held and paper <= held and len(asked) > 20


def test_what_is_recorded_is_not_asked_again(coupon: Prepared, facts_of: MakeFacts) -> None:
    known = replace(
        coupon.known,
        settled=Settled(groove_depth=((0.0, 0.0, 9.4),), stage="A", cut=frozenset({"groove"})),
    )
    facts = facts_of(replace(coupon, known=known), done=frozenset({"groove"}))
    keys = {slot.key for card in cards(facts) for slot in card.slots}
    assert not {"groove-1", "t1"} & keys and "pocket-P1" in keys
    lines = [line for line in record_lines(facts) if line.ticks]
    assert not any("--cut groove" in str(line.options) for line in lines)
    assert any("--cut deck" in str(line.options) for line in lines)


def test_boxes_that_have_no_room_are_on_the_full_sheet(facts: Facts) -> None:
    """The title says how many."""
    groups = box_groups(facts, "A", 2)
    assert all(len(group.slots) <= 2 for group in groups)
    depth = next(group for group in groups if group.title.startswith("Depth of the groove"))
    assert depth.title.endswith("(2 more on the full sheet)")


def test_a_plan_that_fails_says_so_on_every_page(coupon: Prepared, facts_of: MakeFacts) -> None:
    failing = [replace(coupon.checks[0], verdict="fail"), *coupon.checks[1:]]
    held = short_sheet(facts_of(coupon, checks=failing, planned=[]))
    assert held.count("No G-code was written: see the full sheet") == 1 + 3
    html5lib.HTMLParser(strict=True).parse(held)
    written = short_sheet(facts_of(coupon, checks=failing, despite_failures=True))
    assert written.count("DO NOT CUT: planned despite failures") == 1 + 3
