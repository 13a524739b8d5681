"""What the tool proposes must pass when it is taken, and what it calls impossible must fail."""

import math
from pathlib import Path
from typing import Any

import pytest
from shapely import Point
from shapely.affinity import translate

from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job

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
    # what then to change is told by fixes, which were tried
    assert not any("least blank" in line for line in prepared.advice.lines())


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


def test_each_of_several_plugs_is_sent_to_the_nearest_of_all_places(job: Job):
    """A round and a long plug: as going over every place with every other shape says, one by one.
    What is near a place is found once for both, and by a disc within the plug at first."""
    one = job.plug[0]
    round_ = one.model_copy(update={"at": ((-10.0, 8.0), (-40.0, 8.0))})
    long = one.model_copy(
        update={"name": "Q", "at": ((-24.0, -12.0),), "slot": 24.0, "angle": 15.0}
    )
    cast = job.cast.model_copy(update={"pour_short": 0.6})
    prepared = prepare_job(job.model_copy(update={"plug": (round_, long), "cast": cast}), SAMPLES)
    board, advised = prepared.board, prepared.advice.plugs
    room = job.limits.spacing - 1e-6
    (x0, y0, x1, y1) = board.island.bounds
    lattice = [
        (float(x), float(y))
        for x in range(math.ceil(x0), math.floor(x1) + 1, 4)
        for y in range(math.ceil(y0), math.floor(y1) + 1, 4)
        if board.island.contains(Point(x, y))
    ]
    assert len(advised) == 3 and not any(plug.fits for plug in advised)
    assert any(plug.at is not None for plug in advised)
    for plug in advised:
        area = next(casting.area for casting in board.castings if casting.id == plug.id)
        middle = area.centroid
        others = [casting.area for casting in board.castings if casting.id != plug.id]
        others += [place.seat.area for place in board.places]

        def will_do(at: tuple[float, float]) -> bool:
            moved = translate(area, at[0] - middle.x, at[1] - middle.y)  # noqa: B023
            return (
                board.deck.highest_over(moved)[0] <= plug.deck_limit  # noqa: B023
                and moved.within(board.island)
                and min(moved.distance(other) for other in others) >= room  # noqa: B023
            )

        near = sorted(lattice, key=lambda at: round(math.dist(at, (middle.x, middle.y)), 3))
        assert plug.at == next(filter(will_do, near), None)


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
