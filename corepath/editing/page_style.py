"""The style of the page's drawings: the line kinds and colours of all drawings (`views/style.py`),
with colours that follow the page's light or dark paper."""

from __future__ import annotations

from functools import cache

from corepath.lengths import MM_PER_INCH
from corepath.views import style

__all__ = ["drawing_style"]

_PX = 96.0 / MM_PER_INCH  # pixels of CSS in a mm

_NAMES = {"PAPER": "paper", "INK": "ink", "GREY": "grey", "WOOD": "wood", "TINT": "tint"}


@cache
def drawing_style() -> str:
    """Return the CSS: classes of `views/style.py` inside the drawings `plan`, `long`, `cross` and
    `stack`, strokes in pixels whatever the scale."""
    views = ("plan", "long", "cross", "stack")
    css = style.stylesheet(dict.fromkeys(views, _PX), 2)
    for name, variable in _NAMES.items():
        css = css.replace(getattr(style, name), f"var(--{variable})")
    # a drawing's own transform would scale its strokes once more
    shapes = ",".join(f".drawing {shape}" for shape in ("path", "line", "circle", "rect"))
    return f"{css}{shapes}{{vector-effect:non-scaling-stroke}}\n"
