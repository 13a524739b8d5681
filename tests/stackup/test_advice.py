"""What the tool proposes must pass when it is taken, and what it calls impossible must fail."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corepath.cli.tables.stackup_tables import suggestion_lines
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.questions import _against, suggestion
from corepath.stackup.advice.suggest import (
    EFFECTS,
    Suggestion,
    _beside,
    _held_margins,
    _least_change,
    suggest,
)
from tests.given import suggested_job

SAMPLES = Path(__file__).parents[2] / "samples"
DEPTHS = {"window", "floor", "shows", "clean-up"}


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(SAMPLES / "coupon.toml")


def changed(job: Job, section: str, **update: Any) -> Job:
    return job.model_copy(update={section: getattr(job, section).model_copy(update=update)})


def failing(prepared: Prepared) -> set[str]:
    return {check.id for check in prepared.checks if check.verdict != "ok"} & DEPTHS


@pytest.mark.whole
def test_every_floor_within_the_range_passes_and_none_beyond(job: Job):
    low, high = prepare_job(job, SAMPLES).advice.floors
    assert low < high
    for floor, good in (
        (low + 0.001, True),
        (high - 0.001, True),
        (low - 0.01, False),
        (high + 0.01, False),
    ):
        assert (failing(prepare_job(changed(job, "groove", floor=floor), SAMPLES)) == set()) is good


def test_the_least_blank_just_passes(job: Job):
    """With the best floor for it; a tenth thinner no floor does."""
    advice = prepare_job(job, SAMPLES).advice
    least = prepare_job(changed(job, "blank", thickness=advice.least_blank + 0.001), SAMPLES)
    assert least.advice.possible
    floor = sum(least.advice.floors) / 2
    both = changed(
        changed(job, "blank", thickness=advice.least_blank + 0.001), "groove", floor=floor
    )
    assert failing(prepare_job(both, SAMPLES)) == set()
    assert not prepare_job(
        changed(job, "blank", thickness=advice.least_blank - 0.1), SAMPLES
    ).advice.possible


def test_a_core_too_thick_for_its_blank_names_the_least_blank(job: Job):
    """A case from practice (common practice, no source): 10.2 for a 9.5 core leaves 0.4 for the
    floor."""
    thick = changed(
        changed(job, "board", thickness=9.5),
        "deck",
        stations=((-100.0, 9.5), (88.0, 9.5)),
        clean_up=0.3,
    )
    thick = changed(thick, "deck", edge_band=7.0, least_radius=5.0)
    prepared = prepare_job(
        changed(changed(thick, "blank", thickness=10.2), "groove", floor=0.4), SAMPLES
    )
    assert "floor" in failing(prepared)
    assert not prepared.advice.possible
    assert prepared.advice.least_blank > 10.6
    assert any("least blank" in line for line in prepared.advice.lines())


def test_a_plug_is_sent_to_where_it_can_be_filled(job: Job):
    """In the middle of a thick deck a plug cannot; where the advice puts it, it can."""
    plug = job.plug[0].model_copy(update={"at": ((-10.0, 8.0),)})
    cast = job.cast.model_copy(update={"pour_short": 0.6})
    moved = job.model_copy(update={"plug": (plug,), "cast": cast})
    (advice,) = prepare_job(moved, SAMPLES).advice.plugs
    assert not advice.fits
    assert advice.at is not None
    there = moved.model_copy(update={"plug": (plug.model_copy(update={"at": (advice.at,)}),)})
    fills = [
        c for c in prepare_job(there, SAMPLES).checks if c.id == "fill" and c.where.startswith("P1")
    ]
    assert [check.verdict for check in fills] == ["ok"]


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_a_plug_is_sent_to_a_place_that_can_be_typed_and_is_free(job: Job, units: str):
    """Told in whole mm or hundredths of an inch, the place must do as it is told: it was rounded
    by up to half a mm. Nor may it lie where Z is touched on the face, which such a job refuses."""
    plug = job.plug[0].model_copy(update={"at": ((-10.0, 8.0),)})
    cast = job.cast.model_copy(update={"pour_short": 0.6})
    moved = job.model_copy(update={"plug": (plug,), "cast": cast, "units": units})
    (advice,) = prepare_job(moved, SAMPLES).advice.plugs
    unit = 1.0 if units == "mm" else 0.254
    assert [c / unit for c in advice.at] == pytest.approx([round(c / unit) for c in advice.at])
    face = changed(moved, "machine", z_zero="face", touch_at=advice.at)
    (other,) = prepare_job(face, SAMPLES).advice.plugs
    assert other.at is not None
    clear = math.dist(other.at, advice.at) - plug.diameter / 2
    assert clear >= job.limits.spacing - 0.01
    there = plug.model_copy(update={"at": (other.at,)})
    checks = prepare_job(face.model_copy(update={"plug": (there,)}), SAMPLES).checks
    assert {c.verdict for c in checks if c.id in ("fill", "spacing")} == {"ok"}


@pytest.mark.parametrize("floor", [0.7, 1.2, 1.6])
def test_the_suggestion_passes(job: Job, floor: float):
    """Whatever the job says now: the values printed must make it pass, none a hair short."""
    prepared = prepare_job(changed(job, "groove", floor=floor), SAMPLES)
    suggestion = suggest(prepared.stackup, prepared.checks)
    assert suggestion.passes
    after = prepare_job(suggested_job(prepared.job, suggestion), SAMPLES)
    assert {check.id for check in after.checks if check.verdict != "ok"} == set()
    margins = [check.worst - check.limit for check in after.checks if check.id in DEPTHS]
    assert min(margins) == pytest.approx(suggestion.least_margin, abs=0.03)


def test_the_suggestion_is_no_worse_than_any_floor_tried(job: Job):
    """Solved, so no set on a grid about it may do better."""
    prepared = prepare_job(job, SAMPLES)
    best = suggest(prepared.stackup, prepared.checks).least_margin
    for floor in (1.0, 1.1, 1.2):
        for step in (0.4, 0.5, 0.6):
            tried = prepare_job(
                changed(changed(job, "groove", floor=floor), "skim", step=step), SAMPLES
            )
            assert min(c.worst - c.limit for c in tried.checks if c.id in DEPTHS) <= best + 0.011


def test_no_values_pass_on_a_blank_too_thin(job: Job):
    prepared = prepare_job(changed(job, "blank", thickness=8.9), SAMPLES)
    suggestion = suggest(prepared.stackup, prepared.checks)
    assert not suggestion.passes and suggestion.least_margin < -0.05


def as_cut(job: Job, **settled: Any) -> Prepared:
    return prepare_job(job, SAMPLES, Known(settled=Settled(**settled)))


def thinner(job: Job, thickness: float) -> Job:
    """The same core, planed down as a whole from the deck side."""
    by = job.board.thickness - thickness
    stations = tuple((x, round(t - by, 6)) for x, t in job.deck.stations or ())
    lower = changed(job, "board", thickness=thickness, edge_thickness=job.board.edge_thickness - by)
    return changed(lower, "deck", stations=stations)


CUT = frozenset({"dowels", "plug-pockets", "groove"})
DOWELS = frozenset({"dowels"})


def test_a_cut_groove_keeps_its_floor(job: Job):
    """What is still to be had of a groove too shallow passes; a tenth more, and it does not.

    A floor that can no longer be cut, or a plug's other place, is no advice.
    """
    shallow = {
        "cut": CUT,
        "groove_depth": ((-100.0, 0.0, 8.1),),
        "fill": {"groove": 0.5, "P1": 0.5},
    }
    prepared = as_cut(job, **shallow)
    advice = prepared.advice
    assert (
        not advice.possible
        and advice.floors is None
        and advice.least_blank is None
        and advice.plugs == ()
    )
    assert not any("groove.floor" in line for line in advice.lines())
    assert as_cut(thinner(job, round(advice.thickest_core - 0.002, 3)), **shallow).advice.possible
    given = as_cut(thinner(job, round(advice.thickest_core - 0.002, 3)), **shallow)
    assert failing(given) & {"window", "shows", "clean-up"} == set()
    assert "window" in failing(as_cut(thinner(job, advice.thickest_core + 0.6), **shallow))
    assert failing(as_cut(thinner(job, advice.thickest_core + 0.1), **shallow)) != set()


def test_a_groove_not_yet_poured_can_be_cut_deeper(job: Job):
    """By what is missing it passes; wood of at least least_floor must stay under it, else it is not
    offered."""
    advice = as_cut(job, cut=CUT, groove_depth=((-100.0, 0.0, 8.1),)).advice
    (deeper,) = advice.deeper
    assert deeper.can and deeper.id == "groove"
    again = as_cut(job, cut=CUT, groove_depth=((-100.0, 0.0, round(8.1 + deeper.by + 0.002, 3)),))
    assert again.advice.possible and failing(again) == set()
    thin = changed(job, "blank", thickness=9.5)
    (thinly,) = [
        d
        for d in as_cut(thin, cut=CUT, groove_depth=((-100.0, 0.0, 7.2),)).advice.deeper
        if d.id == "groove"
    ]
    assert not thinly.can and thinly.leaves < 0.6
    poured = as_cut(job, cut=CUT, groove_depth=((-100.0, 0.0, 8.1),), fill={"groove": 0.5}).advice
    assert [found.can for found in poured.deeper] == [False]


def test_after_the_skim_the_core_hangs_on_its_stop(job: Job):
    """At plane 8.9 with 0.4 of clean-up wanted: 8.9 - 0.36 - 0.4, all errors against it (see
    docs/arithmetic.md)."""
    stopped = {"cut": CUT, "stop": 4, "stop_plane": 8.9}
    advice = as_cut(job, **stopped).advice
    assert advice.thickest_core == pytest.approx(8.9 - 0.36 - 0.4, abs=1e-3)
    assert failing(as_cut(thinner(job, round(advice.thickest_core - 0.002, 3)), **stopped)) == set()
    assert "clean-up" in failing(as_cut(thinner(job, advice.thickest_core + 0.01), **stopped))


@pytest.mark.parametrize(
    ("settled", "free"),
    [
        ({"cut": DOWELS}, {"groove.floor", "cast.pour_short", "skim.step", "deck.clean_up",
        "insert.recess"}),
        ({"cut": CUT}, {"cast.pour_short", "skim.step", "deck.clean_up", "insert.recess"}),
        ({"cut": CUT, "fill": {"groove": 0.5}}, {"deck.clean_up", "skim.step", "insert.recess"}),
        ({"cut": CUT, "stop": 4, "stop_plane": 8.9}, {"deck.clean_up", "insert.recess"}),
        ({"cut": CUT | {"inserts", "deck"}, "stop": 4, "stop_plane": 8.9}, set()),
    ],
)  # fmt: skip
def test_only_what_is_not_cut_is_suggested(job: Job, settled: dict[str, Any], free: set[str]):
    """A value that can no longer be chosen is no help; those that can still must pass when
    taken."""
    prepared = as_cut(job, **settled)
    suggestion = suggest(prepared.stackup, prepared.checks)
    assert set(suggestion.values) == free
    assert suggestion.passes
    after = as_cut(suggested_job(job, suggestion), **settled)
    assert {check.id for check in after.checks if check.verdict != "ok"} == set()


def spared(job: Job) -> dict[str, float]:
    """By check: what is left beyond its limit in the worst case, where there is least."""
    least: dict[str, float] = {}
    for check in prepare_job(job, SAMPLES).checks:
        least[check.id] = min(least.get(check.id, 1e9), check.worst - check.limit)
    return least


@pytest.fixture(scope="module")
def as_it_is(job: Job) -> dict[str, float]:
    return spared(job)


@pytest.mark.parametrize("key", sorted({key for effects in EFFECTS.values() for key in effects}))
def test_effects_are_those_that_the_checks_show(job: Job, as_it_is: dict[str, float], key: str):
    """A sign wrong in the table would have the tool suggest what makes it worse."""
    section, name = key.split(".")
    old, by = getattr(job, section), 0.02
    if isinstance(old, tuple):
        moved = tuple(one.model_copy(update={name: getattr(one, name) + by}) for one in old)
        other = spared(job.model_copy(update={section: moved}))
    else:
        other = spared(changed(job, section, **{name: getattr(old, name) + by}))
    for check, effects in EFFECTS.items():
        wanted = effects.get(key, 0.0)
        if (check, key) == ("fill", "groove.floor"):
            wanted = 0.025  # 2 % of the depth before the gel, 0.5 % after
        assert (other[check] - as_it_is[check]) / by == pytest.approx(wanted, abs=0.02), check


def test_a_suggestion_that_no_value_can_make_pass_names_what_fails(job: Job):
    """Dowel 1 at X-113, 5 wide, leaves 120 - 113 - 2.5 = 4.5 of wood to the blank's edge: with 20
    asked for no depth helps, and the suggestion said "these values pass" all the same."""
    apart = prepare_job(changed(job, "limits", spacing=20.0), SAMPLES)
    found = suggestion(apart)
    assert found.deep_enough and not found.passes
    assert [line.partition(",")[0] for line in found.against] == ["spacing"]
    assert "These values pass" not in suggestion_lines(found, "mm")
    assert suggestion(prepare_job(job, SAMPLES)).passes


def test_a_suggested_value_that_the_job_file_refuses_is_no_suggestion(job: Job):
    """A floor 0.05 above the raw top of the blank, 10.6, cuts nothing."""
    prepared = prepare_job(job, SAMPLES)
    against = _against(prepared, Suggestion({"groove.floor": 10.65}, 0.3))
    assert against == ["groove.floor: the floor lies above the raw top: nothing would be cut"]


@pytest.mark.parametrize(
    ("section", "name", "wanted"),
    [
        ("deck", "clean_up", (1.0, 1.0)),  # all planes rise by as much
        ("skim", "step", (0.0, 1.0)),  # the planned stop is one step above the lowest pass
        ("cast", "pour_short", (-1.0, 0.0)),
        ("groove", "floor", (0.02, 0.0)),  # the resin loses 2 % of the depth before it gels
    ],
)
def test_what_holds_in_b_and_opens_bores_moves_as_the_program_thinks(
    job: Job, section: str, name: str, wanted: tuple[float, float]
):
    """Height of the casting in B at the lowest pass; room of a blind bore below the planned one."""
    by = 0.02
    moved = changed(job, section, **{name: getattr(getattr(job, section), name) + by})
    now = [margin for _, margin in _beside(prepare_job(job, SAMPLES).stackup)]
    then = [margin for _, margin in _beside(prepare_job(moved, SAMPLES).stackup)]
    for before, after, slope in zip(now, then, wanted, strict=True):
        assert (after - before) / by == pytest.approx(slope, abs=0.02)


def test_margins_that_hold_each_other_down_are_solved_all_the_same():
    """Three sets of margins, found by trying some thousands, on which each program after the first
    was called infeasible: a margin was held to within what the solver takes for equal."""
    names = (
        "groove.floor",
        "deck.clean_up",
        "skim.step",
        "cast.pour_short",
        "insert.recess",
        "dowel.stand",
    )
    ids = (
        "window",
        "floor",
        "shows",
        "clean-up",
        "fill",
        "fill",
        "seat",
        "wood-over-seat",
        "barrel",
        "dowels",
    )
    rows = [np.array([EFFECTS[id].get(name, 0.0) for name in names]) for id in ids]
    rows.append(np.array([1.0 if name == "deck.clean_up" else 0.0 for name in names]))
    low = np.array([0.2, 0.2, 0.1, 0.1, 0.0, 2.0])
    high = np.array([10.2, 2.0, 1.0, 2.0, 2.0, 10.2])
    cases = {
        0.1: [0.185, 0.903, 0.176, -0.16934137347770994, -0.03489388052601916, -0.167,
        0.5611817070027457, 0.751,
              -0.192, -0.222, -0.1597636177940438],
        0.05: [0.20571356377555672, 0.155, -0.073, -0.3678390714439792, 0.595, -0.5417598252205741,
        -0.447,
               0.5439990281766248, -0.441, 0.64, 0.10801415826104133],
        0.0: [0.137, -0.5371730445843762, 0.58, 0.178, 0.33, 0.015, -0.09240043170737311, 0.025,
        -0.041, -0.492,
              -0.1388516834971551],
    }  # fmt: skip
    for step, base in cases.items():
        now = np.array([0.25, 0.05, step, 0.3, 0.3, 3.5])
        bounds = [(float(a), float(b)) for a, b in zip(low - now, high - now, strict=True)]
        held, least = _held_margins(rows, base, bounds)
        moves = _least_change(rows, base, bounds, held)
        margins = [float(row @ moves) + start for row, start in zip(rows, base, strict=True)]
        assert min(margins) == pytest.approx(least, abs=1e-4)
        assert all(a - 1e-6 <= move <= b + 1e-6 for (a, b), move in zip(bounds, moves, strict=True))
