"""The sheet that all drawings share: frame, columns, title block, dimensions and free places for
labels.

Sheet millimetres, origin top left, y down. The sheet is A3 landscape (420 × 297), with a filing
margin of 20 mm at the left and 10 mm elsewhere (ISO 5457, from memory). Dimensions have extension
lines that start off the object, filled arrowheads, and the figure above the line (ISO 129-1, from
memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from corepath.lengths import mm
from corepath.views.svg import Box, Document, number, text_box, text_width, wrapped

__all__ = [
    "FRAME", "HEIGHT", "LARGE", "MAIN", "NORMAL", "SCALES", "SIDE", "SMALL", "WIDTH", "Labels",
    "arrowhead", "best_scale", "dimension_across", "dimension_along", "heading", "new_sheet",
    "rows_block", "scale_bar", "scale_words", "side_block",
]  # fmt: skip

WIDTH, HEIGHT = 420.0, 297.0
FRAME = Box(20.0, 10.0, 410.0, 287.0)
SIDE = Box(326.0, 31.0, 410.0, 287.0)
MAIN = Box(20.0, 31.0, 324.0, 287.0)
SCALES = (
    2.0,
    1.0,
    1 / 2,
    1 / 2.5,
    1 / 3,
    1 / 4,
    1 / 5,
    1 / 6,
    1 / 8,
    1 / 10,
    1 / 12,
    1 / 15,
    1 / 20,
    1 / 25,
    1 / 50,
)
SMALL, NORMAL, LARGE = 3.2, 3.6, 7.0

_REACHES = (1.0, 4.0, 8.0, 13.0, 19.0, 27.0, 36.0)
"""mm off what it names at which a label is tried; beyond the first with a leader"""


def best_scale(width: float, height: float, room: Box) -> float:
    """Return the largest of `SCALES` at which `width` × `height` (model mm) fits `room`; the
    smallest one where none does."""
    return next(
        (s for s in SCALES if width * s <= room.width and height * s <= room.height), SCALES[-1]
    )


def scale_words(scale: float) -> str:
    """Return a scale in words: `1:5`, `2:1`."""
    return f"{number(scale)}:1" if scale > 1 else f"1:{number(1 / scale, 1)}"


def heading(svg: Document, left: str, right: str, under: str) -> None:
    """Draw the strip at the top: what the sheet shows, which face is up, and a line below."""
    with svg.group("heading", id="heading"):
        svg.add(
            "rect", class_="wide", x=FRAME.x0, y=FRAME.y0, width=FRAME.width, height=FRAME.height
        )
        size = LARGE
        room = FRAME.width - 12.0
        # Both texts are bold, wider than the face whose widths are estimated: hence the 1.08.
        while text_width(left, size) * 1.08 + text_width(right, size) * 1.08 > room and size > 4.5:
            size -= 0.25
        svg.text(FRAME.x0 + 3, FRAME.y0 + 9, left, "label strong operation", size=size)
        svg.text(FRAME.x1 - 3, FRAME.y0 + 9, right, "label strong face-up", size=size, anchor="end")
        svg.text(FRAME.x0 + 3, FRAME.y0 + 16, under, "label quiet", size=NORMAL)
        svg.line(FRAME.x0, FRAME.y0 + 19, FRAME.x1, FRAME.y0 + 19, "narrow")


def new_sheet(title: str, right: str, under: str, *, css: str, description: str) -> Document:
    """Return a new sheet with its heading (`heading`); `css` and `description` go to the file."""
    svg = Document(WIDTH, HEIGHT, title, css, description)
    heading(svg, title, right, under)
    return svg


def rows_block(svg: Document, box: Box, rows: Iterable[tuple[str, str]], id_: str) -> float:
    """Draw a table of name and value that ends at the bottom of `box`; return its upper edge."""
    name_width = 21.0
    laid: list[tuple[str, list[str]]] = []
    for name, value in rows:
        laid.append((name, wrapped(value, SMALL, box.width - name_width - 4.0) or ["–"]))
    pitch = 4.3
    height = sum(pitch * len(lines) + 1.4 for _, lines in laid)
    y = box.y1 - height
    with svg.group("title-block", id=id_):
        svg.add("rect", class_="narrow", x=box.x0, y=y, width=box.width, height=height)
        for count, (name, lines) in enumerate(laid):
            if count:
                svg.line(box.x0, y, box.x1, y, "faint")
            svg.text(box.x0 + 2, y + 3.9, name, "label quiet", size=SMALL)
            for k, line in enumerate(lines):
                strong = " strong" if count == 0 else ""
                svg.text(
                    box.x0 + name_width + 2, y + 3.9 + k * pitch, line, "label" + strong, size=SMALL
                )
            y += pitch * len(lines) + 1.4
    return box.y1 - height


def side_block(svg: Document, rows: Iterable[tuple[str, str]]) -> float:
    """Draw the line of the column at the right and the title block at its foot; return that
    block's upper edge."""
    svg.line(SIDE.x0 - 1, FRAME.y0 + 19, SIDE.x0 - 1, FRAME.y1, "narrow")
    return rows_block(svg, Box(SIDE.x0, SIDE.y0, SIDE.x1 - 1, SIDE.y1 - 1), rows, "title")


def arrowhead(
    svg: Document, x: float, y: float, angle: float, length: float = 2.6, class_: str = "solid"
) -> None:
    """Draw a filled head with its tip at (x, y), pointing in the direction `angle` (radians, y
    down)."""
    half = math.radians(12)
    points = [(x, y)]
    points += [
        (x - length * math.cos(angle + t), y - length * math.sin(angle + t)) for t in (half, -half)
    ]
    data = "M" + "L".join(f"{number(a)} {number(b)}" for a, b in points) + "z"
    svg.path(data, class_)


def dimension_along(
    svg: Document, x0: float, x1: float, y_object: float, y: float, text: str
) -> None:
    """Draw a horizontal dimension from `x0` to `x1` at height `y`, of an object that ends at
    `y_object`; sheet mm.

    A figure that does not fit between the arrows is set beyond `x1`, at either side.
    """
    at_left = x1 < x0
    x0, x1 = min(x0, x1), max(x0, x1)
    side = 1.0 if y > y_object else -1.0
    for x in (x0, x1):
        svg.line(x, y_object + side * 1.0, x, y + side * 1.5, "faint")
    width = text_width(text, NORMAL)
    # Two heads of 2.6 mm and a gap need 7 mm; below that the arrows point inwards from outside.
    inside = x1 - x0 >= width + 7.0
    if x1 - x0 >= 7.0:
        svg.line(x0, y, x1, y, "faint")
        arrowhead(svg, x0, y, math.pi)
        arrowhead(svg, x1, y, 0.0)
    else:
        svg.line(x0 - 6, y, x1 + 6, y, "faint")
        arrowhead(svg, x0, y, 0.0)
        arrowhead(svg, x1, y, math.pi)
    if inside:
        svg.text((x0 + x1) / 2, y - 1.0, text, "dimension halo", size=NORMAL, anchor="middle")
    elif at_left:
        svg.text(
            x0 - (2 if x1 - x0 >= 7.0 else 7),
            y + 1.2,
            text,
            "dimension halo",
            size=NORMAL,
            anchor="end",
        )
    else:
        svg.text(x1 + 7, y + 1.2, text, "dimension halo", size=NORMAL)


def dimension_across(
    svg: Document, y0: float, y1: float, x_object: float, x: float, text: str
) -> None:
    """Draw a vertical dimension from `y0` to `y1` at `x`, of an object that ends at `x_object`;
    sheet mm."""
    side = 1.0 if x > x_object else -1.0
    y0, y1 = min(y0, y1), max(y0, y1)
    for y in (y0, y1):
        svg.line(x_object + side * 1.0, y, x + side * 1.5, y, "faint")
    if y1 - y0 >= 7.0:
        svg.line(x, y0, x, y1, "faint")
        arrowhead(svg, x, y0, -math.pi / 2)
        arrowhead(svg, x, y1, math.pi / 2)
    else:
        svg.line(x, y0 - 6, x, y1 + 6, "faint")
        arrowhead(svg, x, y0, math.pi / 2)
        arrowhead(svg, x, y1, -math.pi / 2)
    svg.upward_text(x - 1.0, (y0 + y1) / 2, text, "dimension halo", size=NORMAL, anchor="middle")


def scale_bar(svg: Document, x: float, y: float, scale: float) -> float:
    """Draw a bar of round model length with its figures; return its right end."""
    length = next(k for k in (1000, 500, 200, 100, 50, 20, 10, 5) if k * scale <= 45.0 or k == 5)
    with svg.group("scale-bar"):
        for k in range(4):
            style = "solid" if k % 2 == 0 else "narrow"
            svg.add(
                "rect",
                class_=style,
                x=x + k * length * scale / 4,
                y=y - 1.4,
                width=length * scale / 4,
                height=1.4,
            )
        svg.add("rect", class_="narrow", x=x, y=y - 1.4, width=length * scale, height=1.4)
        svg.text(x, y + 3.6, "0", size=SMALL, anchor="middle")
        svg.text(x + length * scale, y + 3.6, f"{mm(length):.0f~}", size=SMALL, anchor="middle")
    return x + length * scale


def scale_note(svg: Document, x: float, y: float, scale: float, words: str) -> None:
    """Draw the scale bar from `x` on, and beside it the scale in words, then `words`; sheet mm."""
    end = scale_bar(svg, x, y, scale)
    text = f"scale {scale_words(scale)} at A3; {words}"
    svg.text(end + 14, y, text, "label quiet", size=SMALL)


_SQUARE = 8.0
"""mm: side of the squares by which boxes are found; a label is about as wide."""


@dataclass(frozen=True, slots=True)
class Taken:
    """Boxes by the squares of the sheet that they reach into: of hundreds of labels only those
    nearby are looked at."""

    by_square: dict[tuple[int, int], list[Box]]

    def add(self, box: Box) -> None:
        """Add a box, to be found by the squares that it reaches into."""
        for square in _squares(box):
            self.by_square.setdefault(square, []).append(box)

    def meets(self, box: Box) -> bool:
        """Whether `box` overlaps one that was added by more than touching."""
        near = (self.by_square.get(square, ()) for square in _squares(box))
        return any(box.meets(other) for some in near for other in some)


def _squares(box: Box) -> Iterator[tuple[int, int]]:
    first_x, last_x = (math.floor(x / _SQUARE) for x in (box.x0, box.x1))
    first_y, last_y = (math.floor(y / _SQUARE) for y in (box.y0, box.y1))
    return itertools.product(range(first_x, last_x + 1), range(first_y, last_y + 1))


@dataclass(slots=True)
class Labels:
    """Places labels where nothing else is: tries places around a point, the nearest first."""

    svg: Document
    room: Box
    taken: Taken = field(default_factory=lambda: Taken({}), init=False)
    lines: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 2)))
    """places (n, 2) on lines of the drawing, sheet mm: labels keep off them where they can"""
    wider: float = 1.0
    """times the estimated width of a label that is kept free for it"""

    def block(self, box: Box) -> None:
        """Keep labels off `box` from now on."""
        self.taken.add(box)

    def free(self, box: Box) -> bool:
        """Tell whether `box` lies within the room for labels and meets nothing that is taken."""
        return self.room.holds(box) and not self.taken.meets(box)

    def quiet(self, box: Box) -> bool:
        """Whether no line of the drawing runs through `box`."""
        x, y = self.lines[:, 0], self.lines[:, 1]
        return not bool(np.any((x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)))

    def place(
        self,
        x: float,
        y: float,
        text: str,
        clear: float,
        size: float = SMALL,
        class_: str = "label halo",
    ) -> bool:
        """Set `text` near (x, y), at least `clear` mm away, with a leader where it is far off;
        return False if there is no room."""
        # A label may cover a line where it must, but never another label or a mark.
        places = itertools.chain.from_iterable(
            ((off, *near) for near in _around(x, y, clear + off, size)) for off in _REACHES
        )
        chosen = None
        for off, tx, ty, anchor in places:
            box = text_box(tx, ty, text, size=size, anchor=anchor, wider=self.wider)
            if self.free(box.grown(0.4)):
                quiet = self.quiet(box)
                if chosen is None or quiet:
                    chosen = off, tx, ty, anchor, box
                if quiet:
                    break
        if chosen is None:
            return False
        off, tx, ty, anchor, box = chosen
        if off > _REACHES[0]:
            self._leader(x, y, clear, box)
        self.svg.text(tx, ty, text, class_, size=size, anchor=anchor)
        self.taken.add(box.grown(0.4))
        return True

    def _leader(self, x: float, y: float, clear: float, box: Box) -> None:
        ex = min(max(x, box.x0), box.x1)
        ey = min(max(y, box.y0), box.y1)
        far = math.hypot(ex - x, ey - y)
        if far > clear:
            share = clear / far
            self.svg.line(x + (ex - x) * share, y + (ey - y) * share, ex, ey, "faint")


def _around(x: float, y: float, reach: float, size: float) -> Sequence[tuple[float, float, str]]:
    # `low` moves the base line down by about half the height of small letters, so that the text is
    # centred on y; on the diagonals 0.75 is a little more than cos 45°.
    low = 0.34 * size
    slant = reach * 0.75
    return (
        (x + reach, y + low, "start"),
        (x - reach, y + low, "end"),
        (x, y - reach, "middle"),
        (x, y + reach + 2 * low, "middle"),
        (x + slant, y - slant, "start"),
        (x - slant, y - slant, "end"),
        (x + slant, y + slant + 2 * low, "start"),
        (x - slant, y + slant + 2 * low, "end"),
    )
