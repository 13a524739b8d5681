"""A risk that a job accepts: which checks, at which odds, and what never."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from scipy.stats import binomtest

from corepath.job.load import load_job
from corepath.job.text.resolved import from_resolved, resolved_dict
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.report.checks_report import checks_report
from corepath.stackup.checks.verdict import Check, Verdict
from corepath.stackup.odds.acceptance import accepted_ids
from corepath.stackup.odds.odds import Odds, lower_bound

SAMPLES = Path(__file__).parents[2] / "samples"

MAY = [
    "window",
    "floor",
    "shows",
    "clean-up",
    "fill",
    "seat",
    "wood-over-seat",
    "barrel",
    "registration",
]
NEVER = [
    "hold",
    "dowels",
    "spacing",
    "reach",
    "travel",
    "opens",
    "chip-load",
    "deflection",
    "power",
    "rim-speed",
    "collet",
    "screws",
    "held",
    "spoil-board",
    "uncut",
    "web",
    "beyond",
    "obstacles",
    "skin",
]


def verdict(name: str, found: Verdict = "fail") -> Check:
    return Check(name, found, 0.0, -0.1, 0.0, 0.0, "mm", "", "")


def odds(at_least: float) -> Odds:
    return Odds(at_least + 0.004, at_least, at_least, 20_000, ())


@pytest.mark.parametrize("name", MAY)
def test_a_failed_depth_is_accepted_at_its_odds(name: str) -> None:
    checks = (verdict("skin", "caution"), verdict(name), verdict(name))
    assert accepted_ids(checks, 0.9, odds(0.9)) == (name,)


@pytest.mark.parametrize("name", NEVER)
def test_what_guards_tool_and_hand_is_never_accepted(name: str) -> None:
    """Not alone, and not beside what may be: then nothing is."""
    assert accepted_ids((verdict(name),), 0.9, odds(0.999)) == ()
    assert accepted_ids((verdict("floor"), verdict(name)), 0.9, odds(0.999)) == ()


def test_the_share_alone_does_not_do_where_its_lower_bound_falls_short() -> None:
    checks = (verdict("floor"),)
    assert odds(0.8999).share > 0.9 and accepted_ids(checks, 0.9, odds(0.8999)) == ()
    assert accepted_ids(checks, None, odds(0.999)) == ()
    assert accepted_ids((verdict("floor", "caution"),), 0.9, odds(0.999)) == ()


@pytest.mark.parametrize("good", [0, 1, 9_980, 18_060, 19_976, 20_000])
def test_the_lower_bound_is_the_score_interval_of_scipy(good: int) -> None:
    """Its two-sided 90 % interval has the one-sided 95 % bound; the exact one (Clopper and Pearson)
    lies within 0.0005 of it for so many cores."""
    found = binomtest(good, 20_000)
    ours = lower_bound(good, 20_000)
    assert ours == pytest.approx(found.proportion_ci(0.90, "wilson").low, abs=2e-6)
    assert ours == pytest.approx(found.proportion_ci(0.90, "exact").low, abs=5e-4)


@pytest.fixture(scope="module")
def risky() -> Prepared:
    """The coupon with a floor asked for that it does not have: no core is spoiled by that."""
    job = load_job(SAMPLES / "coupon.toml")
    groove = job.groove.model_copy(update={"least_floor": 1.1})
    tolerances = job.tolerances.model_copy(update={"accept": 0.98})
    return prepare_job(job.model_copy(update={"groove": groove, "tolerances": tolerances}), SAMPLES)


def test_verdicts_stay_and_report_and_job_carry_what_is_accepted(risky: Prepared) -> None:
    """Also the job as resolved, from which a folder is read back."""
    report = checks_report(risky)
    assert {one["id"] for one in report["checks"] if one["verdict"] == "fail"} == {"floor"}
    assert report["accepted"] == ["floor"] and not risky.failed
    assert report["verdict"]["answer"] == "accepted" and report["odds"]["at_least"] >= 0.98
    again = prepare_job(from_resolved(resolved_dict(risky.resolved)), SAMPLES)
    assert again.accepted == ("floor",) and again.digest == risky.digest


def test_a_check_that_fails_later_takes_the_acceptance_back(risky: Prepared) -> None:
    """Only the written files tell how far they travel."""
    checks = tuple(
        replace(one, verdict="fail") if one.id == "travel" else one for one in risky.checks
    )
    assert replace(risky, checks=checks).failed
    assert replace(risky, checks=checks).accepted == ()
