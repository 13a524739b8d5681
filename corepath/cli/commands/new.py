"""`corepath new`: a commented starter job that plans cleanly as it is."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.guard import as_json, guarded, say
from corepath.cli.options import json_option, quiet_option
from corepath.cli.progress_line import Progress

__all__ = ["new"]


def new(
    name: Annotated[
        Path, typer.Argument(metavar="NAME.toml", help="The job file to write.", show_default=False)
    ],
    json: Annotated[bool, json_option("the names of the files as JSON")] = False,
    quiet: Annotated[bool, quiet_option("Only the names of the files; no progress.")] = False,
) -> None:
    """Write a commented starter job; never overwrites."""
    with guarded(json_wanted=json):
        from corepath.cli.progress_line import showing
        from corepath.cli.tables.paragraphs import next_command
        from corepath.job.text.starter import write_starter

        title = write_starter(name)
        with showing(quiet or json) as progress:
            measuring = _measuring(name, progress)
        if json:
            say(
                as_json(
                    {
                        "file": str(name),
                        "title": title,
                        "measuring": str(measuring) if measuring else None,
                    }
                )
            )
            return
        if quiet:
            say("\n".join(f"Wrote {path}" for path in (name, measuring) if path is not None))
            return
        say(f'Wrote {name}, "{title}". Change it to your board; it is ready to plan.')
        if measuring is not None:
            say(f"Wrote {measuring}: where to measure the blank.")
            again = next_command("record", name).removeprefix("Next: ")
            say(f"When the board is yours, delete it; {again} writes a new one.")
        say(next_command("check", name))


def _measuring(job: Path, progress: Progress) -> Path | None:
    """Write the list of places to measure and return its path; None where there was one before or
    it cannot be written."""
    from corepath.planning.prepare import prepare
    from corepath.planning.questions import measuring_path, write_measuring

    if measuring_path(job).exists():
        return None
    return write_measuring(prepare(job, progress), job)
