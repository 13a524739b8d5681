"""`corepath recut`: one file for one seat or bore that must be deeper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.completing import inserts
from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import JobFile, json_option, output_option, quiet_option, typed_length

__all__ = ["recut"]


def recut(
    job: JobFile,
    depth: Annotated[
        str,
        typer.Option(metavar="D", help="New depth below the skimmed face.", show_default=False),
    ],
    insert: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Its seat.", show_default=False, autocompletion=inserts),
    ] = None,
    bore: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Its bore instead.", show_default=False, autocompletion=inserts
        ),
    ] = None,
    output: Annotated[
        Path | None, output_option("DIR", "Folder for the file; that of the job if not given.")
    ] = None,
    json: Annotated[bool, json_option("what was found as JSON")] = False,
    quiet: Annotated[bool, quiet_option()] = False,
) -> None:
    """Write one file that makes one seat or bore deeper, read back.

    Before the deck is cut, from the skimmed face. Where a check would fail, nothing is written.
    """
    with guarded(json_wanted=json, job=job):
        from corepath.cli.progress_line import showing
        from corepath.cli.tables.paragraphs import finding_lines, next_command, wrapped
        from corepath.errors import Fault, InputError
        from corepath.job.load import load_job
        from corepath.lengths import marked, units_of
        from corepath.planning.recut import Part, recut_insert

        if (insert is None) == (bore is None):
            says = "names the place, and one of the two is needed"
            raise InputError([Fault("--insert or --bore", says, allowed="--insert NAME")])
        units = units_of(load_job(job).units)
        value = units.scale * typed_length("depth", depth)
        name: str = insert or bore or ""
        part: Part = "seat" if insert is not None else "bore"
        folder = output or job.parent
        if not folder.is_dir():
            raise InputError([Fault("-o", "there is no such folder", str(folder))])
        with showing(quiet or json) as progress:
            found = recut_insert(job, name, part, value, progress)
        written = None if found.failed else found.write(folder)
        if json:
            from corepath.reported import reported

            told = {"file": str(written) if written else None, "minutes": round(found.minutes, 2)}
            said = [str(line) for line in found.message]
            say(as_json({**told, "says": said, "proof": reported(found.proof)}))
            end(found.failed)
        for line in found.message:
            say(wrapped(units.text(f"fail: {marked(line)}")))
        say(finding_lines(found.proof.findings, units=units))
        if written is not None:
            say(f"Wrote {written}, {found.minutes:.1f} minutes")
            if not quiet:
                option = f"--{part}-depth"
                words = ("record", job, option, name, "D")
                say(next_command(*words, first="touch the skimmed face, cut, measure"))
        end(found.failed)
