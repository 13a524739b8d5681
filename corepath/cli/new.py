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
        say(next_command("check", name))
