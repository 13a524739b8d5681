"""Reading an outline from a DXF file, as a polygon in mm.

*Entities* on the layer become *pieces*: open or closed lines of points, arcs and splines flattened
within 0.001 mm. Units come from the file's header ($INSUNITS) and are never guessed. What joins the
pieces into one *loop* is in `corepath.board.outline.loop_joining`. Z is dropped; entities whose
plane is tilted are refused.
"""

from __future__ import annotations

import io
import logging
import re
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shapely import Polygon

from corepath.board.outline.loop_joining import OutlinePiece, close_loop
from corepath.errors import Fault, InputError
from corepath.job.text.regular import TooLarge, read_regular, shown_name, size_text
from corepath.lengths import MM_PER_INCH

if TYPE_CHECKING:
    from ezdxf.document import Drawing

__all__ = ["read_outline"]

KEY = "outline.dxf"
_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": MM_PER_INCH, "foot": 304.8}
_HEADER = {1: "inch", 2: "foot", 4: "mm", 5: "cm", 6: "m"}
# what is larger would keep the library busy for minutes (`_refuse_endless`)
_LARGEST_FILE = 100_000_000
MOST_ENTITIES = 50_000
MOST_LINES = 4_000_000
MOST_POINTS = 100_000
_ENTITY = re.compile(rb"\n[ \t]*0[ \t]*\r?\n[ \t]*[A-Z]")
"""The group code 0 and the first letter of a type. After a *value* 0 comes a group code, which is a
number. 3DFACE and 3DSOLID, which begin with a figure, are missed: no line of an outline is one."""

_SIDELINE = frozenset(
    {"TEXT", "MTEXT", "DIMENSION", "ARC_DIMENSION", "POINT", "LEADER", "MULTILEADER", "MLEADER"}
    | {"TOLERANCE", "ATTDEF", "XLINE", "RAY", "VIEWPORT", "IMAGE"}
)
"""Notes and construction lines, which an outline's layer may hold: they are passed over."""


def read_outline(path: Path, layer: str | None, units: str | None, join: float) -> Polygon:
    """Returns the one closed outline on `layer` (all layers if None) of the DXF file at `path`,
    counter-clockwise, mm.

    `units` ("mm", "cm", "m", "inch", "foot") serve where the header states none; pieces whose ends
    lie within `join` mm are joined. Raises InputError with all faults: file missing, empty, binary,
    not DXF; layer not there; units unknown or contradicting; unsupported entities; a gap, a branch,
    a crossing, more than one loop.
    """
    document = _open(path)
    entities = _on_layer(document, layer, path)
    scale, faults = _scale(document, units, path)
    pieces, wrong = _pieces(entities, scale, path)
    faults += wrong
    if not pieces and not faults:
        faults.append(_nothing(entities, layer, path))
    if faults:
        raise InputError(faults)
    count = sum(len(piece.points) for piece in pieces)
    if count > MOST_POINTS:
        says = "the lines have too many points once arcs and splines are made of chords"
        raise InputError([_fault(path, says, f"{count}", f"{MOST_POINTS} at most")])
    return close_loop(pieces, join, shown_name(path))


def _fault(path: Path, message: str, value: str = "", allowed: str = "", key: str = KEY) -> Fault:
    return Fault(key, f"{shown_name(path)}: {message}", value, allowed)


def _open(path: Path) -> Drawing:
    data = _bytes(path)
    _refuse_endless(data, path)
    if not data.strip():
        raise InputError([_fault(path, "the file is empty")])
    if b"\0" in data[:4096]:
        raise InputError([_fault(path, "the file is binary", allowed="a DXF in text (ASCII) form")])
    # the library's warnings would stand between the tool's own messages
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())
    from ezdxf.filemanagement import dxf_stream_info, read

    try:
        encoding = dxf_stream_info(io.StringIO(data.decode("utf-8", errors="ignore"))).encoding
        return read(io.TextIOWrapper(io.BytesIO(data), encoding=encoding, errors="surrogateescape"))
    # whatever the bytes are: the library raises many kinds for a broken file
    except Exception as error:
        reason = " ".join(str(error).split())[:120]
        raise InputError(
            [_fault(path, f"not a DXF file that can be read: {reason or type(error).__name__}")]
        ) from None


def _refuse_endless(data: bytes, path: Path) -> None:
    """Refuse what would keep the library busy for minutes, before it sees it."""
    count = len(_ENTITY.findall(data))
    if count > MOST_ENTITIES:
        allowed = (
            f"{MOST_ENTITIES} at most: draw arcs and polylines, not short lines; leave out what is "
            "no outline"
        )
        raise InputError([_fault(path, "the file has too many entities", f"{count}", allowed)])
    lines = data.count(b"\n")
    if lines > MOST_LINES:
        raise InputError(
            [_fault(path, "the file has too many lines", f"{lines}", f"{MOST_LINES} lines at most")]
        )


def _bytes(path: Path) -> bytes:
    try:
        return read_regular(path, _LARGEST_FILE)
    except TooLarge:
        allowed = f"{size_text(_LARGEST_FILE)} at most"
        raise InputError([_fault(path, "the file is too large", allowed=allowed)]) from None
    except IsADirectoryError:
        raise InputError([_fault(path, "a folder, not a file")]) from None
    except FileNotFoundError:
        raise InputError([_fault(path, f"no such file: looked for it in {path.parent}")]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError([_fault(path, f"the file cannot be read: {reason}")]) from None


def _on_layer(document: Drawing, layer: str | None, path: Path) -> list[Any]:
    """Entities of the model space on `layer`; layer names are the same in capitals."""
    entities = list(document.modelspace())
    if layer is None:
        return entities
    names = {str(entry.dxf.name) for entry in document.layers} | {
        str(e.dxf.get("layer", "0")) for e in entities
    }
    if layer.lower() not in {name.lower() for name in names}:
        allowed = ", ".join(sorted(names, key=lambda name: (name.lower(), name)))
        raise InputError([_fault(path, "no such layer", layer, allowed, "outline.layer")])
    return [e for e in entities if str(e.dxf.get("layer", "0")).lower() == layer.lower()]


def _scale(document: Drawing, units: str | None, path: Path) -> tuple[float, list[Fault]]:
    """Millimetres in one unit of the file."""
    key = "outline.dxf_units"
    try:
        code = int(document.header.get("$INSUNITS", 0) or 0)
    except (TypeError, ValueError):
        code = 0
    stated = _HEADER.get(code)
    choices = ", ".join(_MM)
    if stated is None and code != 0 and units is None:
        says = (
            f"its header states units that are not read here ($INSUNITS {code}); say what they are"
        )
        return 1.0, [_fault(path, says, allowed=choices, key=key)]
    if stated is None and units is None:
        says = "its header states no units ($INSUNITS is missing or 0); say what they are"
        return 1.0, [_fault(path, says, allowed=choices, key=key)]
    if stated is not None and units is not None and stated != units:
        says = f"its header states {stated}: drop the key, or set the header right"
        return _MM[stated], [_fault(path, says, units, stated, key)]
    return _MM[stated or units or "mm"], []


def _pieces(
    entities: Iterable[Any], scale: float, path: Path
) -> tuple[list[OutlinePiece], list[Fault]]:
    from corepath.board.outline.dxf_flatten import Refused, flatten

    pieces: list[OutlinePiece] = []
    refused: list[str] = []
    unknown: Counter[str] = Counter()
    for entity in entities:
        kind = str(entity.dxftype())
        if kind in _SIDELINE:
            continue
        try:
            piece = flatten(entity, scale)
        except Refused as error:
            refused.append(f"{kind} #{entity.dxf.handle} {error}")
            continue
        except Exception as error:  # a damaged entity may fail anywhere in the library
            refused.append(f"{kind} #{entity.dxf.handle} cannot be read ({type(error).__name__})")
            continue
        if piece is None:
            unknown[kind] += 1
        elif len(piece.points) > 1:
            pieces.append(piece)
    faults = []
    if unknown:
        names = ", ".join(f"{count} {kind}" for kind, count in sorted(unknown.items()))
        allowed = "LINE, ARC, CIRCLE, ELLIPSE, SPLINE, LWPOLYLINE, POLYLINE"
        says = "entities that are not read as an outline; put them on another layer"
        faults.append(_fault(path, says, names, allowed))
    faults += [_fault(path, text) for text in refused[:10]]
    if len(refused) > 10:
        faults.append(_fault(path, f"and {len(refused) - 10} more such entities"))
    return pieces, faults


def _nothing(entities: Iterable[Any], layer: str | None, path: Path) -> Fault:
    ignored = Counter(str(entity.dxftype()) for entity in entities)
    place = f"on layer {layer}" if layer else "in the model space"
    names = ", ".join(f"{count} {kind}" for kind, count in sorted(ignored.items()))
    return _fault(path, f"no lines {place} to make an outline of", names and f"only {names}")
