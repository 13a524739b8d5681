"""The whole chain on real jobs: what is planned is written, read back as a stranger would, and
found right."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from corepath.caching.folder_store import store_of
from corepath.cli.app import app
from corepath.job.load import load_job
from corepath.job.model import DowelSection, Job
from corepath.planning.exploring.explore import explore
from corepath.planning.plan import Plan, plan
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.proving.proof import Proof, prove, written
from corepath.planning.proving.reading import read_folder
from corepath.planning.report.ridge_minutes import ridge_minutes

SAMPLES = Path(__file__).parents[2] / "samples"


def coarser(job: Job) -> Job:
    return job.model_copy(update={"deck": job.deck.model_copy(update={"scallop": 0.15})})


@pytest.fixture(scope="module")
def coupon() -> Job:
    """The sample with coarser ridges: what is asked here hangs on no ridge, and its paths are
    sooner made."""
    return coarser(load_job(SAMPLES / "coupon.toml"))


@pytest.fixture(scope="module")
def planned(coupon: Job) -> Plan:
    return plan(prepare_job(coupon, SAMPLES), store=store_of())


def with_machine(job: Job, **update: Any) -> Job:
    return job.model_copy(update={"machine": job.machine.model_copy(update=update)})


def flipped_about_y(job: Job) -> Job:
    """The same piece with its dowels on the Y axis, 37 mm beside a board 32 wide either way."""
    blank = job.blank.model_copy(update={"width": 110.0})
    dowels = tuple(
        DowelSection(at=at, diameter=5.0, depth_in_bed=7.0, stand=3.5)
        for at in ((0.0, -43.0), (0.0, 48.0))
    )
    return with_machine(job.model_copy(update={"blank": blank, "dowel": dowels}), flip_about="y")


def thicker(job: Job) -> Job:
    """With the zero on a face more contributors enter: the blank is measured closer and is
    thicker."""
    blank = job.blank.model_copy(update={"thickness": job.blank.thickness + 0.5, "tolerance": 0.05})
    return job.model_copy(update={"blank": blank})


MEANT_TO_FAIL = "It is meant to fail"


@pytest.mark.whole
@pytest.mark.usefixtures("boards_anew")
@pytest.mark.parametrize("name", sorted(path.stem for path in SAMPLES.glob("*.toml")))
def test_samples_plan_as_they_are_shipped(name: str, tmp_path: Path):
    """A sample that does not is no example. Paths and read-back are all that can withhold a plan
    that check passes; drawings and sheets are made of some of them in other tests."""
    path = SAMPLES / f"{name}.toml"
    if MEANT_TO_FAIL in path.read_text(encoding="utf-8").split("title =")[0]:
        done = CliRunner().invoke(app, ["plan", str(path), "-o", str(tmp_path / "plan")])
        assert done.exit_code == 1 and not list(tmp_path.rglob("*.nc"))
        return
    prepared = prepare(path)
    assert not prepared.failed
    proof = prove(prepared, store=store_of())
    assert (
        proof.readback is not None and [str(finding) for finding in proof.readback.findings] == []
    )
    names = {one.name for one in proof.made}
    assert {"01-A-dowels.nc", "02-A-plug-pockets.nc", "03-A-groove.nc", "05-B-skim-all.nc"} <= names
    assert {"05-B-skim-pass-1.nc", "06-B-inserts.nc", "07-C-deck-rough.nc", "08-C-deck.nc"} <= names


def test_one_sample_is_meant_to_fail():
    """Else the words in the head would have changed, and the sample that cannot be cut be held to
    plan."""
    heads = {
        path.stem: path.read_text(encoding="utf-8").split("title =")[0]
        for path in SAMPLES.glob("*.toml")
    }
    assert [name for name, head in heads.items() if MEANT_TO_FAIL in head] == ["board-1280-cupped"]


VARIANTS = {
    "zero on the face": lambda job: with_machine(
        thicker(job), z_zero="face", touch_at=(106.0, 30.0)
    ),
    "front-left": lambda job: with_machine(job, xy_zero="front-left"),
    "lines only": lambda job: with_machine(job, arcs=False),
    "exact path, m6": lambda job: with_machine(job, exact_path=True, tool_change="m6"),
    "flipped about Y": flipped_about_y,
    "flipped about Y, face, front-left": lambda job: with_machine(
        thicker(flipped_about_y(job)), z_zero="face", touch_at=(106.0, 40.0), xy_zero="front-left"
    ),
    "inch": lambda job: job.model_copy(update={"units": "inch"}),
    "first pass above the nominal blank": lambda job: job.model_copy(
        update={"skim": job.skim.model_copy(update={"step": 0.45})}
    ),
    "face flush of proud resin": lambda job: thicker(
        job.model_copy(
            update={"cast": job.cast.model_copy(update={"flush": "face", "pour_short": -0.3})}
        )
    ),
    "local flush of proud resin": lambda job: job.model_copy(
        update={"cast": job.cast.model_copy(update={"flush": "local", "pour_short": -0.3})}
    ),
    "face flush with the zero on the face": lambda job: with_machine(
        job.model_copy(
            update={
                "cast": job.cast.model_copy(update={"flush": "face", "pour_short": -0.3}),
                "blank": job.blank.model_copy(update={"thickness": 11.6, "tolerance": 0.05}),
            }
        ),
        z_zero="face",
        touch_at=(106.0, 30.0),
    ),
    "through": lambda job: job.model_copy(
        update={"insert": tuple(entry.model_copy(update={"through": True}) for entry in job.insert)}
    ),
    "straight outline": lambda job: job.model_copy(
        update={
            "outline": job.outline.model_copy(
                update={
                    "stations": None,
                    "points": ((-98, -20), (-60, -31), (60, -28), (86, 4), (70, 26), (-90, 30)),
                }
            )
        }
    ),
    "slot for a plug": lambda job: job.model_copy(
        update={
            "plug": tuple(
                entry.model_copy(update={"slot": 22.0, "angle": 30.0}) for entry in job.plug
            )
        }
    ),
}


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_capability_reads_back_clean(coupon: Job, variant: str):
    """A sign or unit wrong in one of them would cut the wrong place: the read-back derives its own
    zero."""
    proof = prove(prepare_job(VARIANTS[variant](coupon), SAMPLES), store=store_of())
    assert [check.message for check in proof.prepared.checks if check.verdict == "fail"] == []
    assert (
        proof.readback is not None and [str(finding) for finding in proof.readback.findings] == []
    )


def test_one_sign_wrong_in_a_file_is_found(planned: Plan, tmp_path: Path):
    """The plug lies off both axes: mirrored, it is cut where nothing may be."""
    planned.write(tmp_path)
    path = tmp_path / "02-A-plug-pockets.nc"
    path.write_text(path.read_text().replace(" Y", " Y-").replace("Y--", "Y"))
    kinds = set(read_folder(tmp_path).readback.findings.kinds)
    assert {"outside-area", "not-reached", "changed"} <= kinds


def test_a_folder_reads_back_like_the_plan(planned: Plan, tmp_path: Path):
    """What is on disk, and only that, gives the same measures."""
    planned.write(tmp_path)
    reading = read_folder(tmp_path)
    assert not reading.failed
    assert reading.prepared.digest == planned.prepared.digest
    assert [m.value for m in reading.measures] == [m.value for m in planned.readback.measures]


@pytest.mark.usefixtures("boards_anew")
def test_the_same_job_gives_the_same_bytes(coupon: Job, planned: Plan):
    """Else paper and file could not be matched by their digest."""
    assert plan(prepare_job(coupon, SAMPLES)).files == planned.files


def test_report_has_the_keys_that_others_rely_on(planned: Plan):
    report = json.loads(planned.files["report.json"])
    assert {
        "plan",
        "checks",
        "operations",
        "skim",
        "pour",
        "readback",
        "schema",
        "blank",
        "flip_about",
        "castings",
    } <= set(report)
    for check in report["checks"]:
        assert {"id", "verdict", "value", "worst", "rss", "limit", "unit", "says", "where"} <= set(
            check
        )
    for operation in report["operations"]:
        assert {
            "file",
            "setup",
            "name",
            "cutter",
            "zero",
            "minutes",
            "order",
            "sha256",
            "lines",
            "extents",
            "rpm",
            "feed",
        } <= set(operation)
        assert set(operation["cutter"]) >= {"shape", "diameter", "corner_radius"}
        assert planned.files[operation["file"]].count("\n") == operation["lines"]
    assert [o["file"] for o in report["operations"] if o.get("combined")] == ["05-B-skim-all.nc"]
    assert report["skim"]["planned_stop"] == report["skim"]["latest"] == 3
    assert {c["id"] for c in report["castings"]} == {"groove", "P1"}


def test_the_skim_serves_every_stop(planned: Plan):
    """One file a pass down to the lowest plane, and one with a stop after each from the first sight
    on. Two more stand in it before the spindle turns: its cutter is fitted, and seen on the way
    down, since the groove was cut with another."""
    skims = [one for one in planned.made if one.program.name == "skim"]
    skim = planned.prepared.stackup.skim
    assert len(skims) == len(skim.planes) + 1
    before, cutting = skims[-1].text.split(" M3\n", 1)
    stops = [re.findall(r"\(MSG, (\w+)", part) for part in re.split(r"(?m)^M0$", before)]
    assert stops == [["Fit"], ["Tip"], []]
    # what is cut up to each stop ends on the plane of a pass, the first one that of first sight
    cuts = re.split(r"(?m)^M0$", cutting)
    lowest = [min(map(float, re.findall(r"Z(-?[\d.]+)", cut)), default=None) for cut in cuts]
    assert lowest == pytest.approx(skim.planes[skim.first_stop - 1 :], abs=1e-4)


def test_failed_checks_write_no_program(coupon: Job, planned: Plan, tmp_path: Path):
    """And the earlier files must not lie there as if they were good."""
    planned.write(tmp_path)
    (tmp_path / "my-notes.txt").write_text("mine")
    thin = coupon.model_copy(update={"blank": coupon.blank.model_copy(update={"thickness": 9.0})})
    failed = plan(prepare_job(thin, SAMPLES))
    assert failed.failed and not failed.made
    written = failed.write(tmp_path)
    assert list(tmp_path.glob("*.nc")) == []
    assert {path.name for path in (tmp_path / "withdrawn").iterdir()} == {
        one.name for one in planned.made
    }
    assert set(written.withdrawn) == {one.name for one in planned.made}
    assert (tmp_path / "my-notes.txt").read_text() == "mine"


def thin(job: Job, accept: float | None = None) -> Job:
    """On a blank so thin that window and casting fail; it comes out all the same in 99 of 100."""
    blank = job.blank.model_copy(update={"thickness": 9.66})
    tolerances = job.tolerances.model_copy(update={"accept": accept})
    return job.model_copy(update={"blank": blank, "tolerances": tolerances})


def test_despite_failures_says_so_in_every_head(coupon: Job):
    made = written(prepare_job(thin(coupon), SAMPLES), despite_failures=True, store=store_of())
    programs = [one.text for one in (*made.made, *made.walks)]
    assert made.failed and programs
    assert all("DO NOT CUT" in text.splitlines()[0] for text in programs)


def test_a_risk_that_the_job_accepts_is_named_in_every_file_and_page(coupon: Job, tmp_path: Path):
    """Files are written and read back clean; the folder is read with the same risk."""
    made = plan(prepare_job(thin(coupon, 0.95), SAMPLES), store=store_of())
    programs = [text for name, text in made.files.items() if name.endswith(".nc")]
    risk = "(Risk accepted: comes out in 99 of 100, these checks fail: window, shows)"
    assert not made.failed and {text.splitlines()[0] for text in programs} == {risk}
    assert "Risk accepted: comes out in 99 of 100" in made.files["preview.html"]
    assert "RISK ACCEPTED" in made.files["sheet.html"]
    assert "DO NOT CUT" not in made.files["sheet.html"]
    assert made.report["accepted"] == ["window", "shows"]
    made.write(tmp_path)
    again = read_folder(tmp_path)
    assert not again.failed and again.prepared.accepted == ("window", "shows")


def test_one_cutter_more_is_tried_by_planning_with_it(
    planned: Plan, monkeypatch: pytest.MonkeyPatch
):
    """A facing cutter of 50 does skim and deck in fewer minutes, one of 8 the groove 11 wide; a
    larger ball would not be taken, and a plan that fails saves nothing. The read-back of such plans
    is that of any plan."""
    asked: list[Proof] = []

    def without_reading(prepared: Prepared, **more: Any) -> Proof:
        asked.append(written(prepared, store=more["store"]))
        return asked[-1]

    monkeypatch.setattr("corepath.planning.exploring.explore.prove", without_reading)
    flat, ball, groove = explore(planned, store=store_of())
    assert "flat D50" in flat.cutter and {"skim", "deck"} <= set(flat.used_for)
    assert "ball D25" in ball.cutter and ball.used_for == () and ball.saves == 0.0
    assert "flat D8" in groove.cutter and "groove" in groove.used_for and groove.saves > 0.1
    stop = asked[0].prepared.stackup.skim.planned_stop
    run = [
        one.minutes
        for one in asked[0].made
        if one.work.name != "skim"
        or any(one.name == f"05-B-skim-pass-{k}.nc" for k in range(stop + 1))
    ]
    assert flat.minutes == pytest.approx(sum(run), abs=0.006) and flat.saves > 0.5
    assert flat.saves == pytest.approx(planned.results.minutes - flat.minutes)

    checks = tuple(replace(one, verdict="fail") for one in planned.prepared.checks[:1])
    failed = Proof(replace(planned.prepared, checks=checks))
    monkeypatch.setattr("corepath.planning.exploring.explore.prove", lambda *_, **__: failed)
    assert [(one.against, one.saves) for one in explore(planned)] == [
        ("a check fails with it: window", 0.0), ("", 0.0), ("a check fails with it: window", 0.0),
    ]  # fmt: skip


def test_higher_ridges_cost_fewer_minutes(planned: Plan):
    """Lines of a ball or of chords stand apart as the root of the ridge: four times as high, at
    most twice as far apart, so at least half the minutes are left."""
    (deck,) = [one for one in planned.made if one.name == "08-C-deck.nc"]
    rows = ridge_minutes(planned.prepared, planned.made, deck.minutes)
    assert [round(one.scallop, 3) for one in rows] == [0.15, 0.3, 0.6]
    assert rows[0].minutes == deck.minutes and not rows[0].estimate
    minutes = [one.minutes for one in rows]
    assert minutes == sorted(minutes, reverse=True) and minutes[2] >= 0.49 * minutes[0]
    # told only where the deck takes over a third of all
    assert ridge_minutes(planned.prepared, planned.made, 8.0 * deck.minutes) == ()


def test_no_word_of_a_file_is_past_the_travel(planned: Plan):
    """The check `travel` works from the blank; the written extents must not pass what it
    allowed."""
    machine = planned.prepared.job.machine
    for one in planned.made:
        for axis, ends in enumerate(one.extents):
            assert ends[1] - ends[0] <= machine.travel[axis], one.name
