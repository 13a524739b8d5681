"""One sheet with how far the deck that the files leave lies above or below the deck as designed.

The plan (board frame, deck up, mm) shows where it is furthest below and furthest above. Below that
is a histogram: a bar for each class of deviation, as long as the share of the random places of the
exact proof that fall into it, with the figure. Above 0 is wood that is too high, such as scallops;
below 0 wood is missing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.lengths import UNIT, mm, units_of
from corepath.reported import Key, report_keys
from corepath.views.drawing_sheet import (
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    Labels,
    best_scale,
    new_sheet,
    scale_note,
    side_block,
)
from corepath.views.drawings.cuts import nice_step
from corepath.views.drawings.legend import bullets, swatch
from corepath.views.drawings.marks import lines_to_avoid
from corepath.views.drawings.plan_view import PlanView, draw_blank
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, polygon_path

__all__ = ["Deviations", "deck_deviation_sheet"]

_PLAN = Box(MAIN.x0 + 12, MAIN.y0 + 8, MAIN.x1 - 11, MAIN.y0 + 122)
_BARS = Box(MAIN.x0 + 48, MAIN.y0 + 148, MAIN.x1 - 34, MAIN.y1 - 12)
_PITCH = 5.2
_TITLE = "Deck, deviation"
_GRAIN = 1e-9  # mm: edges of classes and limits are typed decimals, equal up to rounding


@report_keys(Key("*", "entries", None))
@dataclass(frozen=True, slots=True)
class Deviations:
    """The result of the exact proof of the deck, mm.

    `counts` (n + 1) are the numbers of random places below, between and above `edges` (n). `low`
    and `high` are the furthest below and above the deck of all places searched, each with its
    place; `mean` is over the random places. The files may leave scallops as high as `ridge` and
    must not cut deeper than `gouge`.
    """

    edges: tuple[float, ...]
    counts: tuple[int, ...]
    low: float
    low_at: tuple[float, float]
    high: float
    high_at: tuple[float, float]
    mean: float
    ridge: float
    gouge: float

    @property
    def points(self) -> int:
        """The number of random places."""
        return sum(self.counts)

    @property
    def shares(self) -> tuple[float, ...]:
        """Share of the places in each class; since they are uniform, also of the deck's area."""
        return tuple(count / max(self.points, 1) for count in self.counts)

    def allowed(self, k: int) -> bool:
        """Whether all of class `k` lies between the deepest cut and the highest scallop allowed."""
        low = -math.inf if k == 0 else self.edges[k - 1]
        high = math.inf if k == len(self.edges) else self.edges[k]
        return low >= -self.gouge - _GRAIN and high <= self.ridge + _GRAIN

    def words(self, k: int) -> str:
        """Return the bounds of class `k` in words."""
        if k == 0:
            return f"below {_figure(self.edges[0])}"
        if k == len(self.edges):
            return f"above {_figure(self.edges[-1])}"
        return f"{_figure(self.edges[k - 1])} to {_figure(self.edges[k])}"

    def entries(self) -> dict[str, Any]:
        """Return the entry of the report; mm."""
        return {
            "points": self.points,
            "edges": [round(edge, 5) + 0.0 for edge in self.edges],
            "counts": self.counts,
            "mean": round(self.mean, 4),
            "low": {"value": round(self.low, 4), "at": [round(v, 3) for v in self.low_at]},
            "high": {"value": round(self.high, 4), "at": [round(v, 3) for v in self.high_at]},
            "allowed": {"low": -self.gouge, "high": self.ridge},
        }


def deck_deviation_sheet(job: Job, board: Board, found: Deviations, *, digest: str) -> str:
    """Return `deck-deviation.svg` as text."""
    x0, y0, x1, y1 = board.blank.bounds
    scale = best_scale(x1 - x0, y1 - y0, _PLAN)
    title = f"{job.title}: {_TITLE}"
    says = (
        "what the files leave against the deck as designed, from the read-back, solved "
        f"exactly; {UNIT}"
    )
    css, described = stylesheet({"plan": 1 / scale}, 2), f"Plan {digest}. Deck up."
    svg = new_sheet(title, "BOARD FRAME, DECK UP", says, css=css, description=described)
    view = PlanView.fitted(svg, board.blank.bounds, _PLAN, scale)
    _plan(view, board, found)
    _bars(svg, found)
    _side(svg, job, found, digest)
    return units_of(job.units).text(svg.render())


def _plan(view: PlanView, board: Board, found: Deviations) -> None:
    svg = view.svg
    with svg.group("plan", id="plan", transform=view.transform):
        draw_blank(svg, board.blank.bounds)
        svg.path(polygon_path(board.outline, view.places), "outline uncut", id="outline")
    labels = Labels(svg, Box(MAIN.x0 + 1, MAIN.y0 + 1, MAIN.x1 - 1, view.extent.y1 + 6))
    labels.lines = lines_to_avoid(view, [board.blank, board.outline], [])
    for name, value, at in (("low", found.low, found.low_at), ("high", found.high, found.high_at)):
        sx, sy = view.sheet(*at)
        svg.add("circle", class_="wide", id=f"furthest-{name}", cx=sx, cy=sy, r=1.8)
        words = f"{'lowest' if name == 'low' else 'highest'} {_figure(value)}"
        labels.place(sx, sy, words, 2.6, class_="label strong halo")
    says = "the blank's edge, and the board's outline as a broken line"
    scale_note(svg, MAIN.x0 + 19, view.extent.y1 + 9, view.scale, says)


def _bars(svg: Document, found: Deviations) -> None:
    """Draw a bar for each class, the highest at the top, as heights are read."""
    box, shares = _BARS, found.shares
    # Of an empty chart the axis still ends at 1 %.
    most = max(max(shares), 0.01)
    step = nice_step(most / 5.0)
    end = step * math.ceil(most / step - _GRAIN)
    rows = range(len(shares) - 1, -1, -1)
    foot = box.y0 + len(shares) * _PITCH
    with svg.group("bars", id="bars"):
        svg.text(
            MAIN.x0 + 4, box.y0 - 4, "Share of the deck by deviation", "label strong", size=NORMAL
        )
        for k in range(round(end / step) + 1):
            x = box.x0 + box.width * k * step / end
            svg.line(x, box.y0, x, foot, "faint")
            svg.text(
                x, foot + 4.0, f"{k * step * 100.0:.3g} %", "figure", size=SMALL, anchor="middle"
            )
        for row, k in enumerate(rows):
            y = box.y0 + row * _PITCH
            svg.text(box.x0 - 2, y + 3.6, found.words(k), "figure", size=SMALL, anchor="end")
            wide = box.width * shares[k] / end
            kind = "f0" if found.allowed(k) else "f1"
            svg.add(
                "rect",
                class_=f"bar {kind}",
                id=f"class-{k}",
                x=box.x0,
                y=y + 0.6,
                width=wide,
                height=_PITCH - 1.2,
            )
            words = _share(found.counts[k], shares[k])
            svg.text(box.x0 + wide + 1.5, y + 3.6, words, "figure halo", size=SMALL)
        svg.line(box.x0, box.y0, box.x0, foot, "narrow")


def _share(count: int, share: float) -> str:
    if count == 0:
        return "0"
    return f"{share * 100.0:.2f} %" if share >= 0.0001 else f"{count} places"


def _side(svg: Document, job: Job, found: Deviations, digest: str) -> None:
    rows = [
        ("job", job.title), ("sheet", _TITLE), ("lowest", _place(found.low, found.low_at)),
        ("highest", _place(found.high, found.high_at)), ("mean", _figure(found.mean)), ("plan",
        digest),
    ]  # fmt: skip
    side_block(svg, rows)
    y = SIDE.y0 + 4
    with svg.group("legend", id="legend"):
        svg.text(SIDE.x0 + 2, y, f"Deviation, {UNIT}", "label strong", size=NORMAL)
        y += 3.0
        for kind, words in (("f0", "allowed"), ("f1", "lower or higher than allowed")):
            swatch(svg, SIDE, y, kind, words)
            y += 6.0
        lines = (
            f"Allowed: ridges of {_figure(found.ridge)}, and {_figure(found.gouge)} below the "
            "deck.",
            f"Bars: {found.points:,} places drawn at random over the deck, the same each time.",
            "Lowest and highest: of these, of fine sections, and of a search that starts at the "
            "worst of them.",
            "Above 0 wood stands too high, below 0 it is missing.",
        )
        bullets(svg, SIDE, y + 1.0, lines, 4.4)


def _place(value: float, at: tuple[float, float]) -> str:
    return f"{_figure(value)} at X{mm(at[0]):.0f} Y{mm(at[1]):.0f}"


def _figure(value: float) -> str:
    """Return a length to tenths of a micrometre, without zeros at the end."""
    return f"{mm(value):.4n}"
