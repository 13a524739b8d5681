"""Make the files of a plan and read them back: what it stands or falls by, without any drawing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from corepath.caching.store import NOTHING, Store
from corepath.planning.make import MadeFile, make_files, written_file
from corepath.planning.prepare import Prepared
from corepath.planning.progress import Progress, quiet, within
from corepath.planning.proving.reading import read_plan, shop_of
from corepath.planning.proving.reading_cases import Tried
from corepath.planning.proving.rehearsal import Rehearsal, rehearsals
from corepath.planning.proving.touch_files import TouchFiles, read_touches, touch_files
from corepath.readback.plan_files import PlanFiles
from corepath.readback.result import ReadBack
from corepath.readback.words.rehearsed import check_rehearsals
from corepath.work.checks.limit_checks import travel_check

__all__ = ["Proof", "judged", "prove", "written"]


@dataclass(frozen=True, slots=True)
class Proof:
    """The files of a plan and their read-back; `prepared` has the check `travel` as the files need
    it. Without files where a check had failed already."""

    prepared: Prepared
    made: tuple[MadeFile, ...] = ()
    readback: ReadBack | None = None
    walks: tuple[Rehearsal, ...] = ()
    touches: TouchFiles = field(default_factory=TouchFiles)

    @property
    def plan_files(self) -> PlanFiles:
        """Its files as they are read back."""
        return PlanFiles({one.name: one.text for one in self.made})

    @property
    def failed(self) -> bool:
        """Whether a check failed that the job does not accept, or the read-back found something."""
        return self.prepared.failed or (
            self.readback is not None and bool(len(self.readback.findings))
        )


def prove(
    prepared: Prepared,
    *,
    progress: Progress = quiet,
    despite_failures: bool = False,
    steps: bool = False,
    store: Store = NOTHING,
) -> Proof:
    """Make all files of a prepared job and read them back: `written`, then `judged`."""
    made = written(
        prepared,
        progress=within(progress, 0.0, 0.5),
        despite_failures=despite_failures,
        store=store,
    )
    return judged(made, made.plan_files, progress=within(progress, 0.5, 1.0), steps=steps)


def written(
    prepared: Prepared,
    *,
    progress: Progress = quiet,
    despite_failures: bool = False,
    store: Store = NOTHING,
) -> Proof:
    """Make all files of a prepared job; nothing is read back yet.

    `despite_failures`: each head then names what failed. Paths come from `store` where that has
    them; what is found of the files never does. Raises CorepathError where no path can be found.
    """
    made = make_files(prepared, progress, store)
    spanned = _with_travel(prepared, made)
    # Only the written files tell how far they travel. The paths stay, but now each head must say
    # that it fails.
    if despite_failures and spanned.failed and not prepared.failed:
        made = tuple(written_file(spanned, one.work, one.program) for one in made)
    return Proof(spanned, made, walks=rehearsals(spanned, made), touches=touch_files(spanned))


def judged(
    proof: Proof,
    files: PlanFiles,
    *,
    progress: Progress = quiet,
    steps: bool = False,
    tried: Callable[[], Tried] | None = None,
) -> Proof:
    """Return the proof with what the read-back says of its `files`.

    `steps` keeps the blank before and after each file, for the preview; `tried` as for
    `read_plan`.
    """
    readback = read_plan(proof.prepared, files, progress, steps=steps, tried=tried)
    walked = {one.name: one.text for one in proof.walks}
    shop = shop_of(proof.prepared)
    readback.findings.extend(
        check_rehearsals(proof.prepared.ahead, shop, walked, readback.travelled)
    )
    felt = {one.name: one.text for one in proof.touches.files}
    readback.findings.extend(read_touches(proof.prepared, shop, felt))
    return replace(proof, readback=readback)


def _with_travel(prepared: Prepared, made: Sequence[MadeFile]) -> Prepared:
    """Return `prepared` with the check `travel` judged by the extents of the written files.

    Before there are paths it is judged by the works, which do not know entries and links.
    """
    if not made:
        return prepared
    spans = {}
    for one in made:
        x, y, z = (high - low for low, high in one.extents)
        spans[one.program.stem] = (x, y, z)
    travel = travel_check(prepared.job, spans)
    return replace(
        prepared,
        checks=tuple(travel if check.id == "travel" else check for check in prepared.checks),
    )
