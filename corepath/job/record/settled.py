"""What a record settles: the figures of its standing entries, for planning. Lengths in mm, places
in the board frame.

Readings at the same place are averaged; of things that change (fill, touch, stop, depth of a
pocket) the latest counts. A fill that was topped up since is kept until it is measured again: it
can only have risen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from corepath.job.record.entry import setup_of
from corepath.job.record.entry_kinds import KINDS, Entry, shown_by
from corepath.job.record.gather import Placed
from corepath.job.record.work_progress import Progress

__all__ = ["Placed", "Settled", "progress_of", "settle"]


@dataclass(frozen=True, slots=True)
class Settled:
    """Measured figures by what they replace in planning; empty or None where nothing was measured.

    `thickness`, `heights` (of the raw top above the bed in A), `thickness_after` (the skim),
    `groove_depth`: (x, y, figure). `seat_depth`,
    `bore_depth` (below the skimmed face): by insert. `pocket_depth`, `fill` (p, how far the cured
    resin lies below the raw top at its lowest point; negative where it stands proud): by casting.
    `top_ups`: (casting, grams, mm raised), one of the last two None; `topped_up`: castings topped
    up since their fill was measured. `stop`: number of the pass after which all castings showed,
    `stop_plane` its height above the bed as planned when it was recorded; `passes`: the highest
    number of a pass that is cut, `deepest` the lowest plane. `touches`: height of the touched face
    above the bed in the set-up of the operation. `coupon_diameter`: true diameters by number of the
    cutter; `coupon_z`: how much too high the test piece's floors are; `coupon_groove_width` and
    `coupon_groove_nominal`: how wide its groove is and should be. `widths`, `moisture` (%): by
    stage. `cut`: the operations recorded as cut. `broken`: numbers of cutters that no file ahead
    may use. `broken_off`: the line at which a file stopped whose operation is not cut yet.
    `shifts`: by how much (dx, dy, dz) what was cut in a set-up lies off its place, along the axes
    of the machine; `cut_since`: the operations that were cut after it was found. `off_place`: (dx,
    dy) of an insert off its place, board frame. `stage`: how far the work has come. `more`: figures
    of kinds of entry that have no field here, by the name in the table of kinds.
    """

    thickness: tuple[Placed, ...] = ()
    heights: tuple[Placed, ...] = ()
    thickness_after: tuple[Placed, ...] = ()
    groove_depth: tuple[Placed, ...] = ()
    pocket_depth: Mapping[str, float] = field(default_factory=dict)
    fill: Mapping[str, float] = field(default_factory=dict)
    seat_depth: Mapping[str, float] = field(default_factory=dict)
    bore_depth: Mapping[str, float] = field(default_factory=dict)
    top_ups: tuple[tuple[str, float | None, float | None], ...] = ()
    topped_up: tuple[str, ...] = ()
    voids: tuple[str, ...] = ()
    leaks: tuple[str, ...] = ()
    stop: int | None = None
    stop_plane: float | None = None
    passes: int = 0
    deepest: float | None = None
    touches: Mapping[str, float] = field(default_factory=dict)
    widths: Mapping[str, float] = field(default_factory=dict)
    moisture: Mapping[str, float] = field(default_factory=dict)
    coupon_diameter: Mapping[int, float] = field(default_factory=dict)
    coupon_z: float | None = None
    coupon_groove_width: float | None = None
    coupon_groove_nominal: float | None = None
    cut: frozenset[str] = frozenset()
    broken: tuple[int, ...] = ()
    broken_off: Mapping[str, int] = field(default_factory=dict)
    shifts: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    cut_since: frozenset[str] = frozenset()
    off_place: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    stage: str = "blank"
    more: Mapping[str, Any] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.as_dict())

    @property
    def gauged(self) -> bool:
        """Whether thickness or height of the raw blank was measured anywhere."""
        return bool(self.thickness or self.heights)

    @property
    def stopped(self) -> bool:
        """Whether the stop of the skim is recorded."""
        return self.stop is not None or self.stop_plane is not None

    @property
    def skimmed(self) -> bool:
        """Whether the skim has begun, so that its planes must stay as they are."""
        return self.passes > 0 or self.deepest is not None or "skim" in self.cut

    def shift_of(self, operation: str) -> tuple[float, float, float]:
        """Return by how much (dx, dy, dz) what an operation cut lies off its place, along the
        machine's axes in its set-up; nothing while it is not cut, or where it was cut since."""
        cut = operation in self.cut or (operation == "skim" and self.stopped)
        if not cut or operation in self.cut_since:
            return 0.0, 0.0, 0.0
        return self.shifts.get(setup_of(operation), (0.0, 0.0, 0.0))

    def as_dict(self) -> dict[str, Any]:
        """Return the figures as plain JSON types; unknown ones are left out, so that an empty
        record gives {}."""
        held = {
            one.name: _plain(getattr(self, one.name)) for one in fields(self) if one.name != "more"
        }
        held |= {name: _plain(figures) for name, figures in self.more.items()}
        # No pass cut and stage "blank" are what an empty record has: they count as unknown.
        held["passes"] = self.passes or None
        held["stage"] = self.stage if self.stage != "blank" else None
        return {
            name: value
            for name, value in held.items()
            if value is not None and value != [] and value != {}
        }

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Settled:
        """Return the figures that `as_dict` gave. Raises TypeError or ValueError for other data."""
        # JSON turns tuples to lists, sets to lists and numbers that are keys to text: undo each.
        found: dict[str, Any] = {}
        for name, held in data.items():
            numbered = isinstance(held, Mapping) and _by_cutter(name)
            found[name] = (
                {int(key): value for key, value in held.items()} if numbered else _frozen(held)
            )
        for name in ("cut", "cut_since"):
            found[name] = frozenset(found.get(name, ()))
        own = {name: held for name, held in found.items() if name in _FIELDS}
        return Settled(
            **own, more={name: held for name, held in found.items() if name not in _FIELDS}
        )


def progress_of(standing: Iterable[Entry]) -> Progress:
    """Return how far the work has come by the standing entries."""
    progress = Progress()
    for entry in standing:
        progress.take(entry, shown_by(entry))
    return progress


def settle(standing: Sequence[Entry]) -> Settled:
    """Return what the standing entries settle, given in the order of the work."""
    progress = progress_of(standing)
    found: dict[str, Any] = {
        "passes": progress.deepest_pass,
        "deepest": progress.deepest_plane,
        "stage": progress.stage,
    }
    more: dict[str, Any] = {}
    for name, kind in KINDS.items():
        for field_name, gather in kind.settles:
            held = gather(progress.of(name), standing)
            (found if field_name in _FIELDS else more)[field_name] = held
    return Settled(
        **found, more={name: held for name, held in more.items() if held not in _NOTHING}
    )


_FIELDS = frozenset(one.name for one in fields(Settled))
_NOTHING: tuple[Any, ...] = (None, (), {}, frozenset())


def _plain(held: Any) -> Any:
    """Return a figure as plain JSON types."""
    if isinstance(held, Mapping):
        return {str(key): _plain(value) for key, value in held.items()}
    if isinstance(held, frozenset):
        return sorted(held)
    return [_plain(item) for item in held] if isinstance(held, tuple) else held


def _frozen(held: Any) -> Any:
    """Return lists as tuples again; sets and numeric keys are left to the caller."""
    if isinstance(held, Mapping):
        return {name: _frozen(item) for name, item in held.items()}
    return tuple(_frozen(item) for item in held) if isinstance(held, list) else held


def _by_cutter(name: str) -> bool:
    """Return whether the keys of a field are numbers of cutters."""
    return any(
        name == settled
        for kind in KINDS.values()
        if "cutter" in kind.needs
        for settled, _ in kind.settles
    )
