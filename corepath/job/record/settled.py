"""What a record settles: the figures of the entries that stand, for planning. Lengths in mm, places
in the board frame.

Readings taken at the same place are averaged; of things that change (fill, touch, stop, depth of a
pocket) the latest counts. A fill that was topped up since is kept until it has been measured again,
for it can only have risen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from corepath.job.record.entry_kinds import KINDS, Entry
from corepath.job.record.gather import Placed
from corepath.job.record.work_progress import Progress

__all__ = ["Placed", "Settled", "settle"]


@dataclass(frozen=True, slots=True)
class Settled:
    """Figures by what they replace in planning; all empty or None where nothing was measured.

    `thickness`, `thickness_after` (the skim), `groove_depth`: (x, y, figure). `seat_depth`,
    `bore_depth` (below the skimmed face): by insert. `pocket_depth`, `fill` (p, how far the cured
    resin lies below the raw top at its lowest point; negative where it stands proud): by casting.
    `top_ups`: (casting, grams, mm raised), one of the two None; `topped_up`: castings topped up
    since their fill was measured. `stop`: the pass after which all castings showed, `stop_plane`
    its height above the bed as planned when it was recorded; `passes`: the highest number of a pass
    that is cut, `deepest` the lowest plane. `touches`: height of the touched face above the bed in
    the set-up of the operation. `coupon_z`: by how much floors come out too high;
    `coupon_groove_error`: by how much the coupon's groove is too wide. `widths`, `moisture` (%): by
    stage. `stage`: how far the work is. `more`: what kinds of entry settle that has no field here,
    by the name in the table of kinds.
    """

    thickness: tuple[Placed, ...] = ()
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
    stage: str = "blank"
    more: Mapping[str, Any] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.as_dict())

    @property
    def stopped(self) -> bool:
        """Whether the stop of the skim is recorded."""
        return self.stop is not None or self.stop_plane is not None

    @property
    def skimmed(self) -> bool:
        """Whether the skim has begun, so that its planes must stay as they are."""
        return self.passes > 0 or self.deepest is not None or "skim" in self.cut

    def as_dict(self) -> dict[str, Any]:
        """What is settled, of plain JSON types; what is not known is left out, so an empty record
        gives {}."""
        held = {
            one.name: _plain(getattr(self, one.name)) for one in fields(self) if one.name != "more"
        }
        held |= {name: _plain(figures) for name, figures in self.more.items()}
        held["passes"] = self.passes or None
        held["stage"] = self.stage if self.stage != "blank" else None
        return {
            name: value
            for name, value in held.items()
            if value is not None and value != [] and value != {}
        }

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Settled:
        """The inverse of `as_dict`. Raises TypeError or ValueError for what is none."""
        found: dict[str, Any] = {}
        for name, held in data.items():
            numbered = isinstance(held, Mapping) and _by_cutter(name)
            found[name] = (
                {int(key): value for key, value in held.items()} if numbered else _frozen(held)
            )
        found["cut"] = frozenset(found.get("cut", ()))
        own = {name: held for name, held in found.items() if name in _FIELDS}
        return Settled(
            **own, more={name: held for name, held in found.items() if name not in _FIELDS}
        )


def settle(standing: Sequence[Entry]) -> Settled:
    """What the entries that stand settle, `standing` in the order of the work."""
    progress = Progress()
    for entry in standing:
        progress.take(entry)
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
    """A figure as JSON has it."""
    if isinstance(held, Mapping):
        return {str(key): _plain(value) for key, value in held.items()}
    if isinstance(held, frozenset):
        return sorted(held)
    return [_plain(item) for item in held] if isinstance(held, tuple) else held


def _frozen(held: Any) -> Any:
    """The inverse, but for sets and keys that are numbers."""
    return tuple(_frozen(item) for item in held) if isinstance(held, list) else held


def _by_cutter(name: str) -> bool:
    """Whether a field is kept by the number of a cutter."""
    return any(
        name == settled
        for kind in KINDS.values()
        if "cutter" in kind.needs
        for settled, _ in kind.settles
    )
