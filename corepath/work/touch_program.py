"""A program that feels for a face with a probe: slow straight moves, touches, stops, zeros set.

Bed frame of its set-up, mm; the writer subtracts the zero. No move hangs on what was touched: only
the zero that is set does, and it is set once, after the last touch that it needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from corepath.motion.program import Setup, Zero

__all__ = ["Axis", "Feel", "Rise", "SetZero", "Tell", "To", "TouchProgram", "TouchStep"]

Axis = Literal["X", "Y", "Z"]


@dataclass(frozen=True, slots=True)
class To:
    """A straight move at `feed` mm/min to the coordinates given; None: stays."""

    feed: float
    x: float | None = None
    y: float | None = None
    z: float | None = None


@dataclass(frozen=True, slots=True)
class Feel:
    """A straight probe along one axis to `to`, which lies behind what is to be touched. With
    `relative`, `to` counts from where the tip stands: nothing is known of Z yet. `keep` is the
    number of the parameter that holds the touched coordinate until the zero is set."""

    axis: Axis
    to: float
    feed: float
    relative: bool = False
    keep: int | None = None


@dataclass(frozen=True, slots=True)
class Rise:
    """A straight move up by `by` from where the tip stands."""

    by: float
    feed: float


@dataclass(frozen=True, slots=True)
class Tell:
    """A stop with a message."""

    message: str


@dataclass(frozen=True, slots=True)
class SetZero:
    """Sets one coordinate of the origin so that the touched place, or the middle of the `kept`
    ones, has the coordinate `wanted` (program coordinates, mm)."""

    axis: Axis
    wanted: float
    kept: tuple[int, ...] = ()


TouchStep = To | Feel | Rise | Tell | SetZero


@dataclass(frozen=True, slots=True)
class TouchProgram:
    """One file of `touch/`: `message` are lines of its head, `call` is the number of the tool whose
    length the control holds (None: no length is called)."""

    stem: str
    setup: Setup
    title: str
    zero: Zero
    steps: tuple[TouchStep, ...]
    message: tuple[str, ...] = ()
    call: int | None = None
