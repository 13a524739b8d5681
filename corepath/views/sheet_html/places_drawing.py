"""The blank with the places to measure, numbered as in the table; board frame, deck side up, mm."""

from __future__ import annotations

from corepath.stackup.measuring.places_to_measure import measuring_places
from corepath.views.drawing_sheet import NORMAL, SMALL, Labels
from corepath.views.drawings.plan_view import PlanView
from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.inline import inlined
from corepath.views.sheet_html.setup_drawing import PLACES_ROOM, WIDTH, drawing_unit, marks_of
from corepath.views.svg import Box, Document, polygon_path

__all__ = ["places_drawing"]

_BELOW = 7.0


def places_drawing(facts: Facts) -> str:
    """Return the drawing as an SVG element."""
    x0, y0, x1, y1 = bounds = facts.board.blank.bounds
    scale = 1.0 / drawing_unit(facts, "0")
    room = Box(PLACES_ROOM.x0, PLACES_ROOM.y0, PLACES_ROOM.x1, PLACES_ROOM.y0 + (y1 - y0) * scale)
    svg = Document(
        WIDTH,
        room.y1 + _BELOW,
        "Places to measure",
        "",
        "Deck side up, as the blank will lie in set-up A.",
    )
    view = PlanView.fitted(svg, bounds, room, scale)
    with svg.group("plan-0", transform=view.transform):
        svg.add("rect", class_="wood wide", x=x0, y=y0, width=x1 - x0, height=y1 - y0)
        svg.path(polygon_path(facts.board.outline, view.places), "uncut")
    blank = view.extent
    marks, middle, across = (
        marks_of(facts, "A"),
        (blank.x0 + blank.x1) / 2,
        (blank.y0 + blank.y1) / 2,
    )
    svg.text(middle, blank.y1 + 5.0, marks["near"], "label strong", size=NORMAL, anchor="middle")
    svg.text(middle, blank.y0 - 2.0, marks["far"], "label strong", size=NORMAL, anchor="middle")
    svg.upward_text(
        blank.x0 - 2.0,
        across,
        marks["left"],
        "label strong",
        size=NORMAL,
        anchor="middle",
    )
    svg.upward_text(
        blank.x1 + 5.0,
        across,
        marks["right"],
        "label strong",
        size=NORMAL,
        anchor="middle",
    )
    labels = Labels(svg, Box(blank.x0, blank.y0, blank.x1, blank.y1))
    places = [
        (view.sheet(place.x, place.y), place) for place in measuring_places(facts.job, facts.board)
    ]
    for (x, y), place in places:
        svg.line(x - 1.6, y, x + 1.6, y, "narrow")
        svg.line(x, y - 1.6, x, y + 1.6, "narrow")
        if place.what == "height":
            svg.add("circle", class_="narrow", cx=x, cy=y, r=1.6)
        labels.block(Box(x - 1.7, y - 1.7, x + 1.7, y + 1.7))
    for k, ((x, y), _) in enumerate(places, start=1):
        labels.place(x, y, str(k), 1.2, class_="label strong halo")
    words = labels.place(middle, across - 4, "DECK", 0.0, size=NORMAL, class_="label strong halo")
    if words and any(place.what == "height" for _, place in places):
        svg.text(blank.x1, blank.y1 + 5.0, "ringed: height only", "label", size=SMALL, anchor="end")
    return inlined(svg, "places")
