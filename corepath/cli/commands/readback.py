"""`corepath readback`: read G-code independently, cut a virtual blank, measure it.

A folder is one that `plan` has made, and is compared with its job; a single file may come from
anywhere, and is read with the blank and the cutters that the options name.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from corepath.cli.completing import plans
from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import json_option, quiet_option

if TYPE_CHECKING:
    from corepath.planning.foreign.foreign_options import ForeignOptions
    from corepath.planning.proving.reading import Reading

__all__ = ["readback"]


def _file_option(message: str, *names: str, metavar: str | None = None) -> Any:
    """Return an option that a single file takes, not the folder of a plan."""
    return typer.Option(
        *names,
        metavar=metavar,
        help=message,
        rich_help_panel="With a single FILE",
        show_default=False,
    )


def readback(
    target: Annotated[
        Path,
        typer.Argument(
            metavar="DIR|FILE",
            help="The folder of a plan, or one file.",
            show_default=False,
            autocompletion=plans,
        ),
    ],
    stl: Annotated[
        bool,
        typer.Option(
            "--stl", help="Write the core after each set-up into DIR/solid, as the files leave it."
        ),
    ] = False,
    json: Annotated[bool, json_option("the report as JSON instead of text")] = False,
    quiet: Annotated[bool, quiet_option("No progress, no hint of what is next.")] = False,
    blank: Annotated[
        str | None, _file_option("Its blank, mm, as 1280x420x16.", metavar="LxWxT")
    ] = None,
    cutter: Annotated[
        list[str] | None,
        _file_option(
            "A cutter, as flat:6, ball:10 or 2=bull:12:2 for T2; ,edges=20,out=30 may follow; "
            "taper:2,angle=5,shank=6 is a tapered ball. Once for each.",
            metavar="[N=]SHAPE:D[:R]",
        ),
    ] = None,
    zero: Annotated[
        str | None,
        _file_option(
            "Its zero: middle or front-left, then top or bed; or X,Y,Z from the middle of the "
            "blank on the bed. middle,top if not given."
        ),
    ] = None,
    units: Annotated[str | None, _file_option("mm or inch, where FILE does not state it.")] = None,
    spoil_board: Annotated[
        float | None, _file_option("mm below the blank that may be cut; 0 if not given.")
    ] = None,
    rapid: Annotated[
        float | None, _file_option("mm/min, for the minutes; 6000 if not given.")
    ] = None,
    accel: Annotated[
        float | None, _file_option("mm/s², for the minutes; 500 if not given.")
    ] = None,
    spin_up: Annotated[
        float | None,
        _file_option("Seconds that the spindle needs to come up to speed; 0 if not given."),
    ] = None,
    cell: Annotated[
        float | None,
        _file_option("mm between the columns of the blank; 0.1 to 0.5 by its size if not given."),
    ] = None,
    output: Annotated[
        Path | None, _file_option("Draw the depths into DIR.", "-o", "--output", metavar="DIR")
    ] = None,
) -> None:
    """Read G-code again, cut a virtual blank, measure it."""
    with guarded(json_wanted=json):
        from corepath.planning.foreign.foreign_options import ForeignOptions

        given: dict[str, Any] = {
            "blank": blank,
            "cutter": cutter or None,
            "zero": zero,
            "units": units,
            "cell": cell,
            "spoil_board": spoil_board,
            "rapid": rapid,
            "accel": accel,
            "spin_up": spin_up,
        }
        given = {name: value for name, value in given.items() if value is not None}
        # A job file is a likely slip; as a folder that does not exist it gets a clear fault.
        if target.is_file() and target.suffix != ".toml":
            asked = ForeignOptions(None, (), "middle,top")._replace(**given)
            _file(target, asked, output, stl, json, quiet)
        else:
            typed = [f"--{name.replace('_', '-')}" for name in given]
            _only_for_files([*typed, *(["-o"] if output is not None else [])])
            _folder(target, stl, json, quiet)


def _folder(folder: Path, stl: bool, json: bool, quiet: bool) -> None:
    from corepath.cli.progress_line import showing

    with showing(quiet or json) as progress:
        from corepath.planning.folder.plan_folder import ensure_writable
        from corepath.planning.folder.solids import write_solids
        from corepath.planning.proving.reading import read_folder

        if stl:
            ensure_writable(folder)
        reading = read_folder(folder, progress=progress)
        bodies = write_solids(reading, folder) if stl else ()
    if json:
        say(as_json(reading.report))
        end(reading.failed)
    from corepath.cli.tables.case_table import case_table
    from corepath.cli.tables.foreign_table import finding_fix_lines
    from corepath.cli.tables.paragraphs import finding_lines, measure_table, wrapped
    from corepath.lengths import units_of

    units = units_of(reading.prepared.job.units)
    counts = reading.readback.counts
    say(measure_table(reading.measures, units))
    if reading.cases:
        say(f"\n{case_table(reading.cases, units)}")
    say(f"\n{finding_lines(reading.findings, counts, units)}")
    if counts:
        say(f"\n{finding_fix_lines(list(counts))}")
    if bodies:
        say(wrapped(f"The core after each set-up: {', '.join(bodies)}"))
    if not quiet:
        say(_next(folder, reading))
    end(reading.failed)


def _next(folder: Path, reading: Reading) -> str:
    from corepath.cli.tables.paragraphs import next_command, next_steps
    from corepath.planning.next_record import record_words, recorded_since

    job = record_words(folder, "")
    if not reading.failed:
        good = f"\nThe files in {folder} do what the job asks."
        if job is not None and recorded_since(Path(job[1]), reading.prepared.known.settled):
            since = "More was recorded since they were made: some may have been cut already."
            return f"{good}\n{since}\n{next_command('plan', job[1], '-o', folder)}"
        first = reading.measures[0].file if reading.measures else "the first file"
        step = next_steps(f"run {first} at the machine", record_words(folder, first))
        return f"{good}\n{step}"
    if job is None:
        return "\nDo not run them.\nNext: plan the job again."
    return "\nDo not run them.\n" + next_command("plan", job[1], "-o", folder)


def _only_for_files(options: list[str]) -> None:
    """Raise InputError for options of a single file: a plan's folder has its own blank and
    cutters."""
    from corepath.errors import Fault, InputError

    faults = [
        Fault(name, "goes with a single file; a plan's folder has it all") for name in options
    ]
    if faults:
        raise InputError(faults)


def _file(
    path: Path, asked: ForeignOptions, output: Path | None, stl: bool, json: bool, quiet: bool
) -> None:
    from corepath.cli.progress_line import showing
    from corepath.errors import Fault, InputError

    if stl:
        raise InputError([Fault("--stl", "goes with a plan's folder, not with a single file")])
    with showing(quiet or json) as progress:
        from corepath.planning.folder.plan_folder import ensure_writable
        from corepath.planning.foreign.foreign_blank import read_file, write_depths

        if output is not None:
            ensure_writable(output)
        reading = read_file(path, asked, progress)
        drawn = write_depths(reading, output) if output is not None else None
    if json:
        say(as_json(reading.report))
        end(reading.failed)
    from corepath.cli.tables.foreign_table import finding_fix_lines, foreign_table
    from corepath.cli.tables.paragraphs import finding_lines, next_command, wrapped

    found = reading.found
    told = finding_lines(list(found.findings), found.counts, found.units)
    say(f"{foreign_table(found, found.units)}\n\n{told}")
    if found.counts:
        say(f"\n{finding_fix_lines(list(found.counts))}")
    if drawn is not None:
        say(wrapped(f"Depths drawn: {drawn}"))
    if not quiet and reading.failed:
        say("\n" + next_command("readback", path, *_options(asked, output), first="fix it"))
    elif not quiet:
        say(
            "\n"
            + wrapped(
                "Next: hold the figures against what it is to do, then run it once in the air."
            )
        )
    end(reading.failed)


def _options(asked: ForeignOptions, output: Path | None) -> list[str]:
    """Return the options as they were typed, without those that have their default values."""
    from corepath.planning.foreign.foreign_options import ForeignOptions

    held = ForeignOptions(None, (), "middle,top")
    words: list[str] = []
    for name, value in asked._asdict().items():
        if value == getattr(held, name) or value is None:
            continue
        for one in value if name == "cutter" else (value,):
            words += [
                f"--{name.replace('_', '-')}",
                f"{one:g}" if isinstance(one, float) else str(one),
            ]
    return [*words, *(("-o", str(output)) if output is not None else ())]
