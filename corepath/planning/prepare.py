"""Work out everything that is known of a job before any path is made: geometry, stack-up, works,
checks, advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from corepath.board.deck.surface import DeckSurface
from corepath.board.displaced import displaced
from corepath.board.features import Board
from corepath.board.make_board import collect_faults
from corepath.errors import Fault, InputError
from corepath.job.load import check_source
from corepath.job.model import Job
from corepath.job.record.ascut import record_path
from corepath.job.record.settled import Settled
from corepath.job.tables.threads import fit_cautions
from corepath.job.text.resolved import digest
from corepath.job.text.shop_file import joined
from corepath.job.text.source import Source, key_of, locate, read_source
from corepath.kept import Kept
from corepath.layup.curve import rocker_faults
from corepath.layup.off_cradle import off_cradle_lines
from corepath.lengths import said_all
from corepath.planning.known import Known, read_known
from corepath.planning.progress import Progress, quiet
from corepath.planning.report.after_layup import layup_cautions
from corepath.planning.report.job_skin import SkinFound, find_skin, skin_beside
from corepath.skin.terms import pressure_cautions
from corepath.stackup import Check, Stackup, build_stackup, depth_checks, place_checks
from corepath.stackup.advice.remedies import Advice, advise
from corepath.stackup.checks.stop_doubts import stop_doubts
from corepath.stackup.make_stackup import withhold
from corepath.stackup.odds.acceptance import accepted_ids, odds_if_needed
from corepath.stackup.odds.odds import Odds
from corepath.stackup.pour.fills import fill_lines
from corepath.stackup.pour.voids import resin_cautions
from corepath.work import Work, feed_checks, hole_checks, limit_checks
from corepath.work.checks.holding_checks import holding_checks, screws_below
from corepath.work.checks.hole_checks import hole_checks_at
from corepath.work.checks.laid_checks import laid_checks, skin_reach
from corepath.work.cutting.cutters import cutter_faults
from corepath.work.one_touch import touch_cautions
from corepath.work.unbroken import works_left

__all__ = ["Prepared", "prepare", "prepare_job", "prepare_source"]


@dataclass(frozen=True, slots=True)
class Prepared:
    """A job that can be planned: `checks` in the order of the table, `digest` names job, blank and
    record.

    `resolved` is the job as it is written to `job.resolved.json`: an outline from a DXF file is
    held as points and a mesh or grid by its digest, so that the folder of a plan needs no other
    file. `works` are all works of the job, also those in `done`, whose operation has been cut
    according to the record. `file` is the name of the job file, for commands to type.
    """

    job: Job
    resolved: Job
    known: Known
    board: Board
    stackup: Stackup
    works: tuple[Work, ...]
    checks: tuple[Check, ...]
    digest: str
    skin: SkinFound | None = None
    file: str = "JOB.toml"
    odds: Odds | None = None
    """How likely the core comes out, where `tolerances.accept` hangs on it."""
    of_shop: frozenset[str] = frozenset()
    """Keys and tables that stand in the shop file, which other jobs share."""

    @property
    def failed(self) -> bool:
        """Whether a check fails that the job does not accept: nothing is to be cut then."""
        return not self.accepted and any(check.verdict == "fail" for check in self.checks)

    @property
    def accepted(self) -> tuple[str, ...]:
        """The ids of the failed checks whose risk `tolerances.accept` takes."""
        return accepted_ids(self.checks, self.job.tolerances.accept, self.odds)

    @property
    def done(self) -> frozenset[str]:
        """Names of the operations that have been cut; a recorded stop means that the skim has, and
        a deck that it was roughed. A deck that was cut too high is still to be cut."""
        return _done(self.known.settled)

    @property
    def ahead(self) -> tuple[Work, ...]:
        """The works still to cut."""
        return tuple(work for work in self.works if work.name not in self.done)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Cautions, in plain words, what went wrong first: voids and leaks, the blank, stops that
        are not offered, what is not made after lay-up, doubts about the record, pressure, touches,
        hardware and deck."""
        blank, laid = self.stackup.heights.blank.cautions, layup_cautions(self.job, self.board)
        laid = (*laid, *off_cradle_lines(self.job, self.board))
        found = (
            *resin_cautions(self.known.settled, self.file),
            *(*blank, *self.stackup.withheld, *laid, *self.doubts),
            *pressure_cautions(self.job),
            *touch_cautions(self.job, self.stackup, self.works),
        )
        return said_all((*found, *fit_cautions(self.job), *self.board.deck.source.cautions))

    @property
    def doubts(self) -> tuple[str, ...]:
        """Measurements in the record that contradict its stop, in plain words. Nothing is planned
        until they are corrected."""
        return stop_doubts(self.stackup.heights, self.stackup.skim)

    def refuse_contradictions(self) -> None:
        """Raise InputError where the recorded stop contradicts what was measured after it: then no
        path can be trusted."""
        file = record_path(Path(self.file)).name
        allowed = "corepath record --correct N with the right figure, or --withdraw N"
        if self.doubts:
            raise InputError(
                [Fault("stop", says, allowed=allowed, file=file) for says in self.doubts]
            )

    @property
    def fills(self) -> tuple[str, ...]:
        """Whether each fill that was measured is high enough, and what fixes a low one."""
        return fill_lines(self.stackup, self.known.settled)

    @property
    def advice(self) -> Advice:
        return advise(self.stackup, self.board)


def _done(settled: Settled) -> frozenset[str]:
    skimmed = {"skim"} if settled.stopped else set()
    roughed = {"deck-rough"} if "deck" in settled.cut else set()
    again = {"deck"} if settled.shift_of("deck")[2] > 0.0 else set()
    return (settled.cut | skimmed | roughed) - again


def prepare(path: Path, progress: Progress = quiet) -> Prepared:
    """Read a job file, the measured blank and the record, and work everything out up to the checks.

    Raises InputError with all faults found, those of the files and those of the geometry together.
    """
    progress("reading the job", 0.0)
    source, faults = read_source(path)
    if source is None:
        raise InputError(faults)
    return prepare_source(source, path, progress)


def prepare_source(
    source: Source, path: Path, progress: Progress = quiet, kept: Kept | None = None
) -> Prepared:
    """Do the same, and raise the same, from the text of a job that need not be in its file, `path`,
    yet; `kept` as in `prepare_job`."""
    source, of_shop = joined(source)
    job, faults = check_source(source)
    faults = locate([*of_shop, *faults], source)
    if job is None:
        raise InputError(faults)
    known, more = read_known(job, path)
    faults += more
    # Faults of the files do not end it here: the geometry is tried too, so that the user sees all
    # faults in one run.
    try:
        prepared = prepare_job(job, path.parent, known, progress=progress, kept=kept)
    except InputError as error:
        # the geometry does not know the lines of the job file
        raise InputError(locate([*faults, *error.faults], source)) from None
    if faults:
        raise InputError(faults)
    of_shop_file = frozenset(map(key_of, source.origins))
    return replace(prepared, file=path.name, of_shop=of_shop_file)


def prepare_job(
    job: Job,
    folder: Path,
    known: Known | None = None,
    deck: DeckSurface | None = None,
    progress: Progress = quiet,
    kept: Kept | None = None,
) -> Prepared:
    """Work everything out from a checked job, as `prepare` does from a file.

    The files that it names lie in `folder`. A `deck` that is known already, as from a plan's
    folder, is used instead of reading its file. `kept` holds parts of the board from jobs before
    (`corepath.planning.engine`). Raises InputError with all faults of the geometry.
    """
    known, listed = known or Known(), job
    job = job.with_cutters(known.settled.coupon_diameter)
    progress("outline and deck", 0.1)
    board, faults = collect_faults(job, folder, deck, kept)
    faults += rocker_faults(job)
    if board is None:
        raise InputError([*faults, *cutter_faults(job)])
    board = displaced(job, board, known.settled)
    with skin_beside(job, board, folder, 1 if kept is None else kept.cores) as begun:
        progress("stack-up", 0.4)
        stack = build_stackup(job, board, known.blank(job), known.settled)
        progress("what each operation must reach", 0.5)
        done = _done(known.settled)
        works, unfit = works_left(job, board, stack, done)
        # A reserve pass below the planned stop is offered only where it spoils nothing, and that
        # also depends on the works; these in turn follow the last pass offered, so they are built
        # again.
        offered = withhold(stack, lambda _, plane: _spoilt_works(job, stack, works, plane))
        if offered is not stack:
            stack = offered
            works, unfit = works_left(job, board, stack, done)
        faults = [*faults, *unfit]
        if faults:
            raise InputError(faults)
        progress("checks", 0.65)
        skin = find_skin(job, board, skin_reach(job, works), folder, begun)
    checks = (
        *depth_checks(stack),
        *place_checks(stack, board),
        *limit_checks(job, works),
        *hole_checks(job, stack, works),
        *holding_checks(job, board, stack, works),
        *laid_checks(job, board, works),
        *feed_checks(job, works),
        *(skin.checks if skin is not None else ()),
    )
    # The job as listed, without the cutters' measured diameters: those belong to the record, and
    # reading the folder back applies them again.
    resolved = _resolved(listed, board)
    record: dict[str, Any] = known.as_dict()
    named = digest(resolved, record)
    odds = odds_if_needed(checks, stack, board)
    return Prepared(job, resolved, known, board, stack, works, checks, named, skin, odds=odds)


def _spoilt_works(
    job: Job, stack: Stackup, works: Sequence[Work], plane: float
) -> tuple[Check, ...]:
    """Return the checks of a reserve pass at height `plane` that need the works: screw heads below
    it, and through bores in the bed."""
    bored = [work for work in works if work.setup == "B"]
    return *hole_checks_at(job, stack, bored, plane), *screws_below(job, stack, works, plane)


def _resolved(job: Job, board: Board) -> Job:
    if board.deck.source.sha256 is not None:
        job = job.model_copy(
            update={"deck": job.deck.model_copy(update={"sha256": board.deck.source.sha256})}
        )
    if job.outline.dxf is None:
        return job
    points = tuple((float(x), float(y)) for x, y in board.outline.exterior.coords[:-1])
    taken_out = {"dxf": None, "layer": None, "dxf_units": None, "points": points, "smooth": False}
    return job.model_copy(update={"outline": job.outline.model_copy(update=taken_out)})
