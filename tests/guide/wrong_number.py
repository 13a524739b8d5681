"""What one wrong number costs: for each tolerance, which check turns first and at what size of that
one alone.

All other contributors stay at what the job gives them. A check has turned when it is no longer ok,
that is when its worst case falls below its limit. The plan follows: with a larger error the skim is
planned to stop later. The geometry stays as it is built. `python -m tests.guide.wrong_number
JOB.toml` prints the table of a job.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from corepath.board.features import Board
from corepath.job.model import Job, Tolerances
from corepath.stackup.checks.depth_checks import depth_checks
from corepath.stackup.checks.place_checks import place_checks
from corepath.stackup.make_stackup import build_stackup

__all__ = ["NAMES", "Turn", "markdown_table", "what_turns_first"]

LARGEST = 64.0
"""Times its present size beyond which a contributor is not tried."""

CLOSE = 0.02
"""Share of the present size within which the turning size is found."""

NAMES = tuple(name for name, field in Tolerances.model_fields.items() if field.default is not None)


@dataclass(frozen=True, slots=True)
class Turn:
    """One contributor: its size now, the size at which the first check turns, and which; None where
    none does.

    Checks that turn at the same size stand side by side in `check`; `where` is the place of the
    first.
    """

    name: str
    now: float
    at: float | None
    check: str
    where: str


def what_turns_first(job: Job, board: Board) -> tuple[Turn, ...]:
    """Every contributor in turn. A check that is not ok already is left out."""
    spoilt = {(check_id, where) for check_id, where in _turned(job, board)}
    return tuple(_first(job, board, name, spoilt) for name in NAMES)


def markdown_table(turns: tuple[Turn, ...]) -> str:
    """The turns as a table of Markdown, most sensitive first."""
    lines = ["| tolerance | as it is | first to turn | at | that is |", "|---|---|---|---|---|"]
    for turn in sorted(
        turns, key=lambda turn: (turn.at is None, 0.0 if turn.at is None else turn.at / turn.now)
    ):
        if turn.at is None:
            lines.append(f"| {turn.name} | {turn.now:g} | nothing | | beyond {LARGEST:.0f} times |")
        else:
            times = f"{turn.at / turn.now:.1f} times"
            lines.append(f"| {turn.name} | {turn.now:g} | {turn.check} | {turn.at:.3g} | {times} |")
    return "\n".join(lines) + "\n"


def _first(job: Job, board: Board, name: str, spoilt: set[tuple[str, str]]) -> Turn:
    now = _size(job, name)
    low, high = 1.0, 2.0
    while high <= LARGEST and not _new(_with(job, name, now * high), board, spoilt):
        low, high = high, high * 2.0
    if high > LARGEST:
        return Turn(name, now, None, "", "")
    while high - low > CLOSE:
        middle = (low + high) / 2.0
        if _new(_with(job, name, now * middle), board, spoilt):
            high = middle
        else:
            low = middle
    found = _new(_with(job, name, now * high), board, spoilt)
    return Turn(
        name, now, now * high, ", ".join(dict.fromkeys(check for check, _ in found)), found[0][1]
    )


def _size(job: Job, name: str) -> float:
    if name == "thickness" and job.blank.tolerance is not None:
        return job.blank.tolerance
    return float(getattr(job.tolerances, name))


def _with(job: Job, name: str, size: float) -> Job:
    update: dict[str, Any] = {"tolerances": job.tolerances.model_copy(update={name: size})}
    if name == "thickness":
        update["blank"] = job.blank.model_copy(update={"tolerance": size})
    return job.model_copy(update=update)


def _turned(job: Job, board: Board) -> list[tuple[str, str]]:
    stack = build_stackup(job, board)
    checks = (*depth_checks(stack), *place_checks(stack, board))
    return [(check.id, check.where.split(" at ")[0]) for check in checks if check.verdict != "ok"]


def _new(job: Job, board: Board, spoilt: set[tuple[str, str]]) -> list[tuple[str, str]]:
    return [found for found in _turned(job, board) if found not in spoilt]


def _main(path: Path) -> None:
    from corepath.board.make_board import build_board
    from corepath.job.load import load_job

    job = load_job(path)
    sys.stdout.write(markdown_table(what_turns_first(job, build_board(job, path.parent))))


if __name__ == "__main__":
    _main(Path(sys.argv[1]))
