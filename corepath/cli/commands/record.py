"""`corepath record`: add what was measured to the as-cut record, or show it and what comes next."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from corepath.cli.commands.record_options import (
    entries_from,
    figure_options,
    note_entry,
    signature_of,
)
from corepath.cli.completing import stages
from corepath.cli.guard import as_json, guarded, say
from corepath.cli.options import JobFile, json_option, quiet_option

if TYPE_CHECKING:
    from corepath.job.record.ascut import Record
    from corepath.job.record.entry import Entry
    from corepath.job.record.record_facts import JobFacts
    from corepath.planning.prepare import Prepared

__all__ = ["record_command"]


def _record(
    job: JobFile,
    *,
    stage: Annotated[
        str | None,
        typer.Option(
            metavar="STAGE",
            autocompletion=stages,
            help="Of a width or moisture: blank, A, cast, B, inserts or C, if not now.",
        ),
    ] = None,
    correct: Annotated[
        str | None,
        typer.Option(
            metavar="N", help="The one figure given takes the place of entry N, of the same kind."
        ),
    ] = None,
    date: Annotated[
        str | None, typer.Option(metavar="DATE", help="Day of the work, as 2026-05-17; else today.")
    ] = None,
    note: Annotated[
        str | None, typer.Option(metavar="TEXT", help="A remark kept with the entries, or alone.")
    ] = None,
    source: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FILE", help="Figures from a file, a line for each command as typed."
        ),
    ] = None,
    probed: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Places touched by a probe, a line of X Y Z for each."),
    ] = None,
    json: Annotated[bool, json_option("the record as JSON instead of tables")] = False,
    quiet: Annotated[bool, quiet_option("No progress; do not say what to measure next.")] = False,
    **figures: Any,
) -> None:
    """Add what was measured; alone: show what to measure next.

    Figures are in the job's units, places on the board as in the drawings of A, from the middle of
    the blank. Options may be repeated and put together; then all entries are added, or none.
    Impossible values are rejected.
    """
    # `figures` are the options of the table of kinds, which typer passes by key: a flag is True, a
    # single word a text, a repeated option a list.
    options = {option.key: option.name for option in figure_options()}
    flags = frozenset(options[key] for key, given in figures.items() if given is True)
    typed = {options[key]: [given] if isinstance(given, str) else list(given)
             for key, given in figures.items() if given and given is not True}  # fmt: skip
    with guarded(json_wanted=json, job=job):
        from corepath.cli.progress_line import showing

        with showing(quiet or json) as progress:
            from corepath.cli.commands.record_run import (
                form_for,
                known_facts,
                minutes_lines,
                read_record,
                refuse_options,
                what_it_means,
            )
            from corepath.cli.record_file import entries_in
            from corepath.job.record.entry_kinds import rank
            from corepath.planning.progress import within

            facts, prepared = known_facts(job, within(progress, 0.0, 0.5))
            held, path = read_record(job)
            common = {"date": date, "note": note, "corrects": correct}
            refuse_options(typed, flags=flags, stage=stage, common=common)
            entries = entries_from(typed, scale=facts.scale, flags=flags, common=common)
            if source is not None:
                entries = sorted((*entries, *entries_in(source, facts.scale, common)), key=rank)
            if probed is not None:
                entries = sorted(
                    (*entries, *_probed(probed, facts, prepared, held, common)), key=rank
                )
            if not entries and note is not None:
                entries = [note_entry(common)]
            added = _added(held, entries, facts, stage, path) if entries else held
            form = None if entries else form_for(job, prepared)
            means = what_it_means(job, within(progress, 0.5, 1.0))
            if not entries or any(entry.kind == "minutes" for entry in entries):
                means += minutes_lines(job, prepared, added)
        if json:
            measuring = str(form) if form is not None else None
            say(
                as_json(
                    _report(added, facts, path, len(entries))
                    | {"means": means, "measuring": measuring}
                )
            )
            return
        if form is not None:
            say(f"Wrote {form}: where to measure the blank.")
        _show(added, facts, path, len(entries), quiet)
        for line in means:
            say(line)


def record_command() -> Callable[..., None]:
    """Return the function of the command, with an option for each figure in the table of kinds."""

    def record(job: Path, **typed: Any) -> None:
        _record(job, **typed)

    record.__doc__ = _record.__doc__
    record.__signature__ = signature_of(_record, "stage")  # type: ignore[attr-defined]
    return record


def _probed(
    path: Path, facts: JobFacts, prepared: Prepared | None, held: Record, common: dict[str, Any]
) -> list[Entry]:
    """Return the entries of a probe's file; see `probed_entries`."""
    from dataclasses import replace

    from corepath.errors import Fault, InputError
    from corepath.job.probed import probed_entries

    if prepared is None:
        raise InputError([Fault("--probed", "needs a job without faults: corepath check")])
    if common["corrects"] is not None:
        raise InputError([Fault("--correct", "takes the figure as an option, not from --probed")])
    found = probed_entries(path, prepared.job, facts, held.settled(), common["note"] or "")
    return [replace(entry, date=common["date"] or "") for entry in found]


def _added(
    held: Record, entries: list[Any], facts: JobFacts, stage: str | None, path: Path
) -> Record:
    from dataclasses import replace

    from corepath.job.record.ascut import save_record

    if stage is not None:
        entries = [replace(entry, stage=stage) for entry in entries]
    added = held.add_all(entries, facts)
    save_record(added, path)
    return added


def _report(held: Record, facts: JobFacts, path: Path, added: int) -> dict[str, Any]:
    from corepath.job.record.next_steps import next_measurements

    settled = held.settled()
    return {
        "file": str(path),
        "units": "mm",
        "stage": held.stage,
        "entries": [_entry_dict(held, entry) for entry in held.entries],
        "added": [entry.n for entry in held.entries[len(held.entries) - added :]],
        "settled": settled.as_dict(),
        "contradictions": [str(fault) for fault in held.contradictions(facts)],
        "next": next_measurements(facts, settled),
    }


def _entry_dict(held: Record, entry: Any) -> dict[str, Any]:
    from dataclasses import asdict

    fields = {name: value for name, value in asdict(entry).items() if value not in (None, "")}
    by = held.corrected_by(entry.n)
    return {
        "n": fields.pop("n"),
        **fields,
        "stands": by is None,
        **({} if by is None else {"corrected_by": by}),
    }


def _plan_words(facts: JobFacts) -> tuple[str, ...]:
    """Return the words of the command that plans again, into the folder of the last plan where that
    has a name of its own."""
    folder = facts.folder
    if folder is None or folder.name == f"{Path(facts.file).stem}-plan":
        return ("plan", facts.file)
    return ("plan", facts.file, "-o", folder.name)


def _show(held: Record, facts: JobFacts, path: Path, added: int, quiet: bool) -> None:
    from corepath.cli.commands.record_run import record_rows
    from corepath.cli.tables.paragraphs import next_command, record_table, wrapped
    from corepath.job.record.next_steps import next_measurements

    if added:
        new = held.entries[len(held.entries) - added :]
        say(record_table(record_rows(held, new, facts)))
        say(f"{len(new)} {'entry' if len(new) == 1 else 'entries'} added to {path}")
    elif held.entries:
        say(record_table(record_rows(held, held.entries, facts)))
        say(f"{len(held.entries)} in {path}, stage {held.stage} (lengths in {facts.units})")
    else:
        say(f"Nothing is recorded yet for {facts.file}.")
    for fault in held.contradictions(facts):
        say(wrapped(f"caution: {fault}"))
    if quiet:
        return
    say("\nNext:")
    steps = next_measurements(facts, held.settled())
    # a file that stopped goes on as it is: planned anew its lines may be others
    again = not held.settled().broken_off
    if added and again and any("corepath record" in step for step in steps):
        say("- Plan what lies ahead for the core as it is now:")
        say(f"    {next_command(*_plan_words(facts)).removeprefix('Next: ')}")
    for line in steps:
        words, command, options = line.partition("corepath ")
        say(wrapped(f"- {words}"))
        if command:
            say(f"    {command}{options}")
