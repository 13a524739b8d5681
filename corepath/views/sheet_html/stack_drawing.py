"""The stack-up as a section: heights to scale from the plan's figures, lengths not to scale, checks
in their places.

Heights are mm above the finished bottom at the planned (or recorded) stop of the skim, nominal, at
the place where each casting comes out shallowest. Every check is set beside the height that it
judges, with the figures of the report.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from corepath.lengths import UNIT
from corepath.reported import PLACES
from corepath.stackup.checks.verdict import Check
from corepath.stackup.height_table import InsertHeights
from corepath.stackup.stacks import CastingStack, PlaceStack
from corepath.views.drawing_sheet import NORMAL, SMALL, Labels, arrowhead
from corepath.views.drawings.section import HeightScale, Level, name_levels
from corepath.views.drawings.stack_view import deck_line
from corepath.views.sheet_html.facts import Facts, figure, mm
from corepath.views.sheet_html.inline import inlined
from corepath.views.sheet_html.setup_drawing import WIDTH
from corepath.views.svg import WIDER, Box, Document, number

__all__ = ["DrawnHeights", "placed_checks", "stack_drawing"]

_LEFT, _RIGHT, _TOP, _TALLEST = 6.0, 134.0, 15.0, 96.0
_WIDTH = WIDTH + 24.0
"""mm: wider than other drawings, for the names of heights beside it in a wide font."""
_GROOVE, _PLUG, _SEAT, _BORE, _DOWEL = (
    (34.0, 54.0),
    (76.0, 92.0),
    (103.0, 129.0),
    (110.0, 122.0),
    (13.0, 18.0),
)
_FACTORS = (20.0, 15.0, 12.0, 10.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.0, 0.5)


@dataclass(frozen=True, slots=True)
class DrawnColumn:
    """One casting in the section: z of raw top, floor, raw bottom, resin, and of the highest deck
    over it."""

    id: str
    top: float
    floor: float
    bottom: float
    resin: float
    deck: float


class DrawnHeights:
    """The heights that the section shows, mm above the finished bottom.

    Of plugs and inserts it shows one each: the plug with the least margin of fill, and the insert
    with the least wood over its seat.
    """

    def __init__(self, facts: Facts) -> None:
        stack = facts.stackup
        self.stop, self.lowest = stack.skim.planned_plane, stack.skim.lowest_plane
        self.recorded = stack.skim.recorded
        self.ring = self._column(facts, stack.castings[0])
        plugs = stack.castings[1:]
        least = min(
            plugs, key=lambda c: round(c.pour.p_limit - c.pour.p_expected.nominal, 6), default=None
        )
        self.plug = None if least is None else self._column(facts, least)
        self.place: PlaceStack | None = min(
            stack.places,
            key=lambda place: round(place.deck_over_seat - place.seat_depth, 6),
            default=None,
        )
        inserts = facts.table.inserts
        self.insert: InsertHeights | None = (
            None if self.place is None else inserts[self.place.place.id]
        )
        self.deck, self.edge = facts.table.deck_highest, facts.table.deck_lowest
        self.stand = max(dowel.stand for dowel in facts.board.dowels)
        columns = [column for column in (self.ring, self.plug) if column is not None]
        self.top = max(column.top for column in columns)
        self.bottom = min([*(column.bottom for column in columns), 0.0])

    def _column(self, facts: Facts, casting: CastingStack) -> DrawnColumn:
        heights = facts.table.column("C", casting.casting.id)
        return DrawnColumn(
            heights.id,
            heights.raw_top.nominal,
            heights.floor.nominal,
            heights.raw_bottom.nominal,
            heights.resin.nominal,
            casting.deck_highest,
        )

    def levels(self) -> list[Level]:
        """Return the heights that are named beside the section."""
        stop = f"stop at {mm(self.stop)} in B" + (", recorded" if self.recorded else ", planned")
        out = [
            Level(self.ring.top, "raw top"),
            Level(self.deck, "deck, highest", True),
            Level(self.edge, "deck, edge", True),
            Level(0.0, stop, True),
            Level(self.ring.floor, "floor of the groove", True),
            Level(self.ring.bottom, "raw bottom"),
            Level(self.ring.resin, "resin in the groove"),
        ]
        # mm: one level is drawn once.
        if abs(self.stop - self.lowest) > 1e-6:
            out.append(Level(self.stop - self.lowest, "lowest plane"))
        if self.insert is not None:
            out.append(Level(self.insert.seat.nominal, "seat"))
        return out


def stack_drawing(facts: Facts) -> str:
    """Return the section as an SVG element."""
    heights = DrawnHeights(facts)
    whole = heights.top - heights.bottom
    factor = next((f for f in _FACTORS if f * whole <= _TALLEST), _FACTORS[-1])
    height = _TOP + whole * factor + 6.0
    svg = Document(
        _WIDTH, height, "Stack-up of the core", "", "Heights to scale, lengths not to scale."
    )
    scale = HeightScale(_TOP + heights.top * factor, factor)
    y = scale.y
    words = f"Heights {number(factor)}:1, lengths not to scale; {UNIT} above the finished bottom"
    svg.text(2, 4.5, words, "label strong", size=NORMAL)
    _scheme(svg, facts, heights, y)
    labels = Labels(svg, Box(0.0, 7.0, 137.0, height), wider=WIDER)
    _names(svg, heights, labels, y)
    room = Box(0.0, _TOP - 6, _WIDTH, height + 2)
    name_levels(svg, heights.levels(), _RIGHT, _LEFT, room, scale)
    _checks(svg, facts, heights, labels, y)
    return inlined(svg, "stack")


def _rect(svg: Document, style: str, x: tuple[float, float], top: float, bottom: float) -> None:
    if bottom > top:
        svg.add("rect", class_=style, x=x[0], y=top, width=x[1] - x[0], height=bottom - top)


def _scheme(
    svg: Document, facts: Facts, heights: DrawnHeights, y: Callable[[float], float]
) -> None:
    x = (_LEFT, _RIGHT)
    _rect(svg, "wood narrow", x, y(heights.ring.top), y(heights.ring.bottom))
    for column, at in ((heights.ring, _GROOVE), (heights.plug, _PLUG)):
        if column is None:
            continue
        _rect(svg, "void narrow", at, y(column.top), y(column.floor))
        _rect(svg, "void", at, y(column.top), y(column.floor))
        _rect(svg, "resin narrow", at, y(column.resin), y(column.floor))
    _rect(svg, "void narrow", _DOWEL, y(heights.stand), y(0.0))
    if heights.place is not None and heights.insert is not None:
        insert, seat, end = (
            heights.place.place.insert,
            heights.insert.seat.nominal,
            heights.insert.barrel.nominal,
        )
        _rect(svg, "void narrow", _SEAT, y(seat), y(0.0))
        _rect(svg, "void narrow", _BORE, y(end), y(0.0))
        _rect(svg, "tint narrow", _SEAT, y(seat), y(insert.recess))
        _rect(svg, "tint narrow", (_BORE[0] + 1, _BORE[1] - 1), y(end), y(insert.recess))
    edge = _edge_line(facts)
    svg.line(edge, y(heights.top) - 1, edge, y(heights.bottom) + 1, "uncut")
    svg.line(x[0], y(0.0), x[1], y(0.0), "wide")
    svg.line(
        x[0], y(heights.stop - heights.lowest), x[1], y(heights.stop - heights.lowest), "hidden"
    )
    blend = (_LEFT, _GROOVE[1] + 1.0, _PLUG[0] - 3.0, _RIGHT)
    svg.path(deck_line(y, heights.edge, heights.deck, blend), "deck wide", id="deck")


def _edge_line(facts: Facts) -> float:
    groove = facts.job.groove
    return _GROOVE[0] + (_GROOVE[1] - _GROOVE[0]) * groove.outside / groove.width


def _names(
    svg: Document, heights: DrawnHeights, labels: Labels, y: Callable[[float], float]
) -> None:
    top = y(heights.top) - 2.0
    names = [("dowel", _DOWEL), ("groove", _GROOVE)]
    names += [(f"plug {heights.plug.id}", _PLUG)] if heights.plug is not None else []
    names += [(f"insert {heights.place.place.id}", _SEAT)] if heights.place is not None else []
    for words, (x0, x1) in names:
        labels.block(
            svg.text((x0 + x1) / 2, top, words, "label strong halo", size=SMALL, anchor="middle")
        )


@dataclass(frozen=True, slots=True)
class _Spot:
    """The place of a check: at `x` (mm on the sheet), from height `low` to `high`."""

    x: float
    low: float
    high: float


def placed_checks(facts: Facts) -> tuple[tuple[Check, _Spot], ...]:
    """Return the checks that have a place in the section, the weakest of those that share one."""
    heights = DrawnHeights(facts)
    ring, plug, place, depths = heights.ring, heights.plug, heights.place, heights.insert
    lowest = heights.stop - heights.lowest
    spots: dict[str, _Spot] = {
        "window": _Spot(_GROOVE[1] - 4, ring.floor, lowest),
        "shows": _Spot(_GROOVE[0] + 4, ring.floor, 0.0),
        "floor": _Spot(_GROOVE[0] + 9, ring.bottom, ring.floor),
        "clean-up": _Spot(98.0, heights.deck, ring.top),
        "fill groove": _Spot(_GROOVE[0] + 4, ring.deck, ring.resin),
        "hold": _Spot(_GROOVE[1] - 4, max(ring.floor, 0.0), ring.deck),
        "registration edge": _Spot(_edge_line(facts), heights.edge * 0.5, heights.edge * 0.5),
        "dowels": _Spot((_DOWEL[0] + _DOWEL[1]) / 2, heights.stand, heights.edge),
        "spacing": _Spot(64.0, heights.edge * 0.25, heights.edge * 0.25),
        "skin": _Spot(66.0, heights.deck, heights.deck),
    }
    if plug is not None:
        spots["registration plug"] = _Spot(_PLUG[0] + 3, heights.edge * 0.75, heights.edge * 0.75)
        spots["fill plug"] = _Spot((_PLUG[0] + _PLUG[1]) / 2, plug.deck, plug.resin)
    if place is not None and depths is not None:
        seat, end = depths.seat.nominal, depths.barrel.nominal
        spots["registration seat"] = _Spot(_SEAT[0] + 1, seat, seat)
        spots["seat"] = _Spot(_SEAT[0] + 2, 0.0, place.place.insert.recess)
        spots["wood-over-seat"] = _Spot(_SEAT[1] - 2.5, seat, place.deck_over_seat)
        spots["barrel"] = _Spot((_BORE[0] + _BORE[1]) / 2, end, place.deck_over_bore)
    return tuple(
        (check, spots[key])
        for key, check in _weakest(facts.checks, heights).items()
        if key in spots
    )


def _weakest(checks: Sequence[Check], heights: DrawnHeights) -> dict[str, Check]:
    grave = {"fail": 0, "caution": 1, "ok": 2}
    found: dict[str, Check] = {}
    for check in checks:
        # `fill` and `registration` judge several features, each of which has a place of its own.
        key: str = check.id
        where = str(check.where)
        if key == "fill":
            key = "fill groove" if where.startswith("groove") else "fill plug"
        elif key == "registration":
            kind = where.partition(" ")[0]
            key += f" {kind}" if kind in ("plug", "edge") else " seat"
        held = found.get(key)
        rank = (grave[check.verdict], round(check.margin, PLACES))
        if held is None or rank < (grave[held.verdict], round(held.margin, PLACES)):
            found[key] = check
    return found


def _checks(
    svg: Document, facts: Facts, heights: DrawnHeights, labels: Labels, y: Callable[[float], float]
) -> None:
    placed = placed_checks(facts)
    # All arrows and the bottom's line are blocked before the first name is placed.
    for _, spot in placed:
        labels.block(Box(spot.x - 0.8, y(spot.high), spot.x + 0.8, y(spot.low)))
    labels.block(Box(_LEFT, y(0.0) - 0.3, _RIGHT, y(0.0) + 0.3))
    with svg.group("checks"):
        for check, spot in placed:
            low, high = y(spot.low), y(spot.high)
            _span(svg, spot.x, low, high)
            words = f"{check.id} {figure(check.value, check.unit)}" + (
                "" if check.verdict == "ok" else f" {check.verdict}"
            )
            style = "label halo" if check.verdict == "ok" else "label strong halo"
            labels.place(spot.x, (low + high) / 2, words, 1.0, class_=style)


def _span(svg: Document, x: float, low: float, high: float) -> None:
    """Draw a vertical arrow between two heights, a dot where they are equal; short ones with bars
    instead of heads."""
    if abs(low - high) < 0.3:
        svg.add("circle", class_="solid", cx=x, cy=low, r=0.8)
        return
    svg.line(x, low, x, high, "narrow")
    if abs(low - high) > 4.0:
        up = -math.pi / 2 if high < low else math.pi / 2
        arrowhead(svg, x, high, up, 2.0)
        arrowhead(svg, x, low, -up, 2.0)
    else:
        for end in (low, high):
            svg.line(x - 1.2, end, x + 1.2, end, "narrow")
