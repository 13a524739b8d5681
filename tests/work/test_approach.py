"""The way down where the zero changes: how high, where, and what is seen there, all worked out by
hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from corepath.job.load import load_job
from corepath.job.model import Job, LayupSection
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter
from corepath.operations import programs
from corepath.planning.make import make_files
from corepath.planning.prepare import Prepared, prepare_job
from corepath.readback.foreign.foreign_facts import ForeignSetup
from corepath.readback.foreign.foreign_file import read_foreign

SAMPLES = Path(__file__).parents[2] / "samples"
ROCKER = ((-120.0, 3.0), (-60.0, 0.7), (0.0, 0.0), (60.0, 0.7), (120.0, 3.0))


def prepared(layup: LayupSection | None = None, **machine: object) -> Prepared:
    job: Job = load_job(SAMPLES / "coupon.toml")
    update = {"machine": job.machine.model_copy(update=machine), "layup": layup}
    return prepare_job(job.model_copy(update=update), SAMPLES)


@pytest.fixture(scope="module")
def coupon() -> Prepared:
    return prepared()


def approaches(made: Prepared) -> dict[str, tuple[float, float, float]]:
    """Name of a work to height in the program, how high over the face, and how high with the old
    zero."""
    found = {}
    for work in made.works:
        way = work.approach
        if way is not None:
            found[work.name] = (way.height - work.zero.z, way.above, way.otherwise)
    return found


def test_a_changed_zero_or_cutter_has_no_first_way(coupon: Prepared) -> None:
    """Blank 10.6, good to 0.1 and to 0.1 in lying flat, safe height 8: 10.8 + 3 is clear under the
    bed's zero.

    Over the skimmed face, some 8.9 above the bed, the tip then stands 13.8 high, and with the bed's
    zero 8.9 lower. Pockets and skim keep the zero and get another cutter: they stop at the height
    of rapids, 8 over the 10.8, so 8.2 over the blank.
    """
    plane = coupon.stackup.skim.planned_plane
    found = approaches(coupon)
    assert list(found) == ["plug-pockets", "skim", "inserts", "deck-rough"]
    assert found["plug-pockets"] == pytest.approx((18.8, 8.2, 8.2), abs=1e-3)
    assert found["inserts"] == pytest.approx((13.8, 13.8, 13.8 - plane), abs=1e-3)
    assert found["deck-rough"][2] == pytest.approx(found["deck-rough"][1] + plane, abs=1e-3)


def test_a_face_is_another_zero_in_each_set_up() -> None:
    """Raw top, raw bottom, skimmed face, raw top: each is touched anew, and each file that comes
    first stops."""
    found = approaches(prepared(z_zero="face", touch_at=(106.0, 35.0)))
    assert list(found) == ["plug-pockets", "skim", "inserts", "deck-rough"]
    assert found["skim"][:2] == pytest.approx((10.8 + 8.0 - 10.6, 8.2), abs=1e-3)


def test_in_the_cradle_the_bed_is_far_below() -> None:
    """A cradle 40 high under its lowest place: the old zero's stop would be 40 lower, and still has
    to be clear."""
    layup = LayupSection(rocker=ROCKER, cradle=True, rib_height=40.0)
    made = prepared(layup, travel=(700.0, 400.0, 120.0))
    work = next(work for work in made.works if work.setup == "D")
    assert work.approach is not None
    assert work.approach.height >= work.stock_top + 3.0 + 40.0 - 1e-6
    assert work.approach.otherwise == pytest.approx(work.approach.above - 40.0, abs=0.02)
    small = prepared(layup, travel=(700.0, 400.0, 40.0))
    low = next(work for work in small.works if work.setup == "D")
    # no higher than the axis goes, whichever way both heights are rounded in a file in inches
    most = 40.0 - 2 * 0.5e-5 * 25.4
    assert low.approach is not None and low.approach.height - low.lowest <= most
    assert low.approach.height >= low.stock_top + 3.0
    # what is missing of the 40 under the cradle is told in head and sheet
    assert "machine.travel on Z is" in " ".join(low.watch)
    assert "machine.travel" not in " ".join(work.watch)


def test_only_the_first_pass_and_the_file_of_all_passes_stop() -> None:
    """Between passes nothing is touched, so that nothing can be forgotten."""
    made = prepared(z_zero="face", touch_at=(106.0, 35.0))
    skim = next(work for work in made.works if work.name == "skim")
    stems = {program.stem: program.approach is not None for program in programs(skim)}
    assert [stem for stem, stops in stems.items() if stops] == ["05-B-skim-pass-1", "05-B-skim-all"]


def inserts_text(made: Prepared) -> str:
    only = replace(made, works=tuple(work for work in made.works if work.name == "inserts"))
    return next(iter(make_files(only))).text


@pytest.mark.parametrize("second", ["none", "G55"])
def test_with_the_beds_zero_left_the_tip_touches_nothing_before_the_first_stop(second: str) -> None:
    """Read word by word: all that moves before the second M0 (the first is for fitting the
    cutter)."""
    made = prepared(second_zero=second)
    text = inserts_text(made)
    rows = [row for row in text.splitlines() if not row.startswith("(")]
    stops = [k for k, row in enumerate(rows) if row == "M0"]
    way = [row for row in rows[stops[0] + 1 : stops[1]] if "X" in row or "Z" in row]
    assert [row[:4] for row in way] == ["G1 Z", "G1 X"]
    height = float(way[0].split("Z")[1])
    assert height >= 10.6 + 3.0, "under the bed's zero, over a blank that was not even skimmed"
    assert not [row for row in rows[: stops[1]] if row.startswith(("G0 ", "S")) or "M3" in row]
    assert ("G54" in rows) == (second == "none") and ("G55" in rows) == (second == "G55")
    assert "Tip must be about" in text and ("set X, Y and Z of G55" in text) == (second == "G55")


def test_a_reader_that_knows_no_plan_finds_no_contact_before_the_stop_and_many_after(
    coupon: Prepared,
) -> None:
    """The file run to its end under the bed's zero is what the stop is there for: it goes through
    the blank."""
    text = inserts_text(coupon)
    lines = text.split("\n")
    second = [k for k, line in enumerate(lines) if line == "M0"][1]
    blank = coupon.stackup.skim.planned_plane
    bench = ForeignSetup(
        240.0,
        90.0,
        blank,
        (0.0, 0.0, 0.0),
        {-1: Cutter(-1, "flat", 4.0, 0.0, 2, 20.0, 28.0)},
        Limits(6000.0, 500.0, 0.02),
        spoil_board=18.0,
    )
    until = read_foreign("\n".join([*lines[: second + 1], "M2", ""]), "until.nc", bench)
    assert until.deed.removed == 0.0
    assert set(until.counts) <= {"outside-area"}, "only that nothing is cut"
    whole = read_foreign(text, "whole.nc", bench)
    assert whole.counts["rapid-through-material"] + whole.counts["plunge-at-rapid"] > 3


def test_no_word_f_of_the_first_way_is_at_the_rapid_rate() -> None:
    """A control that runs feeds at its limit holds them, or refuses the file: 0.9 of 1000, of 1500
    and of 6000."""
    feeds = {}
    for rapid in (1000.0, 1500.0, 6000.0):
        way = next(
            work.approach for work in prepared(rapid=rapid).works if work.approach is not None
        )
        feeds[rapid] = (way.feed, way.walk)
    assert feeds == {1000.0: (900.0, 900.0), 1500.0: (1000.0, 1350.0), 6000.0: (1000.0, 2000.0)}
