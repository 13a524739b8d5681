"""A small builder of SVG documents: strings joined in the order drawn, without an object tree.

Units are millimetres of the printed sheet: `viewBox` counts them, `width` and `height` name them,
so a print at 100 % is true to size. The sheet has its origin at the top left and y downwards, as
SVG has. A *view* is a group with a transform that turns model millimetres (y upwards) into sheet
millimetres; text never goes into such a group, so that it is neither mirrored nor scaled. Numbers
are written with a fixed number of places, without trailing zeros and never as "-0", so equal
drawings are equal bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from corepath.lengths import INCH, MM, marked, mm, plain

__all__ = [
    "Box",
    "Document",
    "number",
    "polygon_path",
    "polyline_path",
    "shown",
    "text_box",
    "text_width",
    "upward_box",
    "wrapped",
]

_NARROW = frozenset("ijlI.,:;'|! ")
_SLIM = frozenset("ftr()-/[]°")
_WIDE = frozenset("mwMW%@—")


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle on the sheet, mm: `x0` < `x1`, `y0` < `y1` (y down)."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def width(self) -> float:
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        return self.y1 - self.y0

    def meets(self, other: Box) -> bool:
        """Whether the two overlap by more than touching."""
        return (
            self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1
        )

    def holds(self, other: Box) -> bool:
        """Whether `other` lies within this one."""
        return (
            self.x0 <= other.x0
            and self.y0 <= other.y0
            and self.x1 >= other.x1
            and self.y1 >= other.y1
        )

    def grown(self, by: float) -> Box:
        """Return the box with `by` mm more on every side."""
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)


def number(value: float, places: int = 2) -> str:
    """Return `value` with at most `places` decimals, as coordinates and counts are written."""
    return plain(value, places)


def shown(value: float, places: int = 2) -> str:
    """Return a length (mm) as a marked figure: it is shown like `number`, in the job's units."""
    return f"{mm(value):.{places}n}"


def text_width(text: str, size: float) -> float:
    """Return the width in mm of `text` set in a common sans serif of font size `size` mm.

    From the usual proportions of such faces (common practice, no source), rounded up. Of marked
    figures the longer of mm and inches counts: which of them is drawn is not known here.
    """
    return size * _ems(text)


@lru_cache(maxsize=4096)
def _ems(text: str) -> float:
    # kept, since a label is tried at many places
    plain = MM.text(text)
    told = {plain, INCH.text(text)} if plain != text else {plain}
    return max(sum(_advance(sign) for sign in one) for one in told)


def _advance(sign: str) -> float:
    if sign in _NARROW:
        return 0.29
    if sign in _SLIM:
        return 0.37
    if sign in _WIDE:
        return 0.88
    return 0.70 if sign.isupper() else 0.57


WIDER = 1.15
"""Times the estimated width: a fallback font may be this much wider than the usual ones."""


def wrapped(text: str, size: float, width: float) -> list[str]:
    """Return `text` in lines no wider than `width` mm, even in a wide font; a longer word is cut
    into pieces.

    A marked figure (`corepath.lengths`) is as wide as it reads, and is never cut: half a mark is no
    figure.
    """
    lines: list[str] = []
    width /= WIDER
    current = ""
    for word in text.split():
        trial = f"{current} {word}" if current else word
        if text_width(trial, size) <= width:
            current = trial
            continue
        if current:
            lines.append(current)
        while MM.text(word) == word and text_width(word, size) > width and len(word) > 1:
            cut = len(word) - 1
            while cut > 1 and text_width(word[:cut], size) > width:
                cut -= 1
            lines.append(word[:cut])
            word = word[cut:]
        current = word
    if current:
        lines.append(current)
    return lines


def polyline_path(
    points: NDArray[np.float64] | Sequence[Sequence[float]], places: int = 2, close: bool = False
) -> str:
    """Return path data through `points` (n, 2), mm, in relative steps whose rounding does not add
    up.

    Points that coincide after rounding are dropped; an empty string where fewer than two are left.
    """
    # Places are rounded to whole units first, and steps taken between those: steps that were
    # rounded one by one would drift away over a path of thousands.
    scale = 10**places
    whole = np.rint(np.asarray(points, dtype=float)[:, :2] * scale).astype(np.int64)
    if len(whole) > 1:
        moved = np.any(np.diff(whole, axis=0) != 0, axis=1)
        whole = whole[np.concatenate(([True], moved))]
    if close and len(whole) > 2 and bool(np.all(whole[0] == whole[-1])):
        whole = whole[:-1]
    if len(whole) < 2:
        return ""
    steps = np.diff(whole, axis=0)
    head = "M" + _pair(whole[0], scale, places)
    return (
        head + "l" + " ".join(_pair(step, scale, places) for step in steps) + ("z" if close else "")
    )


def _pair(pair: NDArray[np.int64], scale: int, places: int) -> str:
    return f"{number(int(pair[0]) / scale, places)} {number(int(pair[1]) / scale, places)}"


def polygon_path(shape: Polygon | MultiPolygon, places: int = 2) -> str:
    """Return path data of all rings of `shape`, for `fill-rule: evenodd`, thinned within two units
    of the last place."""
    shape = shape.simplify(2.0 * 10.0**-places)
    pieces = list(shape.geoms) if isinstance(shape, MultiPolygon) else [shape]
    rings = [
        ring
        for piece in pieces
        if not piece.is_empty
        for ring in (piece.exterior, *piece.interiors)
    ]
    return "".join(polyline_path(np.asarray(ring.coords), places, close=True) for ring in rings)


_SCREEN = "@media screen{svg:root{width:100vw;height:100vh}}\n"
"""Opened alone in a browser a drawing fits the window; printed it has its size in mm, and so its
scale."""


class Document:
    """One SVG document of `width` × `height` mm; `boxes` holds the estimated place of every text.

    With `fitted` a browser scales it to its window; without, it is as large on the screen as on
    paper.
    """

    def __init__(
        self,
        width: float,
        height: float,
        title: str,
        css: str,
        description: str = "",
        *,
        fitted: bool = True,
    ) -> None:
        self.sheet = Box(0.0, 0.0, width, height)
        self.boxes: list[Box] = []
        self._depth = 1
        w, h = number(width), number(height)
        self._parts = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 '
            f'{w} {h}" role="img"'
            ' style="color-scheme:only light">',
            f" <title>{escape(title)}</title>",
        ]
        if description:
            self._parts.append(f" <desc>{escape(description)}</desc>")
        self._parts.append(f" <style>\n{css}{_SCREEN if fitted else ''} </style>")
        self.add("rect", class_="paper", x=0, y=0, width=width, height=height)
        self._head = len(self._parts)

    def add(self, tag: str, **attributes: Any) -> None:
        """Add an empty element. `class_` becomes `class`, other underscores become hyphens;
        attributes that are None are left out."""
        self._parts.append(" " * self._depth + f"<{tag}{_attributes(attributes)}/>")

    def path(self, data: str, class_: str, **attributes: Any) -> None:
        """Add a path; nothing where `data` is empty."""
        if data:
            self.add("path", class_=class_, d=data, **attributes)

    def line(self, x0: float, y0: float, x1: float, y1: float, class_: str) -> None:
        """Add a line from (x0, y0) to (x1, y1), mm of the sheet, of a class of the style sheet."""
        self.add("line", class_=class_, x1=x0, y1=y0, x2=x1, y2=y1)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        class_: str = "label",
        *,
        size: float = 3.5,
        anchor: str = "start",
    ) -> Box:
        """Add text with its base line at (x, y) and return its estimated place."""
        known = {"class_": class_, "x": x, "y": y, "font_size": size, "text_anchor": anchor}
        return self._set(text, text_box(x, y, text, size=size, anchor=anchor), known)

    def upward_text(
        self,
        x: float,
        y: float,
        text: str,
        class_: str = "label",
        *,
        size: float = 3.5,
        anchor: str = "start",
    ) -> Box:
        """Add text like `text`, but read upwards, from the right-hand side of the sheet."""
        known = {"class_": class_, "x": x, "y": y, "font_size": size}
        known |= {"transform": f"rotate(-90 {number(x)} {number(y)})", "text_anchor": anchor}
        return self._set(text, upward_box(x, y, text, size=size, anchor=anchor), known)

    def _set(self, text: str, box: Box, known: dict[str, Any]) -> Box:
        self.boxes.append(box)
        if known["text_anchor"] == "start":
            del known["text_anchor"]
        self._parts.append(
            " " * self._depth + f"<text{_attributes(known)}>{escape(marked(text))}</text>"
        )
        return box

    @contextmanager
    def group(self, class_: str, **attributes: Any) -> Iterator[None]:
        """Put everything drawn inside the `with` block into one `<g>`."""
        self._parts.append(
            " " * self._depth + f"<g{_attributes({'class_': class_, **attributes})}>"
        )
        self._depth += 1
        yield
        self._depth -= 1
        self._parts.append(" " * self._depth + "</g>")

    @contextmanager
    def defs(self) -> Iterator[None]:
        """Put what is drawn within the block into the document's definitions."""
        self._parts.append(" " * self._depth + "<defs>")
        self._depth += 1
        yield
        self._depth -= 1
        self._parts.append(" " * self._depth + "</defs>")

    def clip(self, id_: str, box: Box) -> None:
        """Add a rectangular window for `clip_path="url(#id)"`, in sheet mm."""
        place = (
            f'x="{number(box.x0)}" y="{number(box.y0)}" width="{number(box.width)}" '
            f'height="{number(box.height)}"'
        )
        self._parts.append(f'  <clipPath id="{id_}"><rect {place}/></clipPath>')

    def clip_area(self, id_: str, data: str) -> None:
        """Add a window of any shape for `clip_path="url(#id)"`, in the units of the group that uses
        it."""
        self._parts.append(
            f'  <clipPath id="{id_}"><path clip-rule="evenodd" d="{data}"/></clipPath>'
        )

    def hatch(self, id_: str, pitch: float, class_: str, up: bool = False) -> None:
        """Add a fill of lines at 45°, `pitch` apart in the units of the shape that uses it; `up`
        where y points upwards."""
        # One tile has three lines: the diagonal, and those through two corners, which complete the
        # lines of the neighbouring tiles at their ends.
        side = pitch * 2**0.5
        box = f'width="{number(side, 3)}" height="{number(side, 3)}" patternUnits="userSpaceOnUse"'
        box += ' patternTransform="scale(1 -1)"' if up else ""
        half, end = number(side / 2, 3), number(side, 3)
        far = number(side * 1.5, 3)
        data = f"M-{half} {half}L{half} -{half}M0 {end}L{end} 0M{half} {far}L{far} {half}"
        self._parts.append(
            f'  <pattern id="{id_}" {box}><path class="{class_}" d="{data}"/></pattern>'
        )

    def inner(self) -> str:
        """Return its elements alone, for a page that has the sheet's size and style itself."""
        return "\n".join(self._parts[self._head :])

    def render(self) -> str:
        """Return the document as text, one element on each line."""
        return "\n".join([*self._parts, "</svg>", ""])


_BEFORE = {"start": 0.0, "middle": 0.5, "end": 1.0}
"""Share of a text's width that lies before the place it is anchored at."""


def text_box(
    x: float,
    y: float,
    text: str,
    *,
    size: float,
    anchor: str = "start",
    wider: float = 1.0,
) -> Box:
    """Return the estimated box of `text`: ascent 0.76, descent 0.22 of the font size, `wider` times
    its usual width."""
    width = text_width(text, size) * wider
    before = _BEFORE[anchor] * width
    return Box(x - before, y - 0.76 * size, x - before + width, y + 0.22 * size)


def upward_box(x: float, y: float, text: str, *, size: float, anchor: str = "start") -> Box:
    """Return the estimated box of `text` that is read upwards, as `text_box` does."""
    width = text_width(text, size)
    before = _BEFORE[anchor] * width
    return Box(x - 0.76 * size, y + before - width, x + 0.22 * size, y + before)


def _attributes(attributes: dict[str, Any]) -> str:
    out = []
    for name, value in attributes.items():
        if value is None:
            continue
        plain = "class" if name == "class_" else name.replace("_", "-")
        text = number(float(value), 3) if isinstance(value, (int, float)) else str(value)
        out.append(f" {plain}={quoteattr(text)}")
    return "".join(out)
