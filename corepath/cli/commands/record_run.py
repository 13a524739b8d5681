"""Read what `corepath record` needs before it can add: the job's facts and the record so far; and
make rows to print."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corepath.cli.commands.record_options import TypedWords
from corepath.cli.progress_line import Progress
from corepath.errors import CorepathError, Fault, InputError
from corepath.job.load import read_job
from corepath.job.record.ascut import Record, load_record, record_path
from corepath.job.record.entry_kinds import KINDS, STAGES, Entry, figure, subject
from corepath.job.record.record_facts import JobFacts
from corepath.lengths import marked, units_of
from corepath.stackup.measuring.facts_for_record import facts_of
from corepath.stackup.pour.voids import resin_cautions

if TYPE_CHECKING:
    from corepath.planning.prepare import Prepared

__all__ = [
    "known_facts",
    "minutes_lines",
    "read_record",
    "record_rows",
    "refuse_options",
    "what_it_means",
]


def known_facts(job: Path, progress: Progress) -> tuple[JobFacts, Prepared | None]:
    """Return the facts of a job file, and the prepared job where it can be prepared.

    Figures can be recorded for a job with faults too, as long as it can be read: they were measured
    and must not be lost. Raises InputError where it cannot.
    """
    from corepath.planning.folder.last_plan import last_plan
    from corepath.planning.prepare import prepare

    try:
        # Without a stack-up the record still knows its rules, but no heights to compare with.
        prepared = prepare(job, progress)
        facts = facts_of(prepared.job, str(job), prepared.board, prepared.stackup, last_plan(job))
        return facts, prepared
    except CorepathError:
        found, faults = read_job(job)
        if found is None:
            raise InputError(faults) from None
        return facts_of(found, str(job), folder=last_plan(job)), None


def form_for(job: Path, prepared: Prepared | None) -> Path | None:
    """Write the list of places to measure for a raw blank that was not measured; return its path.

    None where there is one already, the blank was measured or is being cut, or it cannot be
    written.
    """
    from corepath.planning.questions import measuring_path, write_measuring

    if prepared is None or prepared.known.settled.cut or measuring_path(job).exists():
        return None
    return write_measuring(prepared, job)


def read_record(job: Path) -> tuple[Record, Path]:
    """Return the record of a job file and its path. Raises InputError where it cannot be read."""
    path = record_path(job)
    return load_record(path), path


def refuse_options(
    typed: TypedWords, *, flags: frozenset[str], stage: str | None, common: Mapping[str, Any]
) -> None:
    """Raise InputError for options that do not go together."""
    faults = []
    kinds = [(kind, option) for kind in KINDS.values() for option in kind.typed]
    beside = {other[0]: option.option for _, option in kinds for other in option.beside}
    figures = {option: words for option, words in typed.items() if option not in beside}
    count = sum(len(words) for words in figures.values())
    for _, option in kinds:
        if option.flag is not None and option.flag[0] in flags and option.option not in typed:
            says = f"says when a {option.option.removeprefix('--')} was measured, and none is given"
            faults.append(Fault(option.flag[0], says))
    for other, option_name in beside.items():
        if other in typed and option_name not in typed:
            faults.append(Fault(other, f"belongs to {option_name}, which is not given"))
    if common["corrects"] is not None and (count != 1 or "--withdraw" in typed):
        faults.append(Fault("--correct", "takes exactly one new figure", f"{count} given"))
    if stage is not None:
        if stage not in STAGES:
            faults.append(Fault("--stage", "is no stage", stage, ", ".join(STAGES)))
        staged = [option.option for kind, option in kinds if kind.staged]
        if not figures or set(figures) - set(staged):
            faults.append(Fault("--stage", f"goes with {' and '.join(staged)} only"))
    if not count and common["note"] is None and common["date"] is not None:
        faults.append(Fault("--date", "without anything to record"))
    if faults:
        raise InputError(faults)


def what_it_means(job: Path, progress: Progress) -> list[str]:
    """Return what the record changes in the plan, as lines: figures that disagree, castings that
    are too low, checks that fail now, advice.

    Empty where nothing is wrong, and where the job itself is, which `check` reports.
    """
    from corepath.cli.tables.paragraphs import wrapped
    from corepath.planning.prepare import prepare
    from corepath.planning.report.shift_lines import shift_lines
    from corepath.planning.report.trouble_lines import off_place_lines, sunk_lines

    try:
        prepared = prepare(job, progress)
    except InputError as error:
        return _without_cutter(job, error)
    except CorepathError:
        return []
    units = units_of(prepared.job.units)
    lines = [wrapped(units.text(f"caution: {marked(line)}")) for line in prepared.doubts]
    settled = prepared.known.settled
    resin = resin_cautions(settled, prepared.file)
    lost = (*off_place_lines(prepared), *sunk_lines(prepared))
    told = (*prepared.fills, *shift_lines(prepared), *lost, *resin)
    lines += [wrapped(units.text(f"- {marked(line)}")) for line in told]
    failing = [check for check in prepared.checks if check.verdict == "fail"]
    lines += [
        wrapped(units.text(f"fail: {check.id} ({marked(check.where)}): {marked(check.message)}"))
        for check in failing
    ]
    if prepared.accepted:
        lines.append(f"accepted (tolerances.accept): {', '.join(prepared.accepted)}")
    elif failing:
        lines += [wrapped(units.text(f"- {marked(line)}")) for line in prepared.advice.lines()]
    return [f"\nWith this record (lengths in {units.words}):", *lines] if lines else []


def _without_cutter(job: Path, error: InputError) -> list[str]:
    """Return why nothing can be planned on with the cutters that are left; empty where none is
    recorded as broken."""
    from corepath.cli.tables.paragraphs import wrapped

    broken = read_record(job)[0].settled().broken
    if not broken:
        return []
    named = ", ".join(f"T{number}" for number in broken)
    lines = [wrapped(f"- {one.message}: {one.allowed} is needed") for one in error.faults]
    return [f"\nWithout {named} nothing can be planned on:", *lines]


def minutes_lines(job: Path, prepared: Prepared | None, record: Record) -> list[str]:
    """Return what the minutes in the record say about the machine, as lines; empty without any."""
    from corepath.cli.tables.paragraphs import wrapped
    from corepath.planning.learning.clock_lines import clock_lines

    if prepared is None or not any(entry.kind == "minutes" for entry in record.standing):
        return []
    lines = clock_lines(job, record, prepared.job.machine.motion_limits)
    return ["\nMinutes at the machine, dwells counted, stops not:", *map(wrapped, lines)]


def record_rows(record: Record, entries: Iterable[Entry], facts: JobFacts) -> list[Sequence[str]]:
    """Return the rows of the table of entries, lengths in the job's units."""
    return [
        (
            str(entry.n),
            entry.date,
            entry.stage,
            KINDS[entry.kind].what,
            subject(entry, facts.scale),
            figure(entry, facts.scale),
            _fate(record, entry),
        )
        for entry in entries
    ]


def _fate(record: Record, entry: Entry) -> str:
    by = record.corrected_by(entry.n)
    if by is not None:
        done = "withdrawn" if record.entries[by - 1].kind == "withdrawn" else "corrected"
        return f"{done} by {by}"
    parts = (
        [f"corrects {entry.corrects}"]
        if entry.corrects is not None and entry.kind != "withdrawn"
        else []
    )
    return "; ".join([*parts, *([entry.note] if entry.note else [])])
