"""Inside corners that stay round: marked where they are, and explained beside the plan."""

from corepath.motion.program import Corner
from corepath.views.drawings.legend import kinds_legend
from corepath.views.drawings.plan_view import PlanView, draw_corners
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document


def sheet() -> Document:
    return Document(420, 297, "corners", stylesheet({"plan": 2.0}, 3), "test")


def test_each_corner_has_its_mark_at_its_place():
    """A corner that nobody sees until the bolt does not fit."""
    svg = sheet()
    view = PlanView.fitted(svg, (-100, -50, 100, 50), Box(0, 0, 100, 50), 0.5)
    draw_corners(view, [Corner("P1", 12.5, -7.0, 1.9, 1.2), Corner("P1", -30.0, 8.0, 0.9, 0.6)])
    text = svg.render()
    assert 'id="corners"' in text
    assert text.count("<circle") == 2 and 'cx="12.5" cy="-7"' in text and 'cx="-30" cy="8"' in text


def test_no_corners_no_marks_and_the_legend_knows_the_sign():
    """An empty group in every drawing, or a sign that is not explained."""
    svg = sheet()
    draw_corners(PlanView.fitted(svg, (-100, -50, 100, 50), Box(0, 0, 100, 50), 0.5), [])
    assert 'id="corners"' not in svg.render()
    kinds_legend(svg, Box(0, 0, 60, 200), 10.0, [("corner", "inside corner that stays round")])
    text = svg.render()
    assert 'class="corner"' in text and "inside corner that stays round" in text
