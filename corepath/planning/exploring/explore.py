"""What one cutter more would save: the job is planned with it, and nothing of that is written.

Minutes are those of the files that are run when the skim stops as planned. A plan with a cutter
that is not there is read back like any other: one that fails saves nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from corepath.caching.store import NOTHING, Store
from corepath.errors import CorepathError
from corepath.job.model import CutterSection, Job
from corepath.lengths import Said, mm
from corepath.motion.pass_name import minutes_to_stop
from corepath.planning.plan import Plan
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.progress import Progress, quiet, within
from corepath.planning.proving.proof import Proof, prove
from corepath.reported import Key, report_keys
from corepath.work.cutting.pairs import BESIDE

__all__ = ["Explored", "explore"]

_GROOVE = (16.0, 12.0, 10.0, 8.0, 6.0)
"""Diameters, mm, of flat cutters that shops have (common practice, no source): the largest that
leaves room in the groove for a finishing lap is tried, where none as large fits and is listed."""

_ADDED: tuple[dict[str, object], ...] = (
    {"shape": "flat", "diameter": 50.0, "flutes": 3, "cutting_length": 20.0, "stick_out": 40.0},
    {"shape": "ball", "diameter": 25.0, "flutes": 2, "cutting_length": 35.0, "stick_out": 45.0},
)
"""Cutters that a shop may buy for a deck: a facing cutter and a large ball (sizes: common practice,
no source). Feeds and speeds come from the table of cutting data."""


@report_keys(
    "cutter", Key("minutes", places=2), Key("saves", places=2), "used_for",
    Key("against", optional=True),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Explored:
    """A cutter that was tried: `cutter` in words, the `minutes` of the plan with it, how many it
    `saves`, the operations `used_for`; `against` says why there is no plan with it."""

    cutter: str
    minutes: float
    saves: float
    used_for: tuple[str, ...]
    against: str = ""


def explore(
    made: Plan, *, progress: Progress = quiet, store: Store = NOTHING
) -> tuple[Explored, ...]:
    """Plans the job of a plan once more with each of a few cutters added, and returns what comes of
    it; a size that the job lists already, or larger, is left out."""
    added = list(_added(made.prepared.resolved))
    return tuple(
        _tried(made, section, within(progress, k / len(added), (k + 1) / len(added)), store)
        for k, section in enumerate(added)
    )


def _added(job: Job) -> Iterator[CutterSection]:
    number = max(cutter.number for cutter in job.cutter) + 1
    for sizes in _ADDED:
        section = CutterSection.model_validate({"number": number, **sizes})
        listed = (one.diameter for one in job.cutter if one.shape == section.shape)
        if section.diameter > max(listed, default=0.0):
            yield section
    # Beside it the allowance, and a share of it so that a finishing lap makes the walls.
    fit = (job.groove.width - 2.0 * job.milling.finish_allowance) / (1.0 + BESIDE)
    largest = next((one for one in _GROOVE if one <= fit), 0.0)
    listed = (one.diameter for one in job.cutter if one.shape == "flat" and one.diameter <= fit)
    if largest > max(listed, default=0.0):
        yield CutterSection.model_validate(
            {"number": number, "shape": "flat", "diameter": largest, "flutes": 2,
             "cutting_length": 3.0 * largest, "stick_out": 4.0 * largest}
        )  # fmt: skip


def _tried(made: Plan, section: CutterSection, progress: Progress, store: Store) -> Explored:
    before, words = made.results.minutes, _words(section)
    try:
        prepared = _with(made.prepared, section)
        used = tuple(dict.fromkeys(
            work.name for work in prepared.ahead if work.cutter.number == section.number
        ))  # fmt: skip
        if not used:
            return Explored(words, before, 0.0, ())
        proof = prove(prepared, progress=progress, store=store)
    except CorepathError as error:
        return Explored(words, before, 0.0, (), Said(str(error)))
    if proof.failed:
        return Explored(words, before, 0.0, used, _against(proof))
    stop = prepared.stackup.skim.planned_stop
    minutes = minutes_to_stop({one.program.stem: one.minutes for one in proof.made}, stop)
    # the plan's own minutes are rounded so
    minutes = round(minutes, 2)
    return Explored(words, minutes, before - minutes, used)


def _with(prepared: Prepared, section: CutterSection) -> Prepared:
    """Return the job worked out with one cutter more; deck and record stay as they are."""
    # The laminates of a skin lie beside the job file and know nothing of cutters.
    job = prepared.resolved.model_copy(
        update={"cutter": (*prepared.resolved.cutter, section), "skin": None}
    )
    return prepare_job(job, Path(), prepared.known, prepared.board.deck)


def _against(proof: Proof) -> str:
    failed = [check.id for check in proof.prepared.checks if check.verdict == "fail"]
    if proof.prepared.failed:
        return f"a check fails with it: {', '.join(dict.fromkeys(failed))}"
    return "the read-back finds something with it"


def _words(section: CutterSection) -> str:
    return Said(
        f"{section.shape} D{mm(section.diameter):g}, {section.flutes} flutes, edges "
        f"{mm(section.cutting_length):g}, stick-out {mm(section.stick_out):g}"
    )
