"""`corepath plan --watch`: plan again whenever the job or a file that it names is saved, and show
the sheet."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from corepath.cli.guard import fault_text, faults_of, say
from corepath.cli.progress_line import Progress, showing

if TYPE_CHECKING:
    from corepath.planning.folder.plan_folder import Written
    from corepath.planning.plan import Plan
    from corepath.watching import Changes, NoticeBoard

__all__ = ["Watched", "keep_planning"]


@dataclass(frozen=True, slots=True)
class Watched:
    """What is planned, into which folder, and how; `port` is None for any free one."""

    job: Path
    folder: Path
    port: int | None = None
    despite_failures: bool = False
    stl: bool = False
    quiet: bool = False
    cache: bool = True
    cores: int | None = None


def keep_planning(watched: Watched) -> None:
    """Plan and serve until Ctrl-C. Raises InputError where there is no job, or the port is not
    free."""
    from corepath.errors import Fault, InputError
    from corepath.planning.progress import quiet
    from corepath.watching import Changes, NoticeBoard, inputs_of, keep_making, serving

    job = watched.job
    if not job.is_file():
        raise InputError(
            [Fault("", "there is no such file", file=str(job), allowed="an existing TOML file")]
        )
    board, stop = NoticeBoard(), threading.Event()
    with serving(watched.folder, board, watched.port) as server:
        say(f"Watching {job}. Open {server.url} in a browser on this machine; Ctrl-C ends.")
        changes = Changes(lambda: inputs_of(job))
        try:
            keep_making(
                lambda progress: _make(watched, board, changes, progress),
                changes,
                progress=quiet,
                stop=stop,
            )
        except KeyboardInterrupt:
            say(f"\n{_farewell(watched.folder, board)}")


def _make(watched: Watched, board: NoticeBoard, changes: Changes, told: Progress) -> None:
    """Make one plan; faults go to the terminal and to the page, and leave the files unchanged."""
    from corepath.watching import Superseded

    board.begin()
    first = board.notice.number == 0
    try:
        with showing(watched.quiet) as bar:
            made, written = _planned(watched, told, bar)
    except (Superseded, KeyboardInterrupt):
        raise
    except Exception as error:
        faults = faults_of(error)
        text = fault_text(faults, watched.job, "; the files stay as they were")
        board.failed([text])
        say(f"\n{text}", error=True)
    else:
        board.planned(made.prepared.digest)
        say(_told(made, written, watched, first))
    if not watched.quiet:
        say("Waiting for the next save.")


def _planned(watched: Watched, told: Progress, bar: Progress) -> tuple[Plan, Written]:
    from corepath.caching.folder_store import store_of
    from corepath.planning.plan import plan
    from corepath.planning.prepare import prepare
    from corepath.planning.progress import within
    from corepath.planning.side_by_side import usable_cores

    def both(message: str, share: float) -> None:
        told(message, share)
        bar(message, share)

    prepared = prepare(watched.job, within(both, 0.0, 0.1))
    made = plan(
        prepared,
        progress=both,
        despite_failures=watched.despite_failures,
        bodies=watched.stl,
        store=store_of(watched.cache),
        cores=watched.cores or usable_cores(),
    )
    # The last chance to be superseded before anything is written.
    both("writing", 1.0)
    return made, made.write(watched.folder)


def _told(made: Plan, written: Written, watched: Watched, first: bool) -> str:
    """Return the whole report the first time, later what has changed and what is not OK."""
    from corepath.cli.tables.paragraphs import check_remarks, finding_lines, wrapped
    from corepath.cli.tables.plan_text import plan_text
    from corepath.lengths import units_of

    if first and not watched.quiet:
        return f"\n{plan_text(made, written, watched.folder, watched.despite_failures)}\n"
    programs = written.programs
    changed = [name for name in programs if name not in written.unchanged]
    units = units_of(made.prepared.job.units)
    parts = [f"\nPlan {made.prepared.digest}: {check_remarks(made.checks, units=units)}"]
    if made.findings:
        parts.append(finding_lines(made.findings, units=units))
    if not programs:
        parts.append("No G-code was written; that of the earlier plan is in withdrawn/ or done/.")
    elif changed:
        parts.append(wrapped(f"New or other motions: {', '.join(changed)}"))
    else:
        parts.append("All G-code has the same motions as before.")
    return "\n".join(parts)


def _farewell(folder: Path, board: NoticeBoard) -> str:
    plan = board.notice.plan
    return (
        f"No longer watching; {folder} holds plan {plan}."
        if plan
        else "No longer watching; nothing was planned."
    )
