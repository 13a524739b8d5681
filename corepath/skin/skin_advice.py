"""What to change so that the skin lies down: each value is found by trying it, on a deck built
again.

A change of one key is looked for on values of a workshop's fineness (blend by 5 mm, radius by 10
mm, thickness by 0.05 mm). Thickness and radius are found by halving, blend by steps of a quarter
upwards and then back, since a deck does not grow gentler all the way: where a crease begins to be
rounded it is rougher again. A trial for a fail leaves out the membrane, which never fails, one for
a caution takes it coarser; what is found is then judged in full. Where no single key passes, a
wider blend is tried with a larger radius. Nothing is advised that was not seen to pass.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from shapely import Polygon

from corepath.board.deck.make_deck import build_deck
from corepath.board.deck.surface import DeckSurface
from corepath.errors import InputError
from corepath.geometry.step_counts import fewest_steps
from corepath.job.model import Job
from corepath.lengths import Said, mm
from corepath.reported import Key, report_keys
from corepath.skin.bending import bend
from corepath.skin.checks import skin_checks
from corepath.skin.plate import bending_pressure
from corepath.skin.study import SkinStudy, study_skin
from corepath.skin.terms import BAG, SkinCover, laminate_of

__all__ = ["Option", "SkinAdvice", "advise_skin", "changed"]

_BLEND, _RADIUS, _THICKNESS, _PRESSURE = 5.0, 10.0, 0.05, 0.05  # mm, pressure in bar
_WIDER = 3.0  # times the blend of the job, at most
_MOST_RADIUS = 4.0  # times the radius at which bending alone reaches its limit
_LEAST_THICKNESS = 0.2  # mm
_GROWTH = 0.25  # each try of a blend is larger by this share of the last
_MOST_SMOOTH = 120.0  # mm
_TRIAL_STEP = 10.0  # mm of the membrane's lattice in a trial; what is found is judged on a fine one
_RANK = {"ok": 0, "caution": 1, "fail": 2}

Passes = Callable[[Mapping[str, float]], bool]


@report_keys(Key("values", places=None), "verdict", Key("says", "words"))
@dataclass(frozen=True, slots=True)
class Option:
    """Values by key of the job that pass together, in mm (pressure in bar), and the verdict they
    then get; `highest` is the finished board at its thickest, mm, where the deck was built again,
    `thickness` what the job asks for."""

    values: Mapping[str, float]
    verdict: str
    highest: float | None
    thickness: float

    @property
    def words(self) -> str:
        said = " with ".join(
            f"{key} = {_typed(key, value):g}" for key, value in self.values.items()
        )
        if self.values.get("skin.pressure", 0.0) > BAG:
            said += " (a press, no vacuum bag)"
        # Less than 0.05 would print as no difference.
        if self.highest is not None and self.highest < self.thickness - 0.05:
            said += f" (the board then reaches {mm(self.highest):.1f~})"
        return Said(said)


def _typed(key: str, value: float) -> float:
    """A value as it is typed: lengths in the job's units."""
    return value if key in ("skin.pressure", "skin.modulus") else mm(value)


@dataclass(frozen=True, slots=True)
class SkinAdvice:
    """Options, each of which passes by itself; none where nothing needs fixing or nothing tried
    passes."""

    options: tuple[Option, ...]
    needed: bool

    @property
    def fix(self) -> str:
        if not self.needed:
            return ""
        if not self.options:
            return (
                "no single change that was tried passes: gentler stations and a wider blend, or a "
                "skin laid up in place"
            )
        return "; or ".join(option.words for option in self.options)


def changed(job: Job, values: Mapping[str, float]) -> Job:
    """Returns `job` with `values` by key, such as "deck.blend"."""
    for key, value in values.items():
        section, name = key.split(".")
        job = job.model_copy(
            update={section: getattr(job, section).model_copy(update={name: value})}
        )
    return job


def advise_skin(
    job: Job, deck: DeckSurface, outline: Polygon, study: SkinStudy, folder: Path | None = None
) -> SkinAdvice:
    """Returns what would let the skin of `job` pass: without a fail where it fails, else without a
    caution.

    `deck` and `study` are those of the job as it is; `folder` holds the file of a deck that comes
    from one.
    """
    rank = _rank(study)
    if not rank:
        return SkinAdvice((), needed=False)
    goal = 1 if rank == 2 else 0

    def passes(values: Mapping[str, float]) -> bool:
        trial = changed(job, values)
        try:
            built = _deck(trial, values, deck, outline, folder)
        except InputError:
            return False
        if goal == 1:
            return not _fails(trial, built, study.cover)
        return _rank(study_skin(trial, built, study.cover, _TRIAL_STEP)) <= goal

    def found(values: Mapping[str, float] | None) -> list[Option]:
        if values is None:
            return []
        trial = changed(job, values)
        built = _deck(trial, values, deck, outline, folder)
        judged = _rank(study_skin(trial, built, study.cover))
        verdict = next(word for word, number in _RANK.items() if number == judged)
        return (
            [Option(values, verdict, None if built is deck else built.highest, job.core_thickness)]
            if judged <= goal
            else []
        )

    rounder = None if study.bending.hollow else _rounder(job, passes)  # a ball rounds crowns alone
    options = (
        found(_wider(job, passes, outline, {})) + found(rounder) + found(_thinner(job, passes))
    )
    if not options:
        options = found(_both(job, passes, outline))
    return SkinAdvice(tuple(options + found(_pressed(study, passes))), needed=True)


def _fails(trial: Job, deck: DeckSurface, cover: SkinCover) -> bool:
    """Whether a row of the check would fail."""
    assert trial.skin is not None
    skin = laminate_of(trial.skin)
    if bending_pressure(deck, cover, skin).most.value > skin.bar:
        return True
    return bend(deck, cover, skin).strain.value > skin.strain_limit


def _rank(study: SkinStudy) -> int:
    return max(_RANK[check.verdict] for check in skin_checks(study))


def _deck(
    trial: Job,
    values: Mapping[str, float],
    deck: DeckSurface,
    outline: Polygon,
    folder: Path | None,
) -> DeckSurface:
    return (
        build_deck(trial, outline, folder)
        if any(key.startswith("deck.") for key in values)
        else deck
    )


def _wider(
    job: Job, passes: Passes, outline: Polygon, more: Mapping[str, float]
) -> dict[str, float] | None:
    if job.deck.stations is None:
        return _smoother(job, passes)
    # a blend wider than half the board never reaches full thickness
    x0, y0, x1, y1 = outline.bounds
    room = min(x1 - x0, y1 - y0) / 2.0 - job.deck.edge_band
    most = min(max(room, job.deck.blend), _WIDER * job.deck.blend)
    return _upwards(
        lambda n: {**more, "deck.blend": n * _BLEND}, job.deck.blend / _BLEND, most / _BLEND, passes
    )


def _smoother(job: Job, passes: Passes) -> dict[str, float] | None:
    """For a deck from a file: smoothed over a wider length."""
    key = "mesh_smooth" if job.deck.mesh is not None else "grid_smooth"
    now = float(getattr(job.deck, key))
    return _upwards(
        lambda n: {f"deck.{key}": n * _BLEND}, now / _BLEND, _MOST_SMOOTH / _BLEND, passes
    )


def _rounder(job: Job, passes: Passes) -> dict[str, float] | None:
    assert job.skin is not None
    most = _MOST_RADIUS * job.skin.thickness / (2.0 * job.skin.strain_limit)
    now = job.deck.least_radius
    return _first(
        lambda n: {"deck.least_radius": n * _RADIUS}, now / _RADIUS, most / _RADIUS, passes
    )


def _thinner(job: Job, passes: Passes) -> dict[str, float] | None:
    assert job.skin is not None
    now = job.skin.thickness / _THICKNESS
    least = fewest_steps(_LEAST_THICKNESS, _THICKNESS)
    top = fewest_steps(now, 1.0)
    return _first(
        lambda n: {"skin.thickness": round((top - n) * _THICKNESS, 4)},
        0.0,
        float(top - least),
        passes,
    )


def _both(job: Job, passes: Passes, outline: Polygon) -> dict[str, float] | None:
    """A wider blend with the largest radius that is tried."""
    assert job.skin is not None
    radius = (
        math.floor(_MOST_RADIUS * job.skin.thickness / (2.0 * job.skin.strain_limit) / _RADIUS)
        * _RADIUS
    )
    if radius <= job.deck.least_radius:
        return None
    return _wider(job, passes, outline, {"deck.least_radius": radius})


def _pressed(study: SkinStudy, passes: Passes) -> dict[str, float] | None:
    """More pressure, where that alone passes."""
    need = max(study.most_all.value, study.pressure.most.value)
    if need <= study.skin.bar:
        return None
    values = {"skin.pressure": round(math.ceil(need * 1.05 / _PRESSURE) * _PRESSURE, 4)}
    return values if passes(values) else None


def _upwards(
    values: Callable[[int], dict[str, float]], now: float, most: float, passes: Passes
) -> dict[str, float] | None:
    """The first of the whole numbers above `now` that passes, by growing steps, then the least
    within its step."""
    # upwards and not by halving, which needs that everything beyond the first to pass passes too
    before, high = math.floor(now + 1e-9), math.floor(most + 1e-9)
    while before < high:
        number = min(before + max(1, round(before * _GROWTH)), high)
        if passes(values(number)):
            return next(
                values(n) for n in range(before + 1, number + 1) if n == number or passes(values(n))
            )
        before = number
    return None


def _first(
    values: Callable[[int], dict[str, float]], now: float, most: float, passes: Passes
) -> dict[str, float] | None:
    """Of the whole numbers above `now` up to `most` one that passes while the one before it does
    not."""
    low, high = math.floor(now + 1e-9), math.floor(most + 1e-9)
    if high <= low or not passes(values(high)):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if passes(values(middle)):
            high = middle
        else:
            low = middle
    return values(high)
