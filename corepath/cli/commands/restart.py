"""`corepath restart`: a program that continues another from one of its lines, read back before it
is written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from corepath.cli.completing import programs
from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import json_option, output_option, quiet_option

if TYPE_CHECKING:
    from corepath.planning.restart.restart_program import Restart

__all__ = ["restart"]


def restart(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="The .nc file that was broken off.",
            show_default=False,
            autocompletion=programs,
        ),
    ],
    from_line: Annotated[
        int,
        typer.Option(
            "--from-line",
            metavar="N",
            help="First line that is still to be cut.",
            show_default=False,
        ),
    ],
    output: Annotated[
        Path | None, output_option("FILE", "File to write; STEM.from-N.nc if not given.")
    ] = None,
    json: Annotated[bool, json_option("what was made as JSON instead of text")] = False,
    quiet: Annotated[bool, quiet_option("Only the name of the file and cautions.")] = False,
) -> None:
    """Write a program that goes on from a line of FILE."""
    with guarded(json_wanted=json):
        from corepath.cli.progress_line import showing

        with showing(quiet or json) as progress:
            from corepath.planning.restart.restart_program import default_name, write_restart
            from corepath.planning.restart.restart_program import restart as make_restart

            made = make_restart(file, from_line, progress)
        target = output if output is not None else default_name(file, from_line)
        if not made.findings:
            write_restart(made, target)
        say(as_json(_as_dict(made, target)) if json else _told(made, target, quiet))
        if not (json or quiet or made.findings):
            say(_next(file, target))
        end(bool(made.findings))


def _as_dict(made: Restart, target: Path) -> dict[str, Any]:
    return {
        "file": made.file,
        "sha256": made.sha256,
        "asked": made.asked,
        "line": made.line,
        "why": made.why,
        "place": [round(value, 6) + 0.0 for value in made.place],
        "clear": round(made.clear, 6),
        "plunge": round(made.plunge, 3),
        "tool": made.tool,
        "rpm": made.speed,
        "motions": made.motions,
        "written": None if made.findings else str(target),
        "findings": list(made.findings),
    }


def _told(made: Restart, target: Path, quiet: bool) -> str:
    from textwrap import indent

    from corepath.cli.tables.paragraphs import wrapped
    from corepath.lengths import UNIT, feed, mm, units_of

    if made.findings:
        return "\n".join(["The restart does not read back; nothing was written:", *made.findings])
    x, y, z = made.place
    units = units_of(made.units)
    cutter = f"T{made.tool}" if made.tool is not None else "the cutter of the file (it names none)"
    back = [f"It begins with line {made.line}: {made.why}."] if made.why else []
    down = (
        [f"It goes down to Z{mm(z):.4f} at {feed(made.plunge):.0f~}, {made.plunge_from}."]
        if made.goes_down
        else []
    )
    said = [
        f"It goes on with line {made.asked} of {made.file}, with the same {made.motions} motions "
        "as the file.",
        *back,
        f"Begins over X{mm(x):.4f} Y{mm(y):.4f} {UNIT} at the safe height Z{mm(made.clear):.4f}.",
        *down,
        f"Cutter: {cutter}, {made.speed:.0f} rpm.",
    ]
    return "\n".join(
        [
            f"Wrote {target}",
            *(indent(wrapped(units.text(text), 78), "  ") for text in ([] if quiet else said)),
            wrapped(_FIRST),
        ]
    )


_FIRST = (
    "First check: all lines before it are cut; the same cutter, whole, at the same length; the "
    "zero kept (never "
    "restart after it is lost); the axes homed again if the power was off; chips cleared; the work "
    "still held. Hands "
    "away before cycle start."
)


def _next(file: Path, target: Path) -> str:
    from corepath.cli.tables.paragraphs import next_steps
    from corepath.planning.next_record import record_words

    first = f"read the head of {target}, run it once in the air, then at the machine"
    return next_steps(first, record_words(file.parent, file.name))
