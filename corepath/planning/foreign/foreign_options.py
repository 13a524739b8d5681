"""The simulation set-up for a foreign file, from the words of the command line: blank, zero,
cutters. Lengths in mm.

`1280x420x16` or `20x10x0.75in` is a blank; `front-left,top`, `middle,bed` or `-100,20,16` a zero,
numbers in mm from the middle of the blank, Z from the bed; `flat:6`, `2=bull:12:2`,
`3=ball:6,edges=20,out=30`, `taper:2,angle=5,shank=6` a cutter.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple, get_args

from corepath.errors import Fault, InputError
from corepath.lengths import MM_PER_INCH
from corepath.motion.clock import Limits
from corepath.motion.cutter import ANGLES, OPTIONS, Cutter, Shape, end_faults, own_sizes
from corepath.readback.foreign.foreign_facts import ForeignSetup

__all__ = ["ForeignOptions", "bench_of"]

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_BLANK = re.compile(rf"({_NUMBER})[x×X*]({_NUMBER})[x×X*]({_NUMBER})(mm|in|inch)?")
_CUTTER = re.compile(
    rf"(?:t?([0-9]{{1,5}})=)?([a-z-]+):({_NUMBER})(?::({_NUMBER}))?(mm|in|inch)?((?:,[a-z]+={_NUMBER})*)"
)
_SHAPES: tuple[Shape, ...] = get_args(Shape)
_LARGEST = 10_000.0
_MOST_COLUMNS = 40_000_000  # at four bytes a column 160 MB for one face
_UNKNOWN = 1.0e6  # mm: edges or stick-out that nobody named are not judged

_BLANK_ALLOWED = (
    "LENGTHxWIDTHxTHICKNESS above 0 and at most 10000, as 1280x420x16, or with in at the end"
)
_ZERO_ALLOWED = (
    "middle or front-left, then top or bed, as front-left,top; or X,Y,Z in mm from the middle "
    "on the bed"
)
_CUTTER_ALLOWED = (
    f"[NUMBER=]SHAPE:DIAMETER[:CORNER_RADIUS], SHAPE {', '.join(_SHAPES[:-1])} or {_SHAPES[-1]}, "
    "as flat:6, 2=bull:12:2 or taper:2,angle=5,shank=6"
)


class ForeignOptions(NamedTuple):
    """The options as written. Without `cell` the columns are 0.1 to 0.5 mm apart, by the size of
    the blank; `rapid` is in mm/min, `accel` in mm/s², `spin_up` in s."""

    blank: str | None
    cutter: Sequence[str]
    zero: str
    units: str | None = None
    cell: float | None = None
    spoil_board: float = 0.0
    rapid: float = 6000.0
    accel: float = 500.0
    spin_up: float = 0.0


def bench_of(asked: ForeignOptions) -> ForeignSetup:
    """Return the simulation set-up that the options describe. Raises InputError with all faults in
    them."""
    faults: list[Fault] = []
    size = _blank(asked.blank, faults)
    cutters = _cutters(asked.cutter, faults)
    # A wrong blank gets a size of 1, so that the other options are checked too.
    length, width, thickness = size or (1.0, 1.0, 1.0)
    zero = _zero(asked.zero, length, width, thickness, faults)
    cell = (
        min(max(round(max(length, width) / 1600.0, 3), 0.1), 0.5)
        if asked.cell is None
        else asked.cell
    )
    if asked.units not in (None, "mm", "inch"):
        faults.append(Fault("--units", "is no unit", str(asked.units), "mm or inch"))
    for name, value, least in (
        ("--cell", cell, 0.01), ("--spoil-board", asked.spoil_board, 0.0), ("--rapid", asked.rapid,
        1.0),
        ("--accel", asked.accel, 1.0), ("--spin-up", asked.spin_up, 0.0),
    ):  # fmt: skip
        if not least <= value < math.inf:
            faults.append(Fault(name, "is out of range", f"{value:g}", f"at least {least:g}"))
    if size and cell >= 0.01 and length * width / cell**2 > _MOST_COLUMNS:
        least = math.ceil(math.sqrt(length * width / _MOST_COLUMNS) * 100.0) / 100.0
        faults.append(
            Fault("--cell", "is too fine for so large a blank", f"{cell:g}", f"at least {least:g}")
        )
    if faults or zero is None:
        raise InputError(faults)
    return ForeignSetup(
        length=length,
        width=width,
        thickness=thickness,
        zero=zero,
        cutters=cutters,
        limits=Limits(asked.rapid, asked.accel),
        spin_up=asked.spin_up,
        spoil_board=asked.spoil_board,
        inch=asked.units == "inch",
        cell=cell,
    )


def _blank(text: str | None, faults: list[Fault]) -> tuple[float, float, float] | None:
    if text is None:
        faults.append(Fault("--blank", "is needed to read a single file", allowed=_BLANK_ALLOWED))
        return None
    found = _BLANK.fullmatch(text.strip())
    scale = MM_PER_INCH if found and (found.group(4) or "").startswith("in") else 1.0
    sizes = [round(float(value) * scale, 6) for value in found.groups()[:3]] if found else []
    if not sizes or not all(0.0 < size <= _LARGEST for size in sizes):
        faults.append(Fault("--blank", "is no blank", text, _BLANK_ALLOWED))
        return None
    return sizes[0], sizes[1], sizes[2]


def _zero(
    text: str, length: float, width: float, thickness: float, faults: list[Fault]
) -> tuple[float, float, float] | None:
    parts = [part.strip().lower() for part in text.split(",")]
    if len(parts) == 2 and parts[0] in ("middle", "front-left") and parts[1] in ("top", "bed"):
        x, y = (0.0, 0.0) if parts[0] == "middle" else (-length / 2.0, -width / 2.0)
        return x, y, thickness if parts[1] == "top" else 0.0
    if len(parts) == 3 and all(re.fullmatch(_NUMBER, part) for part in parts):
        x, y, z = (float(part) for part in parts)
        if max(abs(x), abs(y), abs(z)) <= _LARGEST:
            return x, y, z
    faults.append(Fault("--zero", "is no zero", text, _ZERO_ALLOWED))
    return None


def _cutters(texts: Sequence[str], faults: list[Fault]) -> dict[int, Cutter]:
    found: dict[int, Cutter] = {}
    if not texts:
        faults.append(Fault("--cutter", "is needed to read a single file", allowed=_CUTTER_ALLOWED))
    for text in texts:
        cutter = _cutter(text, faults)
        if cutter is not None and cutter.number in found:
            name = "one without a number" if cutter.number < 0 else f"T{cutter.number}"
            faults.append(Fault("--cutter", f"{name} is given twice", text))
        elif cutter is not None:
            found[cutter.number] = cutter
    return found


def _cutter(text: str, faults: list[Fault]) -> Cutter | None:
    found = _CUTTER.fullmatch(text.strip().lower())
    if found is None or found.group(2) not in _SHAPES:
        faults.append(Fault("--cutter", "is no cutter", text, _CUTTER_ALLOWED))
        return None
    number, word, width, corner, unit, more = found.groups()
    shape: Shape = next(shape for shape in _SHAPES if shape == word)
    scale = MM_PER_INCH if (unit or "").startswith("in") else 1.0
    diameter = float(width) * scale
    radius = 0.0 if corner is None else float(corner) * scale
    typed = dict(part.split("=") for part in more.split(",")[1:])
    sizes: dict[str, Any] = {
        key: float(typed.pop(OPTIONS[key])) * (1.0 if key in ANGLES else scale)
        for key in _keys(shape)
        if OPTIONS[key] in typed
    }
    plain = Cutter(
        int(number) if number else -1, shape, diameter, radius, 2, _UNKNOWN, _UNKNOWN,
        centre_cutting=True,
    )  # fmt: skip
    made = replace(plain, **sizes)
    wrong = typed or any(value <= 0.0 for value in sizes.values())
    says = (
        f"only {', '.join(sorted(f'{OPTIONS[key]}=' for key in _keys(shape)))} above 0 may follow"
        if wrong
        else _wrong(made, None if corner is None else radius, sizes)
    )
    if says:
        faults.append(Fault("--cutter", says, text, _CUTTER_ALLOWED))
        return None
    return made


def _keys(shape: Shape) -> tuple[str, ...]:
    """Keys of the sizes that may follow: those that tell how far its edges go, and its own."""
    own = own_sizes(shape)
    return ("cutting_length", "stick_out", *(("shank", *own) if own else ()))


def _wrong(cutter: Cutter, corner: float | None, sizes: Mapping[str, float]) -> str:
    if not 0.0 < cutter.diameter <= 500.0:
        return "its diameter must be above 0 and at most 500 mm"
    for fault in end_faults(cutter, corner):
        return f"{OPTIONS[fault.key]}: {fault.message}; allowed: {fault.allowed}"
    if own_sizes(cutter.shape) and not {"shank", "cutting_length"} & set(sizes):
        return f"a {cutter.shape} needs shank= or edges=LENGTH, where its flank ends"
    return ""
