"""`corepath plan`: checks, G-code, read-back, drawings and report of one job, in one folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from corepath.cli.completing import jobs
from corepath.cli.guard import as_json, end, guarded, say

if TYPE_CHECKING:
    from corepath.planning import Plan, Written

__all__ = ["plan", "plan_text"]


def plan(
    job: Annotated[
        Path,
        typer.Argument(
            metavar="JOB.toml", help="The job file.", show_default=False, autocompletion=jobs
        ),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            metavar="DIR",
            help="Folder to write; NAME-plan if not given.",
            show_default=False,
        ),
    ] = None,
    despite_failures: Annotated[
        bool,
        typer.Option(
            "--despite-failures", help="Write G-code although a check failed, and say so in it."
        ),
    ] = False,
    stl: Annotated[
        bool,
        typer.Option("--stl", help="Also write the core after each set-up, as the files leave it."),
    ] = False,
    watch: Annotated[
        bool,
        typer.Option(
            "--watch", help="Plan again whenever the job is saved, and show the sheet in a browser."
        ),
    ] = False,
    port: Annotated[
        int | None,
        typer.Option(
            "--port",
            min=1,
            max=65535,
            help="With --watch: the port of the page, on this machine.",
            show_default=False,
        ),
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print the report as JSON instead of tables.")
    ] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="No progress, no hint of the next command.")
    ] = False,
) -> None:
    """Write G-code, read back, with drawings and a report."""
    with guarded(json_wanted=json, job=job):
        from corepath.cli.commands.watch import Watched, keep_planning
        from corepath.cli.progress_line import showing
        from corepath.planning.folder.plan_folder import ensure_writable

        folder = output if output is not None else Path(f"{job.stem}-plan")
        ensure_writable(folder)
        if watch or port is not None:
            _refuse(watch, json)
            keep_planning(Watched(job, folder, port, despite_failures, stl, quiet))
            return
        with showing(quiet or json) as progress:
            from corepath.planning import plan as make_plan
            from corepath.planning import prepare, within

            prepared = prepare(job, within(progress, 0.0, 0.1))
            made = make_plan(
                prepared, progress=progress, despite_failures=despite_failures, bodies=stl
            )
            written = made.write(folder)
        if json:
            say(as_json(made.report))
        else:
            say(plan_text(made, written, folder, despite_failures))
            if not quiet:
                say(_next(made, written, job, folder, despite_failures))
        end(made.failed)


def _refuse(watch: bool, json: bool) -> None:
    """Raise InputError for options that cannot be combined."""
    from corepath.errors import Fault, InputError

    if not watch:
        raise InputError([Fault("--port", "is that of the page of --watch, which is not given")])
    if json:
        raise InputError(
            [Fault("--json", "tells of one plan; --watch makes many", allowed="one of them")]
        )


def plan_text(made: Plan, written: Written, folder: Path, despite_failures: bool) -> str:
    """Return the report as text: checks, files, holes, cutters for the deck, findings, and what was
    written where."""
    from corepath.cli.tables.deck_cutter_table import deck_cutter_table
    from corepath.cli.tables.foreign_table import mend_lines
    from corepath.cli.tables.hole_table import hole_table
    from corepath.cli.tables.paragraphs import check_table, file_table, finding_lines, wrapped
    from corepath.lengths import units_of

    units = units_of(made.prepared.job.units)
    parts = [check_table(made.checks, units), ""]
    results = made.results
    if made.made:
        parts += [
            file_table(made.made, results.minutes, results.apart, units),
            "",
            hole_table(results.lists.holes, units),
            "",
            deck_cutter_table(results.cutters, units),
            "",
            finding_lines(made.findings, made.readback.counts if made.readback else None, units),
            "",
            *(
                [mend_lines(sorted({one.kind for one in made.findings})), ""]
                if made.findings
                else []
            ),
        ]
    programs = written.programs
    walks = [name for name in written.written if name.startswith("rehearsal/")]
    bodies = [name for name in written.written if name.endswith(".stl")]
    others = len(written.written) - len(programs) - len(walks) - len(bodies)
    parts.append(f"Wrote {len(programs)} G-code files and {others} others to {folder}")
    if walks:
        parts.append(wrapped(f"Rehearsals, spindle off: {', '.join(walks)}"))
    if bodies:
        parts.append(wrapped(f"The core after each set-up: {', '.join(bodies)}"))
    if made.failed and not programs:
        parts.append("No G-code was written, since " + _why(made) + ".")
    elif made.failed and despite_failures:
        parts.append(
            "PLANNED DESPITE FAILURES: the head of each file says so. Do not cut with them."
        )
    # Said only where an earlier plan is partly repeated: which files must be loaded again.
    if written.unchanged and (written.new or len(written.unchanged) < len(programs)):
        changed = [name for name in programs if name not in (*written.unchanged, *written.new)]
        parts += (
            _listed("new", written.new)
            + _listed("changed", changed)
            + _listed("unchanged", written.unchanged)
        )
    if written.done:
        parts.append(f"Moved {len(written.done)} G-code files of what is cut to {folder / 'done'}")
    if written.withdrawn:
        parts.append(
            f"Moved {len(written.withdrawn)} earlier G-code files to {folder / 'withdrawn'}"
        )
    return "\n".join(parts)


def _listed(word: str, names: Sequence[str]) -> list[str]:
    from corepath.cli.tables.paragraphs import wrapped

    return [wrapped(f"  {word}: {', '.join(names)}")] if names else []


def _why(made: Plan) -> str:
    failed = [check.id for check in made.checks if check.verdict == "fail"]
    return (
        f"a check failed: {', '.join(dict.fromkeys(failed))}"
        if failed
        else "the read-back has findings"
    )


def _next(made: Plan, written: Written, job: Path, folder: Path, despite_failures: bool) -> str:
    from corepath.cli.tables.paragraphs import next_command, wrapped

    if made.failed and not despite_failures:
        return "\n" + next_command("check", job, first="fix the job")
    open_it = f"Open {folder / 'sheet.html'} in a browser, or print it: it leads through the work."
    if "preview.html" in written.written:
        open_it += " preview.html beside it plays the files."
    return f"\n{wrapped(open_it)}\n" + next_command(
        "record", job, first="cut and measure as it says"
    )
