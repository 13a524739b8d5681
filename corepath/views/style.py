"""Colours, line kinds and text sizes of all drawings, in one place.

Cuts have one hue, light where shallow and dark where deep: lightness alone shows the depth, also in
a grey print and to colour-blind eyes. Everything else is ink or grey on white.
Line kinds follow ISO 128-2: continuous, dashed (rapids), long-dashed dotted (centre and section
lines), long-dashed double-dotted (outlines that are not cut yet); widths 0.25 and 0.5 mm (from
memory).
"""

from __future__ import annotations

from collections.abc import Mapping

from corepath.views.svg import number

__all__ = ["DEEP", "GREY", "INK", "PAPER", "SHALLOW", "TINT", "WOOD", "pale", "shade", "stylesheet"]

PAPER = "#ffffff"
INK = "#1b2428"
GREY = "#5d676b"
WOOD = "#f3efe6"
TINT = "#d7e9e8"
SHALLOW = "#38888a"
DEEP = "#062a33"

_NARROW = 0.25
_WIDE = 0.5


def shade(share: float) -> str:
    """Return the colour of a cut as `#rrggbb`: `share` 0 is the shallowest, 1 the deepest."""
    ends = [(int(SHALLOW[k : k + 2], 16), int(DEEP[k : k + 2], 16)) for k in (1, 3, 5)]
    share = min(max(share, 0.0), 1.0)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in ends)


def pale(share: float) -> str:
    """Return the colour of `shade(share)` mixed with white, for areas under lines of that shade."""
    colour = shade(share)
    return "#" + "".join(
        f"{round(255 - (255 - int(colour[k : k + 2], 16)) * 0.24):02x}" for k in (1, 3, 5)
    )


def stylesheet(units: Mapping[str, float], bands: int) -> str:
    """Return the CSS of a drawing with `bands` shades.

    `units` has for the class of each view how many model mm are one mm of its sheet.
    """
    # Inside a view's group the transform scales strokes too: widths and dashes are given in model
    # millimetres there, so that lines look the same at every scale.
    plain = _rules("", 1.0) + "".join(_rules(f".{view} ", unit) for view, unit in units.items())
    shades = "".join(
        f".z{k}{{stroke:{shade(k / max(bands - 1, 1))}}} "
        f".f{k}{{fill:{shade(k / max(bands - 1, 1))}}} "
        f".t{k}{{fill:{pale(k / max(bands - 1, 1))};fill-rule:evenodd}}\n"
        for k in range(bands)
    )
    return _TEXT + plain + shades


_TEXT = f"""text{{font-family:"Liberation Sans",Arial,Helvetica,sans-serif;fill:{INK}}}
path,line,circle,rect{{fill:none}}
.paper{{fill:{PAPER}}}
.halo{{stroke:{PAPER};stroke-width:1.4;stroke-linejoin:round;paint-order:stroke}}
.strong{{font-weight:bold}}
.quiet{{fill:{GREY}}}
.solid,path.solid,circle.solid{{fill:{INK};stroke:none}}
path.mask,rect.mask{{fill:{PAPER}}}
"""


def _rules(prefix: str, unit: float) -> str:
    """Line kinds; dash lengths in multiples of the width as ISO 128-2 has them (from memory)."""
    d = _NARROW * unit
    rules = [
        ("wide", INK, _WIDE * unit, ()),
        ("narrow", INK, d, ()),
        ("faint", GREY, 0.18 * unit, ()),
        ("hidden", GREY, d, (6 * d, 2 * d)),
        ("rapid", GREY, 0.18 * unit, (8 * d, 4 * d)),
        ("centre", INK, 0.18 * unit, (24 * d, 3 * d, 0.5 * d, 3 * d)),
        ("uncut", INK, d, (24 * d, 3 * d, 0.5 * d, 3 * d, 0.5 * d, 3 * d)),
        ("cut", "", 0.3 * unit, ()),
        ("fine", "", 0.2 * unit, ()),
        ("cutter", INK, 0.35 * unit, ()),
        ("entry", INK, 0.3 * unit, ()),
        ("corner", INK, 0.3 * unit, ()),
        ("contour", INK, 0.2 * unit, ()),
        ("arrow", PAPER, 0.25 * unit, ()),
        ("hatching", GREY, 0.18 * unit, ()),
    ]
    out = []
    for name, colour, width, dash in rules:
        parts = [f"stroke-width:{number(width, 3)}"]
        if colour:
            parts.append(f"stroke:{colour}")
        if dash:
            parts.append("stroke-dasharray:" + ",".join(number(part, 3) for part in dash))
        if name in ("cut", "fine", "contour"):
            parts.append("stroke-linejoin:round;stroke-linecap:round")
        out.append(f"{prefix}.{name}{{{';'.join(parts)}}}\n")
    fills = {"wood": WOOD, "tint": TINT, "void": PAPER, "arrow": INK}
    out += [
        f"{prefix}.{name}{{fill:{colour};fill-rule:evenodd}}\n" for name, colour in fills.items()
    ]
    kind = prefix.strip(" .") or "sheet"
    out.append(f"{prefix}.resin{{fill:url(#resin-{kind});fill-rule:evenodd}}\n")
    out.append(f"{prefix}.obstacle{{fill:url(#obstacle-{kind});fill-rule:evenodd}}\n")
    out.append(f"{prefix}.entry,{prefix}.mark{{fill:{PAPER}}}\n")
    return "".join(out)
