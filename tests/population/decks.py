"""Decks: from stations (crowned, with patches), a mesh or a grid, and an estimate of each deck's
height anywhere.

The estimate follows docs/deck.md without smoothing, its creases rounded on a lattice of 8 mm; plugs
and inserts are placed by it, with a margin. Board frame, mm.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from scipy.interpolate import PchipInterpolator, RegularGridInterpolator
from scipy.ndimage import grey_opening
from shapely import Point, Polygon

from tests.population.chance import Chance
from tests.population.shapes import Shape
from tests.population.toml_text import INCH, Mm

LIFT = 0.03
"""mm by which a mesh or grid stands over the edge thickness along the outline, so that no spline
dips below it."""

__all__ = ["Deck", "draw_deck", "rounded", "step"]

Floats = np.ndarray
SOURCES = (("stations", 0.5), ("profile", 0.14), ("patches", 0.14), ("mesh", 0.1), ("grid", 0.12))
RIM = 12.0
"""mm beyond the outline that a mesh or grid covers."""


@dataclass(frozen=True, slots=True)
class Deck:
    """`keys` of the deck, `height` by its formula (arrays of places to heights), `patches` areas to
    keep clear of."""

    source: str
    keys: dict[str, Any]
    height: Callable[[Floats, Floats], Floats]
    highest: float
    patches: list[Polygon] = field(default_factory=list)
    files: dict[str, bytes] = field(default_factory=dict)


LATTICE = 8.0


def rounded(deck: Deck, shape: Shape) -> RegularGridInterpolator:
    """The deck's height opened by a ball of `least_radius`: what lies under a ball that rolls
    beneath it."""
    left, low, right, high = shape.polygon.bounds
    xs, ys = (
        np.arange(left - 16.0, right + 24.0, LATTICE),
        np.arange(low - 16.0, high + 24.0, LATTICE),
    )
    x, y = np.meshgrid(xs, ys, indexing="ij")
    radius = float(deck.keys["least_radius"])
    cells = int(min(np.sqrt(2.0 * radius * 9.0), radius) / LATTICE)
    u, v = np.meshgrid(*2 * [np.arange(-cells, cells + 1) * LATTICE], indexing="ij")
    ball = np.sqrt(np.maximum(radius**2 - u**2 - v**2, 0.0)) - radius
    heights = deck.height(x.ravel(), y.ravel()).reshape(x.shape)
    opened = grey_opening(heights, structure=ball, mode="nearest") if cells else heights
    return RegularGridInterpolator((xs, ys), opened, bounds_error=False, fill_value=None)


def step(u: Floats) -> Floats:
    """35u⁴ - 84u⁵ + 70u⁶ - 20u⁷ from 0 to 1 (docs/deck.md)."""
    u = np.clip(u, 0.0, 1.0)
    return np.asarray(u**4 * (35.0 + u * (-84.0 + u * (70.0 - 20.0 * u))))


def draw_deck(chance: Chance, shape: Shape, core: float, edge: float, clean_up: float) -> Deck:
    """A deck `core` thick at its thickest and `edge` at the outline."""
    source = chance.weighed(SOURCES)
    if source in ("mesh", "grid") and shape.round is None:
        source = "stations"
    stations = _stations(chance, shape, core, edge)
    curve = PchipInterpolator([x for x, _ in stations], [t for _, t in stations])
    first, last = stations[0][0], stations[-1][0]

    def along(x: Floats) -> Floats:
        return np.asarray(curve(np.clip(x, first, last)))

    common = {
        "clean_up": Mm(clean_up),
        "scallop": Mm(chance.even(0.04, 0.12, 0.01)),
        "least_radius": Mm(chance.even(30.0, 200.0, 5.0)),
    }
    if chance.yes(0.2):
        common["grain_penalty"] = chance.even(1.0, 2.5, 0.1)
    if source in ("mesh", "grid"):
        return _from_file(chance, shape, source, along, core, edge, common)
    band = chance.even(8.0, 16.0, 0.5)
    blend = round(max(chance.even(0.35, 0.75, 0.01) * shape.half, 20.0), 0)
    keys = {
        "stations": [[Mm(x), Mm(t)] for x, t in stations],
        "edge_band": Mm(band),
        "blend": Mm(blend),
        "smooth": Mm(chance.even(30.0, 90.0, 5.0)),
        **common,
    }
    crown = 0.0
    if source == "profile":
        crown = min(
            chance.even(0.2, 1.6, 0.1),
            0.3 * (stations[0][1] - edge),
            0.3 * (stations[-1][1] - edge),
        )
        sign = 1.0 if chance.yes(0.8) else -0.25
        crown = round(sign * max(crown, 0.05), 2)
        ends = [round(chance.even(0.5, 1.0, 0.05) * crown, 2) for _ in range(2)]
        x = round(0.3 * shape.length, 0)
        keys["profile"] = [[Mm(-x), Mm(ends[0])], [Mm(0.0), Mm(crown)], [Mm(x), Mm(ends[1])]]

    edge_line = shape.polygon.exterior
    shapely.prepare([edge_line, shape.polygon])

    def height(x: Floats, y: Floats) -> Floats:
        inside = shapely.distance(edge_line, shapely.points(x, y)) * shapely.contains_xy(
            shape.polygon, x, y
        )
        thick = along(x) - crown * np.minimum(np.abs(y) / shape.half, 1.0) ** 2
        return np.asarray(edge + (thick - edge) * step((inside - band) / blend))

    if source != "patches":
        return Deck(source, keys, height, core + max(-crown, 0.0))
    patches = _patches(chance, shape, height, along, core, edge)
    keys["patch"] = [section for section, _ in patches]
    if not patches:
        del keys["patch"]
    return Deck(source, keys, height, core, [area for _, area in patches])


def _stations(chance: Chance, shape: Shape, core: float, edge: float) -> list[tuple[float, float]]:
    """x, thickness: thin ends, a level or a pointed middle, now and then one more station on the
    way."""
    left, _, right, _ = shape.polygon.bounds
    ends = [round(edge + chance.even(0.25, 0.75, 0.01) * (core - edge), 1) for _ in range(2)]
    ends = [max(end, edge) for end in ends]
    length = right - left
    back = round(left + chance.even(0.25, 0.42, 0.01) * length, 0)
    fore = round(left + chance.even(0.55, 0.75, 0.01) * length, 0)
    middle = (
        [(back, core), (fore, core)] if chance.yes(0.7) else [(round((back + fore) / 2.0, 0), core)]
    )
    found = [(round(left, 0), ends[0]), *middle, (round(right, 0), ends[1])]
    if chance.yes(0.6):
        found.insert(1, (round((left + back) / 2.0, 0), round(ends[0] + 0.6 * (core - ends[0]), 1)))
    if chance.yes(0.6):
        found.insert(
            -1, (round((right + fore) / 2.0, 0), round(ends[1] + 0.6 * (core - ends[1]), 1))
        )
    return found


def _patches(
    chance: Chance,
    shape: Shape,
    height: Callable[..., Floats],
    along: Callable[..., Floats],
    core: float,
    edge: float,
) -> list[tuple[dict[str, Any], Polygon]]:
    """One or two: a hollow for a plate, a level pad, a kick that is no higher than the board is
    thick."""
    found: list[tuple[dict[str, Any], Polygon]] = []
    for kind in [("plate", "pad", "kick")[k] for k in chance.order(3)[: chance.whole(1, 2)]]:
        blend = chance.even(22.0, 40.0, 1.0)
        long = round(2 * blend + chance.even(20.0, 60.0, 1.0), 0)
        x = chance.even(-0.3, 0.3, 0.01) * shape.length if kind != "kick" else -0.3 * shape.length
        at = round(x, 0), round(chance.even(-0.1, 0.1, 0.01) * shape.half, 0)
        area = Point(at).buffer(0.75 * long)
        if not shape.polygon.buffer(-12.0).contains(area) or any(
            area.intersects(other) for _, other in found
        ):
            continue
        here = float(height(np.array([at[0]]), np.array([at[1]]))[0])
        section: dict[str, Any] = {"name": kind, "at": [[Mm(at[0]), Mm(at[1])]]}
        if kind == "plate":
            section |= {
                "diameter": Mm(long),
                "sunk": Mm(chance.even(0.2, min(0.6, max(here - edge - 0.3, 0.2)), 0.05)),
            }
        elif kind == "pad":
            angle = chance.even(-20.0, 20.0, 1.0)
            section |= {
                "size": [Mm(long), Mm(round(0.9 * long, 0))],
                "angle": angle,
                "flat": Mm(round(here - 0.1, 2)),
            }
        else:
            room = core - float(along(np.array([at[0] + 0.6 * long]))[0])
            if room < 0.3:
                continue
            section |= {
                "size": [Mm(long), Mm(long)],
                "raised": Mm(chance.even(0.2, min(0.9, room), 0.05)),
            }
        section["blend"] = Mm(min(blend, 0.45 * long if kind != "pad" else 0.4 * long))
        section["blend"] = Mm(round(float(section["blend"]), 0))
        found.append((section, area))
    return found


def _from_file(
    chance: Chance, shape: Shape, source: str, along: Callable[[Floats], Floats], core: float,
    edge: float,
    common: dict[str, Any],
) -> Deck:  # fmt: skip
    """A dome over the round outline, level at its edge; its highest is `core` by a factor."""
    found = shape.round
    assert found is not None
    width = chance.even(0.6, 0.95, 0.01)
    raw = lambda x, y: (along(x) - edge) * step(found.level(x, y) / width)  # noqa: E731
    left, low, right, high = (round(v) for v in shape.polygon.bounds)
    fine_x, fine_y = np.meshgrid(
        np.arange(left, right, 2.0), np.arange(low, high, 2.0), indexing="ij"
    )
    factor = (core - edge - LIFT) / float(raw(fine_x, fine_y).max())

    def height(x: Floats, y: Floats) -> Floats:
        return np.asarray(edge + LIFT + factor * raw(x, y))

    unit = chance.one_of(("mm", "inch", "cm"))
    scale = {"mm": 1.0, "inch": INCH, "cm": 10.0}[unit]
    pitch = chance.even(4.0, 8.0, 0.5) if source == "mesh" else chance.even(2.5, 5.0, 0.5)
    gx = np.arange(left - RIM, right + RIM + pitch, pitch)
    gy = np.arange(low - RIM, high + RIM + pitch, pitch)
    x, y = np.meshgrid(gx, gy, indexing="ij")
    heights = height(x, y)
    keys: dict[str, Any] = {
        f"{source}_units": unit,
        f"{source}_smooth": Mm(chance.even(10.0, 24.0, 1.0)),
    }
    if source == "mesh":
        turned, lifted = chance.yes(), chance.even(0.0, 5.0, 1.0)
        keys |= {
            "mesh": "deck.stl",
            "mesh_at": [Mm(0.0), Mm(0.0), Mm(lifted)],
            "mesh_angle": 180.0 if turned else 0.0,
        }
        data = _stl(x, y, heights - lifted, -1.0 if turned else 1.0, scale)
        files = {"deck.stl": data}
    elif chance.yes():
        keys |= {"grid": "deck.npy", "grid_origin": [Mm(float(gx[0])), Mm(float(gy[0]))]}
        keys["grid_spacing"] = [Mm(pitch), Mm(pitch)]
        stream = io.BytesIO()
        np.save(stream, heights / scale)
        files = {"deck.npy": stream.getvalue()}
    else:
        keys["grid"] = "deck.csv"
        rows = np.column_stack([x.ravel(), y.ravel(), heights.ravel()]) / scale
        files = {
            "deck.csv": (
                "x,y,h\n" + "\n".join(f"{a:.6f},{b:.6f},{c:.6f}" for a, b, c in rows) + "\n"
            ).encode()
        }
    keys |= {"edge_band": Mm(chance.even(8.0, 16.0, 0.5)), **common}
    return Deck(source, keys, height, core, [], files)


def _stl(x: Floats, y: Floats, h: Floats, turn: float, scale: float) -> bytes:
    """The sheet of heights in binary STL, in the mesh's own frame and unit; STL as in its public
    description."""
    nodes = np.stack([turn * x, turn * y, h], axis=-1) / scale
    a, b, c, d = nodes[:-1, :-1], nodes[1:, :-1], nodes[1:, 1:], nodes[:-1, 1:]
    halves = [np.stack([a, b, c], axis=-2), np.stack([a, c, d], axis=-2)]
    faces = np.concatenate([half.reshape(-1, 3, 3) for half in halves])
    record = np.zeros(
        len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("count", "<u2")]
    )
    record["corners"] = faces
    normal = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
    record["normal"] = normal / np.linalg.norm(normal, axis=1)[:, None]
    return b"a drawn deck".ljust(80) + np.uint32(len(faces)).tobytes() + record.tobytes()
