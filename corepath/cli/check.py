"""`corepath check`: the stack-up table, before any path is made."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.guard import as_json, end, guarded, say

__all__ = ["check"]


def check(
    job: Annotated[Path, typer.Argument(metavar="JOB.toml", help="The job file.", show_default=False)],
    json: Annotated[bool, typer.Option("--json", help="Print the report as JSON instead of tables.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="No hint of the next command.")] = False,
) -> None:
    """Print the stack-up table, window first."""
    with guarded(json_wanted=json, job=job):
        from corepath.planning import check_report, prepare

        prepared = prepare(job)
        failed = any(check.verdict == "fail" for check in prepared.checks)
        if json:
            say(as_json(check_report(prepared)))
            end(failed)
        from corepath.cli.tables import check_table, next_command

        say(check_table(prepared.checks))
        if not quiet:
            say("\n" + next_command("check" if failed else "plan", job, first="mend the job" if failed else ""))
        end(failed)
