"""Measures: one figure each, and how far it is from the one wanted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corepath.lengths import Said
from corepath.reported import Key, report_keys

__all__ = ["Extra", "Measure", "MeasureList", "spread"]

Extra = tuple[tuple[str, tuple[float, ...]], ...]
Place = tuple[float, float]

_BARS = 12


def spread(values: NDArray[np.floating]) -> Extra:
    """Return a histogram of `values` (any shape) for `Measure.extra`: the edges of bars of equal
    width and how many values each holds; empty for no values."""
    if not values.size:
        return ()
    low, high = float(values.min()), float(values.max())
    # Bars of equal heights still have a width.
    edges = np.linspace(low, max(high, low + 1e-3), _BARS + 1)
    counts = _counts(values, edges)
    return (
        ("edges", tuple(float(edge) for edge in edges)),
        ("counts", tuple(float(count) for count in counts)),
    )


def _counts(values: NDArray[np.floating], edges: NDArray[np.float64]) -> list[int]:
    """Return how many of `values` lie in each bar: from its lower edge on, below its upper one; the
    first bar begins at the least of them, the last one ends at the largest and holds it."""
    # A count for each edge: `numpy.histogram` sorts the values of uneven bars and divides those of
    # even ones, in double precision, which takes longer for millions of columns.
    inner = edges[1:-1]
    if values.dtype == np.float32:
        # The next higher single: the same values reach it, and it is compared without conversion.
        single = inner.astype(np.float32)
        inner = np.where(single < inner, np.nextafter(single, np.float32(np.inf)), single)
    reach = [values.size, *(int(np.count_nonzero(values >= edge)) for edge in inner), 0]
    return [more - fewer for more, fewer in pairwise(reach)]


@report_keys(
    "id",
    "file",
    "value",
    "wanted",
    "deviation",
    Key("says", "message"),
    Key("where", places=3),
    Key("*", "extra"),
)
@dataclass(frozen=True, slots=True)
class Measure:
    """One figure: `value` and `wanted` in `unit` ("" for a share or a count), and `deviation`,
    value minus wanted, signed.

    `id` and `file` name it, `message` describes it. `where` is a place (x, y) in the bed frame of
    the set-up, or None. `extra` holds further figures such as the edges and counts of a histogram.
    """

    id: str
    file: str
    value: float
    wanted: float | None
    deviation: float
    message: str
    where: Place | None = None
    extra: Extra = ()
    unit: str = "mm"

    def __post_init__(self) -> None:
        object.__setattr__(self, "message", Said(self.message))


class MeasureList(list[Measure]):
    """Measures of one file in the order taken."""

    def __init__(self, file: str) -> None:
        super().__init__()
        self.file = file

    def take(
        self,
        id: str,
        value: float,
        wanted: float | None,
        message: str,
        where: Place | None = None,
        extra: Extra = (),
    ) -> None:
        """Add one length; the deviation follows from value and wanted."""
        deviation = 0.0 if wanted is None else value - wanted
        self.append(
            Measure(id, self.file, float(value), wanted, float(deviation), message, where, extra)
        )

    def take_in(
        self,
        unit: str,
        id: str,
        value: float,
        wanted: float | None,
        message: str,
        where: Place | None = None,
    ) -> None:
        """Add one measure that is no length, in `unit` ("" for a share or a count)."""
        self.take(id, value, wanted, message, where)
        self[-1] = replace(self[-1], unit=unit)
