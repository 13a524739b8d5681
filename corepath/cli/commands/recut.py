"""`corepath recut`: one file for one seat, bore, pocket or length of groove to be deeper."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.completing import castings, inserts
from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import JobFile, json_option, output_option, quiet_option, typed_length

__all__ = ["recut"]


def recut(
    job: JobFile,
    depth: Annotated[
        str,
        typer.Option(
            metavar="D",
            help="New depth: below the skimmed face, of pocket and groove below the raw top.",
            show_default=False,
        ),
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
    plug: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="A plug's pocket.", show_default=False, autocompletion=castings
        ),
    ] = None,
    groove: Annotated[
        tuple[str, str, str, str] | None,
        typer.Option(
            metavar="X1 Y1 X2 Y2",
            help="The groove from one place to another, the shorter way.",
            show_default=False,
        ),
    ] = None,
    output: Annotated[
        Path | None, output_option("DIR", "Folder for the file; that of the job if not given.")
    ] = None,
    json: Annotated[bool, json_option("what was found as JSON")] = False,
    quiet: Annotated[bool, quiet_option()] = False,
) -> None:
    """Write one file that makes one place deeper, read back.

    A seat or bore before the deck is cut, a plug's pocket or a length of the groove before the
    skim. Where a check would fail, nothing is written.
    """
    with guarded(json_wanted=json, job=job):
        from corepath.cli.progress_line import showing
        from corepath.cli.tables.paragraphs import finding_lines, next_command, wrapped
        from corepath.errors import Fault, InputError
        from corepath.job.load import load_job
        from corepath.lengths import marked, units_of
        from corepath.planning.recutting.casting_recut import recut_groove, recut_plug
        from corepath.planning.recutting.insert_recut import recut_insert

        if sum(one is not None for one in (insert, bore, plug, groove)) != 1:
            says = "names the place, and just one of these is needed"
            options = "--insert, --bore, --plug or --groove"
            raise InputError([Fault(options, says, allowed="--insert NAME")])
        units = units_of(load_job(job).units)
        value = units.scale * typed_length("depth", depth)
        if not math.isfinite(value):
            raise InputError([Fault("--depth", "must be a finite number", depth, "such as 9.5")])
        folder = output or job.parent
        if not folder.is_dir():
            raise InputError([Fault("-o", "there is no such folder", str(folder))])
        with showing(quiet or json) as progress:
            if groove is not None:
                x1, y1, x2, y2 = (units.scale * typed_length("groove", word) for word in groove)
                found = recut_groove(job, ((x1, y1), (x2, y2)), value, progress)
            elif plug is not None:
                found = recut_plug(job, plug, value, progress)
            elif insert is not None:
                found = recut_insert(job, insert, "seat", value, progress)
            else:
                found = recut_insert(job, bore or "", "bore", value, progress)
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
                record = (units.text(marked(word)) for word in found.record)
                words = ("record", job, *record)
                say(next_command(*words, first=f"touch {units.text(marked(found.touched))}"))
        end(found.failed)
