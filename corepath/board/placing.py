"""Where plugs and inserts may stand: inside the board, clear of the groove and of each other. Board
frame, mm."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import shapely
from shapely import Point, Polygon

from corepath.board.footprints import disc
from corepath.errors import Fault
from corepath.job.model import Job
from corepath.lengths import mm

__all__ = ["Feature", "place_faults", "plug_faults", "touch_faults"]


@dataclass(frozen=True, slots=True)
class Feature:
    """One plug or insert at one place: its id, kind ("plug", "insert"), key in the job and
    footprint."""

    id: str
    kind: str
    key: str
    area: Polygon

    @property
    def at(self) -> str:
        middle = self.area.envelope.centroid
        return f"({mm(middle.x + 0.0):g}, {mm(middle.y + 0.0):g})"


def plug_faults(job: Job) -> list[Fault]:
    """Returns faults for sizes of plugs and inserts that contradict each other, and for names that
    are used twice."""
    faults = []
    for i, plug in enumerate(job.plug, 1):
        if plug.bolt_hole >= plug.diameter:
            allowed = f"less than the plug's diameter {mm(plug.diameter):g}"
            faults.append(
                Fault(
                    f"plug[{i}].bolt_hole",
                    "no plug is left round the bolt",
                    f"{mm(plug.bolt_hole):g}",
                    allowed,
                )
            )
        if plug.slot is not None and plug.slot < plug.diameter:
            allowed = f"{mm(plug.diameter):g} or more, the overall length"
            faults.append(
                Fault(
                    f"plug[{i}].slot",
                    "the slot is shorter than it is wide",
                    f"{mm(plug.slot):g}",
                    allowed,
                )
            )
    for i, insert in enumerate(job.insert, 1):
        if insert.flange <= insert.barrel:
            allowed = f"more than the barrel {mm(insert.barrel):g}"
            faults.append(
                Fault(
                    f"insert[{i}].flange",
                    "the flange is no wider than the barrel",
                    f"{mm(insert.flange):g}",
                    allowed,
                )
            )
    names: dict[str, str] = {}
    tables = [(f"plug[{i}]", p.name) for i, p in enumerate(job.plug, 1)]
    tables += [(f"insert[{i}]", p.name) for i, p in enumerate(job.insert, 1)]
    for key, name in tables:
        if name in names:
            faults.append(
                Fault(f"{key}.name", f"{names[name]} has the same name", name, "each name once")
            )
        names.setdefault(name, key)
    return faults


def place_faults(
    features: list[Feature],
    blank: Polygon,
    outline: Polygon | None,
    ring: Polygon | None,
    island: Polygon | None,
) -> list[Fault]:
    """Returns faults for features outside the board, in the groove, or over each other.

    `outline`, `ring` and `island` are None where they could not be built; what needs them is then
    left out. Each feature gets the first of these faults alone, since one outside the blank is
    outside the board as well.
    """
    faults = []
    for feature in features:
        if not blank.contains_properly(feature.area):
            faults.append(_off(feature, "outside the blank"))
        elif outline is None:
            continue
        elif not outline.contains_properly(feature.area.centroid):
            faults.append(_off(feature, "outside the board"))
        elif island is None or ring is None:
            continue
        elif not island.contains_properly(feature.area):
            over = -island.exterior.distance(feature.area)
            if feature.area.intersects(ring):
                over = _depth(feature.area, island)
            says = f"{feature.kind} {feature.id} reaches into the groove by {mm(over):.2f~}"
            faults.append(Fault(feature.key, says, feature.at, "clear of the groove"))
    return faults + _overlaps(features) + _same_ids(features)


def _depth(area: Polygon, island: Polygon) -> float:
    """How far `area` stands out of `island`, mm."""
    return (
        float(shapely.hausdorff_distance(area, area.intersection(island)))
        if area.intersects(island)
        else 0.0
    )


def _off(feature: Feature, where: str) -> Fault:
    says = f"{feature.kind} {feature.id} lies {where}, in whole or in part"
    return Fault(feature.key, says, feature.at, "inside the board and clear of the groove")


def _overlaps(features: list[Feature]) -> list[Fault]:
    if len(features) < 2:
        return []
    tree = shapely.STRtree([feature.area for feature in features])
    faults = []
    for j, two in enumerate(features):
        for i in sorted(int(k) for k in tree.query(two.area, predicate="intersects")):
            if i < j:
                one = features[i]
                says = f"{two.kind} {two.id} overlaps {one.kind} {one.id} at {one.at}"
                faults.append(Fault(two.key, says, two.at, "clear of each other"))
    return faults


def _same_ids(features: list[Feature]) -> list[Fault]:
    """Ids that coincide although the names differ: plug "P1" at two places gives P1a, and so may a
    plug named so."""
    faults = []
    for one, two in pairwise(sorted(features, key=lambda f: f.id)):
        if one.id == two.id and one.key.split(".")[0] != two.key.split(".")[0]:
            says = f"its place gets the id {two.id}, as {one.key} does"
            faults.append(Fault(two.key.split(".")[0] + ".name", says, allowed="another name"))
    return faults


def touch_faults(job: Job, features: list[Feature], ring: Polygon | None) -> list[Fault]:
    """Returns faults of the place where Z is touched on a face: it must be sound wood, on the blank
    and off everything cast or bored. No faults where Z is touched on the bed."""
    if job.machine.z_zero != "face":
        return []
    key = "machine.touch_at"
    if job.machine.touch_at is None:
        return [
            Fault(
                key, "missing: Z is zeroed on the face", allowed="[x, y] on sound wood of the blank"
            )
        ]
    x, y = job.machine.touch_at
    value, place = f"[{mm(x):g}, {mm(y):g}]", Point(x, y)
    if not (abs(x) < job.blank.length / 2 and abs(y) < job.blank.width / 2):
        return [
            Fault(
                key,
                "lies off the blank",
                value,
                f"within X ±{mm(job.blank.length / 2):g}, Y ±{mm(job.blank.width / 2):g}",
            )
        ]
    over = [
        f"{feature.kind} {feature.id}" for feature in features if feature.area.intersects(place)
    ]
    over += [
        f"dowel {i}"
        for i, d in enumerate(job.dowel, 1)
        if disc(*d.at, d.diameter).intersects(place)
    ]
    if ring is not None and ring.intersects(place):
        over.append("the groove")
    return [Fault(key, f"lies over {name}", value, "a place on sound wood") for name in over]
