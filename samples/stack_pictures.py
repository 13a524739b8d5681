"""Drawings for docs/arithmetic.md: the stack-up of a sample in each set-up, its signs as
dimensions, and the fill.

Heights are those of the sample's own stack-up, `SCALE` to 1; lengths are a scheme, and gaps are
drawn far too large, since to scale they could not be seen. Sheet millimetres, y down.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.stackup import Stackup, build_stackup
from corepath.views.drawing_sheet import NORMAL, SMALL, arrowhead, dimension_across
from corepath.views.style import stylesheet
from corepath.views.svg import Document, number

__all__ = ["stack_pictures"]

SCALE = 3.6
LEFT, RIGHT = 12.0, 122.0
GROOVE = (54.0, 86.0)
BASE = 66.0
GAP = 3.0
COLUMNS = (132.0, 146.0, 160.0)


def stack_pictures(job_file: Path) -> dict[str, str]:
    """SVG text of `stack-A.svg`, `stack-B.svg`, `stack-C.svg` and `stack-fill.svg` by name."""
    job = load_job(job_file)
    stack = build_stackup(job, build_board(job, job_file.parent))
    makers: dict[str, tuple[str, Callable[[Document, Stackup], None]]] = {
        "stack-A.svg": ("A, deck up, as the blank comes", _as_it_comes),
        "stack-B.svg": ("B, bottom up, after the pour", _bottom_up),
        "stack-C.svg": ("C, deck up again, on the skimmed face", _on_the_skimmed_face),
        "stack-fill.svg": ("Fill: resin is level, the blank may not be", _fill),
    }
    return {
        name: _picture(f"{title}: {job.title}", stack, draw)
        for name, (title, draw) in makers.items()
    }


def _picture(title: str, stack: Stackup, draw: Callable[[Document, Stackup], None]) -> str:
    svg = Document(178, 82, title, stylesheet({}, 2))
    with svg.defs():
        svg.hatch("resin-sheet", 2.2, "hatching")
    svg.text(4, 8, title, "label strong", size=NORMAL)
    draw(svg, stack)
    return svg.render()


def _y(z: float, gap: float = GAP) -> float:
    """Place on the sheet of a height over the underside of the blank."""
    return BASE - gap - z * SCALE


def _slab(svg: Document, x0: float, x1: float, low: float, high: float, kind: str) -> None:
    svg.add(
        "rect",
        class_=f"{kind} narrow",
        x=x0,
        y=_y(high),
        width=x1 - x0,
        height=(high - low) * SCALE,
    )


def _bed(svg: Document, note: str) -> None:
    svg.line(LEFT - 4, BASE, COLUMNS[-1] + 6, BASE, "wide")
    svg.text(LEFT - 4, BASE + 4.6, "bed", size=SMALL)
    svg.text(
        COLUMNS[-1] + 6,
        BASE + 12.4,
        note + "gap drawn too large",
        "quiet",
        size=SMALL,
        anchor="end",
    )


def _gap(svg: Document, x: float, sign: str) -> None:
    arrowhead(svg, x, BASE - GAP, 1.5708)
    arrowhead(svg, x, BASE, -1.5708)
    svg.line(x, BASE - GAP - 5, x, BASE + 5, "faint")
    svg.text(x + 1.6, BASE + 4.6, sign, "dimension", size=SMALL)


def _across(
    svg: Document, low: float, high: float, column: float, sign: str, value: float | None = None
) -> None:
    """An upright dimension between two places of the sheet at `column`, its sign and value beside
    it."""
    text = sign if value is None else f"{sign} {number(value)}"
    if abs(high - low) >= 14.0:
        dimension_across(svg, low, high, RIGHT, column, text)
        return
    dimension_across(svg, low, high, RIGHT, column, "")
    svg.text(column + 1.6, (low + high) / 2 + 1.1, text, "dimension halo", size=NORMAL)


def _as_it_comes(svg: Document, stack: Stackup) -> None:
    thick, floor = stack.job.blank.thickness, stack.job.groove.floor
    _bed(svg, "")
    _slab(svg, LEFT, RIGHT, 0.0, thick, "wood")
    bottom, width = BASE - floor * SCALE, GROOVE[1] - GROOVE[0]
    svg.add(
        "rect",
        class_="void narrow",
        x=GROOVE[0],
        y=_y(thick),
        width=width,
        height=bottom - _y(thick),
    )
    svg.line(GROOVE[1], bottom, RIGHT + 1, bottom, "hidden")
    for x, word in ((33.0, "island"), (70.0, "groove"), (104.0, "rim")):
        svg.text(x, _y(thick / 2), word, size=NORMAL, anchor="middle")
    svg.text(LEFT, _y(thick) - 1.2, "raw top", size=SMALL)
    svg.text(LEFT + 1, _y(0) - 1.2, "raw bottom", size=SMALL)
    _across(
        svg,
        _y(thick),
        bottom,
        COLUMNS[0],
        "D",
        stack.castings[0].depth_at(stack.heights, stack.castings[0].shallowest_at).nominal,
    )
    _across(svg, bottom, BASE, COLUMNS[0], "f", floor)
    _across(svg, _y(thick), _y(0), COLUMNS[1], "T", thick)
    _gap(svg, 40.0, "gA")


def _bottom_up(svg: Document, stack: Stackup) -> None:
    thick, plane, stop = (
        stack.job.blank.thickness,
        stack.skim.planned_plane,
        stack.skim.planned_stop,
    )
    deep = thick - stack.job.groove.floor
    _bed(svg, "")
    _slab(svg, LEFT, RIGHT, 0.0, thick, "wood")
    _slab(svg, *GROOVE, stack.castings[0].pour.p_expected.nominal, deep, "resin")
    for k, z in enumerate(stack.skim.planes, start=1):
        y = BASE - z * SCALE
        svg.line(LEFT, y, RIGHT + 1, y, "wide" if k == stop else "hidden")
    svg.text(
        LEFT + 1, BASE - plane * SCALE + 4.2, f"pass {stop}, the planned stop", "halo", size=SMALL
    )
    svg.text(LEFT, _y(thick) - 1.2, "raw bottom", size=SMALL)
    svg.text(LEFT + 1, _y(0) - 1.2, "raw top", size=SMALL)
    svg.text(70, _y(deep / 2), "casting", "halo", size=NORMAL, anchor="middle")
    svg.line(GROOVE[1], _y(deep), RIGHT + 1, _y(deep), "faint")
    _across(svg, _y(deep), _y(0), COLUMNS[0], "D", deep)
    _across(svg, BASE - plane * SCALE, BASE, COLUMNS[1], "s", plane)
    _across(svg, _y(thick), BASE, COLUMNS[2], "T + gB")
    _gap(svg, 26.0, "gB")


def _on_the_skimmed_face(svg: Document, stack: Stackup) -> None:
    thick, high = stack.skim.planned_plane, stack.job.board.thickness
    edge, low = stack.job.board.edge_thickness, stack.castings[0].pour.p_expected.nominal
    _bed(svg, "after the planned stop; ")
    _slab(svg, LEFT, RIGHT, 0.0, thick, "wood")
    _slab(svg, *GROOVE, thick - low, thick, "void")
    _slab(svg, *GROOVE, 0.0, thick - low, "resin")
    e, h = _y(edge, 0.0), _y(high, 0.0)
    svg.path(
        f"M{LEFT} {number(h)}H18C34 {number(h)} 34 {number(e)} 50 {number(e)}H{RIGHT}", "deck wide"
    )
    svg.text(RIGHT - 1, e - 1.2, "finished deck", "halo", size=SMALL, anchor="end")
    svg.line(LEFT, h, RIGHT + 1, h, "hidden")
    svg.text(LEFT, _y(thick) - 1.2, "raw top", size=SMALL)
    svg.text(70, _y(edge / 2, 0.0), "casting", "halo", size=NORMAL, anchor="middle")
    svg.line(90, _y(thick), 90, _y(thick - low), "narrow")
    svg.line(GROOVE[1], _y(thick - low), 92, _y(thick - low), "faint")
    arrowhead(svg, 90, _y(thick), -1.5708)
    arrowhead(svg, 90, _y(thick - low), 1.5708)
    svg.text(91.6, _y(thick - low / 2) + 1.2, f"p {number(low)}", "dimension halo", size=NORMAL)
    _across(svg, _y(thick), h, COLUMNS[0], "clean-up", thick - high)
    _across(svg, h, BASE, COLUMNS[0], "h", high)
    _across(svg, _y(thick), BASE, COLUMNS[2], "s − gB + gC")
    _gap(svg, 26.0, "gC")


def _fill(svg: Document, stack: Stackup) -> None:
    """A pocket across the sheet whose blank tilts; the tilt is drawn so that it can be seen."""
    low, high, resin, floor = 38.0, 22.0, 44.0, 64.0
    svg.path(f"M10 70V{low}H20L150 {high}H160V70z", "wood narrow")
    svg.path(f"M20 {floor}V{low}L150 {high}V{floor}z", "void narrow")
    svg.path(f"M20 {floor}V{resin}H150V{floor}z", "resin narrow")
    svg.text(85, 55, "resin, level", "halo", size=NORMAL, anchor="middle")
    svg.text(85, 27, "raw top, out of level", size=SMALL, anchor="middle")
    for x, top, words, side in ((26.0, low - 0.8, "pour_short", 1), (144.0, high + 0.8, "p", -1)):
        svg.line(x, top, x, resin, "narrow")
        arrowhead(svg, x, top, -1.5708)
        arrowhead(svg, x, resin, 1.5708)
        svg.text(x + side * 1.6, (top + resin) / 2 + 1.2, words, "dimension halo", size=NORMAL,
                 anchor="start" if side > 0 else "end")  # fmt: skip
    p = stack.castings[0].pour.p_expected.nominal
    note = (
        f"low end: less and less room before it spills; high end: p {number(p)} in the "
        "groove; no scale"
    )
    svg.text(10, 76.5, note, "quiet", size=SMALL)
