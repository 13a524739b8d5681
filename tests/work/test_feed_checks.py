"""Checks of chips, bending and power, the table behind them, and what the report says of each
operation."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import CutterSection, Job
from corepath.job.tables.cutting_table import (
    chip_from_table,
    cutting_energy,
    kind_of_wood,
    speed_from_table,
)
from corepath.motion.program import Kind
from corepath.operations import programs
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.stackup.checks.verdict import Check
from corepath.work import feed_checks, feed_report
from corepath.work.cutting.deck_cutter import deck_offers
from corepath.work.cutting.loads import cuts_of, load_of
from corepath.work.works import Work

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(SAMPLES / "coupon.toml")


@pytest.fixture(scope="module")
def job(prepared: Prepared) -> Job:
    return prepared.job


def with_machine(job: Job, **update: Any) -> Job:
    return job.model_copy(update={"machine": job.machine.model_copy(update=update)})


def with_cutters(job: Job, **update: Any) -> Prepared:
    cutters = tuple(cutter.model_copy(update=update) for cutter in job.cutter)
    return prepare_job(job.model_copy(update={"cutter": cutters}), SAMPLES)


def named(checks: tuple[Check, ...], name: str) -> list[Check]:
    return [check for check in checks if check.id == name]


def work_of(prepared: Prepared, name: str) -> Work:
    return next(work for work in prepared.works if work.name == name)


@pytest.mark.parametrize("sample", ["coupon", "balance-740", "board-1280"])
def test_samples_are_run_within_the_limits(sample: str) -> None:
    """A sample with a doubtful feed teaches a doubtful feed."""
    found = prepare(SAMPLES / f"{sample}.toml")
    checks = [check for check in found.checks if check.id in ("chip-load", "deflection", "power")]
    assert {check.id for check in checks} == {"chip-load", "deflection"}
    assert {check.verdict for check in checks} == {"ok"}


def test_a_rubbing_chip_is_told_with_the_feed_that_mends_it(job: Job) -> None:
    """All cutters at 0.015 mm a tooth: every operation is named, and at the feed it names the chip
    is 0.02."""
    doubtful = named(with_cutters(job, chip_load=0.015).checks, "chip-load")
    assert {check.where.partition(",")[0] for check in doubtful} == {
        "dowels", "plug-pockets", "groove", "skim", "inserts", "deck-rough", "deck",
    }  # fmt: skip
    skim = next(check for check in doubtful if check.where.startswith("skim"))
    assert skim.verdict == "caution" and skim.value == pytest.approx(-0.005)
    assert (
        "T3 flat D20" in skim.message
        and "420 mm/min" in skim.message
        and "rubs below 0.02" in skim.message
    )
    assert "feed at least 560 mm/min" in skim.fix and "rpm at most 10500" in skim.fix


def test_a_breaking_chip_is_told(job: Job) -> None:
    """2.2 mm a tooth on a 20 mm cutter is above its tenth; the machine is fast enough to do it."""
    quick = with_machine(job, rapid=1e6)
    skim = next(
        c
        for c in named(with_cutters(quick, chip_load=2.2).checks, "chip-load")
        if c.where.startswith("skim")
    )
    assert "overloads above 2" in skim.message and skim.value == pytest.approx(-0.2)
    assert "feed at most 56000" in skim.fix and "rpm at least 15400" in skim.fix


def test_a_long_cutter_bends_too_far_on_a_wall(job: Job) -> None:
    """Out of the collet by 90 instead of 32; at the stick-out that is named, the room is about
    nothing."""
    doubtful = named(with_cutters(job, stick_out=90.0).checks, "deflection")
    groove = next(check for check in doubtful if check.where == "groove, finishing lap")
    assert groove.verdict == "caution" and groove.worst < 0.0 and "stick-out at most" in groove.fix
    named_length = float(groove.fix.partition("at most ")[2].partition(",")[0])
    assert named_length < 90.0
    mended = named(with_cutters(job, stick_out=named_length - 5.0).checks, "deflection")
    assert not [
        check for check in mended if check.where.startswith("groove") and check.verdict != "ok"
    ]


def test_steel_bends_more_than_carbide_and_a_thick_shank_less(prepared: Prepared) -> None:
    work, energy = work_of(prepared, "groove"), cutting_energy(414.0)
    cut = next(cut for cut in cuts_of(work) if cut.wall)
    bent = load_of(work, cut, energy).deflection[0]
    steel = replace(work, cutter=replace(work.cutter, material="high-speed steel"))
    assert load_of(steel, cut, energy).deflection[0] / bent == pytest.approx(600 / 210)
    thick = replace(work, cutter=replace(work.cutter, shank=8.0))
    assert load_of(thick, cut, energy).deflection[0] < bent


def test_power_is_judged_where_the_spindle_is_known(job: Job) -> None:
    """Without `machine.spindle_power` nothing is said; a 300 W spindle does, one of 100 W does not
    rough the deck."""
    assert named(with_cutters(job).checks, "power") == []
    (strong,) = named(prepare_job(with_machine(job, spindle_power=300.0), SAMPLES).checks, "power")
    assert strong.verdict == "ok" and strong.unit == "W" and strong.where == "deck, first line"
    weak = named(prepare_job(with_machine(job, spindle_power=100.0), SAMPLES).checks, "power")
    rough = next(check for check in weak if check.where.startswith("deck-rough"))
    assert rough.verdict == "caution" and rough.worst < rough.value < 0.0
    assert "202 cm³/min take 124 W, 247 at worst, of 100" in rough.message


def test_checks_of_feeds_never_fail_a_plan(job: Job) -> None:
    """They are good to a factor of two: no file is held back for them."""
    bad = with_cutters(with_machine(job, spindle_power=1.0), chip_load=0.001, stick_out=300.0)
    mine = [check for check in bad.checks if check.id in ("chip-load", "deflection", "power")]
    assert {check.verdict for check in mine} == {"caution"}
    assert not bad.failed


def test_the_least_room_is_shown_where_all_is_well(prepared: Prepared) -> None:
    """One line of each check: the weakest, not the first."""
    (chip,) = named(feed_checks(prepared.job, prepared.works), "chip-load")
    rooms = [
        named(feed_checks(prepared.job, [work]), "chip-load")[0].value for work in prepared.works
    ]
    assert chip.value == min(rooms) and len(set(rooms)) > 3


def test_figures_of_the_table_stand_in_for_those_of_the_job(job: Job) -> None:
    """Basswood is soft: 0.1 mm a tooth at 6 mm; 18000 rpm, but no more than 900 m/min at the rim of
    20 mm."""
    found = with_cutters(job, chip_load=None, rpm=None)
    groove, skim = work_of(found, "groove"), work_of(found, "skim")
    assert (groove.cutter.diameter, groove.cutting.rpm, groove.cutting.feed) == (
        6.0,
        18000.0,
        3600.0,
    )
    assert skim.cutting.rpm == 14300.0
    report = feed_report(found.job, groove)
    assert report["source"] == "table, soft wood (common practice, no source)"
    assert report["rpm_source"] == "table (common practice, no source)"
    assert feed_report(job, groove)["chip_load"] == 0.1


def test_the_jobs_own_figures_win_and_are_named(job: Job, prepared: Prepared) -> None:
    """Own chip load and rpm: source is the job; own feed: wins over the chip load, finishing lap
    included."""
    assert feed_report(job, work_of(prepared, "groove"))["source"] == "job"
    own = work_of(with_cutters(job, feed=1800.0), "groove")
    assert (own.cutting.feed, own.cutting.finish) == (1800.0, 1800.0)
    report = feed_report(job, own)
    assert report["source"] == "feed of the job" and report["chip_load"] == pytest.approx(0.05)


def test_the_trims_finishing_lap_is_by_its_own_allowance() -> None:
    """0.3 mm of the trim, not the 0.2 of pockets: else the chip of that lap would be thicker than
    meant."""
    found = prepare(SAMPLES / "cradle-460.toml")
    work = work_of(found, "trim")
    assert work.trim is not None and found.job.trim is not None
    full, lap = cuts_of(work)
    assert (full.width, lap.width, lap.wall) == (work.cutter.diameter, found.job.trim.finish, True)
    assert lap.feed == work.trim.feed == work.cutting.finish
    assert load_of(work, lap, cutting_energy(358.0)).chip <= work.cutting.feed / (
        work.cutter.flutes * work.cutting.rpm
    )
    wood = next(one.chip_load for one in found.job.cutter if one.number == work.cutter.number)
    assert work.cutter.diameter == 6.0 and wood is not None and wood > 0.04, (
        "0.4 of 0.10 at 6 mm: the row of laminate"
    )
    assert work.cutting.feed == pytest.approx(0.04 * work.cutter.flutes * work.cutting.rpm)


def test_what_goes_through_laminate_is_run_by_its_row() -> None:
    """Trim and bolt holes: 0.4 of 0.10 at 6 mm and of 0.0667 at 4 mm; 250 m/min at 6 mm are 13263 a
    minute.

    At 4 mm they are 19894, so that the job's 18000 stand. The cutters' own chips of 0.05 and more
    are for wood.
    """
    found = prepare(SAMPLES / "cradle-460.toml")
    trim, holes = work_of(found, "trim"), work_of(found, "bolt-holes")
    assert (trim.cutter.diameter, holes.cutter.diameter) == (6.0, 4.0)
    assert (trim.cutting.rpm, holes.cutting.rpm) == (13200.0, 18000.0)
    assert trim.cutting.feed == pytest.approx(0.04 * 2 * 13200)
    assert holes.cutting.feed == pytest.approx(0.4 * 0.2 / 3 * 2 * 18000, rel=2e-3)
    assert holes.cutting.ramp == pytest.approx(0.02 * 2 * 18000), "half of it would rub"


def test_own_feeds_and_speeds_count_in_laminate_only_where_they_are_lower(job: Job) -> None:
    cradle = prepare(SAMPLES / "cradle-460.toml").job
    quick = work_of(with_cutters(cradle, feed=3000.0, rpm=24000.0), "bolt-holes").cutting
    assert (quick.rpm, quick.origin.rpm.partition(" (")[0]) == (19800.0, "table, glass laminate")
    assert quick.feed == pytest.approx(0.0267 * 2 * 19800) and quick.origin.feed == "chip load"
    slow = work_of(with_cutters(cradle, feed=600.0, rpm=12000.0), "bolt-holes").cutting
    assert (slow.rpm, slow.feed, slow.origin.rpm, slow.origin.feed) == (
        12000.0,
        600.0,
        "job",
        "job",
    )


def test_a_rim_too_fast_for_resin_is_told(job: Job) -> None:
    """20 mm at 18000 a minute run at 1131 m/min; 1000 are 15915 a minute. The groove is cut before
    the pour."""
    (told,) = [
        one
        for one in named(with_cutters(job, rpm=18000.0).checks, "rim-speed")
        if one.where == "skim"
    ]
    assert told.verdict == "caution" and told.value == pytest.approx(1000.0 - math.pi * 20 * 18)
    assert "1131 m/min" in told.message and told.fix == "rpm at most 15900"
    steel = named(with_cutters(job, rpm=14000.0, material="high-speed steel").checks, "rim-speed")
    assert {one.where for one in steel} == {"skim", "deck-rough", "deck"} and {
        one.verdict for one in steel
    } == {"caution"}
    assert all(one.value < 0.0 and "200 m/min" in one.message for one in steel)


def test_a_rim_too_fast_for_laminate_is_told_where_no_spindle_is_slow_enough() -> None:
    """6 mm at 16000 at least: 301.6 m/min, where the laminate has 250."""
    cradle = prepare(SAMPLES / "cradle-460.toml").job
    found = prepare_job(with_machine(cradle, spindle_rpm=(16000.0, 24000.0)), SAMPLES)
    (told,) = [one for one in named(found.checks, "rim-speed") if one.where == "trim"]
    assert told.value == pytest.approx(250.0 - math.pi * 6 * 16) and told.fix == "a smaller cutter"


def test_the_report_tells_the_feeds_of_round_pockets(prepared: Prepared) -> None:
    """Round 14 mm with 6 mm the axis goes on a radius of 4 at most: sqrt(500 · 4) mm/s, 2683
    mm/min, not 5400."""
    work = work_of(prepared, "plug-pockets")
    (program,) = programs(work)
    lap = next(
        one
        for one in feed_report(prepared.job, work, program.used)["cuts"]
        if one["cut"] == "finishing lap"
    )
    assert work.cutting.finish == 5400.0
    assert 0.9 * 2683.0 <= lap["cut_feed"] <= 2683.3 and lap["bend_feed"] < lap["cut_feed"]
    words = {move.feed for move in program.moves if move.kind is not Kind.RAPID}
    assert {lap["cut_feed"], lap["bend_feed"]} <= words
    assert lap["removal"] == pytest.approx(
        lap["ae"] * lap["ap"] * lap["cut_feed"] / 1000.0, abs=0.01
    )


def test_drills_are_judged_where_they_break_through_too(prepared: Prepared) -> None:
    """Half the feed below the last millimetre: half the chip, for as long as the hole goes into the
    bed."""
    board = prepare(SAMPLES / "board-1280.toml")
    down, through = cuts_of(work_of(board, "dowels"))
    assert (down.feed, through.feed) == (1600.0, 800.0)
    assert load_of(work_of(board, "dowels"), through, cutting_energy(414.0)).chip == pytest.approx(
        0.05
    )


def test_no_feed_is_as_fast_as_a_rapid(prepared: Prepared) -> None:
    """A control that runs feeds at its limit holds them, or refuses the file."""
    fastest = max(work.cutting.fastest for work in prepared.works)
    assert fastest == pytest.approx(0.9 * prepared.job.machine.rapid)


def test_a_feed_that_the_machine_does_not_reach_is_told(job: Job) -> None:
    """Else the report would name a table or the job for a chip that neither of them asks for."""
    slow = work_of(with_cutters(with_machine(job, rapid=2000.0)), "groove")
    report = feed_report(job, slow)
    assert (report["feed"], report["chip_load"]) == (
        1800.0,
        pytest.approx(1800.0 / 36000.0, abs=5e-5),
    )
    assert report["feed_source"].startswith("0.9 of machine.rapid")
    assert feed_report(job, work_of(with_cutters(job), "groove"))["feed_source"] == "chip load"


def test_stepover_of_the_cutter_is_honoured(job: Job) -> None:
    """It stands for the usual 0.4 of the diameter in pockets, wider or not, and bounds the wider
    step of the skim."""
    found = with_cutters(job, stepover=3.0)
    assert work_of(found, "groove").cutting.stepover == 3.0
    assert work_of(found, "skim").cutting.stepover == 3.0
    wide = with_cutters(job, stepover=50.0)
    assert work_of(wide, "groove").cutting.stepover == 6.0
    assert work_of(wide, "skim").cutting.stepover == pytest.approx(0.75 * 20.0)


def test_own_ramp_share(job: Job) -> None:
    own = work_of(with_cutters(job, ramp_share=0.3), "groove").cutting
    assert own.ramp == pytest.approx(0.3 * own.feed) and own.ramp < own.plunge


def test_the_deck_is_raised_only_beside_what_is_cut(prepared: Prepared) -> None:
    """The first strip meets stock on both sides; the rest, at the raised feed, never a thicker chip
    than meant."""
    offers = deck_offers(prepared.job, prepared.board.deck, prepared.board.blank.bounds, 2.0)
    ball = next(offer.chosen for offer in offers if offer.chosen.cutter.shape == "ball")
    work = replace(work_of(prepared, "deck"), cutter=ball.cutter, cutting=ball.cutting)
    run = work.cutting
    (program,) = programs(work)
    cuts = [move for move in program.moves if move.kind is not Kind.RAPID]
    slow = [move.y for move in cuts if move.feed == run.feed]
    quick = [move.y for move in cuts if move.feed == run.finish]
    assert slow and max(slow) <= min(quick) and len(quick) > 10 * len(slow)
    lines = next(cut for cut in cuts_of(work) if cut.name == "lines")
    chip = load_of(work, lines, cutting_energy(414.0)).chip
    assert chip <= run.feed / (work.cutter.flutes * run.rpm) + 1e-9


def test_kinds_and_energy_of_woods() -> None:
    """Balsa to the cutter is soft, bamboo hard; the energy goes with density and has its factor of
    two about it."""
    assert [kind_of_wood(density) for density in (179.0, 500.0, 501.0, 650.0, 700.0)] == [
        "soft", "soft", "medium", "medium", "hard",
    ]  # fmt: skip
    energy = cutting_energy(900.0)
    assert (energy.low, energy.likely, energy.high) == (40.0, 80.0, 160.0)


def test_chips_of_the_table_between_and_beyond_its_rows() -> None:
    assert chip_from_table(3.0, 450.0).value == 0.05
    assert chip_from_table(1.5, 450.0).value == 0.025
    assert chip_from_table(7.0, 450.0).value == pytest.approx(0.125)
    assert chip_from_table(30.0, 450.0).value == 0.25
    assert chip_from_table(6.0, 700.0).value == 0.05
    assert chip_from_table(6.0, 450.0, resin=True).value == pytest.approx(0.033)


def test_speeds_of_the_table_keep_to_the_spindle() -> None:
    """As fast as usual, slower where the rim would be too quick, and never off the spindle's
    range."""
    assert speed_from_table(6.0, "carbide", (8000.0, 24000.0)).value == 18000.0
    assert speed_from_table(25.0, "carbide", (8000.0, 24000.0)).value == 11400.0
    assert speed_from_table(2.0, "carbide", (8000.0, 24000.0)).value == 24000.0
    assert speed_from_table(25.0, "high-speed steel", (8000.0, 24000.0)).value == 8000.0


def test_inch_jobs_give_inches_a_minute() -> None:
    """feed = 80 in a job in inches is 2032 mm/min; shares are no lengths."""
    keys = {
        "number": 1,
        "shape": "flat",
        "diameter": 0.25,
        "cutting_length": 1.0,
        "stick_out": 1.25,
    }
    cutter = CutterSection.model_validate(
        {**keys, "feed": 80.0, "ramp_share": 0.4}, context={"scale": 25.4}
    )
    assert (cutter.feed, cutter.ramp_share, cutter.diameter) == (
        pytest.approx(2032.0),
        0.4,
        pytest.approx(6.35),
    )


def test_a_feed_above_the_rapid_is_a_fault(tmp_path: Path) -> None:
    text = (SAMPLES / "coupon.toml").read_text(encoding="utf-8")
    quick = tmp_path / "quick.toml"
    quick.write_text(
        text.replace("chip_load = 0.11", "chip_load = 0.11\nfeed = 9000"), encoding="utf-8"
    )
    with pytest.raises(InputError) as caught:
        load_job(quick)
    (fault,) = caught.value.faults
    assert fault.key.endswith("feed") and "machine.rapid" in (fault.allowed or "")
