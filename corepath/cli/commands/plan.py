"""`corepath plan`: checks, G-code, read-back, drawings and report of one job, in one folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import Cores, JobFile, NoCache, json_option, output_option, quiet_option

if TYPE_CHECKING:
    from corepath.planning.exploring.exploration import Exploration
    from corepath.planning.folder.plan_folder import Written
    from corepath.planning.plan import Plan
    from corepath.planning.progress import Progress

__all__ = ["plan"]


def plan(
    job: JobFile,
    output: Annotated[
        Path | None, output_option("DIR", "Folder to write; NAME-plan if not given.")
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
    explore: Annotated[
        bool,
        typer.Option(
            "--explore", help="Also plan with one cutter more, and say what it would save."
        ),
    ] = False,
    copies: Annotated[
        int | None,
        typer.Option(
            "--copies",
            metavar="N",
            min=2,
            max=20,
            help="The same core on N blanks: a job, a record and a folder for each.",
            show_default=False,
        ),
    ] = None,
    cores: Cores = None,
    no_cache: NoCache = False,
    json: Annotated[bool, json_option("the report as JSON instead of tables")] = False,
    quiet: Annotated[bool, quiet_option()] = False,
) -> None:
    """Write G-code, read back, with drawings and a report."""
    with guarded(json_wanted=json, job=job):
        from corepath.caching.folder_store import store_of
        from corepath.cli.commands.watch import Watched, keep_planning
        from corepath.cli.progress_line import showing
        from corepath.planning.folder.plan_folder import ensure_writable

        if copies is not None:
            _refuse_with_copies(output is not None, watch, explore, json)
            end(_copies(job, copies, (despite_failures, stl, not no_cache, cores), quiet))
        folder = output if output is not None else Path(f"{job.stem}-plan")
        ensure_writable(folder)
        if watch or port is not None:
            _refuse(watch, json, explore)
            keep_planning(
                Watched(job, folder, port, despite_failures, stl, quiet, not no_cache, cores)
            )
            return
        with showing(quiet or json) as progress:
            from corepath.planning.plan import plan as make_plan
            from corepath.planning.prepare import prepare
            from corepath.planning.progress import within
            from corepath.planning.side_by_side import usable_cores
            from corepath.reported import reported

            prepared = prepare(job, within(progress, 0.0, 0.1))
            made = make_plan(
                prepared,
                progress=progress,
                despite_failures=despite_failures,
                bodies=stl,
                store=store_of(not no_cache),
                cores=cores or usable_cores(),
            )
            written = made.write(folder)
            explored = _explored(made, not no_cache, progress) if explore else None
        if json:
            found = {}
            if explored is not None:
                found = {
                    "explored": reported(explored.cutters),
                    "limit_costs": reported(explored.limits),
                    "numbers": reported(explored.numbers),
                }
            say(as_json({**made.report, **found}))
        else:
            from corepath.cli.tables.plan_text import plan_text

            say(plan_text(made, written, folder, despite_failures, explored))
            if not quiet:
                say(_next(made, written, job, folder, despite_failures))
        end(made.failed)


def _refuse_with_copies(output: bool, watch: bool, explore: bool, json: bool) -> None:
    """Raise InputError for options that are of one plan alone."""
    from corepath.errors import Fault, InputError

    given = {"-o": output, "--watch": watch, "--explore": explore, "--json": json}
    wrong = [name for name, there in given.items() if there]
    says = "is for one plan, and each copy has one of its own"
    if wrong:
        raise InputError([Fault(name, says, allowed="plan one copy alone") for name in wrong])


def _copies(job: Path, count: int, how: tuple[bool, bool, bool, int | None], quiet: bool) -> bool:
    """Write and plan a job for each blank; return whether any of them failed."""
    from corepath.cli.tables.paragraphs import next_command, wrapped
    from corepath.planning.job_files.copies import copy_jobs, order_of
    from corepath.planning.job_files.sharing import shared_files, write_shared
    from corepath.planning.prepare import prepare

    title = prepare(job).job.title
    plans, failed = [], False
    for path in copy_jobs(job, title, count):
        made, folder = _planned(path, how, quiet)
        plans.append(made)
        failed |= made.failed
        files = len(made.made) if not made.failed else 0
        say(wrapped(f"{made.prepared.job.title}, job {path}: {files} G-code files in {folder}"))
    shared, folder = shared_files(plans, title), Path(f"{job.stem}-A")
    write_shared(shared, folder)
    say(wrapped(_shared_words(len(shared), folder)))
    made = plans[-1]
    setups = len({file.program.setup for file in made.made})
    say(wrapped(order_of(count, made.results.apart, setups).message))
    if not quiet:
        first = job.with_name(f"{job.stem}-1.toml")
        say(next_command("record", first, first="cut and measure the first"))
    return failed


def _shared_words(count: int, folder: Path) -> str:
    if not count:
        return "No file of A is the same for all blanks: each is run from its own folder."
    return (
        f"{count} G-code files of A are the same for all blanks: {folder} has them, load them once "
        "and run each with every blank. From B on each blank has its own."
    )


def _planned(
    path: Path, how: tuple[bool, bool, bool, int | None], quiet: bool
) -> tuple[Plan, Path]:
    """Plan one copy into a folder of its own."""
    from corepath.caching.folder_store import store_of
    from corepath.cli.progress_line import showing
    from corepath.planning.plan import plan as make_plan
    from corepath.planning.prepare import prepare
    from corepath.planning.side_by_side import usable_cores

    despite, bodies, cache, cores = how
    folder = Path(f"{path.stem}-plan")
    with showing(quiet) as progress:
        made = make_plan(
            prepare(path), progress=progress, despite_failures=despite, bodies=bodies,
            store=store_of(cache), cores=cores or usable_cores(),
        )  # fmt: skip
        made.write(folder)
    return made, folder


def _explored(made: Plan, cache: bool, progress: Progress) -> Exploration | None:
    """Return what each limit costs and what other cutters and numbers would save; None where there
    are no files to compare with."""
    from corepath.caching.folder_store import store_of
    from corepath.planning.exploring.exploration import exploration

    return exploration(made, progress=progress, store=store_of(cache)) if made.made else None


def _refuse(watch: bool, json: bool, explore: bool) -> None:
    """Raise InputError for options that cannot be combined."""
    from corepath.errors import Fault, InputError

    if not watch:
        raise InputError([Fault("--port", "is that of the page of --watch, which is not given")])
    if explore:
        says = "plans a few times more; --watch plans at each save"
        raise InputError([Fault("--explore", says, allowed="one of them")])
    if json:
        raise InputError(
            [Fault("--json", "tells of one plan; --watch makes many", allowed="one of them")]
        )


def _next(made: Plan, written: Written, job: Path, folder: Path, despite_failures: bool) -> str:
    from corepath.cli.tables.fix_lines import fix_words
    from corepath.cli.tables.paragraphs import next_command, wrapped
    from corepath.lengths import units_of

    if made.failed and not despite_failures:
        fixes = made.results.lists.outcome.fixes.found
        if fixes and made.prepared.failed:
            units = units_of(made.prepared.job.units)
            return "\n" + next_command(*fix_words(fixes[0], job, units))
        return "\n" + next_command("check", job, first="fix the job")
    open_it = f"Open {folder / 'sheet.html'} in a browser, or print it: it leads through the work."
    open_it += " short.html has one page a set-up; on a phone, one step at a time."
    if "preview.html" in written.written:
        open_it += " preview.html beside it plays the files."
    return f"\n{wrapped(open_it)}\n" + next_command(
        "record", job, first="cut and measure as it says"
    )
