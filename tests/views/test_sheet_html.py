"""The set-up sheet as text: valid, self-contained, true to the plan, and it says what is done.

Files are stood in for by entries made from the works (conftest), so that no path has to be found
here.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import html5lib
import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st

from corepath.cli.app import app
from corepath.cli.commands.record_options import words_of
from corepath.job.load import read_job
from corepath.job.record.settled import Settled
from corepath.lengths import MM
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.views.sheet_html import Facts, pages, sheet_html
from corepath.views.sheet_html.facts import figure
from corepath.views.sheet_html.page_parts import Command, Measures, Slot, Steps
from corepath.views.sheet_html.sheet_file import _css_string
from corepath.views.sheet_html.stack_drawing import placed_checks

SAMPLES = Path(__file__).parents[2] / "samples"
XHTML = "{http://www.w3.org/1999/xhtml}"


MakeFacts = Callable[..., Facts]


@pytest.fixture(scope="module")
def text(facts: Facts) -> str:
    return sheet_html(facts)


@pytest.fixture(scope="module")
def page(text: str) -> ElementTree.Element:
    found: ElementTree.Element = html5lib.HTMLParser(strict=True).parse(text)
    return found


def commands(facts: Facts) -> Iterator[Command]:
    for one in pages(facts):
        for block in one.blocks:
            if isinstance(block, Measures):
                # what is only shown on a screen may also be lines of a file
                yield from (
                    measure.command
                    for measure in block.measures
                    if not measure.screen or str(measure.command.pieces[0]).startswith("corepath ")
                )


def test_every_page_is_there_in_the_order_of_the_work(page: ElementTree.Element) -> None:
    """A page out of order sends the operator to the wrong set-up. Strict parsing fails on unclosed
    tags."""
    keys = [one.get("id") for one in page.iter(f"{XHTML}section")]
    assert keys == [
        "first",
        "blank",
        "a",
        "depths",
        "pour",
        "b",
        "skim",
        "c",
        "holes",
        "stack",
        "next",
    ]


def test_all_samples_give_a_valid_sheet(facts_of: MakeFacts) -> None:
    """Obstacles, a frame, a cradle, many plugs, inches or a title with signs may break the page."""
    for name in ("pads-900", "cradle-460"):
        other = prepare(SAMPLES / f"{name}.toml")
        told = sheet_html(facts_of(other))
        html5lib.HTMLParser(strict=True).parse(told)
        assert ('id="d-title"' in told) == (name == "cradle-460")
    # in D heights count from the form, and the board finds its place by pins (an independent
    # reckoning)
    laid = told[told.index('id="d-title"') :].partition("</section>")[0]
    assert "X−231.17 Y0, 3.8°" in laid and "X228.035 Y0, 6.9°" in laid
    assert "over the rise 0 of the form" in laid
    assert "above the bed" not in laid.replace("above the bed that the cradle stands on", "")


def test_nothing_comes_from_the_network(text: str) -> None:
    """The shop may have none; names of XML are no addresses that a browser fetches."""
    without_names = text.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert "http:" not in without_names and "https:" not in without_names
    assert not re.search(r"<link|@import|\ssrc=|<img|<iframe|fetch\(|XMLHttpRequest", text)
    assert {
        found for found in re.findall(r"url\(([^)]*)\)", text) if not found.startswith("#")
    } == set()


def test_the_digest_is_on_each_page(page: ElementTree.Element, facts: Facts) -> None:
    """Paper and file are matched by it; a page without it may belong to another plan."""
    for one in page.iter(f"{XHTML}section"):
        head = next(one.iter(f"{XHTML}header"))
        assert facts.digest in "".join(head.itertext()), one.get("id")


def test_ids_are_unique_and_boxes_have_names(page: ElementTree.Element) -> None:
    """Two boxes of one id would share their tick; a box without a name is silent to a screen
    reader."""
    ids = [one.get("id") for one in page.iter() if one.get("id") is not None]
    assert len(ids) == len(set(ids))
    labels = {one.get("for") for one in page.iter(f"{XHTML}label")}
    for one in page.iter(f"{XHTML}input"):
        assert one.get("aria-label") or one.get("id") in labels, one.attrib
    for one in page.iter(f"{XHTML}button"):
        assert one.get("aria-label") or "".join(one.itertext()).strip()


def test_each_command_is_one_that_record_takes(facts: Facts) -> None:
    """A command copied from the sheet must not be refused for its form."""
    record = typer.main.get_command(app).commands["record"]  # type: ignore[attr-defined]
    seen = set()
    for command in commands(facts):
        filled = "".join(
            piece if isinstance(piece, str) else _figure(piece) for piece in command.pieces
        )
        program, name, *words = shlex.split(filled)
        assert (program, name) == ("corepath", "record")
        seen |= {word for word in words if word.startswith("--")}
        with record.make_context("record", list(words)) as context:
            assert Path(str(context.params["job"])).name == "coupon.toml"
    assert seen >= {
        "--thickness",
        "--groove-depth",
        "--pocket-depth",
        "--fill",
        "--stop-at",
        "--touch",
        "--cut",
    }
    # heights of the raw top come from the file of a probe, --probed
    assert set(words_of()) - seen == {"--height"}


def _figure(slot: Slot) -> str:
    return {"NAME": "P1", "PASS": "3"}.get(slot.letter, "1.5")


def test_places_of_an_inch_job_are_typed_in_inches(coupon: Prepared, facts_of: MakeFacts) -> None:
    """The record takes the job's units; a place in mm would lie off the blank."""
    job = coupon.job.model_copy(update={"units": "inch"})
    inch = facts_of(replace(coupon, job=job))
    texts = ["".join(p for p in command.pieces if isinstance(p, str)) for command in commands(inch)]
    (depths,) = [words for words in texts if "--groove-depth" in words]
    x = float(re.search(r"--groove-depth (\S+)", depths)[1])  # type: ignore[index]
    places = inch.record.castings["groove"].places
    assert x * 25.4 == pytest.approx(places[0][0], abs=0.01)
    assert all(
        slot.unit == "in"
        for command in commands(inch)
        for slot in command.slots
        if slot.letter in "TDPW"
    )


def test_b_is_mirrored_but_its_words_are_not(text: str, facts: Facts) -> None:
    """Seen from below the insert lies on the other side of X, and the edge that was in front at the
    back."""
    drawing = text[text.index('<section id="b"') : text.index('<section id="skim"')]
    assert "SEEN FROM BELOW" in drawing
    (place,) = facts.board.places
    assert f'cx="{place.x:g}" cy="{-place.y:g}"' in drawing
    heights = {
        words: float(y)
        for y, words in re.findall(r'<text [^>]*?y="([-0-9.]+)"[^>]*>([^<]+)</text>', drawing)
    }
    assert heights["front edge"] < heights["back edge – you stand here"]
    turns = set(re.findall(r'<text [^>]*transform="([a-z]+)', drawing))
    assert turns == {"rotate"}  # for what reads from the right; nothing is scaled or mirrored


def test_the_section_is_true_to_the_checks(facts: Facts) -> None:
    """An arrow of another length than its figure would teach the wrong stack-up."""
    lengths = {
        check.id: (spot.high - spot.low, check.value) for check, spot in placed_checks(facts)
    }
    told = ("window", "shows", "floor", "clean-up", "seat", "wood-over-seat", "barrel", "dowels")
    for name in told:
        drawn, figure = lengths[name]
        assert drawn == pytest.approx(figure, abs=0.02), name
    assert {"fill", "hold", "spacing", "registration"} <= set(lengths)


def test_the_first_page_says_what_it_will_be_and_what_to_lay_ready(
    coupon: Prepared, page: ElementTree.Element
) -> None:
    """Before a plank is cut: what it needs in all. The coupon's dowels stand 3.5 out of 7."""
    first = next(one for one in page.iter(f"{XHTML}section") if one.get("id") == "first")
    told = " ".join(" ".join(first.itertext()).split())
    assert "about 34 g: wood 19 g" in told and "at X-10 Y0, 4 mm towards X- from its middle" in told
    assert "dowel 2 diameter 5, 10.5 long" in told
    assert "insert 1 I1: barrel 6.5, flange 15 × 1.2, length 5.5" in told
    for number in {work.cutter.number for work in coupon.works}:
        assert f"cutter 1 T{number} " in told


def test_a_failed_plan_is_loud_on_every_page(
    coupon: Prepared, facts: Facts, facts_of: MakeFacts
) -> None:
    """Nobody may cut from a sheet whose plan failed."""
    failing = [
        replace(check, verdict="fail") if check.id == "window" else check for check in facts.checks
    ]
    held = sheet_html(facts_of(coupon, checks=failing, planned=[]))
    assert held.index("NOTHING TO CUT YET") < held.index("This core")
    written = sheet_html(facts_of(coupon, checks=failing, despite_failures=True))
    assert written.index("DO NOT CUT") < written.index("This core")
    assert written.count("DO NOT CUT: planned despite failures") == written.count("<section ")
    assert "DO NOT CUT" not in sheet_html(facts)


def recorded(facts_of: MakeFacts, **more: Any) -> Facts:
    """The coupon with set-up A cut and poured."""
    held = {"fill": {"groove": 0.4, "P1": 0.4}, "stage": "cast", **more}
    cut = frozenset({"dowels", "plug-pockets", "groove"}) | held.pop("cut", frozenset())
    settled = Settled(cut=cut, groove_depth=((-100.0, 0.0, 9.4),), **held)
    job, _ = read_job(SAMPLES / "coupon.toml")
    assert job is not None
    return facts_of(replace(prepare_job(job, SAMPLES, Known(settled=settled)), file="coupon.toml"))


def states(facts: Facts) -> dict[str, str]:
    return {one.key: one.state for one in pages(facts)}


def ticks(facts: Facts, key: str) -> list[bool]:
    (steps,) = [
        b for one in pages(facts) if one.key == key for b in one.blocks if isinstance(b, Steps)
    ]
    return [step.tick.done for step in steps.steps]


def test_what_the_record_holds_is_marked_done(facts_of: MakeFacts) -> None:
    """Steps already done must not be done again: the blank would be cut twice."""
    cast = recorded(facts_of)
    state = states(cast)
    assert [state[key] for key in ("blank", "a", "depths", "pour")] == ["done"] * 4
    assert state["b"] == state["skim"] == "now" and state["c"] == "ahead"
    assert all(ticks(cast, "a")) and not any(ticks(cast, "b"))
    assert "recorded: groove 0.4, P1 0.4" in sheet_html(cast)
    skimmed = recorded(facts_of, stop=2, stop_plane=9.3996, passes=2, stage="B")
    assert states(skimmed)["skim"] == "done" and states(skimmed)["b"] == "now"
    # seven steps and a box for each of the two dowels
    assert ticks(skimmed, "b")[:9] == [True] * 9 and not any(ticks(skimmed, "b")[9:])
    assert "It stopped at 9.40, as recorded" in sheet_html(
        skimmed
    ) and "If it stops there" not in sheet_html(skimmed)


def test_a_low_casting_keeps_the_work_at_the_pour(facts_of: MakeFacts) -> None:
    """Turned over with a low plug, it is found too late; a top-up that was not measured since does
    not count."""
    low = recorded(facts_of, fill={"groove": 0.4, "P1": 1.9})
    assert states(low)["pour"] == "now" and states(low)["b"] == states(low)["skim"] == "ahead"
    told = sheet_html(low)
    assert told.index("CASTING TOO LOW") < told.index("This core")
    topped = recorded(facts_of, topped_up=("P1",))
    assert states(topped)["pour"] == "now" and "measure again" in sheet_html(topped)


def test_the_skim_has_a_row_a_pass(facts: Facts, page: ElementTree.Element) -> None:
    """Each with the height left, a tick and a box; the planned stop stands out."""
    skim = facts.stackup.skim
    section = next(one for one in page.iter(f"{XHTML}section") if one.get("id") == "skim")
    rows = list(next(section.iter(f"{XHTML}tbody")))
    assert len(rows) == len(skim.planes)
    for row, plane in zip(rows, skim.planes, strict=True):
        assert (
            f"{plane:.2f}" in "".join(row.itertext()) and len(list(row.iter(f"{XHTML}input"))) == 2
        )
    assert [k for k, row in enumerate(rows, start=1) if row.get("class") == "strong"] == [
        skim.planned_stop
    ]


def test_the_same_plan_gives_the_same_bytes(facts: Facts, text: str) -> None:
    assert sheet_html(facts) == text


@given(st.text(max_size=60))
def test_no_title_breaks_out_of_the_style_sheet(title: str) -> None:
    """A job's title stands in the page's foot, inside quotes."""
    told = str(_css_string(title))
    assert not set(told) & set("\"'<>{};\n\r") and re.sub(r"\\[0-9a-f]{6} ", "", told).replace(
        "\\", ""
    ) == re.sub(r"\\[0-9a-f]{6} ", "", told)


def test_a_title_is_never_markup(coupon: Prepared, facts_of: MakeFacts) -> None:
    title = '</title><script>alert("x")</script>&'
    told = sheet_html(facts_of(replace(coupon, job=coupon.job.model_copy(update={"title": title}))))
    html5lib.HTMLParser(strict=True).parse(told)
    assert "<script>alert" not in told and "&lt;script&gt;" in told


def does(facts: Facts, key: str) -> list[str]:
    """The steps of a page, with the file that each runs."""
    (steps,) = [
        b for one in pages(facts) if one.key == key for b in one.blocks if isinstance(b, Steps)
    ]
    return [f"{step.tick.label} {step.file}".strip() for step in steps.steps]


def places_of(lines: list[str], *words: str) -> list[int]:
    """Where each of the words first stands, each after the one before."""
    found, at = [], 0
    for word in words:
        at = next(k for k in range(at, len(lines)) if word in lines[k])
        found.append(at)
        at += 1
    return found


def test_each_cutter_is_fitted_then_touched_then_run(facts: Facts) -> None:
    """Touched before it is fitted, or not at all, it cuts too deep by what it is longer than the
    one before."""
    for key in "abc":
        lines, fitted, touched = does(facts, key), "", ""
        for line in lines:
            cutter = re.search(r"\bT(\d+)\b", line)
            if cutter and "Touch Z with it" in line:
                fitted = touched = cutter[1]
            file = re.search(r"(0\d-[ABC]-[a-z-]+)\.nc", line)
            if file:
                work = next(w for w in facts.works if file[1].startswith(w.stem))
                assert fitted == touched == str(work.cutter.number), (key, line)
        assert not [line for line in lines if "Touch zero as above" in line]
    b = does(facts, "b")
    assert places_of(
        b, "Fit T3", "rehearsal/B-rehearsal.nc", "Skim, pass by pass", "Fit T1", "06-B-inserts.nc"
    )
    assert "Touch Z with it: the skimmed face" in next(line for line in b if "Fit T1" in line)
    assert "the tip 13.8 mm above the skimmed face" in next(
        line for line in b if "06-B-inserts.nc" in line
    )


def test_the_dowels_are_no_zero_before_their_holes_are_there(facts: Facts, text: str) -> None:
    """In A the squared edges, then the dowels. Coupon: 240 x 90, dowels at X-113 and X102 on the
    middle line."""
    a = does(facts, "a")
    first = next(line for line in a if line.startswith("Set X and Y"))
    assert "squared blank" in first and "from the dowels" not in first
    assert "dowel 1 7 from its left and 45 from its front edge, dowel 2 222 from" in next(
        w for w in a if "cross" in w
    )
    for key in "bc":
        told = next(line for line in does(facts, key) if line.startswith("Set X and Y"))
        assert (
            "from the dowels, never from an edge: dowel 1 is X-113 Y0, dowel 2 is X102 Y0" in told
        )
    assert "X, Y zero, dowels" in text


def test_a_changer_that_knows_lengths_asks_for_no_touch(
    coupon: Prepared, facts_of: MakeFacts
) -> None:
    """A touch with the length on counts it twice; without it, a touch is needed after M6 as
    well."""

    def made(**machine: Any) -> Facts:
        job = coupon.job.model_copy(
            update={"machine": coupon.job.machine.model_copy(update=machine)}
        )
        return facts_of(prepare_job(job, SAMPLES))

    known = does(made(tool_change="m6", length_offset=True), "a")
    assert sum("Touch Z" in line for line in known) == 1 and "length offset is on" in " ".join(
        known
    )
    asked = does(made(tool_change="m6"), "a")
    loaded = [
        line for line in asked if "is loaded by the file, which then waits. Touch Z with it" in line
    ]
    assert len(loaded) == len({work.cutter.number for work in coupon.works if work.setup == "A"})
    # the zero of C, set with the control still in the inserts' system, would be lost to its files
    other = does(made(second_zero="G55"), "b")
    assert places_of(other, "Change to G55", "06-B-inserts.nc", "Change the control back to G54")


def test_a_check_just_below_nothing_is_no_minus_nothing() -> None:
    """ "-0.00" beside *ok* reads like a failure."""
    assert MM.text(figure(-0.0004, "mm")) == "0.00"
    assert MM.text(figure(-0.006, "mm")).endswith("0.01")
