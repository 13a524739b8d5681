"""`corepath check`: the stack-up table, the schedule of the skim and what would make it pass,
before any path is made."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import JobFile, json_option, quiet_option

if TYPE_CHECKING:
    from corepath.planning.prepare import Prepared

__all__ = ["check"]


def check(
    job: JobFile,
    suggest: Annotated[
        bool, typer.Option("--suggest", help="Print job values that pass with the widest margin.")
    ] = False,
    json: Annotated[bool, json_option("the report as JSON instead of tables")] = False,
    quiet: Annotated[bool, quiet_option()] = False,
) -> None:
    """Print the stack-up table, window first, and what would fix it."""
    with guarded(json_wanted=json, job=job):
        from corepath.cli.progress_line import showing

        with showing(quiet or json) as progress:
            from corepath.planning.prepare import prepare

            prepared = prepare(job, progress)
            prepared.refuse_contradictions()
        if json:
            from corepath.planning.questions import suggestion
            from corepath.planning.report.checks_report import checks_report
            from corepath.reported import reported

            report = checks_report(prepared)
            if suggest:
                report["suggestion"] = reported(suggestion(prepared))
            say(as_json(report))
            end(prepared.failed)
        say(_told(prepared, suggest))
        if not quiet:
            settled = prepared.known.settled
            if prepared.known.measured is None and not (settled.thickness or settled.cut):
                say("\n" + _where_to_measure(job))
            say("\n" + _next(prepared, job))
        end(prepared.failed)


def _told(prepared: Prepared, suggest: bool) -> str:
    from corepath.cli.tables.paragraphs import check_table
    from corepath.cli.tables.stackup_tables import (
        advice_lines,
        contributor_table,
        pass_table,
        pour_lines,
        stop_lines,
        suggestion_lines,
    )
    from corepath.lengths import units_of
    from corepath.planning.questions import passes, pour_sheet, stops, suggestion

    units = units_of(prepared.job.units)
    parts = [check_table(prepared.checks, units), contributor_table(prepared.checks, units)]
    parts += [pass_table(passes(prepared), units), stop_lines(stops(prepared), units)]
    parts.append(advice_lines(prepared.cautions, prepared.fills, prepared.advice.lines(), units))
    sheet = pour_sheet(prepared)
    if sheet is not None:
        parts.append(pour_lines(sheet, units))
    if suggest:
        parts.append(suggestion_lines(suggestion(prepared), prepared.job.units))
    return "\n\n".join(part for part in parts if part)


def _where_to_measure(job: Path) -> str:
    """Return the path of the list of places to measure, or the command that writes it: `check`
    itself writes nothing."""
    from corepath.cli.tables.paragraphs import next_command
    from corepath.planning.questions import measuring_path

    listed = measuring_path(job)
    if listed.exists():
        return f"The blank was not measured: places to measure are in {listed}"
    return "The blank was not measured. " + next_command("record", job).replace(
        "Next: ", "The places to measure: "
    )


def _next(prepared: Prepared, job: Path) -> str:
    from corepath.cli.tables.paragraphs import next_command

    if prepared.failed:
        return next_command("check", job, "--suggest", first="fix the job")
    return next_command("plan", job)
