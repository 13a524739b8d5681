"""`corepath readback`: read the G-code in a folder as a stranger would, cut a virtual blank, measure it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.guard import as_json, end, guarded, say

__all__ = ["readback"]


def readback(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder of a plan.", show_default=False)],
    stl: Annotated[
        bool, typer.Option("--stl", help="Write the core after each set-up into DIR/solid, as the files leave it.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print the report as JSON instead of text.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="No progress.")] = False,
) -> None:
    """Read G-code again, cut a virtual blank, measure it."""
    with guarded(json_wanted=json):
        from corepath.cli.progress import showing
        from corepath.planning import read_folder, write_solids

        with showing(quiet or json) as progress:
            reading = read_folder(folder, progress=progress)
            bodies = write_solids(reading, folder).written if stl else ()
        if json:
            say(as_json(reading.report))
            end(reading.failed)
        from corepath.cli.tables import finding_lines, measure_table, wrapped

        counts = reading.report["readback"]["counts"]
        say(f"{measure_table(reading.measures)}\n\n{finding_lines(reading.findings, counts)}")
        if bodies:
            say(wrapped(f"The core after each set-up: {', '.join(bodies)}"))
        if not quiet and not reading.failed:
            first = reading.measures[0].file if reading.measures else "the first file"
            say(f"\nThe files in {folder} do what the job asks.\nNext: run {first} at the machine.")
        end(reading.failed)
