"""The board of a job: outline, groove, plugs, inserts, dowels and deck in one, with all that is
wrong at once.

The *ring* of the groove is the outline grown by `groove.outside` less the outline shrunk by
`groove.inside`; the *island* is what the ring encloses. Faults are wrong input that no depth can
fix: things that overlap, lie off the wood, or dowels that fit wrongly. Board frame, mm.
"""

from __future__ import annotations

from pathlib import Path

from shapely import Polygon

from corepath.board.deck.make_deck import build_deck, deck_faults, deck_follows_from
from corepath.board.deck.surface import DeckSurface
from corepath.board.dowels import dowel_faults
from corepath.board.features import Board, Casting, Place
from corepath.board.footprints import (
    blank_polygon,
    half_span,
    offset,
    place_ids,
    plug_polygon,
    seat_footprint,
)
from corepath.board.outline.make_outline import build_outline
from corepath.board.outline.template_outline import Template, read_template
from corepath.board.placing import Feature, place_faults, plug_faults, touch_faults
from corepath.errors import Fault, InputError
from corepath.job.model import Job
from corepath.kept import Kept
from corepath.lengths import mm

__all__ = ["build_board", "collect_faults", "layout_faults"]


def build_board(job: Job, folder: Path) -> Board:
    """Returns the board of `job`; files that it names are relative to `folder`. Raises InputError
    with all faults."""
    board, faults = collect_faults(job, folder)
    if faults or board is None:
        raise InputError(faults)
    return board


def collect_faults(
    job: Job, folder: Path, deck: DeckSurface | None = None, kept: Kept | None = None
) -> tuple[Board | None, list[Fault]]:
    """Returns the board and no faults, or None and all faults of its geometry, in the order of the
    job's sections.

    Files that the job names are relative to `folder`. A `deck` that is known already, as in the
    folder of a plan, is taken as it is. `kept` holds parts of boards made before.
    """
    kept = kept or Kept(0)
    outline, faults = _outline(job, folder, kept)
    deck, wrong = _deck(job, folder, outline, deck, kept)
    faults += wrong
    template, wrong = _template(job, folder, outline, kept)
    faults += wrong
    castings, places = _plugs(job), _places(job)
    ring, island, wrong = _laid_out(job, outline, _features(castings, places), kept)
    faults += wrong
    if faults or outline is None or ring is None or island is None or deck is None:
        return None, faults
    groove = Casting("groove", "groove", ring, job.groove.floor, half_span(ring))
    board = Board(
        outline=outline,
        blank=blank_polygon(job),
        ring=ring,
        island=island,
        castings=(groove, *(casting for casting, _ in castings)),
        places=tuple(place for place, _ in places),
        dowels=job.dowel,
        deck=deck,
        template=template,
    )
    return board, []


def layout_faults(job: Job, folder: Path) -> list[Fault]:
    """Returns the faults of the board seen from above: outline, groove, plugs, inserts and dowels.
    The deck, which takes most of the time, is not built."""
    outline, faults = _outline(job, folder, Kept(0))
    features = _features(_plugs(job), _places(job))
    return [*faults, *_laid_out(job, outline, features, Kept(0))[2]]


def _laid_out(
    job: Job, outline: Polygon | None, features: list[Feature], kept: Kept
) -> tuple[Polygon | None, Polygon | None, list[Fault]]:
    """Returns ring and island of the groove, and what is wrong with them, hardware and dowels."""
    # No fault hides another: what can be built without the outline is built and checked anyway.
    ring: Polygon | None = None
    island: Polygon | None = None
    faults: list[Fault] = []
    if outline is not None:
        ring, island, faults = _kept_groove(job, outline, kept)
    faults = [*faults, *plug_faults(job)]
    faults += place_faults(features, blank_polygon(job), outline, ring, island)
    faults += dowel_faults(job, features, outline, ring)
    faults += touch_faults(job, features, ring)
    return ring, island, faults


def _template(
    job: Job, folder: Path, outline: Polygon | None, kept: Kept
) -> tuple[Template | None, list[Fault]]:
    if job.outline.template is None or outline is None:
        return None, []
    section = job.outline
    try:
        key = ("template", section, outline, _seen(folder, section.template))
        return kept.of(key, lambda: read_template(section, folder, outline)), []
    except InputError as error:
        return None, list(error.faults)


def _deck(
    job: Job, folder: Path, outline: Polygon | None, deck: DeckSurface | None, kept: Kept
) -> tuple[DeckSurface | None, list[Fault]]:
    faults = deck_faults(job, outline)
    if faults or outline is None or deck is not None:
        return deck, faults
    file = _seen(folder, job.deck.mesh or job.deck.grid)
    try:
        key = ("deck", *deck_follows_from(job), outline, file)
        return kept.of(key, lambda: build_deck(job, outline, folder, kept)), []
    except InputError as error:
        return None, list(error.faults)


def _seen(folder: Path, name: str | None) -> tuple[str, int, int] | None:
    """What tells that a file which a job names is still the same: its path, size and time."""
    if name is None:
        return None
    path = folder / name
    try:
        found = path.stat()
    except OSError:
        return str(path), -1, -1
    return str(path), found.st_size, found.st_mtime_ns


def _kept_groove(
    job: Job, outline: Polygon, kept: Kept
) -> tuple[Polygon | None, Polygon | None, list[Fault]]:
    groove, blank = job.groove, job.blank
    key = ("groove", outline, groove.inside, groove.outside, blank.length, blank.width)
    return kept.of(key, lambda: _groove(job, outline))


def _outline(job: Job, folder: Path, kept: Kept) -> tuple[Polygon | None, list[Fault]]:
    try:
        key = ("outline", job.outline, _seen(folder, job.outline.dxf))
        outline = kept.of(key, lambda: build_outline(job, folder))
    except InputError as error:
        return None, list(error.faults)
    if blank_polygon(job).contains_properly(outline):
        return outline, []
    left, low, right, high = outline.bounds
    spans = f"X {mm(left):.2f} to {mm(right):.2f}, Y {mm(low):.2f} to {mm(high):.2f}"
    return outline, [
        Fault("outline", "the outline reaches beyond the blank", spans, _half_sizes(job))
    ]


def _half_sizes(job: Job) -> str:
    return f"within X ±{mm(job.blank.length / 2):g}, Y ±{mm(job.blank.width / 2):g}"


def _groove(job: Job, outline: Polygon) -> tuple[Polygon | None, Polygon | None, list[Fault]]:
    """Ring and island of the groove, both None where either cannot be built, and what is wrong."""
    faults = []
    outer = offset(outline, job.groove.outside)
    inner = offset(outline, -job.groove.inside)
    value = f"{mm(job.groove.inside):g}"
    if inner.is_empty:
        faults.append(
            Fault(
                "groove.inside",
                "wider than the board allows: no wood is left inside",
                value,
                _inside_allows(job, outline),
            )
        )
    elif not isinstance(inner, Polygon):
        pieces = "; ".join(f"({mm(p.centroid.x):.1f}, {mm(p.centroid.y):.1f})" for p in inner.geoms)
        says = (
            f"wider than the board allows: the wood inside falls into {len(inner.geoms)} pieces, "
            f"about {pieces}"
        )
        faults.append(Fault("groove.inside", says, value, _inside_allows(job, outline)))
    # a hole in the grown outline is a bay whose mouth the groove closes
    if not isinstance(outer, Polygon) or outer.interiors:
        says = "the groove closes on itself outside the outline, round wood that would come loose"
        faults.append(Fault("groove.outside", says, f"{mm(job.groove.outside):g}", "less"))
    elif not blank_polygon(job).contains_properly(outer) and blank_polygon(job).contains_properly(
        outline
    ):
        left, low, right, high = outer.bounds
        room = (
            min(job.blank.length / 2 - max(-left, right), job.blank.width / 2 - max(-low, high))
            + job.groove.outside
        )
        says = "the groove reaches beyond the blank"
        faults.append(
            Fault(
                "groove.outside",
                says,
                f"{mm(job.groove.outside):g}",
                f"less than {mm(max(room, 0.0)):.2f}",
            )
        )
    if (
        not isinstance(inner, Polygon)
        or inner.is_empty
        or not isinstance(outer, Polygon)
        or outer.interiors
    ):
        return None, None, faults
    return Polygon(outer.exterior, [inner.exterior]), inner, faults


def _inside_allows(job: Job, outline: Polygon) -> str:
    """The widest groove inside that leaves one piece of wood, found by halving, to 0.1 mm."""
    low, high = 0.0, job.groove.inside
    # Half of the 0.1 that is promised.
    while high - low > 0.05:
        middle = 0.5 * (low + high)
        inner = outline.buffer(-middle)
        if isinstance(inner, Polygon) and not inner.is_empty:
            low = middle
        else:
            high = middle
    return f"at most {mm(int(low * 10) / 10):g}"


def _plugs(job: Job) -> list[tuple[Casting, str]]:
    """Every plug at every place as a casting, with its key."""
    found = []
    for i, plug in enumerate(job.plug, 1):
        floor = job.floor_of(plug)
        ids = place_ids(plug.name, len(plug.at))
        for j, (name, (x, y)) in enumerate(zip(ids, plug.at, strict=True), 1):
            area = plug_polygon(plug, x, y)
            found.append(
                (
                    Casting(name, "plug", area, floor, half_span(area), plug),
                    f"plug[{i}].{plug.key_of_place(j)}",
                )
            )
    return found


def _places(job: Job) -> list[tuple[Place, str]]:
    """Every insert at every place, with its key."""
    found = []
    for i, insert in enumerate(job.insert, 1):
        ids = place_ids(insert.name, len(insert.at))
        for j, (name, (x, y)) in enumerate(zip(ids, insert.at, strict=True), 1):
            seat = seat_footprint(insert, x, y)
            place = Place(name, x, y, seat, insert.bore_diameter, insert)
            found.append((place, f"insert[{i}].{insert.key_of_place(j)}"))
    return found


def _features(
    castings: list[tuple[Casting, str]], places: list[tuple[Place, str]]
) -> list[Feature]:
    plugs = [Feature(casting.id, "plug", key, casting.area) for casting, key in castings]
    seats = [Feature(p.id, "insert", key, p.covers) for p, key in places]
    return plugs + seats
