"""What a record settles: the figures of the entries that stand, for planning. Lengths in mm, places in the board frame.

Readings taken at the same place are averaged; of things that change (fill, touch, stop, depth of a pocket) the latest
counts. A fill that was topped up since is kept until it has been measured again, for it can only have risen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from corepath.job.record_figures import SAME_PLACE
from corepath.job.record_kinds import Entry
from corepath.job.record_progress import Progress

__all__ = ["Placed", "Settled", "settle"]

Placed = tuple[float, float, float]
"""x, y and what was measured there, mm."""


@dataclass(frozen=True, slots=True)
class Settled:
    """Figures by what they replace in planning; all empty or None where nothing was measured.

    `thickness`, `thickness_after` (the skim), `groove_depth`: (x, y, figure). `pocket_depth`, `fill` (p, how far the
    cured resin lies below the raw top at its lowest point; negative where it stands proud): by casting. `top_ups`:
    (casting, grams, mm raised), one of the two None; `topped_up`: castings topped up since their fill was measured.
    `stop`: the pass after which all castings showed, `stop_plane` its height above the bed as planned when it was
    recorded; `passes`: how many passes of the skim are known to be cut. `touches`: height of the touched face above
    the bed in the set-up of the operation. `coupon_z`: by how much floors come out too high; `coupon_groove_error`:
    by how much the coupon's groove is too wide. `widths`, `moisture` (%): by stage. `stage`: how far the work is.
    """

    thickness: tuple[Placed, ...] = ()
    thickness_after: tuple[Placed, ...] = ()
    groove_depth: tuple[Placed, ...] = ()
    pocket_depth: Mapping[str, float] = field(default_factory=dict)
    fill: Mapping[str, float] = field(default_factory=dict)
    top_ups: tuple[tuple[str, float | None, float | None], ...] = ()
    topped_up: tuple[str, ...] = ()
    voids: tuple[str, ...] = ()
    leaks: tuple[str, ...] = ()
    stop: int | None = None
    stop_plane: float | None = None
    passes: int = 0
    touches: Mapping[str, float] = field(default_factory=dict)
    widths: Mapping[str, float] = field(default_factory=dict)
    moisture: Mapping[str, float] = field(default_factory=dict)
    coupon_diameter: Mapping[int, float] = field(default_factory=dict)
    coupon_z: float | None = None
    coupon_groove_width: float | None = None
    coupon_groove_nominal: float | None = None
    cut: frozenset[str] = frozenset()
    stage: str = "blank"

    def __bool__(self) -> bool:
        return bool(self.as_dict())

    @property
    def skimmed(self) -> bool:
        """Whether the skim has begun, so that its planes must stay as they are."""
        return self.passes > 0 or "skim" in self.cut

    def as_dict(self) -> dict[str, Any]:
        """What is settled, of plain JSON types; what is not known is left out, so an empty record gives {}."""
        lists = {"thickness": self.thickness, "thickness_after": self.thickness_after,
                 "groove_depth": self.groove_depth, "top_ups": self.top_ups}  # fmt: skip
        held: dict[str, Any] = {name: [list(item) for item in items] for name, items in lists.items()}
        for name in ("pocket_depth", "fill", "touches", "widths", "moisture", "coupon_diameter"):
            held[name] = {str(key): value for key, value in getattr(self, name).items()}
        for name in ("topped_up", "voids", "leaks"):
            held[name] = list(getattr(self, name))
        for name in ("stop", "stop_plane", "coupon_z", "coupon_groove_width", "coupon_groove_nominal"):
            held[name] = getattr(self, name)
        held["passes"] = self.passes or None
        held["cut"] = sorted(self.cut)
        held["stage"] = self.stage if self.stage != "blank" else None
        return {name: value for name, value in held.items() if value is not None and value != [] and value != {}}


def settle(standing: Sequence[Entry]) -> Settled:
    """What the entries that stand settle, `standing` in the order of the work."""
    progress = Progress()
    for entry in standing:
        progress.take(entry)
    stop, width = progress.stop, _last(standing, "coupon-groove-width")
    bias = _last(standing, "coupon-z")
    return Settled(
        thickness=_placed(progress.thickness),
        thickness_after=_placed(progress.after),
        groove_depth=_placed(entry for entry in progress.depths if entry.kind == "groove-depth"),
        pocket_depth=_by("casting", standing, "pocket-depth"),
        fill=_by("casting", standing, "fill"),
        top_ups=tuple(_top_up(entry) for entry in standing if entry.kind == "top-up"),
        topped_up=_topped_up(standing),
        voids=_castings(standing, "void"),
        leaks=_castings(standing, "leak"),
        stop=stop.number if stop is not None else None,
        stop_plane=stop.plane if stop is not None else None,
        passes=progress.deepest_pass,
        touches=_by("operation", standing, "touch"),
        widths=_by("stage", standing, "width"),
        moisture=_by("stage", standing, "moisture"),
        coupon_diameter=_by("cutter", standing, "coupon-diameter"),
        coupon_z=bias.value if bias is not None else None,
        coupon_groove_width=width.value if width is not None else None,
        coupon_groove_nominal=width.nominal if width is not None else None,
        cut=frozenset(progress.cut),
        stage=progress.stage,
    )


def _last(standing: Sequence[Entry], kind: str) -> Entry | None:
    return next((entry for entry in reversed(standing) if entry.kind == kind), None)


def _by(key: str, standing: Sequence[Entry], kind: str) -> dict[Any, float]:
    """The latest value of a kind for each casting, operation, stage or cutter, in the order first seen."""
    found: dict[Any, float] = {}
    for entry in standing:
        if entry.kind == kind and entry.value is not None:
            found[getattr(entry, key)] = entry.value
    return found


def _castings(standing: Sequence[Entry], kind: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(entry.casting for entry in standing if entry.kind == kind and entry.casting is not None))


def _top_up(entry: Entry) -> tuple[str, float | None, float | None]:
    grams = entry.value if entry.unit == "g" else None
    return entry.casting or "", grams, None if grams is not None else entry.value


def _topped_up(standing: Sequence[Entry]) -> tuple[str, ...]:
    waiting: dict[str, bool] = {}
    for entry in standing:
        if entry.kind in ("fill", "top-up") and entry.casting is not None:
            waiting[entry.casting] = entry.kind == "top-up"
    return tuple(name for name, topped in waiting.items() if topped)


def _placed(entries: Iterable[Entry]) -> tuple[Placed, ...]:
    """One figure for each place: the mean of the readings there, at the place of the first."""
    groups: list[tuple[tuple[float, float], list[float]]] = []
    for entry in entries:
        if entry.at is None or entry.value is None:
            continue
        group = next((values for at, values in groups if math.dist(at, entry.at) <= SAME_PLACE), None)
        if group is None:
            groups.append((entry.at, [entry.value]))
        else:
            group.append(entry.value)
    return tuple((x, y, math.fsum(values) / len(values)) for (x, y), values in groups)
