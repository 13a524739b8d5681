"""Tables and paragraphs that commands print: at most 80 columns wide, plain text in a pipe.

Verdicts are words; colour only repeats them. Lengths in mm unless a row says otherwise.
"""

from __future__ import annotations

import io
import shlex
import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from corepath.lengths import MM, Units, in_unit, marked, unit_word
from corepath.motion.cutter import cutter_words

# Importing them loads numpy and shapely, which a command without such a table does not need.
if TYPE_CHECKING:
    from corepath.gcode.read.findings import Finding
    from corepath.planning.make import MadeFile
    from corepath.planning.report.times import MinutesApart
    from corepath.readback.surfaces.measures import Measure
    from corepath.stackup.checks.verdict import Check

__all__ = [
    "WIDTH",
    "check_remarks",
    "check_table",
    "file_table",
    "finding_lines",
    "measure_table",
    "new_table",
    "next_command",
    "next_steps",
    "record_table",
    "rendered",
    "wrapped",
]

WIDTH = 80
MOST_FINDINGS = 20


def check_table(checks: Sequence[Check], units: Units = MM) -> str:
    """Return the stack-up table, window first, then a remark on each check that is not ok."""
    table = new_table(units)
    table.add_column("check", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    for name in ("value", "worst", "limit", "margin"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("where", overflow="fold")
    ordered = sorted(checks, key=lambda check: check.id != "window")
    for check in ordered:
        figures = [
            figure_cell(one, check.unit)
            for one in (check.value, check.worst, check.limit, check.margin)
        ]
        name = check.id if check.unit in ("", "mm") else f"{check.id}, {unit_word(check.unit)}"
        table.row(name, check.verdict, *figures, check.where)
    told = f" (lengths in {units.words}; worst: all tolerances against you at once)"
    return f"{rendered(table)}\n{check_remarks(ordered, told, units)}"


def check_remarks(checks: Sequence[Check], after: str = "", units: Units = MM) -> str:
    """Return the number of checks of each verdict, and a remark on each check that is not ok."""
    counts = Counter(check.verdict for check in checks)
    total = ", ".join(
        f"{counts[verdict]} {verdict}" for verdict in ("ok", "caution", "fail") if counts[verdict]
    )
    return "\n".join(
        [total + after, *(_remark(check, units) for check in checks if check.verdict != "ok")]
    )


def file_table(
    files: Sequence[MadeFile], minutes: float, apart: MinutesApart, units: Units = MM
) -> str:
    """Return a table with one line for each file (set-up, cutter, minutes, lower bound of the
    minutes, lines) and the minutes of all."""
    table = new_table(units)
    table.add_column("file", overflow="fold")
    table.add_column("set-up")
    table.heads(f"cutter, {units.short}", overflow="fold")
    for name in ("minutes", "least", "ratio"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("lines", justify="right", no_wrap=True)
    for file in files:
        program = file.program
        table.row(
            file.name + (" (with stops)" if program.combined else ""),
            program.setup,
            cutter_words(program.cutter.facts(), " D", " R"),
            f"{round(file.minutes, 2):.1f}",
            *_least(file),
            str(file.lines),
        )
    counted = f"{minutes:.1f} minutes with the skim to its planned stop;\n{_apart(apart)}"
    return (
        f"{rendered(table)}\n{counted}\nleast: what any path takes under the same limits; * on "
        "level ground, no bound"
    )


def _apart(apart: MinutesApart) -> str:
    """Return what is not counted in the minutes, with an allowance for it."""
    hands = f"{apart.changes} tool changes, allow {round(apart.change_minutes, 2):.0f} min"
    if apart.stops:
        hands += f"; {apart.stops} stops, allow {round(apart.stop_minutes, 2):.0f} min"
    return wrapped(
        f"apart: {round(apart.dwell, 3):.1f} min of dwells; {hands}; set-ups are not counted"
    )


def _least(file: MadeFile) -> tuple[str, str]:
    """Return the lower bound of the minutes, marked where it holds for level ground only, and the
    ratio of the file's minutes to it."""
    least, mark = file.least_time.minutes, "*" if file.least_time.level else ""
    return f"{round(least, 3):.1f}{mark}", f"{round(file.minutes / least, 3):.2f}{mark}"


def measure_table(measures: Sequence[Measure], units: Units = MM) -> str:
    """Return a table of what was measured, file by file: value, wanted value, deviation."""
    table = new_table(units)
    table.heads(f"measured, {units.short}", max_width=24, overflow="fold")
    for name in ("value", "wanted", "off"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    file = ""
    for measure in measures:
        if measure.file != file:
            file = measure.file
            table.row(file)
        held = measure.unit
        value, off = figure_cell(measure.value, held), figure_cell(measure.deviation, held)
        wanted = "" if measure.wanted is None else figure_cell(measure.wanted, held)
        table.row(f"  {measure.id}", value, wanted, off if wanted else "", measure.message)
    return rendered(table)


def finding_lines(
    findings: Sequence[Finding], counts: Mapping[str, int] | None = None, units: Units = MM
) -> str:
    """Return the first findings, each with its place, and the number of each kind.

    Where only the first findings of a kind were kept, `counts` has their full numbers.
    """
    if not findings:
        return "read-back: no findings"
    numbers = dict(counts) if counts else dict(Counter(finding.kind for finding in findings))
    total = sum(numbers.values())
    lines = [f"read-back: {total} finding" + ("s" if total > 1 else "")]
    for finding in findings[:MOST_FINDINGS]:
        place = finding.file + (f":{finding.line}" if finding.line else "")
        where = f"{finding.kind}: {place}" if place else finding.kind
        lines.append(wrapped(units.text(f"{where}: {marked(finding.message)}")))
    if total > MOST_FINDINGS:
        lines.append(
            wrapped(
                "in all: " + ", ".join(f"{count} {kind}" for kind, count in sorted(numbers.items()))
            )
        )
    return "\n".join(lines)


def record_table(rows: Iterable[Sequence[str]]) -> str:
    """Return a table of entries of an as-cut record, given as rows: number, date, stage, what,
    where, value, and whether it was corrected."""
    table = new_table()
    table.add_column("n", justify="right", no_wrap=True)
    table.add_column("date", no_wrap=True)
    table.add_column("stage", no_wrap=True)
    table.add_column("what", overflow="fold")
    table.add_column("where", overflow="fold")
    table.add_column("value", justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    for row in rows:
        table.row(*row)
    return rendered(table)


def next_command(*words: object, first: str = "") -> str:
    """Return the next command to type, quoted for a shell, and what to do `first`."""
    before = f"Next: {first}, then:" if first else "Next:"
    command = shlex.join(["corepath", *(str(word) for word in words)])
    # a command is never broken, so that it can be pasted: a long one gets a line of its own
    whole = f"{before} {command}"
    return whole if len(whole) <= WIDTH else f"{before}\n    {command}"


def next_steps(first: str, words: Sequence[str] | None) -> str:
    """Return what to do next and, on a line of its own, the command to type after it, if any."""
    if words is None:
        return wrapped(f"Next: {first}.")
    return wrapped(f"Next: {first}, then:") + f"\n    {shlex.join(['corepath', *words])}"


def _remark(check: Check, units: Units) -> str:
    lines = [
        "",
        wrapped(
            units.text(
                f"{check.verdict}: {check.id} ({marked(check.where)}): {marked(check.message)}"
            )
        ),
    ]
    if check.fix:
        lines.append(
            textwrap.indent(wrapped(units.text(f"Fix: {marked(check.fix)}"), WIDTH - 2), "  ")
        )
    lines.append(f"  See docs/checks/{check.id}.md")
    return "\n".join(lines)


def wrapped(text: str, width: int = WIDTH) -> str:
    """Return text in lines of at most `width` letters, indented from the second on; long words stay
    whole, so that paths and commands can be copied."""
    return textwrap.fill(
        text, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
    )


class UnitTable(Table):
    """A table that shows lengths in a job's units; cells are plain text, without markup."""

    def __init__(self, units: Units) -> None:
        super().__init__(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
        self.units = units

    def heads(self, *names: str, **style: Any) -> None:
        """Add columns of these names, all in one style."""
        for name in names:
            self.add_column(Text(self.units.text(name)), **style)

    def row(self, *cells: str | Text) -> None:
        """Add a row of cells."""
        self.add_row(
            *(Text(self.units.text(cell)) if isinstance(cell, str) else cell for cell in cells)
        )


def new_table(units: Units = MM) -> UnitTable:
    """Return an empty table in the common style, its lengths in these units."""
    return UnitTable(units)


def figure_cell(number: float, unit: str = "mm") -> str:
    """Return a figure to three places; a length is shown in the table's units."""
    # What would round to "-0.000" is 0.
    number = 0.0 if abs(number) < 0.0005 else number
    return f"{in_unit(number, unit):.3f}"


def rendered(table: Table) -> str:
    """Return the table as text without control codes; `say` colours the verdicts."""
    console = Console(
        file=io.StringIO(),
        width=WIDTH,
        force_terminal=False,
        color_system=None,
        highlight=False,
        legacy_windows=False,
        safe_box=True,
    )
    with console.capture() as capture:
        console.print(table)
    return "\n".join(line.rstrip() for line in capture.get().split("\n")).strip("\n")
