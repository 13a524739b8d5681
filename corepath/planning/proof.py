"""Make the files of a plan and read them back: what it stands or falls by, without any drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from corepath.caching.store import NOTHING, Store
from corepath.planning.make import MadeFile, make_files, written_file
from corepath.planning.prepare import Prepared
from corepath.planning.progress import Progress, quiet, within
from corepath.planning.reading import read_files, shop_of
from corepath.planning.rehearsal import Rehearsal, rehearsals
from corepath.readback.result import ReadBack
from corepath.readback.words.rehearsed import check_rehearsals
from corepath.work.checks.limit_checks import travel_check

__all__ = ["Proof", "prove"]


@dataclass(frozen=True, slots=True)
class Proof:
    """The files of a plan and their read-back; `prepared` has the check `travel` as the files need
    it. Without files where a check had failed already."""

    prepared: Prepared
    made: tuple[MadeFile, ...] = ()
    readback: ReadBack | None = None
    walks: tuple[Rehearsal, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether a check failed or the read-back found something."""
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
    """Make all files of a prepared job and read them back.

    `despite_failures`: each head then names what failed. `steps` keeps the blank before and after
    each file, for the preview. Paths come from `store` where that has them; what the files are read
    back for never does. Raises CorepathError where no path can be found.
    """
    made = make_files(prepared, within(progress, 0.1, 0.45), store)
    spanned = _with_travel(prepared, made)
    # Only the written files tell how far they travel. The paths stay, but now each head must say
    # that it fails.
    if despite_failures and spanned.failed and not prepared.failed:
        made = tuple(written_file(spanned, one.work, one.program) for one in made)
    texts = {one.name: one.text for one in made}
    readback = read_files(spanned, texts, within(progress, 0.45, 0.75), steps=steps)
    walks = rehearsals(spanned, made)
    walked = {one.name: one.text for one in walks}
    readback.findings.extend(
        check_rehearsals(spanned.ahead, shop_of(spanned), walked, readback.travelled)
    )
    return Proof(spanned, made, readback, walks)


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
