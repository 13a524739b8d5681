"""The as-cut record: what was measured at the machine, kept beside the job file as
`NAME.ascut.toml`.

Entries are added and, where one was wrong, corrected by a later one; no entry is ever changed or
removed. An entry *stands* until another corrects or withdraws it; a correction takes the place of
the entry that it corrects. `Record.add` rejects impossible entries, `Record.settled` gives the
figures that planning uses. Lengths in mm, places in the board frame, whatever the units of the
file.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from corepath.errors import Fault, InputError, OutputError
from corepath.job.record.ascut_text import (
    SCALES,
    entries_of,
    entry_text,
    head_faults,
    head_text,
    printable,
)
from corepath.job.record.entry_kinds import KINDS, STAGES, Entry, describe, shown_by
from corepath.job.record.entry_rules import refusals
from corepath.job.record.record_facts import JobFacts
from corepath.job.record.settled import Settled, progress_of, settle
from corepath.job.text.regular import read_regular
from corepath.job.text.source import LARGEST_TEXT, Source, locate, parse, read_text
from corepath.job.text.writing import locked, replace_file

__all__ = ["Record", "load_record", "record_path", "save_record"]


@dataclass(frozen=True, slots=True)
class Record:
    """A record as read from its file, with the entries added since.

    `entries` are all of them, in the order written; `original` the bytes of the file as read (None:
    there was no file), `added` how many of the entries are not in it yet. `units` and `title` are
    empty until they are known.
    """

    entries: tuple[Entry, ...] = ()
    units: str = ""
    title: str = ""
    original: bytes | None = None
    added: int = 0
    source: Source | None = field(default=None, compare=False, repr=False)

    @property
    def standing(self) -> tuple[Entry, ...]:
        """The entries that are neither corrected nor withdrawn, in the order of the work."""
        return _standing(self.entries)

    @property
    def stage(self) -> str:
        """How far the work has come, one of `STAGES`."""
        return progress_of(self.standing).stage

    def corrected_by(self, n: int) -> int | None:
        """Return the number of the entry that corrects or withdraws entry `n`, if there is one."""
        return next((entry.n for entry in self.entries if entry.corrects == n), None)

    def settled(self) -> Settled:
        """Return the figures that planning uses."""
        return settle(self.standing)

    def add(self, entry: Entry, facts: JobFacts) -> Record:
        """Return the record with one more entry; see `add_all`."""
        return self.add_all([entry], facts)

    def add_all(self, entries: Sequence[Entry], facts: JobFacts) -> Record:
        """Return the record with more entries. Number and, where empty, date and stage are filled
        in.

        Raises InputError with every reason why one of them is impossible, or why an earlier entry
        would become so; then none is added. The key of a fault is the kind of the entry.
        """
        faults: list[Fault] = []
        all_entries = list(self.entries)
        # What was impossible before, say after a change of the job, must not block new entries:
        # only reasons that these entries cause count.
        before = {(entry.n, reason.message) for entry, reason in refusals(self.standing, facts)}
        ill_formed: set[int] = set()
        for entry in entries:
            wrong = [*_form_faults(entry, all_entries, facts.scale), *_pass_faults(entry, facts)]
            if wrong:
                ill_formed.add(len(all_entries) + 1)
                faults += wrong
            all_entries.append(_filled_in(entry, all_entries, facts))
        first_new = len(self.entries) + 1
        for entry, reason in refusals(_standing(all_entries), facts):
            if entry.n not in ill_formed and (entry.n, reason.message) not in before:
                words = describe(entry, facts.scale)
                is_new = entry.n >= first_new
                says = (
                    reason.message
                    if is_new
                    else f"with this, entry {entry.n} ({words}) cannot be: {reason.message}"
                )
                key = entry.kind if is_new else entries[-1].kind
                faults.append(Fault(key, says, words if is_new else "", reason.allowed))
        if faults:
            raise InputError(dict.fromkeys(faults))
        return replace(
            self,
            entries=tuple(all_entries),
            units=self.units or facts.units,
            title=self.title or facts.title,
            added=self.added + len(entries),
        )

    def contradictions(self, facts: JobFacts) -> tuple[Fault, ...]:
        """Return faults, with file and line, for entries that are impossible with this job, as
        after a change of the job."""
        faults = [
            Fault(f"entry[{entry.n}]", reason.message, describe(entry, facts.scale), reason.allowed)
            for entry, reason in refusals(self.standing, facts)
        ]
        return tuple(locate(faults, self.source))


def record_path(job: Path) -> Path:
    """Return the path of the record that belongs to a job file.

    >>> record_path(Path("boards/wide.toml")).name
    'wide.ascut.toml'
    """
    return job.with_name(f"{job.stem}.ascut.toml")


def load_record(path: Path) -> Record:
    """Return the record in this file, empty if there is none. Raises InputError with all faults,
    each with file and line."""
    if not path.exists():
        return Record()
    text, faults = read_text(path)
    if faults:
        raise InputError(_as_record(faults))
    source, faults = parse(text, str(path))
    if source is None:
        raise InputError(faults)
    units, faults = head_faults(source)
    # Entries of a newer form may mean something else: report that alone.
    newer = any("newer" in fault.message for fault in faults)
    entries, wrong = ([], faults) if newer else entries_of(source, units)
    faults = faults if newer else [*faults, *wrong]
    if not faults:
        faults = _corrections(entries, SCALES[units])
    if faults:
        raise InputError(locate(faults, source))
    # Not read a second time: another run may have added an entry meanwhile, which `save_record`
    # would then take for read. Strict UTF-8 gives back the bytes it was decoded from.
    return Record(tuple(entries), units, "", text.encode("utf-8"), source=source)


def save_record(record: Record, path: Path) -> None:
    """Write the record to its file; the earlier content is kept byte for byte.

    Raises OutputError where it cannot be written or the file was changed since it was read; the
    file is then as it was.
    """
    # A link keeps pointing at the record: the file it leads to is replaced, not the link.
    target = path.resolve()
    try:
        with locked(target.parent):
            # Compared under the lock: two runs that read the same record would otherwise both add
            # an entry of the same number, and the later one would erase the earlier.
            held = read_regular(target, LARGEST_TEXT) if target.exists() else None
            if held != record.original:
                raise OutputError(
                    f"{path}: was changed by another hand meanwhile; nothing has "
                    "been written, try again"
                )
            replace_file(target, _content(record))
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror or error}") from error


def _content(record: Record) -> bytes:
    new = record.entries[len(record.entries) - record.added :]
    text = "".join(entry_text(entry, SCALES[record.units]) for entry in new)
    if record.original is None:
        return (head_text(record.title or "a job", record.units) + text).encode()
    line_end = "\r\n" if b"\r\n" in record.original else "\n"
    gap = "" if not record.original or record.original.endswith(b"\n") else "\n"
    return record.original + (gap + text).replace("\n", line_end).encode()


def _as_record(faults: Iterable[Fault]) -> list[Fault]:
    """Return faults of reading a file in words that fit a record."""
    return [
        replace(
            fault,
            message=fault.message.replace("job file", "record"),
            allowed=fault.allowed.replace("TOML file", "file of the record"),
        )
        for fault in faults
    ]


def _standing(entries: Sequence[Entry]) -> tuple[Entry, ...]:
    superseded = {entry.corrects for entry in entries if entry.corrects is not None}
    by_number = {entry.n: entry for entry in entries}
    left = [entry for entry in entries if entry.n not in superseded and entry.kind != "withdrawn"]
    return tuple(sorted(left, key=lambda entry: (_root(entry, by_number), entry.n)))


def _root(entry: Entry, by_number: dict[int, Entry]) -> int:
    """Return the number of the first entry in a chain of corrections, which gives its place in the
    work."""
    # corrects < n: a file edited by hand may hold a circle, which would never end.
    while entry.corrects is not None and entry.corrects in by_number and entry.corrects < entry.n:
        entry = by_number[entry.corrects]
    return entry.n


def _filled_in(entry: Entry, earlier: Sequence[Entry], facts: JobFacts) -> Entry:
    """Return the entry with number, date (today) and stage filled in, and what the job says now:
    plane of a pass, nominal width."""
    number = len(earlier) + 1
    corrected = next((other for other in earlier if other.n == entry.corrects), None)
    if corrected is not None:
        stage = corrected.stage
    else:
        progress = progress_of(_standing(earlier))
        # The entry itself may begin a stage ("cut groove" begins A). One that may be given for any
        # stage, such as a width, does not.
        if entry.kind not in KINDS or not KINDS[entry.kind].staged:
            progress.take(entry, shown_by(entry))
        stage = progress.stage
    number_of_pass, plane = entry.number, entry.plane
    if plane is not None and number_of_pass is None:
        number_of_pass, plane = facts.pass_at(plane) or (None, plane)
    elif plane is None and number_of_pass is not None:
        plane = facts.passes.get(number_of_pass)
    nominal = entry.nominal
    if nominal is None and entry.kind == "coupon-groove-width":
        nominal = facts.groove_width
    date = entry.date or datetime.date.today().isoformat()
    stage = entry.stage or stage
    return replace(
        entry, n=number, date=date, stage=stage, number=number_of_pass, plane=plane, nominal=nominal
    )


def _pass_faults(entry: Entry, facts: JobFacts) -> list[Fault]:
    """Return the fault of a pass that no file cuts: in the folder of the last plan, else in a plan
    made now."""
    if not facts.passes or (entry.plane is None and entry.number is None):
        return []
    if entry.plane is None:
        known, words = entry.number in facts.passes, f"pass {entry.number}"
    else:
        known, words = facts.pass_at(entry.plane) is not None, facts.height(entry.plane)
    if known:
        return []
    where = (
        "the plan" if facts.folder is None else f"{facts.folder.name}, the folder of the last plan,"
    )
    allowed = facts.pass_words() if entry.plane is not None else ", ".join(map(str, facts.passes))
    return [Fault(entry.kind, f"{where} has no such pass of the skim", words, allowed)]


def _form_faults(entry: Entry, earlier: Sequence[Entry], scale: float) -> list[Fault]:
    """Return what is wrong with an entry in itself, or with what it corrects."""
    faults = []
    words = describe(entry, scale) if entry.kind in KINDS else entry.kind
    if entry.kind not in KINDS:
        return [Fault("kind", "is no kind of entry", entry.kind, ", ".join(KINDS))]
    kind = KINDS[entry.kind]
    figures = [entry.value, entry.plane, entry.nominal, *(entry.at or ())]
    if any(figure is not None and not math.isfinite(figure) for figure in figures):
        faults.append(Fault(entry.kind, "must be a finite number", words))
    elif kind.least is not None and entry.value is not None and entry.value <= kind.least:
        faults.append(Fault(entry.kind, "must be greater than 0", words))
    for key in kind.needs:
        if _held(entry, key) in (None, ""):
            faults.append(Fault(entry.kind, f"needs {key}", words))
    if kind.one_of and all(_held(entry, key) is None for key in kind.one_of):
        faults.append(Fault(entry.kind, f"needs {' or '.join(kind.one_of)}", words))
    if entry.stage and entry.stage not in STAGES:
        faults.append(Fault("stage", "is not one of the choices", entry.stage, ", ".join(STAGES)))
    if entry.date and not _is_date(entry.date):
        faults.append(Fault("date", "is no date", entry.date, "a date such as 2026-05-17"))
    if not printable(entry.note):
        faults.append(
            Fault("note", "must be at most 200 printable letters", f"{len(entry.note)} letters")
        )
    return faults + _correction_faults(entry, earlier, scale)


def _held(entry: Entry, key: str) -> object:
    """Return what an entry holds under a key of the file."""
    return getattr(entry, "number" if key == "pass" else key)


def _is_date(text: str) -> bool:
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _correction_faults(entry: Entry, earlier: Sequence[Entry], scale: float) -> list[Fault]:
    if entry.corrects is None:
        return []
    key, value = "correct", str(entry.corrects)
    corrected = next((other for other in earlier if other.n == entry.corrects), None)
    if corrected is None:
        allowed = f"1 to {len(earlier)}" if earlier else "nothing is recorded yet"
        return [Fault(key, f"there is no entry {entry.corrects}", value, allowed)]
    already = next((other for other in earlier if other.corrects == entry.corrects), None)
    if already is not None:
        done = "withdrawn" if already.kind == "withdrawn" else "corrected"
        allowed = "" if done == "withdrawn" else str(already.n)
        return [
            Fault(
                key,
                f"entry {entry.corrects} is {done} by entry {already.n} already",
                value,
                allowed,
            )
        ]
    if corrected.kind == "withdrawn":
        return [Fault(key, f"entry {corrected.n} is a withdrawal: record the figure anew", value)]
    if entry.kind not in ("withdrawn", corrected.kind):
        says = f"entry {corrected.n} is of another kind: {describe(corrected, scale)}"
        return [Fault(key, says, value, f"a figure of kind {corrected.kind}")]
    return []


def _corrections(entries: Sequence[Entry], scale: float) -> list[Fault]:
    """Return the faults in what the entries of a file correct."""
    faults = []
    for place, entry in enumerate(entries):
        found = _correction_faults(entry, entries[:place], scale)
        faults += [replace(fault, key=f"entry[{place + 1}].corrects", value="") for fault in found]
    return faults
