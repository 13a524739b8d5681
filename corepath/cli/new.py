"""`corepath new`: a commented starter job that plans cleanly as it is."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.guard import guarded, say

__all__ = ["new"]


def new(
    name: Annotated[Path, typer.Argument(metavar="NAME.toml", help="The job file to write.", show_default=False)],
) -> None:
    """Write a commented starter job; never overwrites."""
    with guarded():
        from corepath.cli.tables import next_command
        from corepath.job.starter import write_starter

        title = write_starter(name)
        say(f'Wrote {name}, "{title}". Change it to your board; it plans as it is.')
        template = _measuring(name)
        if template is not None:
            say(f"Wrote {template}: where to measure the blank.")
            say("When the board is yours, delete it: check then chooses places for it.")
        say(next_command("check", name))


def _measuring(job: Path) -> Path | None:
    """The list of places to measure, or None where there was one before or it cannot be written."""
    from corepath.planning import measuring_path, prepare, write_measuring

    if measuring_path(job).exists():
        return None
    return write_measuring(prepare(job), job)
