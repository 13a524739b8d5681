"""Numbers of a job that would save minutes at the machine, each tried by planning with it.

Tried are, for each cutter that is used, a faster spindle, a thicker chip and deeper layers; less
overlap of the lines; a deck that is finished no farther out than skins reach; and a groove cutter
that is listed but was not taken. Those that put another check in doubt are told and not planned.
Of the others the few with the lowest least time are planned and read back like any job. Lengths in
mm, times in minutes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from corepath.caching.store import NOTHING, Store
from corepath.errors import CorepathError
from corepath.job.model import CutterSection, Job
from corepath.lengths import Said, feed, mm
from corepath.motion.pass_name import minutes_to_stop
from corepath.planning.plan import Plan
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.progress import Progress, quiet, within
from corepath.planning.proving.proof import prove
from corepath.reported import Key, report_keys
from corepath.work.least_time.minutes import least_time
from corepath.work.least_time.waste_minutes import waste_minutes
from corepath.work.works import Work

__all__ = ["TriedNumber", "numbers"]

_PLANNED = 4
"""Numbers that are planned with: each is a whole plan."""
_MORE = 1.25
"""Factor on the feed per tooth: what a maker's range of chip loads usually spans upwards (common
practice, no source)."""
_DEEPER = 1.5
"""Factor on the depth of a layer (common practice, no source)."""
_OVERLAP = 0.1
"""Share of the diameter by which lines overlap when less is tried: as much as a spindle that is not
quite upright still leaves no step with (common practice, no source)."""
_WORTH = 0.1  # min; less is not worth a plan


@report_keys(
    "change", Key("least", places=2), Key("minutes", places=2, optional=True),
    Key("saves", places=2, optional=True), Key("against", optional=True),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class TriedNumber:
    """A number that was tried: the `change` in words, the minutes that it takes off the `least`
    time of all files, the `minutes` of the plan with it and how many it `saves`, None where it was
    not planned; `against` says what speaks against it."""

    change: str
    least: float
    minutes: float | None = None
    saves: float | None = None
    against: str = ""


@dataclass(frozen=True, slots=True)
class _Trial:
    """A change in words, and the job with it."""

    change: str
    job: Job


def numbers(
    made: Plan, *, progress: Progress = quiet, store: Store = NOTHING
) -> tuple[TriedNumber, ...]:
    """Return what comes of each number that lowers the least time, the largest saving first."""
    before = _prepared(made.prepared, made.prepared.resolved)
    usual = _least(before)
    promising: list[tuple[float, _Trial, Prepared]] = []
    found: list[TriedNumber] = []
    for trial in _trials(before, made):
        try:
            prepared = _prepared(made.prepared, trial.job)
        except CorepathError as error:
            found.append(TriedNumber(Said(trial.change), 0.0, against=Said(str(error))))
            continue
        saved = usual - _least(prepared)
        if saved < _WORTH:
            continue
        doubted = _doubted(before, prepared)
        if doubted:
            says = f"puts {', '.join(doubted)} in doubt"
            found.append(TriedNumber(Said(trial.change), saved, against=says))
        else:
            promising.append((saved, trial, prepared))
    promising.sort(key=lambda one: -round(one[0], 4))
    for k, (saved, trial, prepared) in enumerate(promising[:_PLANNED]):
        part = within(progress, k / _PLANNED, (k + 1) / _PLANNED)
        found.append(_planned(made, trial, saved, prepared, part, store))
    found += [
        TriedNumber(Said(trial.change), saved, against="not planned: others promise more")
        for saved, trial, _ in promising[_PLANNED:]
    ]
    return tuple(sorted(found, key=lambda one: -round(one.saves or 0.0, 2)))


def _planned(
    made: Plan, trial: _Trial, saved: float, prepared: Prepared, progress: Progress, store: Store
) -> TriedNumber:
    try:
        proof = prove(prepared, progress=progress, store=store)
    except CorepathError as error:
        return TriedNumber(Said(trial.change), saved, against=Said(str(error)))
    if proof.failed:
        return TriedNumber(Said(trial.change), saved, against="no plan with it is proved")
    stop = prepared.stackup.skim.planned_stop
    spent = minutes_to_stop({one.program.stem: one.minutes for one in proof.made}, stop)
    spent = round(spent, 2)  # the plan's own minutes are rounded so
    return TriedNumber(Said(trial.change), saved, spent, made.results.minutes - spent)


def _prepared(prepared: Prepared, job: Job) -> Prepared:
    """The job worked out; deck and record stay as they are."""
    # The laminates of a skin lie beside the job file and know nothing of cutters.
    plain = job.model_copy(update={"skin": None})
    return prepare_job(plain, Path(), prepared.known, prepared.board.deck)


def _least(prepared: Prepared) -> float:
    """The least minutes of all files that are run when the skim stops as planned."""
    limits, stop = prepared.job.machine.motion_limits, prepared.stackup.skim.planned_stop
    return sum(
        least_time(
            work, limits, planes=(0, stop) if work.facing and work.name == "skim" else None
        ).minutes
        for work in prepared.ahead
    )


def _doubted(before: Prepared, after: Prepared) -> list[str]:
    """Ids of the checks that hold before and not after, in their order."""
    held = {one.id for one in before.checks} - _doubts(before)
    new = {one.id for one in after.checks} - {one.id for one in before.checks}
    return [id for id in dict.fromkeys(one.id for one in after.checks)
            if id in _doubts(after) and id in held | new]  # fmt: skip


def _doubts(prepared: Prepared) -> set[str]:
    return {one.id for one in prepared.checks if one.verdict != "ok"}


def _trials(prepared: Prepared, made: Plan) -> Iterator[_Trial]:
    job = prepared.job
    used: dict[int, list[Work]] = {}
    for work in prepared.ahead:
        used.setdefault(work.cutter.number, []).append(work)
    for section in job.cutter:
        if section.number in used and section.shape != "drill":
            yield from _of_cutter(job, section, used[section.number])
    yield from _other_groove_cutters(job, prepared.ahead)
    if job.skim.overlap > _OVERLAP:
        skim = job.skim.model_copy(update={"overlap": _OVERLAP})
        change = f"skim.overlap {job.skim.overlap:g} → {_OVERLAP:g}"
        yield _Trial(change, job.model_copy(update={"skim": skim}))
    waste = waste_minutes(made.prepared.job, made.prepared.board, made.prepared.works)
    if waste is not None and not waste.given:
        deck = job.deck.model_copy(update={"beyond": waste.beyond})
        yield _Trial(f"deck.beyond {mm(waste.beyond):g}", job.model_copy(update={"deck": deck}))


def _of_cutter(job: Job, section: CutterSection, works: Sequence[Work]) -> Iterator[_Trial]:
    """A faster spindle at the same chip, a thicker chip, deeper layers."""
    name, run = f"T{section.number}", max(works, key=lambda work: work.cutting.feed).cutting
    fastest = job.machine.spindle_rpm[1]
    # An own feed is not raised by any of these.
    if section.feed is None:
        if run.rpm < fastest:
            change = f"{name} rpm {run.rpm:.0f} → {fastest:.0f}"
            yield _Trial(change, _changed(job, section, rpm=fastest))
        chip = run.feed / (section.flutes * run.rpm)
        change = f"{name} chip_load {mm(chip):.3g} → {mm(_MORE * chip):.3g}"
        yield _Trial(change, _changed(job, section, chip_load=_MORE * chip))
    else:
        change = f"{name} feed {feed(section.feed):.0f} → {feed(_MORE * section.feed):.0f}"
        yield _Trial(change, _changed(job, section, feed=_MORE * section.feed))
    depth = min(_DEEPER * run.depth, section.cutting_length)
    if depth > run.depth:
        change = f"{name} depth_a_pass {mm(run.depth):.2g} → {mm(depth):.2g}"
        yield _Trial(change, _changed(job, section, depth_a_pass=depth))


def _changed(job: Job, section: CutterSection, **update: float) -> Job:
    cutter = tuple(
        one.model_copy(update=update) if one.number == section.number else one for one in job.cutter
    )
    return job.model_copy(update={"cutter": cutter})


def _other_groove_cutters(job: Job, works: Sequence[Work]) -> Iterator[_Trial]:
    """The job without the cutter that the groove takes, so that another listed one must."""
    taken = {work.cutter.number for work in works if work.name == "groove"}
    if len(taken) != 1:
        return
    (number,) = taken
    # What other operations take must stay.
    if any(work.cutter.number == number and work.name != "groove" for work in works):
        return
    rest = tuple(one for one in job.cutter if one.number != number)
    yield _Trial(f"the groove without T{number}", job.model_copy(update={"cutter": rest}))
