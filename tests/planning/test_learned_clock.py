"""Acceleration and corner time from minutes at a machine whose limits nobody told: on files that
were not fitted the minutes then hold."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.caching.store import NOTHING
from corepath.cli.app import app
from corepath.job.record.ascut import load_record, record_path
from corepath.motion.clock import Limits
from corepath.planning.learning.clock_fit import fit_clock
from corepath.planning.learning.timed_files import minutes_of_record, timed_files
from corepath.planning.make import make_files
from corepath.planning.prepare import prepare
from tests.planning.simulated_machine import SimulatedMachine

SAMPLES = Path(__file__).parents[2] / "samples"
FITTED = (
    "01-A-dowels.nc", "03-A-groove.nc", "05-B-skim-pass-1.nc", "07-C-deck-rough.nc",
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Limits]:
    """The coupon's files in the folder of a plan, a job beside it, and the limits of the job."""
    at = tmp_path_factory.mktemp("timed")
    job = at / "coupon.toml"
    job.write_text((SAMPLES / "coupon.toml").read_text(encoding="utf-8"), encoding="utf-8")
    prepared = prepare(job)
    plan = at / "coupon-plan"
    plan.mkdir()
    for one in make_files(prepared, store=NOTHING):
        if "-all" not in one.name:
            (plan / one.name).write_text(one.text, encoding="utf-8")
    (plan / "report.json").write_text(
        '{"job_file": "coupon.toml", "skim": {"planes": [9.9, 9.4, 8.9, 8.4]}, "operations": []}',
        encoding="utf-8",
    )
    return plan, prepared.job.machine.motion_limits


def _drawn(chance: random.Random, rapid: float) -> SimulatedMachine:
    """A machine from slow to quick that passes corners, or stands at sharp ones."""
    settle = chance.choice((0.0, chance.uniform(0.02, 0.2)))
    accel = math.exp(chance.uniform(math.log(100.0), math.log(1500.0)))
    return SimulatedMachine(accel, chance.uniform(0.01, 0.04), settle, rapid)


def test_minutes_hold_on_files_that_were_not_fitted(folder: tuple[Path, Limits]) -> None:
    """Within 5 % on every other file, for six machines whose acceleration, corners and deviation
    the planner does not know; by the job's own limits the worst is off by more than a fifth."""
    plan, limits = folder
    texts = {one.name: one.read_text(encoding="utf-8") for one in sorted(plan.glob("*.nc"))}
    every, missing = timed_files(plan, dict.fromkeys(texts, 1.0))
    assert not missing and len(every) == len(texts)
    chance, unfitted = random.Random(20261130), 0.0
    for _ in range(6):
        machine = _drawn(chance, limits.rapid)
        took = {name: round(machine.minutes(text), 2) for name, text in texts.items()}
        files, _ = timed_files(plan, {name: took[name] for name in FITTED})
        fit = fit_clock(files, limits)
        assert fit is not None
        for one in every:
            if one.name in FITTED:
                continue
            assert one.clock(fit.limits) == pytest.approx(took[one.name], rel=0.05), machine
            unfitted = max(unfitted, abs(one.clock(limits) / took[one.name] - 1.0))
    assert unfitted > 0.2


def test_a_file_stopped_by_hand_is_told_and_not_believed(folder: tuple[Path, Limits]) -> None:
    """Ten minutes at a coffee beside three files that agree."""
    plan, limits = folder
    machine = SimulatedMachine(250.0, 0.02, 0.0, limits.rapid)
    took = {name: machine.minutes((plan / name).read_text(encoding="utf-8")) for name in FITTED}
    took["03-A-groove.nc"] += 10.0
    fit = fit_clock(timed_files(plan, took)[0], limits)
    assert fit is not None and not fit.sure and abs(fit.worst.off) > 0.05


def test_one_file_tells_the_acceleration_alone(folder: tuple[Path, Limits]) -> None:
    plan, limits = folder
    machine = SimulatedMachine(180.0, 0.02, 0.0, limits.rapid)
    name = "03-A-groove.nc"
    took = round(machine.minutes((plan / name).read_text(encoding="utf-8")), 2)
    fit = fit_clock(timed_files(plan, {name: took})[0], limits)
    assert fit is not None and not fit.sure and fit.limits.corner_time == 0.0
    assert fit.limits.accel == pytest.approx(180.0, rel=0.1)
    assert fit_clock((), limits) is None


def test_recorded_minutes_tell_what_to_type(
    folder: tuple[Path, Limits], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Through the command, with a file that is cut already and one that is gone; a slip changes
    nothing."""
    plan, limits = folder
    monkeypatch.chdir(plan.parent)
    machine = SimulatedMachine(250.0, 0.02, 0.0, limits.rapid)
    words = []
    for name in FITTED:
        took = machine.minutes((plan / name).read_text(encoding="utf-8"))
        words += ["--minutes", name.removesuffix(".nc"), f"{took:.2f}"]
    (plan / "done").mkdir()
    (plan / FITTED[0]).rename(plan / "done" / FITTED[0])
    run = CliRunner().invoke
    told = run(app, ["record", "coupon.toml", "-q", *words, "--minutes", "08-C-deck-2", "3.0"])
    assert told.exit_code == 0, told.output
    said = " ".join(told.output.split())
    assert "08-C-deck-2.nc is not in the folder of the last plan" in said
    found = float(said.partition("accel = ")[2].split()[0])
    assert found == pytest.approx(250.0, rel=0.05) and "corner_time = 0 (the job has 0)" in said
    held = record_path(Path("coupon.toml")).read_bytes()
    assert len(minutes_of_record(load_record(record_path(Path("coupon.toml"))))) == 5
    for wrong in ("03-A-grove 2", "03-A-groove -1", "03-A-groove x", "03-A-groove 2000"):
        bad = run(app, ["record", "coupon.toml", "--minutes", *wrong.split()])
        assert bad.exit_code == 2 and "nothing has been written" in bad.output, bad.output
    assert record_path(Path("coupon.toml")).read_bytes() == held
    (plan / "done" / FITTED[0]).rename(plan / FITTED[0])
