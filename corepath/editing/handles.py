"""What of a job can be dragged: where its handle lies on which drawing, and which keys it moves.

A handle moves at most two numbers of the file, by the direction in which it is dragged. Places of
plugs and inserts are those typed; a pattern moves as one, by its middle, and mirror images follow.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from corepath.editing.page_drawings import cross_halves
from corepath.job.text.positions import Layout, Path, layout_of
from corepath.job.text.source import Source, key_of, value_at
from corepath.lengths import units_of
from corepath.views.drawings.scene import Scene
from corepath.views.drawings.stack_view import StackHeights

__all__ = ["Handle", "handles"]

_MOST = 80
"""Handles of one list: more could not be told apart."""

_ALONG, _HEIGHT = 1.0, 0.1  # steps, mm
_ALONG_INCH, _HEIGHT_INCH = 1.0 / 16.0, 0.005


@dataclass(frozen=True, slots=True)
class Way:
    """One direction of a handle: the `path` of the number that it moves, what it is called, and
    +1 or −1 where the number grows along or against the direction."""

    path: Path
    message: str
    sign: int = 1
    height: bool = False


@dataclass(frozen=True, slots=True)
class Handle:
    """A handle on the drawing `drawing`, at (u, v) of its model, mm: as in `Drawn`. `column` is the
    part of the stack at which it lies. `row` is the element or table that it may take out."""

    name: str
    drawing: str
    at: tuple[float, float]
    across: Way | None = None
    up: Way | None = None
    column: str = ""
    row: Path = ()
    id: str = field(default="")


def handles(source: Source, scene: Scene, cut: float) -> list[dict[str, Any]]:
    """Return all handles as plain JSON types; `cut` is the X of the cross section, mm."""
    layout = layout_of(source.text)
    found = [
        *_outline(source, scene),
        *_deck(source, scene),
        *_places(source, scene),
        *_levels(source, scene),
        *_cross(source, scene, cut),
    ]
    inch = scene.job.units == "inch"
    shown = (_shown(one, source, layout, inch) for one in found)
    return [one for one in shown if one["ways"]]


def _outline(source: Source, scene: Scene) -> Iterator[Handle]:
    scale = units_of(scene.job.units).scale
    for name, says in (("stations", "half width"), ("points", "Y")):
        held = value_at(source.document, ("outline", name))[1]
        for k, (x, y) in enumerate(held[:_MOST] if isinstance(held, list) else ()):
            path: Path = ("outline", name, k)
            # an end of the board lies on the axis and stays there
            up = Way((*path, 1), says) if name == "points" or y else None
            of = f"outline {name.removesuffix('s')} {k + 1}"
            yield Handle(of, "plan", (x * scale, y * scale), Way((*path, 0), "X"), up, row=path)


def _deck(source: Source, scene: Scene) -> Iterator[Handle]:
    scale = units_of(scene.job.units).scale
    held = value_at(source.document, ("deck", "stations"))[1]
    for k, (x, height) in enumerate(held[:_MOST] if isinstance(held, list) else ()):
        path: Path = ("deck", "stations", k)
        across, up = Way((*path, 0), "X"), Way((*path, 1), "thickness", height=True)
        at = x * scale, height * scale
        yield Handle(f"deck station {k + 1}", "long", at, across, up, row=path)


def _places(source: Source, scene: Scene) -> Iterator[Handle]:
    scale = units_of(scene.job.units).scale
    for table in ("plug", "insert", "dowel"):
        rows = value_at(source.document, (table,))[1]
        for row, held in enumerate(rows if isinstance(rows, list) else ()):
            name = held.get("name", f"{table} {row + 1}")
            for says, path in _spots(held, (table, row), table == "dowel"):
                x, y = value_at(source.document, path)[1]
                across, up = Way((*path, 0), "X"), Way((*path, 1), "Y")
                taken = _taken_out(held, (table, row), path)
                yield Handle(f"{name}{says}", "plan", (x * scale, y * scale), across, up, row=taken)


def _taken_out(held: Mapping[str, Any], row: Path, place: Path) -> Path:
    """Return what goes where a place or a pattern is taken out: the whole row with its last one."""
    at = held.get("at", [])
    if isinstance(place[-1], int):
        return place if len(at) > 1 else place[:-1] if "pattern" in held else row
    return place[:-1] if "pattern" in place and at else row


def _spots(held: Mapping[str, Any], path: Path, alone: bool) -> Iterator[tuple[str, Path]]:
    """Yield words and path of each place of a table."""
    if alone:
        yield "", (*path, "at")
        return
    places = held.get("at", [])
    for k in range(min(len(places), _MOST)):
        yield (f" place {k + 1}" if len(places) > 1 else ""), (*path, "at", k)
    if "pattern" in held:
        yield " pattern", (*path, "pattern", "at")


def _levels(source: Source, scene: Scene) -> Iterator[Handle]:
    """Yield the heights of the stack that are numbers of the job."""
    heights = StackHeights(scene)
    floor = Way(("groove", "floor"), "floor", height=True)
    yield Handle("floor of the groove", "stack", (0.0, heights.floor), up=floor, column="groove")
    edge = Way(("board", "edge_thickness"), "edge thickness", height=True)
    yield Handle("edge of the core", "stack", (0.0, heights.edge), up=edge, column="rim")
    thick = Way(("board", "thickness"), "thickness", height=True)
    if value_at(source.document, ("deck", "stations"))[0]:
        yield Handle("thickness of the core", "stack", (0.0, heights.deck), up=thick, column="deck")
    # the lowest plane follows the clean-up: more of it, and the skim ends higher
    clean = Way(("deck", "clean_up"), "clean-up", -1, True)
    lowest = heights.stop - heights.lowest
    yield Handle("lowest plane of the skim", "stack", (0.0, lowest), up=clean, column="deck")


def _cross(source: Source, scene: Scene, cut: float) -> Iterator[Handle]:
    """Yield edge, edge band and blend, on the side of Y above 0 of the cross section."""
    halves = cross_halves(scene, cut)
    if halves is None or not value_at(source.document, ("deck", "stations"))[0]:
        return
    half, deck = halves[1], scene.job.deck
    edge = scene.job.board.edge_thickness
    band = half - deck.edge_band
    up = Way(("board", "edge_thickness"), "edge thickness", height=True)
    yield Handle("edge of the core", "cross", (half, edge), up=up)
    if band > 0.0:
        way = Way(("deck", "edge_band"), "edge band", -1)
        yield Handle("end of the edge band", "cross", (band, edge), across=way)
    if band - deck.blend > 0.0:
        top = float(scene.board.deck.height(cut, band - deck.blend))
        way = Way(("deck", "blend"), "blend", -1)
        yield Handle("end of the blend", "cross", (band - deck.blend, top), across=way)


def _shown(one: Handle, source: Source, layout: Layout, inch: bool) -> dict[str, Any]:
    ways = {}
    for name, way in (("across", one.across), ("up", one.up)):
        if way is None or source.in_shop(way.path) is not None:
            continue
        there, held = value_at(source.document, way.path)
        if not there and way.path == ("deck", "blend"):
            continue
        steps = (_HEIGHT, _HEIGHT_INCH) if way.height else (_ALONG, _ALONG_INCH)
        start, end = layout.values.get(way.path, (0, 0))
        ways[name] = {
            "key": key_of(way.path),
            "says": way.message,
            "sign": way.sign,
            "now": held,
            "typed": source.text[start:end],
            "step": steps[inch],
        }
    ways = {name: way for name, way in ways.items() if isinstance(way["now"], (int, float))}
    return {
        "id": f"{one.drawing}-{one.name}".replace(" ", "-"),
        "name": one.name,
        "drawing": one.drawing,
        "at": list(one.at),
        "column": one.column,
        "row": key_of(one.row) if one.row else "",
        "ways": ways,
    }
