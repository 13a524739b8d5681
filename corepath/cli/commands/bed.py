"""`corepath bed`: files that face and drill the bed of a shop, and square the edge of a blank."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from corepath.cli.completing import jobs
from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import json_option, output_option, quiet_option

if TYPE_CHECKING:
    from corepath.planning.bed.bed_files import BedPlan

__all__ = ["bed"]


def bed(
    shop: Annotated[
        Path,
        typer.Argument(
            metavar="SHOP.toml",
            help="The shop file, with its table bed.",
            show_default=False,
            autocompletion=jobs,
        ),
    ],
    output: Annotated[
        Path | None, output_option("DIR", "Folder for the files; NAME-bed if not given.")
    ] = None,
    thickness: Annotated[
        str | None,
        typer.Option(
            "--thickness",
            metavar="T",
            help="Write the spoil board's thickness, as measured, into the shop file; no files.",
            show_default=False,
        ),
    ] = None,
    json: Annotated[bool, json_option("the report as JSON instead of tables")] = False,
    quiet: Annotated[bool, quiet_option()] = False,
) -> None:
    """Write files that face and drill the bed of a shop.

    Also a cross at its middle, and the edge of a blank squared, where the shop file asks for it.
    """
    with guarded(json_wanted=json):
        from corepath.cli.progress_line import showing
        from corepath.cli.tables.paragraphs import next_command

        if thickness is not None:
            _measured(shop, thickness, output, json)
            return
        from corepath.planning.bed.bed_files import plan_bed

        folder = output or shop.with_name(f"{shop.stem}-bed")
        with showing(quiet or json) as progress:
            plan = plan_bed(shop, progress)
        written = () if plan.findings else plan.write(folder)
        if json:
            say(as_json(plan.report))
            end(bool(plan.findings))
        say(_told(plan))
        if written:
            say(f"Wrote {len(written) - 2} G-code files and the sheet to {folder}")
        if written and not quiet:
            say(f"Open {folder / 'sheet.html'} in a browser, or print it.")
            say(next_command("bed", shop, "--thickness", "T", first="cut, measure"))
        end(bool(plan.findings))


def _told(plan: BedPlan) -> str:
    from corepath.cli.tables.bed_table import bed_table
    from corepath.cli.tables.paragraphs import finding_lines
    from corepath.lengths import units_of

    units = units_of(plan.shop.job.units)
    return "\n\n".join((bed_table(plan, units), finding_lines(plan.findings, units=units)))


def _measured(shop: Path, thickness: str, output: Path | None, json: bool) -> None:
    """Write the thickness of the spoil board into the shop file, which is kept as it was."""
    from corepath.errors import Fault, InputError
    from corepath.planning.bed.bed_thickness import set_thickness

    if output is not None:
        says = "writes no files: it only changes the shop file"
        raise InputError([Fault("--thickness", says, allowed="--thickness without -o")])
    changed = set_thickness(shop, thickness)
    kept = str(changed.kept) if changed.kept else None
    if json:
        say(as_json({"kept": kept, "difference": list(changed.difference)}))
    elif kept is None:
        say(f"{shop} has this thickness; nothing has been written.")
    else:
        say(f"Changed {shop}; as it was before: {kept}")
        say("\n".join(changed.difference))
        say("Plan each job of the shop again: its files hang on this thickness.")
