"""`corepath plan --watch`: plan again whenever the job or a file that it names is saved, and show
the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corepath.cli.commands.edit import server_class
from corepath.cli.guard import fault_text, faults_of, say
from corepath.cli.progress_line import Progress, showing

if TYPE_CHECKING:
    from corepath.planning.folder.plan_folder import Written
    from corepath.planning.plan import Plan

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
    from corepath.editing.plans.plan_loop import PlanLoop
    from corepath.errors import Fault, InputError

    job = watched.job
    if not job.is_file():
        raise InputError(
            [Fault("", "there is no such file", file=str(job), allowed="an existing TOML file")]
        )
    told = _Told(watched)
    plans = PlanLoop(watched.folder, told.planned)
    server = server_class("corepath plan --watch")(job, watched.port, plans)
    thread = server.start()
    try:
        say(f"Watching {job}. Open {server.sheet} in a browser on this machine; Ctrl-C ends.")
        plans.run()
    except KeyboardInterrupt:
        say(f"\n{_farewell(watched.folder, told.last)}")
    finally:
        server.stop()
        thread.join()


class _Told:
    """Makes plans, and tells the terminal of each; `last` is the digest of the last one."""

    def __init__(self, watched: Watched) -> None:
        self._watched = watched
        self.last = ""

    def planned(self, told: Progress) -> dict[str, Any]:
        """Make one plan; faults leave the files unchanged. Return what a page is told of it."""
        from corepath.editing.plans.plan_loop import Superseded
        from corepath.editing.plans.plan_run import came_out

        watched = self._watched
        try:
            with showing(watched.quiet) as bar:
                made, written = _planned(watched, told, bar)
        except (Superseded, KeyboardInterrupt):
            raise
        except Exception as error:
            text = fault_text(faults_of(error), watched.job, "; the files stay as they were")
            say(f"\n{text}", error=True)
            message: dict[str, Any] = {"state": "failed", "says": text}
        else:
            say(_told(made, written, watched, not self.last))
            message = came_out(made, written, watched.folder)
            self.last = made.prepared.digest
        if not watched.quiet:
            say("Waiting for the next save.")
        return message


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


def _farewell(folder: Path, plan: str) -> str:
    return (
        f"No longer watching; {folder} holds plan {plan}."
        if plan
        else "No longer watching; nothing was planned."
    )
