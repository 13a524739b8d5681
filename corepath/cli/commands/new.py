"""`corepath new`: a commented job to begin with: a test piece, or a copy of another job."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from corepath.cli.completing import jobs
from corepath.cli.guard import as_json, guarded, say
from corepath.cli.options import json_option, quiet_option
from corepath.cli.progress_line import Progress
from corepath.errors import CorepathError, Fault, InputError

__all__ = ["Mirrored", "new"]

_FRACTION = re.compile(r"(?:(\d+)[ -])?(\d+)/([1-9]\d*)")


class Mirrored(StrEnum):
    """What a mirrored board exchanges."""

    ENDS = "ends"
    SIDES = "sides"


@dataclass(frozen=True, slots=True)
class _Made:
    """A job that was written: its title, what to tell of it, files written beside it, and more for
    programs."""

    title: str
    told: tuple[str, ...]
    beside: tuple[Path, ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)


def _size(says: str) -> Any:
    return typer.Option(metavar="SIZE", help=says, show_default=False)


def new(
    name: Annotated[
        Path, typer.Argument(metavar="NAME.toml", help="The job file to write.", show_default=False)
    ],
    length: Annotated[str | None, _size("With --from: of the board, to scale it to.")] = None,
    copy: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="JOB",
            help="Copy a job file, or a sample by its name.",
            show_default=False,
            autocompletion=jobs,
        ),
    ] = None,
    mirror: Annotated[
        Mirrored | None,
        typer.Option("--mirror", help="With --from: exchange ends or sides.", show_default=False),
    ] = None,
    json: Annotated[bool, json_option("the names of the files as JSON")] = False,
    quiet: Annotated[bool, quiet_option("Only the names of the files; no progress.")] = False,
) -> None:
    """Write a commented job to begin with; never overwrites.

    Alone a small test piece, with --from a copy of another job.
    """
    with guarded(json_wanted=json):
        from corepath.cli.progress_line import showing

        _refuse(length, copy, mirror)
        with showing(quiet or json) as progress:
            made = _starter(name) if copy is None else _copied(name, copy, length, mirror)
            measuring = _measuring(name, progress)
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


def _refuse(length: str | None, copy: str | None, mirror: Mirrored | None) -> None:
    """Raise InputError for options that do not go together."""
    given = {"--length": length, "--mirror": mirror} if copy is None else {}
    wrong = [name for name, value in given.items() if value is not None]
    if wrong:
        raise InputError([Fault(", ".join(wrong), "goes with --from", allowed="--from JOB")])


def _number(option: str, text: str) -> float:
    """Return a size as typed: a number, or in inches a fraction such as 3/8 or 1-1/4."""
    found = _FRACTION.fullmatch(text.strip())
    if found:
        return int(found[1] or 0) + int(found[2]) / int(found[3])
    try:
        return float(text)
    except ValueError:
        comma = re.fullmatch(r"\d*,\d+", text.strip())
        says = f"has a decimal comma: write {text.replace(',', '.')}" if comma else "is no number"
        raise InputError([Fault(f"--{option}", says, text, "such as 9.5 or 3/8")]) from None


def _starter(name: Path) -> _Made:
    from corepath.job.text.starter import write_starter

    title = write_starter(name)
    return _Made(
        title, (f'Wrote {name}, "{title}". Change it to your board; it is ready to plan.',)
    )


def _copied(name: Path, wanted: str, length: str | None, mirror: Mirrored | None) -> _Made:
    from corepath.job.text.starter import require_free
    from corepath.planning.copying import copy_job

    require_free(name)
    new_length = None if length is None else _number("length", length)
    found = copy_job(name, wanted, new_length, None if mirror is None else mirror.value)
    found.write()
    told = (f'Wrote {name}, "{found.title}", from {wanted}.', *found.told)
    beside = tuple(name.parent / file for file, _ in found.files)
    return _Made(found.title, told, beside, {"beside": [str(path) for path in beside]})


def _measuring(job: Path, progress: Progress) -> Path | None:
    """Write the list of places to measure and return its path; None where there was one before or
    it cannot be written."""
    from corepath.planning.prepare import prepare
    from corepath.planning.questions import measuring_path, write_measuring

    if measuring_path(job).exists():
        return None
    try:
        return write_measuring(prepare(job, progress), job)
    except CorepathError:
        return None  # what is wrong with a copy is told by check
