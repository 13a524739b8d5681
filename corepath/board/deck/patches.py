"""Local patches of the deck: plateaus, raised and sunk places, laid on in the order given. Board
frame, mm.

A patch has a *form* (circle, rectangle, corners), a *weight* w between 0 at its form's line and 1
from its *blend* inwards, and leaves the deck outside alone: h becomes (1 - w) h + w·flat, h +
w·raised, or h - w·sunk. Across a straight line and a circle w is the smoothstep S
(`corepath.board.deck.form`) of the distance inside over the blend; at corners it is rounded (see
`corepath.board.deck.blur`), so h has no crease where its ground has none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import rotate, translate

from corepath.board.deck.form import smoothstep7
from corepath.board.footprints import disc
from corepath.board.outline.curves import shape_faults, signed_area
from corepath.errors import Fault
from corepath.job.model import Job, PatchSection
from corepath.lengths import mm

__all__ = ["Patch", "lay_on", "patch_cautions", "patch_faults", "patches_of"]

Floats = NDArray[np.float64]

_STEEPEST_BEND = 84.0 / 125.0 * math.sqrt(125.0)  # largest S'', where u = (1 ± sqrt(1/5)) / 2
_SAME = 1e-6  # mm; also keeps places exactly at the blend's end among those that are averaged


@dataclass(frozen=True, slots=True)
class Patch:
    """One patch at one place: `id` as messages name it, `key` in the job, its form `area`, what it
    asks (`section`); `middle` is the place (x, y) of a round one."""

    id: str
    key: str
    area: Polygon
    section: PatchSection
    middle: tuple[float, float] | None = None

    @property
    def level(self) -> shapely.Geometry:
        """Where its weight is 1; empty where the blend is too wide."""
        # mitred, so that corners stay corners; the limit is reached by angles below 2.3 degrees
        return self.area.buffer(-self.section.blend, join_style="mitre", mitre_limit=50.0)

    def weight(self, x: Floats, y: Floats) -> Floats:
        """Returns w (n,), 0 to 1, at the places `x`, `y` (n,), mm."""
        blend = self.section.blend
        if self.middle is not None and self.section.diameter is not None:
            inside = self.section.diameter / 2.0 - np.hypot(x - self.middle[0], y - self.middle[1])
            return smoothstep7(inside / blend)
        from corepath.board.deck.blur import blurred

        # The kernel, half a blend wide to either side, is laid over the form shrunk by half a
        # blend: its average is then 0 at the form's line and 1 a whole blend inside.
        core = self.area.buffer(-blend / 2.0, join_style="mitre", mitre_limit=50.0)
        w: Floats = shapely.contains_xy(core, x, y).astype(float)
        near = shapely.dwithin(shapely.points(x, y), core.boundary, blend / 2.0 + _SAME)
        # farther off the average is 0 or 1 as it stands, and the sum over all edges is saved
        if near.any():
            w[near] = blurred(_edges(core), x[near], y[near], blend / 2.0)
        return w


def _edges(area: shapely.Geometry) -> Floats:
    """(n, 4) edges with the area to the left of each."""
    rings = []
    for part in shapely.get_parts(area):
        whole = shapely.geometry.polygon.orient(part)
        rings += [shapely.get_coordinates(ring) for ring in (whole.exterior, *whole.interiors)]
    return np.vstack([np.column_stack([ring[:-1], ring[1:]]) for ring in rings])


def patches_of(job: Job) -> tuple[Patch, ...]:
    """Returns all patches of the job at all of their places, in the order given; those whose form
    is faulty are left out."""
    found = []
    for number, section in enumerate(job.deck.patch, 1):
        key, name = f"deck.patch[{number}]", section.name or f"patch {number}"
        if section.points is not None:
            ring = np.array(section.points, dtype=float)
            if not shape_faults(f"{key}.points", ring):
                found.append(
                    Patch(
                        name, key, Polygon(ring if signed_area(ring) > 0 else ring[::-1]), section
                    )
                )
            continue
        places = section.at or ()
        for place, (x, y) in enumerate(places, 1):
            many = len(places) > 1
            at = (
                (f"{name} at ({x:g}, {y:g})" if many else name),
                f"{key}.at[{place}]" if many else key,
            )
            if section.diameter is not None:
                found.append(Patch(*at, disc(x, y, section.diameter), section, (x, y)))
            elif section.size is not None:
                length, width = section.size[0] / 2.0, section.size[1] / 2.0
                box = rotate(
                    shapely.box(-length, -width, length, width), section.angle, origin=(0.0, 0.0)
                )
                found.append(Patch(*at, translate(box, x, y), section))
    return tuple(found)


def patch_faults(job: Job, outline: Polygon | None) -> list[Fault]:
    """Returns what is wrong with the patches before any height is known: form, blend, place,
    level. `outline` is None where it could not be built."""
    faults = []
    for number, section in enumerate(job.deck.patch, 1):
        key = f"deck.patch[{number}]"
        if section.points is not None:
            faults += shape_faults(f"{key}.points", np.array(section.points, dtype=float))
        if section.flat is not None and section.flat < job.board.edge_thickness:
            says = f"{section.name or f'patch {number}'} would lie below the edge thickness"
            allowed = f"board.edge_thickness, {mm(job.board.edge_thickness):g}, or more"
            faults.append(Fault(f"{key}.flat", says, f"{mm(section.flat):g}", allowed))
        if section.flat is not None and section.flat > job.blank.thickness:
            says = f"{section.name or f'patch {number}'} would stand above the blank"
            allowed = f"less than blank.thickness, {mm(job.blank.thickness):g}"
            faults.append(Fault(f"{key}.flat", says, f"{mm(section.flat):g}", allowed))
    patches = patches_of(job)
    room = outline.buffer(-job.deck.edge_band) if outline is not None and patches else None
    for patch in patches:
        # the circle is found to 0.002 mm, and the widest blend is told to 0.01: the allowance of
        # 0.005 lets the figure that is told pass
        inner = shapely.maximum_inscribed_circle(patch.area, tolerance=0.002).length
        if patch.section.blend > inner + 0.005:
            says = (
                f"the blend is wider than {patch.id} has room for: its full height would be "
                "reached nowhere"
            )
            allowed = f"at most {math.floor((inner + 0.005) * 100.0) / 100.0:g}"
            faults.append(
                Fault(f"{_of(patch)}.blend", says, f"{mm(patch.section.blend):g}", allowed)
            )
        if room is not None and not room.covers(patch.area):
            out = (
                shapely.hausdorff_distance(patch.area, patch.area.intersection(room))
                if not room.is_empty
                else 0.0
            )
            says = f"{patch.id} reaches into the edge band or beyond the board, by {mm(out):.2f~}"
            allowed = f"inside the outline by deck.edge_band, {mm(job.deck.edge_band):g}, or more"
            faults.append(Fault(patch.key, says, allowed=allowed))
    return faults


def _of(patch: Patch) -> str:
    return patch.key.partition(".at")[0]


def lay_on(
    patches: tuple[Patch, ...], job: Job, xs: Floats, ys: Floats, ground: Floats
) -> tuple[Floats, list[Fault]]:
    """Returns the heights (n, m) with all `patches` laid on `ground` (n, m), on the nodes `xs` (n,)
    by `ys` (m,), mm, and a fault for each patch that passes below the edge thickness or above the
    blank."""
    h, faults = ground.copy(), []
    for patch in patches:
        left, low, right, high = patch.area.bounds
        i = slice(int(np.searchsorted(xs, left)), int(np.searchsorted(xs, right, "right")))
        j = slice(int(np.searchsorted(ys, low)), int(np.searchsorted(ys, high, "right")))
        x, y = (a.ravel() for a in np.meshgrid(xs[i], ys[j], indexing="ij"))
        w = patch.weight(x, y).reshape(h[i, j].shape)
        asked = patch.section
        # each on what the ones before it made: the order in the job counts where they overlap
        if asked.flat is not None:
            h[i, j] += w * (asked.flat - h[i, j])
        else:
            h[i, j] += w * ((asked.raised or 0.0) - (asked.sunk or 0.0))
        faults += _passed(patch, job, xs[i], ys[j], h[i, j], w)
    return h, faults


def _passed(patch: Patch, job: Job, xs: Floats, ys: Floats, h: Floats, w: Floats) -> list[Fault]:
    inside = np.where(w > 0.0, h, np.nan)
    if np.isnan(inside).all():
        return []
    faults = []
    edge, blank = job.board.edge_thickness, job.blank.thickness
    kind = (
        "sunk"
        if patch.section.sunk is not None
        else "raised"
        if patch.section.raised is not None
        else "flat"
    )
    key = f"{_of(patch)}.{kind}"
    low, high = np.nanmin(inside), np.nanmax(inside)
    if low < edge - _SAME:
        i, j = np.unravel_index(int(np.nanargmin(np.round(inside, 9))), inside.shape)
        says = (
            f"{patch.id} would lie below the edge thickness, at {mm(low):.2f~} at ({mm(xs[i]):g}, "
            f"{mm(ys[j]):g})"
        )
        faults.append(
            Fault(
                key,
                says,
                allowed=f"{mm(edge - low):.2f} higher, board.edge_thickness being {mm(edge):g}",
            )
        )
    if high > blank:
        i, j = np.unravel_index(int(np.nanargmax(np.round(inside, 9))), inside.shape)
        says = (
            f"{patch.id} would stand above the blank, at {mm(high):.2f~} at ({mm(xs[i]):g}, "
            f"{mm(ys[j]):g})"
        )
        faults.append(
            Fault(
                key,
                says,
                allowed=f"{mm(high - blank):.2f} lower, blank.thickness being {mm(blank):g}",
            )
        )
    return faults


def patch_cautions(
    patches: tuple[Patch, ...], job: Job, ground: Floats, xs: Floats, ys: Floats
) -> list[str]:
    """Returns a sentence for each blend that bends more tightly than `deck.least_radius`, with the
    width that would not.

    `ground` (n, m) on `xs` (n,) by `ys` (m,) is the deck before any patch. A step of height H over
    the blend b bends by at most H max|S''| / b²; the ground's own curvature is left out.
    """
    found = []
    for patch in patches:
        asked = patch.section
        by = asked.raised or asked.sunk or 0.0
        if asked.flat is not None:
            inside = shapely.contains_xy(patch.area, *np.meshgrid(xs, ys, indexing="ij"))
            by = float(np.abs(asked.flat - ground[inside]).max()) if inside.any() else 0.0
        # No difference of height bends nothing; 1e-9 mm is rounding.
        radius = asked.blend**2 / (_STEEPEST_BEND * by) if by > 1e-9 else math.inf
        least = job.deck.least_radius
        if radius < least:
            wide = math.ceil(math.sqrt(least * _STEEPEST_BEND * by))
            found.append(
                f"{patch.id}: its blend of {mm(asked.blend):g~} bends to a radius of about "
                f"{mm(radius):.0f~}, tighter than deck.least_radius {mm(least):g}; a blend of "
                f"{mm(wide):.0f~} would not"
            )
    return found
