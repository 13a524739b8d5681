"""What `plan` prints once a folder is written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from corepath.planning.exploring.exploration import Exploration
    from corepath.planning.folder.plan_folder import Written
    from corepath.planning.plan import Plan

__all__ = ["plan_text"]


def plan_text(
    made: Plan,
    written: Written,
    folder: Path,
    despite_failures: bool,
    explored: Exploration | None = None,
) -> str:
    """Return the report as text: the verdict, files and minutes, cutters and ridges of a deck that
    takes long, what other cutters would save, findings, what was written where, and the answer once
    more, where a terminal stops."""
    from corepath.cli.tables.deck_cutter_table import deck_cutter_table
    from corepath.cli.tables.exploration_table import exploration_text
    from corepath.cli.tables.foreign_table import finding_fix_lines
    from corepath.cli.tables.paragraphs import file_table, finding_lines, wrapped
    from corepath.cli.tables.verdict_lines import answer_line, verdict_lines
    from corepath.lengths import units_of

    units = units_of(made.prepared.job.units)
    job = made.prepared.job
    parts = [
        verdict_lines(job.title, made.results.lists.outcome, made.prepared.cautions, units),
        "",
    ]
    results = made.results
    if made.made:
        parts += [
            file_table(made.made, results.minutes, results.apart, units),
            "",
            *(
                [deck_cutter_table(results.cutters, results.ridges, units), ""]
                if results.ridges
                else []
            ),
            *([exploration_text(explored, units), ""] if explored is not None else []),
            finding_lines(made.findings, made.readback.counts if made.readback else None, units),
            "",
            *(
                [finding_fix_lines(sorted({one.kind for one in made.findings})), ""]
                if made.findings
                else []
            ),
        ]
    programs = written.programs
    walks = [name for name in written.written if name.startswith("rehearsal/")]
    felt = [name for name in written.written if name.startswith("touch/")]
    bodies = [name for name in written.written if name.endswith(".stl")]
    others = len(written.written) - len(programs) - len(walks) - len(felt) - len(bodies)
    parts.append(f"Wrote {len(programs)} G-code files and {others} others to {folder}")
    if walks:
        parts.append(wrapped(f"Rehearsals, spindle off: {', '.join(walks)}"))
    if felt:
        parts.append(wrapped(f"To find zero with the probe: {', '.join(felt)}"))
    if bodies:
        parts.append(wrapped(f"The core after each set-up: {', '.join(bodies)}"))
    # Said only where an earlier plan is partly repeated: which files must be loaded again.
    if written.unchanged and (written.new or len(written.unchanged) < len(programs)):
        changed = [name for name in programs if name not in (*written.unchanged, *written.new)]
        parts += (
            _listed("new", written.new)
            + _listed("changed", changed)
            + _listed("unchanged", written.unchanged)
        )
    if written.done:
        parts.append(f"Moved {len(written.done)} G-code files of what is cut to {folder / 'done'}")
    if written.withdrawn:
        parts.append(
            f"Moved {len(written.withdrawn)} earlier G-code files to {folder / 'withdrawn'}"
        )
    if made.failed and not programs:
        parts.append("No G-code was written, since " + _why(made) + ".")
    elif made.failed and despite_failures:
        parts.append(
            "PLANNED DESPITE FAILURES: the head of each file says so. Do not cut with them."
        )
    elif not made.failed:
        parts.append("\n" + answer_line(job.title, results.lists.outcome))
    return "\n".join(parts)


def _listed(word: str, names: Sequence[str]) -> list[str]:
    from corepath.cli.tables.paragraphs import wrapped

    return [wrapped(f"  {word}: {', '.join(names)}")] if names else []


def _why(made: Plan) -> str:
    failed = [check.id for check in made.checks if check.verdict == "fail"]
    return (
        f"a check failed: {', '.join(dict.fromkeys(failed))}"
        if failed
        else "the read-back has findings"
    )
