"""Make the file `preview.html` from the page's parts (template, style, script) and the plan's
figures as packed text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from corepath.motion.cutter import Cutter
from corepath.motion.cutter_profile import heights
from corepath.views.player import pack
from corepath.views.player.bodies import glb
from corepath.views.player.play_model import (
    DWELL,
    RAPID,
    SPINDLE,
    STOP,
    Cuts,
    Heights,
    Motions,
    PlayedBlank,
    PlayedFile,
)

__all__ = ["PageHead", "page_data", "page_part", "preview_html"]

_SCRIPTS = (
    "unpack", "paths", "heights", "blank", "plan", "section", "relief", "play", "main",
)  # fmt: skip
"""Parts of the page's script, in the order in which they need one another."""

_RADII = 97
"""Places at which the page knows a cutter's end: four for each at which it draws half of one."""


class _Faces:
    """The faces of all states, each held once, packed; `step` is that of their heights, mm."""

    def __init__(self, step: float) -> None:
        self.step = step
        self.packed: list[str] = []
        self._by_bytes: dict[bytes, int] = {}
        self._seen: dict[int, tuple[int, Heights]] = {}

    def number(self, face: Heights) -> int:
        """Return the number of a face, a new one for heights that no face before it had."""
        # Most states share their faces: the same array is not read again. It is held, so that no
        # other can take its place in memory.
        if id(face) not in self._seen:
            self._seen[id(face)] = self._number(face), face
        return self._seen[id(face)][0]

    def _number(self, face: Heights) -> int:
        held = hashlib.blake2b(face.tobytes()).digest()
        if held not in self._by_bytes:
            self._by_bytes[held] = len(self.packed)
            self.packed.append(pack.heights(face, self.step))
        return self._by_bytes[held]


@dataclass(frozen=True, slots=True)
class PageHead:
    """The head of the page: the job's title, the plan's digest, and a warning that is shown above
    everything else."""

    title: str
    digest: str
    warning: str = ""


def preview_html(
    reels: Sequence[PlayedFile],
    head: PageHead,
    *,
    size: tuple[float, float],
    solids: Mapping[str, PlayedBlank],
    inch: bool = False,
) -> str:
    """Return the whole page as text, to be written as UTF-8.

    `size` is length and width of the blank, mm; `solids` the blank after each set-up, shown in 3-D.
    With `inch` positions are shown in inches.
    """
    data = page_data(reels, size, solids, inch)
    return (
        _environment()
        .get_template("preview.html.j2")
        .render(
            title=head.title,
            digest=head.digest,
            reels=reels,
            solids=tuple(solids),
            warning=head.warning,
            css=Markup(page_part("preview.css")),
            data=Markup(_json(data)),
            script=Markup("\n".join(page_part(f"{name}.js") for name in _SCRIPTS)),
        )
    )


def page_data(
    reels: Sequence[PlayedFile],
    size: tuple[float, float],
    solids: Mapping[str, PlayedBlank],
    inch: bool,
) -> dict[str, Any]:
    """Return the figures of the page: each state of the blank once, each face of it once."""
    # The blank after one file is the blank before the next, and most files leave most faces as they
    # were: kept once, the page is a fraction as large.
    states: dict[str, int] = {}
    step = pack.height_step(_farthest(reels))
    faces = _Faces(step)
    entries = [_entry(reel, faces, states) for reel in reels]
    rim = size[0] / 2.0, size[1] / 2.0
    bodies = {
        setup: {"state": _state(blank, faces, states), "glb": pack.text(glb(blank, rim))}
        for setup, blank in solids.items()
    }
    return {
        "inch": inch,
        "steps": {
            "unit": pack.UNIT,
            "time": pack.TIME_STEP,
            "height": step,
            "nothing": pack.NOTHING,
        },
        "flags": {"rapid": RAPID, "dwell": DWELL, "stop": STOP, "spindle": SPINDLE},
        "size": list(size),
        "reels": entries,
        "solids": bodies,
        "states": [json.loads(state) for state in states],
        "faces": faces.packed,
    }


def _end(cutter: Cutter) -> list[float]:
    """Heights of the cutter's end over its tip, mm, at equal steps from its axis to its rim."""
    away = np.linspace(0.0, cutter.radius, _RADII)
    found: list[float] = heights(away, cutter.profile).round(3).tolist()
    return found


def _farthest(reels: Sequence[PlayedFile]) -> float:
    """How far from 0 the farthest height of any state lies, mm."""
    blanks = [blank for reel in reels for blank in (reel.before, reel.after)]
    faces = {id(one): one for blank in blanks for one in (*blank.faces.wood, *blank.faces.casting)}
    return max(
        (float(np.abs(face[np.isfinite(face)]).max(initial=0.0)) for face in faces.values()),
        default=0.0,
    )


def _entry(reel: PlayedFile, faces: _Faces, states: dict[str, int]) -> dict[str, Any]:
    cutter = reel.cutter
    return {
        "file": reel.file,
        "setup": reel.setup,
        "name": reel.name,
        "face": reel.face_up,
        "cutter": {
            "says": cutter.describe(),
            "radius": cutter.radius,
            "end": _end(cutter),
            "cutting": cutter.cutting_length,
        },
        "zero": [round(value, 6) for value in reel.zero],
        "before": _state(reel.before, faces, states),
        "after": _state(reel.after, faces, states),
        "shapes": [
            {"kind": shape.kind, "points": shape.points.round(3).ravel().tolist()}
            for shape in reel.shapes
        ],
        "left": [list(row) for row in reel.left],
        "cuts": _cuts(reel.cuts, faces.step),
        "count": len(reel.motions.time),
        "text": pack.text(reel.text),
        **_columns(reel.motions),
    }


def _cuts(cuts: Cuts, step: float) -> dict[str, Any]:
    return {
        "rows": cuts.rows.tolist(),
        "counts": cuts.counts.tolist(),
        "columns": pack.numbers(cuts.columns),
        "tops": pack.heights(cuts.tops, step),
    }


def _columns(motions: Motions) -> dict[str, str]:
    x, y, z = motions.points.T
    return {
        "x": pack.numbers(x, pack.UNIT),
        "y": pack.numbers(y, pack.UNIT),
        "z": pack.numbers(z, pack.UNIT),
        "line": pack.numbers(motions.line),
        "flags": pack.numbers(motions.flags),
        "feed": pack.numbers(motions.feed, 0.1),
        "time": pack.numbers(motions.time, pack.TIME_STEP),
    }


def _state(blank: PlayedBlank, faces: _Faces, states: dict[str, int]) -> int:
    """Return the number of a state; a state that is there already keeps its number."""
    at = blank.lattice
    state = {
        "at": [at.x0, at.y0, at.px, at.py, at.nx, at.ny],
        "wood": [faces.number(face) for face in blank.faces.wood],
        "casting": [faces.number(face) for face in blank.faces.casting],
    }
    return states.setdefault(json.dumps(state), len(states))


def _json(data: dict[str, Any]) -> str:
    """Return JSON that may be put inside a script element: "</script>" in a text would end it."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("corepath.views.player"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page_part(name: str) -> str:
    """Return a part of the page from the package's files."""
    return (resources.files("corepath.views.player") / "templates" / name).read_text(
        encoding="utf-8"
    )
