"""`corepath check`: the stack-up table, the schedule of the skim and what would make it pass,
before any path is made."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from corepath.cli.guard import as_json, end, guarded, say
from corepath.cli.options import JobFile, json_option, quiet_option
from corepath.errors import Fault, InputError
from corepath.reported import report_keys

if TYPE_CHECKING:
    from corepath.cli.progress_line import Progress
    from corepath.planning.prepare import Prepared
    from corepath.stackup.odds.outcome import Outcome

__all__ = ["ShownPart", "check"]


class ShownPart(StrEnum):
    """A part of what is known of a job, each with its tables."""

    HEIGHTS = "heights"
    SKIM = "skim"
    POUR = "pour"
    FEEDS = "feeds"
    HOLES = "holes"
    RECORD = "record"
    SHOP = "shop"


def check(
    job: JobFile,
    settings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="KEY=VALUE",
            help="With --apply: other values, such as groove.floor=0.7 or 'insert[1].recess=0.4'.",
            show_default=False,
        ),
    ] = None,
    apply: Annotated[
        bool,
        typer.Option("--apply", help="Write these values into the job; the old file is kept."),
    ] = False,
    suggest: Annotated[
        bool, typer.Option("--suggest", help="Print every fix that was tried and holds.")
    ] = False,
    every: Annotated[bool, typer.Option("--all", help="Print every table.")] = False,
    show: Annotated[
        ShownPart | None,
        typer.Option("--show", help="Print the tables of one part."),
    ] = None,
    json: Annotated[bool, json_option("the report as JSON instead of tables")] = False,
    quiet: Annotated[bool, quiet_option()] = False,
) -> None:
    """Say whether the core comes out, how likely, and what fixes it."""
    with guarded(json_wanted=json, job=job):
        from corepath.cli.progress_line import showing

        with showing(quiet or json) as progress:
            prepared, applied = _prepared(job, settings or (), apply, progress)
        if json:
            from corepath.planning.report.checks_report import checks_report
            from corepath.reported import reported

            report = checks_report(prepared)
            if applied is not None:
                report["applied"] = reported(applied)
            if show is ShownPart.SHOP or every:
                from corepath.planning.job_files.key_places import key_places

                report["keys"] = [reported(one) for one in key_places(job)]
            say(as_json(report))
            end(prepared.failed)
        if applied is not None:
            say("\n".join(_changed(job, applied)))
        from corepath.planning.questions import outcome

        found = outcome(prepared)
        own = frozenset() if prepared.job.shop else {ShownPart.SHOP}
        parts = tuple(part for part in ShownPart if part not in own) if every else ()
        parts = (show,) if show else parts
        say(_told(prepared, found, job, parts, suggest))
        if not quiet:
            say("\n".join(_ends(prepared, found, job, every, suggest)))
        end(prepared.failed)


_FIXED = "\N{NO-BREAK SPACE}"


@report_keys("kept", "difference")
@dataclass(frozen=True, slots=True)
class Applied:
    """What was written into a job: path of the file as it was, and the lines that differ."""

    kept: str | None
    difference: tuple[str, ...]


def _prepared(
    job: Path, settings: Sequence[str], apply: bool, progress: Progress
) -> tuple[Prepared, Applied | None]:
    """Return the job worked out up to its checks and, where values were to be written into it, what
    was."""
    from corepath.planning.prepare import prepare

    if not (apply or settings):
        prepared = prepare(job, progress)
        prepared.refuse_contradictions()
        return prepared, None
    if not (apply and settings):
        raise InputError([_half_typed(job, settings)])
    from corepath.planning.job_files.applying import change_job, settings_of

    changed = change_job(job, settings_of(settings), progress)
    changed.prepared.refuse_contradictions()
    kept = changed.write()
    return changed.prepared, Applied(str(kept) if kept else None, changed.difference)


def _half_typed(job: Path, settings: Sequence[str]) -> Fault:
    if settings:
        typed = " ".join(settings)
        return Fault(typed, "is for --apply", allowed=f"corepath check {job} --apply {typed}")
    return Fault("--apply", "needs a value to write", allowed="KEY=VALUE, such as groove.floor=0.7")


def _changed(job: Path, applied: Applied) -> Iterator[str]:
    if applied.kept is None:
        yield f"{job} has these values; nothing has been written."
        return
    yield f"Changed {job}; as it was before: {applied.kept}"
    yield from applied.difference
    yield ""


def _told(
    prepared: Prepared, found: Outcome, job: Path, parts: Sequence[ShownPart], suggest: bool
) -> str:
    """Return the tables of these parts and, after them, the verdict: what is printed last is what
    stays on the screen."""
    from corepath.cli.tables.fix_lines import fix_lines
    from corepath.cli.tables.paragraphs import WIDTH
    from corepath.cli.tables.verdict_lines import verdict_lines
    from corepath.lengths import marked, units_of

    units = units_of(prepared.job.units)
    told = [text for part in parts for text in _tables(prepared, job, part)]
    if suggest:
        told.append(fix_lines(found, job, units))
    told.append(verdict_lines(prepared.job.title, found, prepared.cautions, units))
    if prepared.board.template is not None:
        told[-1] += "\n" + textwrap.fill(units.text(marked(prepared.board.template.line)), WIDTH)
    return "\n\n".join(text for text in told if text)


def _tables(prepared: Prepared, job: Path, part: ShownPart) -> Iterator[str]:
    from corepath.cli.tables.feed_table import feed_table, waste_line
    from corepath.cli.tables.hole_table import hole_table
    from corepath.cli.tables.paragraphs import check_table
    from corepath.cli.tables.stackup_tables import (
        advice_lines,
        contributor_table,
        pass_table,
        pour_lines,
        ready_lines,
        stop_lines,
    )
    from corepath.lengths import units_of
    from corepath.planning.questions import made_of, passes, pour_sheet, stops
    from corepath.planning.report.hole_list import hole_list
    from corepath.work.least_time.waste_minutes import waste_minutes

    units = units_of(prepared.job.units)
    if part is ShownPart.HEIGHTS:
        yield check_table(prepared.checks, units)
        yield contributor_table(prepared.checks, units)
        advice = prepared.advice.lines()
        yield advice_lines(prepared.cautions, prepared.fills, advice, units)
    elif part is ShownPart.SKIM:
        yield pass_table(passes(prepared), units)
        yield stop_lines(stops(prepared), units)
    elif part is ShownPart.POUR:
        sheet = pour_sheet(prepared)
        yield "" if sheet is None else pour_lines(sheet, units)
        yield ready_lines(*made_of(prepared), units)
    elif part is ShownPart.FEEDS:
        yield feed_table(prepared.works, units)
        waste = waste_minutes(prepared.job, prepared.board, prepared.works)
        yield from waste_line(waste, units)
    elif part is ShownPart.HOLES:
        yield hole_table(hole_list(prepared), units)
    elif part is ShownPart.RECORD:
        yield _recorded(job)
    else:
        yield _shared(job)


def _shared(job: Path) -> str:
    """Return where each key stands that the job may share with others, and what it wins over."""
    from corepath.cli.tables.key_table import key_table
    from corepath.planning.job_files.key_places import key_places

    return key_table(key_places(job))


def _recorded(job: Path) -> str:
    """Return the entries of the as-cut record, or that there are none."""
    from corepath.cli.commands.record_run import known_facts, read_record, record_rows
    from corepath.cli.tables.paragraphs import record_table
    from corepath.planning.progress import quiet

    record, path = read_record(job)
    if not record.entries:
        return f"Nothing is recorded yet for {job}."
    facts, _ = known_facts(job, quiet)
    return f"{record_table(record_rows(record, record.entries, facts))}\nfrom {path}"


def _ends(prepared: Prepared, found: Outcome, job: Path, every: bool, suggest: bool) -> list[str]:
    """Return the last lines: where to measure, what prints the rest, the next command."""
    settled, fixes, lines = prepared.known.settled, found.fixes.found, []
    unmeasured = prepared.known.measured is None and not (settled.thickness or settled.cut)
    # the lines of a fix leave no room for what does not lead to one
    if unmeasured and not fixes:
        lines.append(_where_to_measure(job))
    more = [] if every else ["--all", f"--show {'|'.join(ShownPart)}"]
    if len(fixes) > 1 and not suggest:
        more.insert(0, f"--suggest ({len(fixes)} fixes)")
    if more:
        lines.append(_more(more))
    return [*lines, _next(prepared, found, job)]


def _more(options: Sequence[str]) -> str:
    """Return what prints the rest, an option never broken."""
    from corepath.cli.tables.paragraphs import WIDTH

    return textwrap.fill(
        f"More: {', '.join(option.replace(' ', _FIXED) for option in options)}",
        WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False,
    ).replace(_FIXED, " ")  # fmt: skip


def _where_to_measure(job: Path) -> str:
    """Return the path of the list of places to measure, or the command that writes it: `check`
    itself writes nothing."""
    from corepath.cli.tables.paragraphs import WIDTH, next_command, wrapped
    from corepath.planning.questions import measuring_path

    listed = measuring_path(job)
    if listed.exists():
        return wrapped(f"The blank was not measured: places to measure are in {listed}")
    says, command = (
        "The blank was not measured. The places to measure:",
        next_command("record", job),
    )
    # a command is never broken: where it does not fit it gets a line of its own
    command = command.partition("corepath")[2]
    apart = " " if len(f"{says} corepath{command}") <= WIDTH else "\n    "
    return f"{says}{apart}corepath{command}"


def _next(prepared: Prepared, found: Outcome, job: Path) -> str:
    from corepath.cli.tables.fix_lines import fix_words
    from corepath.cli.tables.paragraphs import next_command
    from corepath.lengths import units_of

    if not prepared.failed:
        return next_command("plan", job)
    if found.fixes.found:
        units = units_of(prepared.job.units)
        return next_command(*fix_words(found.fixes.found[0], job, units))
    return next_command("check", job, first="fix the job")
