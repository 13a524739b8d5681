"""From the job's keys to the deck: its heights from stations, a mesh or a grid, with patches, and
all faults.

In this order: the heights of the *source*; for a mesh or grid, their smoothing, and their way to
the edge thickness e over the edge band (h = e + (m - e) S(d / edge_band), d the distance inside the
outline, m the file's height, so that from the edge band inwards the file is taken as it is); the
rounding of creases (`corepath.board.deck.crease`); the patches, which have no creases of their own.
Outside the outline h = e out to the blank's edge. Board frame, mm.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.deck.files.file_bytes import (
    BoardNodes,
    FileHeights,
    digest_of,
    read_bytes,
)
from corepath.board.deck.patches import lay_on, patch_cautions, patch_faults, patches_of
from corepath.board.deck.surface import DeckSource, DeckSurface, Lowering
from corepath.board.deck.thickness import Thickness
from corepath.errors import Fault, InputError
from corepath.job.model import DeckSection, Job
from corepath.job.rules.deck_rules import deck_contradictions
from corepath.job.text.source import key_of
from corepath.kept import Kept
from corepath.lengths import mm

if TYPE_CHECKING:
    from corepath.board.deck.distance import OutlineDistance

__all__ = ["FILE_GRAIN", "build_deck", "deck_faults", "deck_follows_from", "nodes_of"]

Floats = NDArray[np.float64]

FILE_GRAIN = 6
"""Decimals, mm, to which the heights of a deck from a file are rounded, so that text can hold them
whole."""

_MARGIN = 40  # mm of grid beyond the blank
_SAME = 1e-9  # mm: stations closer in x than this are one
_LARGEST_BLANK = 6e6  # mm²: beyond it the grid would not fit in a workshop computer's memory
# Where the file counts for a smaller share than this it is not asked for a height: along the
# outline, where meshes end, there may be none. Of 100 mm the share is 0.0001 mm.
_WEIGHTLESS = 1e-6
# mm: the grain of the numbers in a mesh file; more below the edge thickness is a fault
_BELOW = 0.005
_THICKER = 0.05  # mm by which board.thickness may miss the highest of a file
_TOLD = 0.05  # mm: a smaller step at the outline is not worth a word


@dataclass(frozen=True, slots=True)
class _Ground:
    """Heights at the nodes before rounding, and where they come from."""

    raw: Floats
    source: DeckSource


def deck_faults(job: Job, outline: Polygon | None = None) -> list[Fault]:
    """Returns what is wrong with the deck's keys themselves, before any height is known; with
    places, too, if `outline` is given."""
    deck, board = job.deck, job.board
    faults = [
        Fault(key_of(path), says, allowed=allowed)
        for path, says, allowed in deck_contradictions(deck)
    ]
    if deck.stations is not None:
        sound_edge = board.edge_thickness if board.edge_thickness <= board.thickness else 0.0
        faults += _station_faults("deck.stations", deck.stations, sound_edge)
        largest = max(thickness for _, thickness in deck.stations)
        # mm: typed inches come out of the conversion within some 1e-14.
        if abs(largest - board.thickness) > 1e-6:
            says = "contradicts deck.stations, whose largest it must be"
            faults.append(
                Fault("board.thickness", says, f"{mm(board.thickness):g}", f"{mm(largest):g}")
            )
        if len(deck.stations) < 2:
            faults.append(
                Fault("deck.stations", "too few stations", str(len(deck.stations)), "2 or more")
            )
    if deck.profile is not None:
        faults += _station_faults("deck.profile", deck.profile, -math.inf)
    if board.edge_thickness > board.thickness:
        says = "the edge is thicker than the board"
        faults.append(
            Fault(
                "board.edge_thickness",
                says,
                f"{mm(board.edge_thickness):g}",
                f"at most {mm(board.thickness):g}",
            )
        )
    if job.blank.length * job.blank.width > _LARGEST_BLANK:
        size = f"{mm(job.blank.length):g} x {mm(job.blank.width):g}"
        faults.append(
            Fault(
                "blank",
                "larger than this version plans",
                size,
                f"{_LARGEST_BLANK / 1e6:g} m² at most",
            )
        )
    return faults + patch_faults(job, outline)


def _station_faults(
    name: str, stations: tuple[tuple[float, float], ...], edge: float
) -> list[Fault]:
    faults = []
    for i, (x, thickness) in enumerate(stations):
        key = f"{name}[{i + 1}]"
        if i and x - stations[i - 1][0] < _SAME:
            same = abs(x - stations[i - 1][0]) < _SAME
            says = "same x as the station before it" if same else "stations must ascend in x"
            faults.append(Fault(key, says, f"x = {mm(x):g}", f"x above {mm(stations[i - 1][0]):g}"))
        if thickness < edge:
            faults.append(
                Fault(
                    key,
                    "thinner than board.edge_thickness",
                    f"{mm(thickness):g}",
                    f"{mm(edge):g} or more",
                )
            )
    return faults


# keys of [deck] that tell how it is cut, not what it is
_CUT_BY = {"clean_up": 0.0, "scallop": 0.0, "margin": 0.0, "grain_penalty": 0.0}


def deck_follows_from(job: Job) -> tuple[Hashable, ...]:
    """Returns all keys of `job` that its deck follows from, beside the outline and the file."""
    blank = job.blank
    # patches alone are held against the blank's thickness
    thickness = blank.thickness if job.deck.patch else 0.0
    return job.deck.model_copy(update=_CUT_BY), job.board, blank.length, blank.width, thickness


def build_deck(
    job: Job, outline: Polygon, folder: Path | None = None, kept: Kept | None = None
) -> DeckSurface:
    """Returns the deck of `job` inside `outline`; a mesh or grid file is looked for in `folder`
    (the working one if None). `kept` holds the distances from outlines of decks made before.

    Raises InputError with all faults of the deck's keys, or of its file, or of its heights.
    """
    from corepath.board.deck.crease import round_creases
    from corepath.board.deck.distance import OutlineDistance

    faults = deck_faults(job, outline)
    if faults:
        raise InputError(faults)
    xs, ys = nodes_of(job.blank.length), nodes_of(job.blank.width)
    if job.deck.stations is not None:
        ground = _from_stations(job, OutlineDistance(outline, kept), outline, xs, ys)
    else:
        ground = _from_file(job, outline, folder or Path(), xs, ys)
    edge = job.board.edge_thickness
    rounded = round_creases(edge, xs, ground.raw, job.deck.least_radius)
    patches = patches_of(job)
    grid, faults = lay_on(patches, job, xs, ys, rounded)
    if faults:
        raise InputError(faults)
    cautions = (*ground.source.cautions, *patch_cautions(patches, job, rounded, xs, ys))
    # What a mesh or grid gives is written down beside the plan as text and read back from there:
    # rounded here, both are the same deck to the last bit. Stations are worked out again instead.
    if ground.source.sha256 is not None:
        grid = np.round(grid, FILE_GRAIN)
    lowering = _lowering(xs, ys, ground.raw - rounded)
    source = replace(ground.source, rounded_by=lowering, cautions=cautions)
    return DeckSurface(xs, ys, grid, edge, source)


def _from_stations(
    job: Job, distance: OutlineDistance, outline: Polygon, xs: Floats, ys: Floats
) -> _Ground:
    from corepath.board.deck.cross_section import Profile
    from corepath.board.deck.form import DeckForm

    deck, edge = job.deck, job.board.edge_thickness
    stations = np.array(deck.stations, dtype=float)
    t = Thickness(stations, deck.smooth)
    profile = None
    if deck.profile is not None:
        profile = Profile(np.array(deck.profile, dtype=float), outline, deck.smooth)
    form = DeckForm(distance, t, edge, deck.edge_band, deck.blend, profile)
    raw = form.on_grid(xs, ys)
    # only a crown can bring the deck under the edge; 1e-6 mm is above the rounding of one that
    # touches it
    lowest = float(raw.min())
    if lowest < edge - 1e-6:
        i, j = np.unravel_index(int(np.argmin(np.round(raw, 9))), raw.shape)
        says = f"the crown brings the deck {mm(edge - lowest):.2f~} below the edge thickness "
        says += f"at ({mm(xs[i]):g}, {mm(ys[j]):g})"
        raise InputError(
            [Fault("deck.profile", says, allowed="a smaller crown there, or thicker stations")]
        )
    errors = tuple(float(v) for v in t(stations[:, 0]) - stations[:, 1])
    return _Ground(np.maximum(raw, edge), DeckSource(errors))


def _from_file(job: Job, outline: Polygon, folder: Path, xs: Floats, ys: Floats) -> _Ground:
    from corepath.board.deck.distance import OutlineDistance
    from corepath.board.deck.form import smoothstep7

    deck, edge = job.deck, job.board.edge_thickness
    key, name = (
        ("deck.mesh", deck.mesh) if deck.mesh is not None else ("deck.grid", deck.grid or "")
    )
    data = read_bytes(folder / name, key, deck.sha256)
    d = OutlineDistance(outline).on_grid(xs, ys, deck.edge_band)
    share = smoothstep7(d / deck.edge_band)
    inside = share > _WEIGHTLESS
    nodes = BoardNodes(xs, ys, inside, outline)
    heights = _heights(data, name, deck, nodes)
    faults = _file_faults(job, key, name, nodes, heights.at, share)
    if faults:
        raise InputError(faults)
    smooth = deck.mesh_smooth if deck.mesh is not None else deck.grid_smooth
    m = _smoothed(heights.at, inside, smooth)
    raw = np.where(inside, np.maximum(edge + (m - edge) * share, edge), edge)
    cautions = (
        *heights.cautions,
        *_step_at_outline(name, nodes, heights.at, d, edge, deck.edge_band),
    )
    return _Ground(raw, DeckSource(cautions=cautions, sha256=digest_of(data)))


def _heights(data: bytes, name: str, deck: DeckSection, nodes: BoardNodes) -> FileHeights:
    if deck.mesh is not None:
        from corepath.board.deck.files.mesh_file import mesh_heights

        return mesh_heights(data, name, deck, nodes)
    from corepath.board.deck.files.grid_file import grid_heights

    return grid_heights(data, name, deck, nodes)


def _file_faults(
    job: Job, key: str, name: str, nodes: BoardNodes, m: Floats, share: Floats
) -> list[Fault]:
    """Heights below the edge thickness, and a thickness of the board that is not theirs."""
    edge, faults = job.board.edge_thickness, []
    low = np.where(np.isnan(m), math.inf, m)
    if low.min() < edge - _BELOW:
        i, j = np.unravel_index(int(np.argmin(np.round(low, 9))), low.shape)
        says = (
            f"{name} lies below the edge thickness, at {mm(low[i, j]):.2f~} at "
            f"({mm(nodes.xs[i]):g}, {mm(nodes.ys[j]):g})"
        )
        allowed = f"board.edge_thickness, {mm(edge):g}, or more; mesh_at and the units move it"
        faults.append(
            Fault(
                key,
                says,
                allowed=allowed if job.deck.mesh is not None else allowed.partition(";")[0],
            )
        )
    shown = np.where(np.isnan(m), -math.inf, edge + (m - edge) * share)
    highest = float(shown.max())
    if abs(highest - job.board.thickness) > _THICKER:
        i, j = np.unravel_index(int(np.argmax(np.round(shown, 9))), shown.shape)
        says = (
            f"contradicts {key}, whose highest inside the outline it must be, at "
            f"({mm(nodes.xs[i]):g}, {mm(nodes.ys[j]):g})"
        )
        faults.append(
            Fault("board.thickness", says, f"{mm(job.board.thickness):g}", f"{mm(highest):.2f}")
        )
    return faults


def _smoothed(heights: Floats, inside: NDArray[np.bool_], width: float) -> Floats:
    """Averaged by a cubic B-spline kernel of total `width` mm along X and Y, over the nodes
    `inside` alone."""
    if width <= 2.0:  # narrower than the grid can show
        return heights
    from scipy.ndimage import convolve1d

    reach = math.ceil(width / 2.0)
    u = np.abs(np.arange(-reach, reach + 1) / (width / 4.0))
    kernel = np.where(
        u < 1.0, 2.0 / 3.0 - u**2 + u**3 / 2.0, np.clip(2.0 - u, 0.0, None) ** 3 / 6.0
    )

    def averaged(values: Floats) -> Floats:
        once = convolve1d(values, kernel, axis=0, mode="constant")
        return np.asarray(convolve1d(once, kernel, axis=1, mode="constant"))

    # divided by the weight that lay inside: nodes without a height must not count as height 0
    total = averaged(inside.astype(float))
    return np.asarray(averaged(np.where(inside, heights, 0.0)) / np.where(inside, total, 1.0))


def _step_at_outline(
    name: str, nodes: BoardNodes, m: Floats, d: Floats, edge: float, band: float
) -> list[str]:
    # the first two nodes inside the outline: there the file should already be at the edge thickness
    off = np.where((d > 0.0) & (d < 2.0) & np.isfinite(m), np.abs(m - edge), 0.0)
    i, j = np.unravel_index(int(np.argmax(np.round(off, 9))), off.shape)
    if off[i, j] <= _TOLD:
        return []
    return [
        f"along the outline {name} stands up to {mm(off[i, j]):.2f~} off the edge thickness, "
        f"at ({mm(nodes.xs[i]):g}, {mm(nodes.ys[j]):g}); over the edge band of {mm(band):g~} the "
        "deck is brought to it"
    ]


def nodes_of(size: float) -> Floats:
    """Returns the deck's nodes (n,) along a blank of `size` mm: every mm, and 40 mm beyond it on
    either side."""
    reach = math.ceil(size / 2.0) + _MARGIN
    return np.arange(-reach, reach + 1, dtype=float)


def _lowering(xs: Floats, ys: Floats, by: Floats) -> Lowering:
    # rounded, so that the first of equal places wins on every machine
    i, j = np.unravel_index(int(np.argmax(np.round(by, 9))), by.shape)
    most = float(by[i, j])
    return Lowering(most, float(xs[i]), float(ys[j])) if most > 0.0 else Lowering(0.0, 0.0, 0.0)
