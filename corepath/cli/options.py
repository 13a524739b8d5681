"""Arguments and options that several commands have: each is declared once, with the command's own
help."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from corepath.cli.completing import jobs
from corepath.errors import Fault, InputError

__all__ = [
    "Cores",
    "JobFile",
    "NoCache",
    "json_option",
    "output_option",
    "quiet_option",
    "typed_length",
]

JobFile = Annotated[
    Path,
    typer.Argument(
        metavar="JOB.toml", help="The job file.", show_default=False, autocompletion=jobs
    ),
]

Cores = Annotated[
    int | None,
    typer.Option(
        "--cores",
        metavar="N",
        min=1,
        envvar="COREPATH_CORES",
        help="Use N cores at most; the files are the same. All if not given.",
        show_default=False,
    ),
]

NoCache = Annotated[
    bool,
    typer.Option("--no-cache", help="Find all paths anew; neither use nor keep those of a run."),
]


def json_option(prints: str) -> Any:
    """Return `--json`; `prints` is what it prints, in words."""
    return typer.Option("--json", help=f"Print {prints}.")


def quiet_option(message: str = "No progress, no hint of the next command.") -> Any:
    """Return `--quiet`; `message` is what the command leaves out."""
    return typer.Option("--quiet", "-q", help=message)


def output_option(metavar: str, message: str) -> Any:
    """Return `--output`, the file or folder to write."""
    return typer.Option("-o", "--output", metavar=metavar, help=message, show_default=False)


def typed_length(option: str, text: str) -> float:
    """Return a size as typed: a number, or in inches a fraction such as 3/8 or 1-1/4.

    Raises InputError where the `text` of this `option` (its name without dashes) is neither.
    """
    from corepath.job.text.slips import decimal_comma, fraction

    found = fraction(text)
    if found is not None:
        return found
    try:
        return float(text)
    except ValueError:
        says = decimal_comma(text) or "is no number"
        raise InputError([Fault(f"--{option}", says, text, "such as 9.5 or 3/8")]) from None
