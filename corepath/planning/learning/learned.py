"""What the records of past boards tell about touch, bed, blanks, cutters and the clock, as values
to type. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from corepath.board.footprints import place_ids
from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.planning.bed.shop_job import read_shared
from corepath.planning.folder.last_plan import last_plan
from corepath.planning.learning.clock_fit import ClockFit, Timed, fit_clock
from corepath.planning.learning.past_boards import PastBoard, past_boards
from corepath.planning.learning.spreads import (
    LEAST,
    Spread,
    about_lines,
    between,
    line,
    single,
    within,
)
from corepath.planning.learning.timed_files import minutes_of_record, timed_files
from corepath.stackup.heights import Heights

__all__ = ["CutterWear", "Learned", "LearnedValue", "learn"]

# mm: a value to type is rounded up to this
_STEP = 0.01
# mm: readings of thickness and height closer than this were taken at the same place
_NEAR = 2.0


@dataclass(frozen=True, slots=True)
class LearnedValue:
    """One tolerance: `what` was looked at, the spread found, and the `key` that it belongs to.

    `had` is what the shop file says now, `value` what follows, both mm; None with too few figures.
    It is no less than `least`, what it was measured with.
    """

    what: str
    key: str
    had: float
    spread: Spread
    least: float = _STEP

    @property
    def value(self) -> float | None:
        if not self.spread.known:
            return None
        return max(math.ceil(round(self.spread.bound / _STEP, 6)) * _STEP, self.least)

    def as_dict(self) -> dict[str, Any]:
        """Return it for a program, lengths in mm."""
        return {
            "key": self.key, "what": self.what, "had": self.had,
            "value": None if self.value is None else round(self.value, 4),
            "found": round(self.spread.half, 4), "always_off": round(self.spread.mean, 4),
            "figures": self.spread.count, "independent": self.spread.free,
            "boards": self.spread.boards,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class CutterWear:
    """A cutter as measured over the boards, the oldest first: `listed` and `last` diameter, `slope`
    in mm a board (negative where it wears), and how far the figures lie from that line."""

    number: int
    listed: float
    last: float
    slope: float | None
    count: int

    def as_dict(self) -> dict[str, Any]:
        """Return it for a program, lengths in mm."""
        return {
            "number": self.number, "listed": self.listed, "last": round(self.last, 4),
            "a_board": None if self.slope is None else round(self.slope, 4),
            "figures": self.count,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Learned:
    """All that was learned: the boards it comes from, what was left out and why, and the clock with
    the limits that the shop has now."""

    shop: Job
    boards: tuple[PastBoard, ...]
    told: tuple[str, ...]
    values: tuple[LearnedValue, ...]
    cutters: tuple[CutterWear, ...]
    clock: ClockFit | None

    def as_dict(self) -> dict[str, Any]:
        """Return it for a program, lengths in mm."""
        clock = self.clock
        return {
            "boards": [one.name for one in self.boards],
            "told": list(self.told),
            "values": [one.as_dict() for one in self.values],
            "cutters": [one.as_dict() for one in self.cutters],
            "clock": None if clock is None else {
                "accel": round(clock.limits.accel, 1), "low": round(clock.low, 1),
                "high": round(clock.high, 1),
                "corner_time": round(clock.limits.corner_time, 4),
                "files": len(clock.files), "sure": clock.sure,
            },
        }  # fmt: skip


def learn(shop: Path, given: Sequence[Path] = ()) -> Learned:
    """Return what the records of a shop's boards tell; where jobs are `given`, of those alone.

    Raises InputError for a shop file with faults, and for given jobs that cannot be used.
    """
    _, job = read_shared(shop)
    boards, told = past_boards(shop, given)
    clock, missing = _clock(job, boards)
    return Learned(
        job, tuple(boards), (*told, *missing), tuple(_values(job, boards)),
        tuple(_cutters(job, boards)), clock,
    )  # fmt: skip


def _values(shop: Job, boards: Sequence[PastBoard]) -> Iterator[LearnedValue]:
    tolerances = shop.tolerances
    in_a, in_b = [_groove(one) for one in boards], [_after_skim(one) for one in boards]
    seats = [_seats(one) for one in boards]
    shared = [*in_a, *in_b, *seats]
    gauge = tolerances.gauge
    yield LearnedValue(
        "what all depths of one set-up share", "tolerances.touch", tolerances.touch,
        between(shared),
    )  # fmt: skip
    yield LearnedValue(
        "depths from place to place, gauge left out", "tolerances.bed", tolerances.bed,
        within([*in_a, *in_b], gauge),
    )  # fmt: skip
    yield LearnedValue(
        "gap under the blank, held", "tolerances.flat", tolerances.flat,
        single([gap for one in boards for gap in _gaps(one)]),
    )  # fmt: skip
    yield LearnedValue(
        "thickness of one blank from place to place", "tolerances.thickness",
        tolerances.thickness, within([_thickness(one) for one in boards], 0.0), gauge,
    )  # fmt: skip
    biases = [_latest(one, "coupon_z") for one in boards]
    yield LearnedValue(
        "floors of coupons too high or too low", "tolerances.machine", tolerances.machine,
        single([one for one in biases if one is not None]),
    )  # fmt: skip
    diameters = [
        [cut - listed for cut in _diameters(boards, number)]
        for number in _measured_cutters(boards)
        if (listed := _listed(shop, number)) is not None
    ]
    yield LearnedValue(
        "diameters of cutters, wear left out", "tolerances.cutter_diameter",
        tolerances.cutter_diameter, about_lines(diameters),
    )  # fmt: skip


def _latest(board: PastBoard, name: str) -> float | None:
    held: float | None = getattr(board.known.settled, name)
    return held


def _thickness(board: PastBoard) -> list[float]:
    """Return the readings of the raw blank."""
    settled, measured = board.known.settled, board.known.measured
    found = [value for _, _, value in settled.thickness]
    if measured is not None:
        found += [float(one) for one in measured.thickness if not math.isnan(one)]
    return found


def _gaps(board: PastBoard) -> list[float]:
    """Return height less thickness where both were taken at one place; a gap is never less than
    nothing."""
    settled, measured = board.known.settled, board.known.measured
    found = []
    if measured is not None:
        rows = zip(measured.thickness, measured.height, strict=True)
        found += [float(high - thick) for thick, high in rows if not math.isnan(high - thick)]
    for x, y, high in settled.heights:
        near = [thick for u, v, thick in settled.thickness if math.hypot(u - x, v - y) <= _NEAR]
        found += [high - thick for thick in near[:1]]
    return [max(0.0, gap) for gap in found]


def _groove(board: PastBoard) -> list[float]:
    """Return by how much the groove is deeper than it was meant, at each place; empty where the
    blank was not measured."""
    settled, job = board.known.settled, board.job
    if not settled.groove_depth:
        return []
    # Only what was measured before it was cut: else depths would be compared with themselves.
    before = replace(
        board.known, settled=Settled(thickness=settled.thickness, heights=settled.heights)
    )
    blank = before.blank(job)
    if not blank.measured:
        return []
    heights = Heights(job, blank)
    return [
        depth - float(heights.groove_depth((x, y)).nominal) for x, y, depth in settled.groove_depth
    ]


def _after_skim(board: PastBoard) -> list[float]:
    """Return by how much the blank is thicker after the skim than its plane, at each place."""
    settled = board.known.settled
    if settled.stop_plane is None:
        return []
    return [thick - settled.stop_plane for _, _, thick in settled.thickness_after]


def _seats(board: PastBoard) -> list[float]:
    """Return by how much each seat is deeper than it was meant."""
    meant = {
        name: insert.flange_thickness + insert.recess
        for insert in board.job.insert
        for name in place_ids(insert.name, len(insert.at))
    }
    depths = board.known.settled.seat_depth
    return [depth - meant[name] for name, depth in depths.items() if name in meant]


def _listed(job: Job, number: int) -> float | None:
    return next((one.listed for one in job.cutter if one.number == number), None)


def _measured_cutters(boards: Sequence[PastBoard]) -> list[int]:
    return sorted({n for one in boards for n in one.known.settled.coupon_diameter})


def _diameters(boards: Sequence[PastBoard], number: int) -> list[float]:
    """Return what a cutter measured, the oldest first."""
    held = [one.known.settled.coupon_diameter for one in boards]
    return [found[number] for found in held if number in found]


def _cutters(shop: Job, boards: Sequence[PastBoard]) -> Iterator[CutterWear]:
    """Yield the cutters that were measured, each with its line over the boards."""
    for number in _measured_cutters(boards):
        held, listed = _diameters(boards, number), _listed(shop, number)
        if listed is None:
            continue
        slope, last = line(held) if len(held) >= LEAST else (None, held[-1])
        yield CutterWear(number, listed, last, slope, len(held))


def _clock(shop: Job, boards: Sequence[PastBoard]) -> tuple[ClockFit | None, list[str]]:
    """Return the clock fitted to all files that were timed, and which of them are gone."""
    files: list[Timed] = []
    told = []
    for one in boards:
        minutes = minutes_of_record(one.record)
        if not minutes:
            continue
        held = last_plan(one.path)
        folder = None if held is None else Path(held.name)
        found, missing = timed_files(folder, minutes)
        files += [replace(file, name=f"{one.name} {file.name}") for file in found]
        told += [f"{one.name}: {name} is not in the folder of its plan" for name in missing]
    return fit_clock(files, shop.machine.motion_limits), told
