"""Tables of the overview: measures of hardware, verdicts of the checks, planes of the skim, files
in order."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

from shapely import Point

from corepath.board.footprints import seat_footprint
from corepath.geometry.closest import least_distance
from corepath.lengths import UNIT, in_unit, marked, mm, unit_word
from corepath.motion.program import Program
from corepath.stackup.checks.verdict import Check
from corepath.stackup.skim import SkimPlan
from corepath.views.drawing_sheet import NORMAL, SIDE, SMALL
from corepath.views.drawings.scene import Scene
from corepath.views.svg import Box, Document, shown, wrapped
from corepath.work.works import Work

__all__ = ["checks_table", "files_table", "measure_lines", "measures_table", "skim_table"]


def measures_table(svg: Document, scene: Scene, box: Box) -> None:
    """Draw a table of each kind of hardware with its sizes, pitch and least distance from the
    outline."""
    _columns(svg, "Measures", measure_lines(scene), box)


def measure_lines(scene: Scene, kind: str = "") -> list[str]:
    """Return sizes and places in words of groove, plugs, inserts and dowels, or of one `kind`
    (groove, plug, insert, dowel)."""
    makers = {
        "groove": _groove_lines,
        "plug": _plug_lines,
        "insert": _insert_lines,
        "dowel": _dowel_lines,
    }
    return [line for name, make in makers.items() if kind in ("", name) for line in make(scene)]


def _groove_lines(scene: Scene) -> list[str]:
    outside, inside = scene.job.groove.outside, scene.job.groove.inside
    lines = [
        f"Groove {shown(outside + inside)} wide: {shown(outside)} outside the outline, "
        f"{shown(inside)} inside."
    ]
    template = scene.board.template
    return lines if template is None else [*lines, marked(template.line)]


def _plug_lines(scene: Scene) -> list[str]:
    board, lines = scene.board, []
    for plug in scene.job.plug:
        areas = [c.area for c in board.castings if c.plug == plug]
        size = (
            f"slot {shown(plug.slot)} × {shown(plug.diameter)}"
            if plug.slot
            else f"⌀{shown(plug.diameter)}"
        )
        edge = least_distance(board.outline.exterior, areas) if areas else 0.0
        hole = f"bolt hole ⌀{shown(plug.bolt_hole)}{_pitch(plug.at)}"
        lines.append(
            f"{plug.name}: {len(plug.at)} × plug {size}, {hole}; {shown(edge, 1)} from the outline."
        )
    return lines


def _insert_lines(scene: Scene) -> list[str]:
    lines, outline = [], scene.board.outline.exterior
    for insert in scene.job.insert:
        seats = [seat_footprint(insert, x, y) for x, y in insert.at]
        edge = least_distance(outline, [seat.area for seat in seats])
        bore = shown(insert.bore_diameter)
        size = f"seat {seats[0].size}, bore ⌀{bore}{_pitch(insert.at)}"
        lines.append(
            f"{insert.name}: {len(insert.at)} × {size}; {shown(edge, 1)} from the outline."
        )
    return lines


def _dowel_lines(scene: Scene) -> list[str]:
    lines = []
    for k, dowel in enumerate(scene.job.dowel, start=1):
        edge = scene.board.blank.exterior.distance(Point(*dowel.at)) - dowel.diameter / 2
        place = f"at X {shown(dowel.at[0])} Y {shown(dowel.at[1])}"
        lines.append(
            f"Dowel {k}: ⌀{shown(dowel.diameter)} {place}; {shown(edge, 1)} from the blank's edge."
        )
    if len(scene.job.dowel) == 2:
        lines.append(
            f"The dowels stand {shown(math.dist(*(dowel.at for dowel in scene.job.dowel)))} apart."
        )
    return lines


def _pitch(at: Sequence[tuple[float, float]]) -> str:
    """Return the pitch of a group in X and Y in words: the least distances between different X and
    Y; empty unless its places fill a rectangular grid."""
    parts = []
    for axis, name in enumerate("XY"):
        values = sorted({round(p[axis], 3) for p in at})
        if len(values) > 1 and _is_grid(at):
            parts.append(f"{shown(min(b - a for a, b in itertools.pairwise(values)))} in {name}")
    return "; pitch " + ", ".join(parts) if parts else ""


def _is_grid(at: Sequence[tuple[float, float]]) -> bool:
    xs, ys = ({round(place[axis], 3) for place in at} for axis in (0, 1))
    return len(xs) * len(ys) == len(at)


def _columns(svg: Document, title: str, lines: Sequence[str], box: Box) -> None:
    width = (box.width - 14) / 2
    laid = [text for line in lines for text in wrapped(line, SMALL, width)]
    rows = int((box.height - 10) // 4.4)
    if len(laid) > 2 * rows:
        laid = [*laid[: 2 * rows - 1], "and more: see the job file"]
    with svg.group("measures", id="measures"):
        svg.line(box.x0, box.y0 - 1, SIDE.x0 - 1, box.y0 - 1, "narrow")
        svg.text(box.x0 + 4, box.y0 + 4, title, "label strong", size=NORMAL)
        for k, line in enumerate(laid):
            column, row = divmod(k, rows)
            svg.text(box.x0 + 4 + column * (width + 6), box.y0 + 9 + row * 4.4, line, size=SMALL)


def checks_table(svg: Document, checks: Sequence[Check]) -> float:
    """Draw each kind of check once, by the weakest of its checks; return the next y."""
    least: dict[str, Check] = {}
    order = {"fail": 0, "caution": 1, "ok": 2}
    for check in checks:
        held = least.get(check.id)
        if held is None or (order[check.verdict], check.worst - check.limit) < (
            order[held.verdict],
            held.worst - held.limit,
        ):
            least[check.id] = check
    y = SIDE.y0 + 4.5
    if not least:
        return SIDE.y0
    with svg.group("checks", id="checks"):
        svg.text(SIDE.x0 + 2, y, f"Checks: nominal, limit; {UNIT}", "label strong", size=NORMAL)
        for check in least.values():
            y += 4.5
            style = "label" if check.verdict == "ok" else "label strong"
            word = check.verdict if check.verdict == "ok" else check.verdict.upper()
            svg.text(SIDE.x0 + 2, y, word, f"{style} verdict {check.verdict}", size=SMALL)
            name = check.id if check.unit in ("", "mm") else f"{check.id}, {unit_word(check.unit)}"
            svg.text(SIDE.x0 + 20, y, name, style, size=SMALL)
            svg.text(SIDE.x1 - 20, y, _figure(check), style, size=SMALL, anchor="end")
            svg.text(
                SIDE.x1 - 3,
                y,
                f"{in_unit(check.limit, check.unit):.2f}",
                style,
                size=SMALL,
                anchor="end",
            )
    return y + 3


def _figure(check: Check) -> str:
    """Return the value with two decimals; with three where the limit is 0 and the value small, as
    for the chip load, whose two decimals would show nothing."""
    value = in_unit(check.value, check.unit)
    return f"{value:.3f}" if check.limit == 0.0 and abs(check.value) < 0.1 else f"{value:.2f}"


def files_table(
    svg: Document,
    works: Sequence[Work],
    programs: Sequence[Program],
    minutes: Mapping[str, float],
    y: float,
    bottom: float,
) -> float:
    """Draw a table of the files in the order they run, with cutter and minutes; return the next
    y."""
    listed = [(p.stem, p.cutter.describe()) for p in programs] or [
        (w.stem, w.cutter.describe()) for w in works
    ]
    # A long list of checks may leave nothing: then there is no table, and none runs into the title
    # block.
    room = int((bottom - y - 8) // 4.5)
    if room < 1:
        return y
    shown = (
        listed if len(listed) <= room else [*listed[: room - 1], ("… and more: see the report", "")]
    )
    with svg.group("files", id="files"):
        svg.line(SIDE.x0 - 1, y - 1, SIDE.x1, y - 1, "narrow")
        y += 4
        svg.text(SIDE.x0 + 2, y, "Files, in the order they run", "label strong", size=NORMAL)
        for stem, cutter in shown:
            y += 4.5
            time = f"{minutes[stem]:.1f} min" if stem in minutes else ""
            svg.text(SIDE.x0 + 2, y, stem, size=SMALL)
            svg.text(SIDE.x0 + 43, y, cutter, "label quiet", size=SMALL)
            svg.text(SIDE.x1 - 3, y, time, size=SMALL, anchor="end")
    return y + 4


def skim_table(svg: Document, skim: SkimPlan, y: float, bottom: float) -> None:
    """Draw a table of the heights of the skim's passes with their files, where there is room, with
    the planned stop marked."""
    passes = list(enumerate(skim.planes, start=1))
    if y + 8 + 4.5 * len(passes) > bottom:
        return
    with svg.group("skim", id="skim"):
        svg.line(SIDE.x0 - 1, y, SIDE.x1, y, "narrow")
        y += 5
        svg.text(SIDE.x0 + 2, y, f"Skim passes, {UNIT} above the bed", "label strong", size=NORMAL)
        for k, plane in passes:
            y += 4.5
            stop = k == skim.planned_stop
            style = "label strong" if stop else "label"
            svg.text(SIDE.x0 + 2, y, f"{mm(plane):.2f}", style, size=SMALL)
            svg.text(SIDE.x0 + 14, y, f"…pass-{k}.nc", style, size=SMALL)
            if stop:
                svg.text(SIDE.x0 + 43, y, "planned stop", style, size=SMALL)
