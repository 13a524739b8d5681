"""`corepath new`: a commented job to begin with: a test piece, a whole board of given sizes, or a
copy of another job."""

from __future__ import annotations

import shlex
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from corepath.cli.completing import jobs_and_samples
from corepath.cli.guard import FAILED, as_json, guarded, say
from corepath.cli.options import json_option, quiet_option, typed_length
from corepath.cli.progress_line import Progress
from corepath.errors import CorepathError, Fault, InputError

if TYPE_CHECKING:
    from corepath.lengths import Units
    from corepath.planning.job_files.beginning import Begun, Hopeless
    from corepath.planning.prepare import Prepared

__all__ = ["Mirrored", "new"]

_SIZES = ("length", "width", "blank", "core", "edge")
_EXAMPLE = "--length 53 --width 16 --blank 0.5 --core 3/8 --edge 1/8 --inch"


class Mirrored(StrEnum):
    """What a mirrored board exchanges."""

    ENDS = "ends"
    SIDES = "sides"


@dataclass(frozen=True, slots=True)
class _Made:
    """A job that was written: its title, what to tell of it, files written beside it, the job as
    worked out where it has been already, and more for programs."""

    title: str
    told: tuple[str, ...]
    beside: tuple[Path, ...] = ()
    prepared: Prepared | None = None
    more: Mapping[str, Any] = field(default_factory=dict)


def _size(message: str) -> Any:
    return typer.Option(metavar="SIZE", help=message, show_default=False)


def new(
    name: Annotated[
        Path, typer.Argument(metavar="NAME.toml", help="The job file to write.", show_default=False)
    ],
    length: Annotated[str | None, _size("Of the board; with --from, to scale it to.")] = None,
    width: Annotated[str | None, _size("Of the board, where it is widest.")] = None,
    blank: Annotated[str | None, _size("Thickness of the blank.")] = None,
    core: Annotated[str | None, _size("Thickness of the core.")] = None,
    edge: Annotated[str | None, _size("Thickness of the core along its edge.")] = None,
    inch: Annotated[
        bool, typer.Option("--inch", help="Sizes and job are in inches: 0.4 or 3/8.")
    ] = False,
    copy: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="JOB",
            help="Copy a job file, or a sample by its name.",
            show_default=False,
            autocompletion=jobs_and_samples,
        ),
    ] = None,
    mirror: Annotated[
        Mirrored | None,
        typer.Option("--mirror", help="With --from: exchange ends or sides.", show_default=False),
    ] = None,
    shop: Annotated[
        bool,
        typer.Option("--shop", help="A shop file instead: what all jobs share, commented."),
    ] = False,
    json: Annotated[bool, json_option("the names of the files as JSON")] = False,
    quiet: Annotated[bool, quiet_option("Only the names of the files; no progress.")] = False,
) -> None:
    """Write a commented job to begin with; never overwrites.

    Alone a small test piece, with all five sizes a whole board, with --from a copy, with --shop
    what the jobs of a shop share.
    """
    with guarded(json_wanted=json):
        from corepath.cli.progress_line import showing

        given = dict(zip(_SIZES, (length, width, blank, core, edge), strict=True))
        sizes = {size: text for size, text in given.items() if text is not None}
        _refuse(sizes, inch, copy, mirror)
        if shop:
            _shop(name, bool(sizes or inch or copy), json)
            return
        with showing(quiet or json) as progress:
            if copy is not None:
                made = _copied(name, copy, sizes.get("length"), mirror)
            elif sizes:
                made = _begun(name, sizes, inch, json, progress)
            else:
                made = _starter(name)
            measuring = _measuring(name, made.prepared, progress)
        if json:
            listed = str(measuring) if measuring else None
            told = {"file": str(name), "title": made.title, "measuring": listed}
            say(as_json({**told, **made.more}))
        elif quiet:
            written = (name, *made.beside, measuring)
            say("\n".join(f"Wrote {path}" for path in written if path is not None))
        else:
            _tell(name, made, measuring)


def _tell(name: Path, made: _Made, measuring: Path | None) -> None:
    from corepath.cli.tables.paragraphs import next_command

    for line in made.told:
        say(line)
    for path in made.beside:
        say(f"Wrote {path}, which it names.")
    if measuring is not None:
        say(f"Wrote {measuring}: where to measure the blank.")
        again = next_command("record", name).removeprefix("Next: ")
        say(f"When the board is yours, delete it; {again} writes a new one.")
    say(next_command("check", name))


def _refuse(
    sizes: Mapping[str, str], inch: bool, copy: str | None, mirror: Mirrored | None
) -> None:
    """Raise InputError for options that do not go together."""
    if copy is not None:
        wrong = [f"--{name}" for name in sizes if name != "length"] + ["--inch"] * inch
        says, allowed = "does not go with --from, which takes it from the job", "--length, --mirror"
    elif mirror is not None:
        wrong, says, allowed = ["--mirror"], "goes with --from", "--from JOB --mirror ends or sides"
    else:
        wrong = [f"--{name}" for name in _SIZES if name not in sizes] if sizes or inch else []
        says, allowed = "missing: a whole board needs all five sizes", _EXAMPLE
    if wrong:
        raise InputError([Fault(", ".join(wrong), says, allowed=allowed)])


def _shop(name: Path, sized: bool, json: bool) -> None:
    """Write a shop file and tell how a job names it."""
    from corepath.job.text.starter import write_shop

    if sized:
        says = "goes with no other: a shop file has no board"
        raise InputError([Fault("--shop", says, allowed=f"corepath new {name} --shop")])
    write_shop(name)
    if json:
        say(as_json({"file": str(name)}))
        return
    say(f"Wrote {name}. Put in your machine and your cutters.")
    say(f'Next: name it in a job, before its first table: shop = "{name.name}"')


def _starter(name: Path) -> _Made:
    from corepath.job.text.starter import write_starter

    title = write_starter(name)
    return _Made(
        title, (f'Wrote {name}, "{title}". Change it to your board; it is ready to plan.',)
    )


def _begun(
    name: Path, sizes: Mapping[str, str], inch: bool, json: bool, progress: Progress
) -> _Made:
    """Write the job of a whole board, or end the command by what cannot be and what could."""
    from corepath.job.text.full_board import BoardSizes
    from corepath.job.text.starter import require_free, write_job
    from corepath.lengths import INCH, MM
    from corepath.planning.job_files.beginning import Begun, begin_board

    require_free(name)
    units = INCH if inch else MM
    wanted = BoardSizes(
        **{one: units.scale * typed_length(one, text) for one, text in sizes.items()}
    )
    found = begin_board(name, wanted, units, _typed(name, sizes, inch), progress)
    if isinstance(found, Begun):
        write_job(name, found.text)
        return _of_board(name, found, units)
    if json:
        say(as_json({"fails": found.fails, "nearest": list(found.nearest)}))
    else:
        say(_hopeless(found, units), error=True)
    raise typer.Exit(FAILED)


def _typed(name: Path, sizes: Mapping[str, str], inch: bool) -> str:
    words = [f"--{option} {shlex.quote(text)}" for option, text in sizes.items()]
    return " ".join(["corepath new", shlex.quote(name.name), *words, *["--inch"] * inch])


def _of_board(name: Path, found: Begun, units: Units) -> _Made:
    from corepath.cli.tables.paragraphs import WIDTH
    from corepath.lengths import marked

    told = [f'Wrote {name}, "{found.title}", a board that is ready to plan.']
    more: dict[str, Any] = {"set": {}, "risks": list(found.risks)}
    if found.fix is not None:
        settings = ", ".join(marked(one.message) for one in found.fix.settings)
        asked = units.text(f"These thicknesses ask for {settings}.")
        told.append(textwrap.fill(asked, WIDTH, subsequent_indent="  "))
        told += [units.text(f"RISK: {marked(risk)}.") for risk in found.risks]
        more["set"] = dict(found.fix.values)
    return _Made(found.title, tuple(told), prepared=found.prepared, more=more)


def _hopeless(found: Hopeless, units: Units) -> str:
    from corepath.lengths import marked

    nearest = " or ".join(found.nearest) if found.nearest else "a thicker blank"
    return units.text(
        f"No such board comes out: {marked(found.fails)}.\n"
        f"Nearest that works: {nearest}. Nothing has been written."
    )


def _copied(name: Path, wanted: str, length: str | None, mirror: Mirrored | None) -> _Made:
    from corepath.job.text.starter import require_free
    from corepath.planning.job_files.copying import copy_job

    require_free(name)
    new_length = None if length is None else typed_length("length", length)
    found = copy_job(name, wanted, new_length, None if mirror is None else mirror.value)
    found.write()
    told = (f'Wrote {name}, "{found.title}", from {wanted}.', *found.told)
    beside = tuple(name.parent / file for file, _ in found.files)
    return _Made(found.title, told, beside, more={"beside": [str(path) for path in beside]})


def _measuring(job: Path, prepared: Prepared | None, progress: Progress) -> Path | None:
    """Write the list of places to measure and return its path; None where there was one before or
    it cannot be written."""
    from corepath.planning.prepare import prepare
    from corepath.planning.questions import measuring_path, write_measuring

    if measuring_path(job).exists():
        return None
    try:
        return write_measuring(prepared or prepare(job, progress), job)
    except CorepathError:
        return None  # what is wrong with a copy is told by check
