"""`corepath template`: a drawing at full size, to lay on the board or to make the form from."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.guard import as_json, guarded, say
from corepath.cli.options import JobFile, json_option, output_option, quiet_option

__all__ = ["template"]


class Paper(StrEnum):
    """Paper sizes of the pages."""

    a4 = "a4"
    letter = "letter"


class Face(StrEnum):
    """The face on which a template along the arc is laid."""

    core = "core"
    deck = "deck"
    bottom = "bottom"


def template(
    job: JobFile,
    output: Annotated[Path, output_option("F", "File to write: F.dxf or F.svg.")],
    flat: Annotated[
        bool, typer.Option("--flat", help="For skins and hand work, before lay-up.")
    ] = False,
    form: Annotated[
        bool, typer.Option("--form", help="Ribs and spacers of the form instead of the board.")
    ] = False,
    cradle: Annotated[
        bool, typer.Option("--cradle", help="The same of the cradle, with its pins and pad.")
    ] = False,
    on: Annotated[
        Face,
        typer.Option(
            "--on",
            help="Along the arc: lengths of the core, or along top or underside of the laminate.",
        ),
    ] = Face.core,
    tile: Annotated[
        Paper | None,
        typer.Option(
            "--tile", help="Pages of this paper beside it, to be joined.", show_default=False
        ),
    ] = None,
    json: Annotated[bool, json_option("the names of the files as JSON")] = False,
    quiet: Annotated[bool, quiet_option("Only the names of the files; no progress.")] = False,
) -> None:
    """Write a template at full size: of the board or of its form.

    Along the arc of the laid-up board; with --flat as the core lies; with --form or --cradle ribs
    and spacers.
    """
    with guarded(json_wanted=json, job=job):
        from corepath.cli.progress_line import showing
        from corepath.cli.tables.paragraphs import next_command
        from corepath.errors import Fault, InputError

        asked = {"--flat": flat, "--form": form, "--cradle": cradle}
        several = [name for name, typed in asked.items() if typed]
        if len(several) > 1:
            says = f"{' and '.join(several)} are different drawings"
            raise InputError([Fault("", says, allowed="one of them")])
        with showing(quiet or json) as progress:
            from corepath.planning.prepare import prepare
            from corepath.planning.progress import within
            from corepath.planning.template_files import template_of, write_template

            prepared = prepare(job, within(progress, 0.0, 0.7))
            progress("the drawing", 0.7)
            made = template_of(prepared, flat=flat, form=form, cradle=cradle, on=on.value)
            written = write_template(made, output, tile.value if tile is not None else None)
        if json:
            say(as_json({"files": [str(path) for path in written], "says": list(made.message)}))
            return
        say("\n".join(f"Wrote {path}" for path in written))
        if not quiet:
            say("\n".join(made.units.text(line) for line in made.message))
            say("Print or plot at 100 %, measure both check bars before use.")
            say(next_command("plan", job))
