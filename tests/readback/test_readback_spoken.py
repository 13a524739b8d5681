"""Words that someone obeys at the machine: written by the writer, read by rules of the read-back's
own.

Two programs of three moves, in mm and inches, with every way that X and Y are found and every shape
of cutter.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from shapely import box

from corepath.gcode.read.findings import Findings
from corepath.gcode.write import Heading, write
from corepath.job.load import load_job
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Approach, Pass, Program, Zero, line, rapid
from corepath.readback.words.spoken import Spoken, check_spoken
from corepath.work.works import Work

COUPON = Path(__file__).parents[2] / "samples" / "coupon.toml"
RUN = Cutting(18000.0, 3960.0, 1980.0, 1300.0, 3.0, 2.4, 6000.0)
CUTTER = Cutter(2, "flat", 6.0, 0.0, 2, 22.0, 32.0)
ZERO = Zero(
    0.0,
    0.0,
    0.0,
    "the bed beside the blank",
    True,
    "the bed",
    "G54",
    "kept",
    ((-113.0, 0.0), (102.5, 0.0)),
)
FACES = {"A": "deck up", "B": "bottom up", "C": "deck up", "D": "deck up"}


def written(
    cutter: Cutter = CUTTER,
    zero: Zero = ZERO,
    units: str = "mm",
    offset: bool = False,
    setup: str = "A",
    title="Board",
) -> tuple[str, Work, Spoken]:
    """A file of three moves, its work, and what is held against it."""
    machine = load_job(COUPON).machine.model_copy(update={"length_offset": offset})
    moves = [rapid(10, 0, 20.0), line(10, 0, 5.0, 900.0), rapid(10, 0, 20.0)]
    program = Program(
        "03-A-groove", 3, setup, "groove", cutter, RUN, zero, 20.0, (0.0, 0.0), (Pass.of(moves),)
    )
    made = write(
        program, Heading(title, "0bbdec83", FACES[setup], 1.0, None), machine=machine, units=units
    )
    work = Work(
        3,
        setup,
        "groove",
        cutter,
        RUN,
        zero,
        box(-50, -30, 50, 30),
        12.0,
        20.0,
        1.2,
        (0.0, 0.0),
        True,
    )
    return made.text, work, Spoken(FACES, units, not offset)


def found(text: str, work: Work, spoken: Spoken) -> list[str]:
    findings = Findings("03-A-groove.nc")
    check_spoken(text, work, spoken, findings)
    assert set(findings.counts) <= {"words"}
    return [one.message for one in findings]


CUTTERS = {
    "flat": CUTTER,
    "ball": Cutter(11, "ball", 20.0, 10.0, 2, 30.0, 40.5),
    "taper": Cutter(9, "taper", 2.0, 0.0, 2, 25.0, 38.0, shank=6.0, taper_angle=4.5),
    "bull": Cutter(4, "bull", 12.7, 1.5875, 3, 26.0, 35.0),
    "measured": Cutter(2, "flat", 5.94, 0.0, 2, 22.0, 32.0, listed=6.0),
}
ZEROS = {
    "kept": ZERO,
    "dowels": replace(ZERO, by="dowels"),
    "edges": replace(ZERO, by="edges"),
    "corner": replace(ZERO, x=-120.0, y=-45.0, by="dowels"),
    "G55": replace(
        ZERO, system="G55", touch="the skimmed face", on="the skimmed face", again=False
    ),
}


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("cutter", CUTTERS)
@pytest.mark.parametrize("zero", ZEROS)
def test_what_the_writer_writes_is_what_is_asked_for(zero: str, cutter: str, units: str) -> None:
    """Head and rules are two works of their own: where one is changed the other says so, here."""
    assert found(*written(CUTTERS[cutter], ZEROS[zero], units)) == []


def test_a_head_that_does_not_name_the_risk_is_found() -> None:
    """Who loads the file does not see the sheet."""
    text, work, spoken = written()
    risk = "comes out in 97 of 100; these checks fail: clean-up"
    asked = replace(spoken, risk=risk)
    assert any("Risk accepted" in one for one in found(text, work, asked))
    assert found(f"(Risk accepted: {risk.replace(';', ',')})\n{text}", work, asked) == []


def test_a_head_with_line_numbers_is_a_head() -> None:
    """Whoever's sender numbers lines has no other file: N words stand before a comment too (NIST IR
    6556, 3.3)."""
    text, work, spoken = written()
    numbered = "\n".join(
        f"N{number} {line}" if line else "" for number, line in enumerate(text.split("\n"), 1)
    )
    assert found(numbered, work, spoken) == []
    wrong = numbered.replace("(Face up: deck up)", "(Face up: bottom up)")
    assert len(found(wrong, work, spoken)) == 1


def test_names_that_look_like_cutters_are_no_cutters() -> None:
    """A board called T1, a plug called T7."""
    text, work, spoken = written(title="T1 flat board")
    assert (
        found(
            text.replace("(Caution", "(Watch: the casting of T7 shows late)\n(Caution", 1),
            work,
            spoken,
        )
        == []
    )


def test_with_lengths_in_the_control_nobody_is_asked_to_touch() -> None:
    text, work, spoken = written(offset=True)
    assert "MSG" not in text and found(text, work, spoken) == []


ALTERED = [
    ("(MSG, Fit T2 flat 6 mm", "(MSG, Fit T3 flat 6 mm"),
    ("(MSG, Fit T2 flat 6 mm", "(MSG, Fit T2 flat 20 mm"),
    ("(MSG, Fit T2 flat 6 mm", "(MSG, Fit T2 ball 6 mm"),
    ("with it on the bed)", "with it on the face)"),
    ("(Order: fit T2", "(Order: fit T1"),
    ("(Cutter: T2 flat, diameter 6", "(Cutter: T3 flat, diameter 6"),
    ("(Cutter: T2 flat, diameter 6", "(Cutter: T2 flat, diameter 8"),
    ("cutting length 22 mm", "cutting length 32 mm"),
    ("collet 32 mm", "collet 22 mm"),
    ("(Set-up: A, operation 03 groove)", "(Set-up: B, operation 03 groove)"),
    ("(Set-up: A, operation 03 groove)", "(Set-up: A, operation 02 plug-pockets)"),
    ("(Face up: deck up)", "(Face up: bottom up)"),
    ("(Face up: deck up)\n", ""),
    ("(Plan: 0bbdec83)\n", ""),
    ("middle of the blank", "front-left corner of the blank as it lies"),
    ("dowel 1 is X-113", "dowel 1 is X113"),
    ("(Zero Z: touch the bed beside the blank)", "(Zero Z: touch the raw top)"),
    ("(Touch again: allowed)", "(Touch again: NEVER, one touch serves for all)"),
    ("(Spindle: 18000 rpm", "(Spindle: 8000 rpm"),
]


@pytest.mark.parametrize(("old", "new"), ALTERED)
def test_a_word_that_was_altered_is_found(old: str, new: str) -> None:
    """Each sends a hand the wrong way: another cutter, face, zero or set-up, while every motion is
    right."""
    text, work, spoken = written()
    assert text.count(old) >= 1
    assert found(text.replace(old, new, 1), work, spoken)


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_the_height_at_the_first_stop_is_held(units: str) -> None:
    """Who sees the tip 8.9 over the face where 13.8 is right must not read that 8.9 is."""
    text, work, spoken = written(units=units)
    work = replace(
        work,
        approach=Approach(
            0.0, 0.0, 13.8, 1000.0, 2000.0, "the skimmed face", 13.8, "on the bed", 4.9
        ),
    )
    good = "(MSG, Tip must be about 13.8 mm above the skimmed face, else stop and touch Z)\n"
    good = good.replace("13.8 mm", "0.54 in") if units == "inch" else good
    assert found(good + text, work, spoken) == []
    wrong = good.replace("13.8", "8.9").replace("0.54", "0.35")
    assert found(wrong + text, work, spoken)
    assert found(good.replace("skimmed", "raw") + text, work, spoken)
    findings = Findings("03-A-groove.nc")
    check_spoken(good + text, work, spoken, findings, looks=True)
    assert findings.counts == {}
    check_spoken(text, work, spoken, findings, looks=True)
    assert findings.counts == {"words": 1}, "a stop to look, and nobody is told at what"


def test_a_message_that_is_gone_is_found() -> None:
    """The stop to fit the cutter says nothing any more."""
    text, work, spoken = written()
    lines = [one for one in text.split("\n") if not one.startswith("(MSG, Fit")]
    assert found("\n".join(lines), work, spoken) == [
        "no message names the cutter to fit; it should say: Fit T2, touch Z with it on the bed"
    ]


def test_a_rehearsal_is_held_to_its_own_words() -> None:
    """It names the cutter that comes first, and that the spindle stays off."""
    text, work, spoken = written()
    text = text.replace("operation 03 groove", "rehearsal at the safe height")
    text = text.replace(
        "(Spindle: 18000 rpm, feed 3960.0, finishing pass 6000.0 mm/min)",
        "(Spindle: off all the time)",
    )
    findings = Findings("A-rehearsal.nc")
    check_spoken(text, work, spoken, findings, rehearsal=True)
    assert list(findings) == []
    check_spoken(text.replace("off all", "on all"), work, spoken, findings, rehearsal=True)
    assert findings.counts == {"words": 1}
