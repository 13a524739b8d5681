"""Each quantity has one owner; who judges has its own, and it is the same.

What is worked out in two places differs one day: drawing, sheet and stack-up once differed by up to
0.2 mm on a measured wedge, each with its own arithmetic.
"""

from __future__ import annotations

import ast
import importlib.util
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest
from shapely import box

from corepath.job.model import CutterSection
from corepath.job.pose import Pose
from corepath.motion.cutter import Cutter
from corepath.motion.cutter_profile import height, heights, widest
from corepath.readback.simulation_setup import SimulationSetup
from corepath.stock.contact_kernels import rise as read_rise
from corepath.stock.contact_kernels import underside_of

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "corepath"


def _sources(*but: str) -> Iterator[tuple[str, ast.Module]]:
    """Every module of the package by its path, without those under the folders or files `but`."""
    for path in sorted(PACKAGE.glob("**/*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if not name.startswith(but):
            yield name, _parsed(path)


@cache
def _parsed(path: Path) -> ast.Module:
    """The tree of a module, for all who look at it and change nothing."""
    return ast.parse(path.read_text(encoding="utf-8"))


def _mirrors(tree: ast.Module) -> list[int]:
    """Lines of choices by `flip_about` between places or factors of which one is the negative of
    the other."""
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.IfExp)
        and any(
            isinstance(part, ast.Attribute) and part.attr == "flip_about"
            for part in ast.walk(node.test)
        )
        and any(isinstance(part, ast.USub) for part in ast.walk(node))
    ]


def test_the_flip_is_written_a_second_time():
    """The pose has it; the read-back, which judges, has its own."""
    assert _mirrors(ast.parse("(x, -y) if machine.flip_about == 'x' else (-x, y)")) == [1]
    found = [
        f"{name}:{line}"
        for name, tree in _sources("job/pose.py", "readback/")
        for line in _mirrors(tree)
    ]
    assert not found
    assert _mirrors(ast.parse((PACKAGE / "job/pose.py").read_text()))


@pytest.mark.parametrize("flip_about", ["x", "y"])
def test_the_read_back_turns_the_blank_otherwise(flip_about):
    shop = SimpleNamespace(flip_about=flip_about)
    area = box(3.0, 5.0, 40.0, 7.0)
    pose = Pose("B", flip_about)
    assert SimulationSetup.mirrored(shop, 12.5, -4.0) == pose.place(12.5, -4.0)
    assert SimulationSetup.mirrored_area(shop, area, "B").equals(pose.shape(area))
    assert SimulationSetup.mirrored_area(shop, area, "C").equals(Pose("C", flip_about).shape(area))


@pytest.fixture(scope="module")
def script() -> ModuleType:
    """`docs/verify.py` as a module."""
    spec = importlib.util.spec_from_file_location("verify_script", ROOT / "docs" / "verify.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("shape", "diameter", "corner", "known"),
    [
        ("flat", 8.0, 0.0, {0.0: 0.0, 4.0: 0.0}),
        # A ball of radius 5: at 3 from the axis 5 - 4 = 1, at 4 it is 5 - 3 = 2, at 5 its whole
        # radius.
        ("ball", 10.0, 5.0, {0.0: 0.0, 3.0: 1.0, 4.0: 2.0, 5.0: 5.0}),
        # A corner of 2.5 round a flat of radius 3.5: at 3.5 + 1.5 it is 2.5 - 2 = 0.5, at 3.5 + 2
        # it is 2.5 - 1.5 = 1.
        ("bull", 12.0, 2.5, {3.5: 0.0, 5.0: 0.5, 5.5: 1.0, 6.0: 2.5}),
    ],
)
def test_planner_and_judges_know_another_cutter(script, shape, diameter, corner, known):
    """Planner, read-back and script each have the profile of the cutter's end; they agree, with
    figures by hand."""
    cutter = Cutter(1, shape, diameter, corner, 2, 20.0, 30.0)
    radius = diameter / 2
    assert heights(np.array(list(known)), cutter.profile) == pytest.approx(
        list(known.values()), abs=1e-12
    )
    places = np.linspace(0.0, radius, 41)
    for distance, ours in zip(places, heights(places, cutter.profile), strict=True):
        assert height(distance - cutter.flat_radius, cutter.profile) == ours
        assert read_rise(float(distance), underside_of(cutter)) == pytest.approx(ours, abs=1e-12)
        assert float(script.rise(distance, radius, corner)) == pytest.approx(ours, abs=1e-12)
        if 0.0 < ours < corner:
            assert widest(ours, cutter.profile) == pytest.approx(distance, abs=1e-9)
    assert np.isinf(heights(np.array([radius + 0.001]), cutter.profile)).all()


def test_a_cutter_has_another_corner_than_its_shape_gives():
    """A ball whose corner is not half its diameter once had to be put right in four modules."""

    def corner(shape, given, diameter=10.0):
        made = Cutter(1, shape, diameter, given, 2, 20.0, 30.0)
        return made.corner_radius, made.flat_radius, made.centre_cutting

    assert corner("ball", 0.0) == corner("ball", 4.9) == (5.0, 0.0, True)
    assert corner("bull", 2.0) == (2.0, 3.0, False) and corner("bull", 7.0) == (5.0, 0.0, False)
    assert corner("flat", 2.0) == (0.0, 5.0, False) and corner("drill", 2.0) == (0.0, 5.0, True)
    assert replace(Cutter(1, "ball", 10.0, 5.0, 2, 20.0, 30.0), diameter=9.8).corner_radius == 4.9


def test_a_key_of_the_cutter_is_lost_on_the_way_to_the_paths():
    """The cutter is made of the keys of the same names, and of the diameter that was listed."""
    keys = {
        "number": 7,
        "shape": "bull",
        "diameter": 12.0,
        "corner_radius": 1.5,
        "flutes": 3,
        "cutting_length": 26.0,
    }
    keys |= {
        "stick_out": 35.0,
        "shank": 10.0,
        "helix": "down",
        "centre_cutting": True,
        "ramp_angle": 5.0,
    }
    section = CutterSection.model_validate(keys | {"material": "high-speed steel"})
    made = section.cutter
    assert {
        name: getattr(made, name) for name in keys
    } == keys and made.material == "high-speed steel"
    assert not made.measured and section.as_measured(11.9).cutter == replace(
        made, diameter=11.9, listed=12.0
    )


def _asks_for_ball(tree: ast.Module) -> list[int]:
    """Lines that compare something with the name of a rounded shape."""
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Compare)
        and any(
            isinstance(part, ast.Constant) and part.value in ("ball", "bull")
            for part in ast.walk(node)
        )
    ]


def test_a_module_asks_for_a_ball_where_the_form_of_the_end_counts():
    """A shape that comes to be added would be forgotten there: `Cutter` knows flat and corner
    radius of each."""
    assert _asks_for_ball(ast.parse('a = b.shape == "ball"\nc = d in ("flat", "bull")')) == [1, 2]
    owners = ("motion/cutter.py", "job/rules/consistency.py", "planning/foreign/foreign_options.py")
    found = [f"{name}:{line}" for name, tree in _sources(*owners) for line in _asks_for_ball(tree)]
    assert not found


_OWNERS = ("job/", "board/", "stackup/")
_OWNED = {("blank", "thickness"), ("groove", "floor"), ("board", "thickness")}


def _read_past_the_owner(tree: ast.Module) -> list[int]:
    """Lines that read one of `_OWNED` as an attribute; a call of a blank's map `thickness(x, y)`
    asks the owner."""
    asked = {id(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    found = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Attribute) or id(node) in asked:
            continue
        holder = node.value
        name = (
            holder.attr
            if isinstance(holder, ast.Attribute)
            else holder.id
            if isinstance(holder, ast.Name)
            else ""
        )
        if (name, node.attr) in _OWNED:
            found.append(node.lineno)
    return found


def test_a_depth_is_worked_out_from_the_job_beside_the_stack_up():
    """A measured blank is no longer as thick as the job has it: who reads past the stack-up draws
    another core."""
    known = ast.parse(
        "a = job.blank.thickness\nb = groove.floor\nc = blank.thickness(x, y)\nd = "
        "job.board.thickness"
    )
    assert _read_past_the_owner(known) == [1, 2, 4]
    found = [
        f"{name}:{line}" for name, tree in _sources(*_OWNERS) for line in _read_past_the_owner(tree)
    ]
    assert not found


def _seat_derived(tree: ast.Module) -> list[int]:
    """Lines that read flange or clearance of an insert as an attribute."""
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr in ("flange", "clearance")
    ]


def test_a_seat_is_given_its_shape_a_second_time():
    """Its width is `InsertSection.seat_width`, its area `Place.seat`: an insert with another flange
    would be forgotten elsewhere."""
    assert _seat_derived(ast.parse("seat = disc(x, y, insert.flange + insert.clearance)")) == [1, 1]
    found = [
        f"{name}:{line}"
        for name, tree in _sources("job/", "board/")
        for line in _seat_derived(tree)
    ]
    assert not found


def _report_read(tree: ast.Module) -> list[int]:
    """Lines that read a key of something named report."""
    found = []
    for node in ast.walk(tree):
        held = (
            node.value
            if isinstance(node, ast.Subscript) and isinstance(node.ctx, ast.Load)
            else None
        )
        if (held.id if isinstance(held, ast.Name) else getattr(held, "attr", "")) == "report":
            found.append(node.lineno)
    return found


def test_the_sheet_or_a_table_reads_the_report_back():
    """The report is written last, from the types that sheet and tables show; a key of it is no
    place to ask."""
    assert _report_read(
        ast.parse("a = facts.report['skim']\nreport['b'] = 1\nc = report['d']")
    ) == [1, 3]
    shown = [(name, tree) for name, tree in _sources() if name.startswith(("views/", "cli/"))]
    assert not [f"{name}:{line}" for name, tree in shown for line in _report_read(tree)]


def test_a_program_is_written_outside_the_writer():
    """What is not written by `gcode/write/` has neither its preamble nor its numbers: moves and M
    words stand there alone."""
    written = re.compile(r"G[0-3] [XYZ]|M[0-9]{1,2}$|T\d* M6")

    def emitted(tree: ast.Module) -> list[int]:
        texts = [
            node
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str)
        ]
        return [node.lineno for node in texts if written.match(node.value)]

    assert emitted(ast.parse("yield f'G0 Z{z}'\nadd('M5', 'M4 turns')")) == [2, 1]
    found = [f"{name}:{line}" for name, tree in _sources("gcode/write/") for line in emitted(tree)]
    assert not found


# owner, and a line as it would stand elsewhere
_GEOMETRY = {
    "np.cumsum(np.hypot(": (
        "geometry/polylines.py",
        "np.cumsum(np.hypot(*np.diff(points, axis=0).T))",
    ),
    "spline_filter(": (
        "board/deck/surface.py",
        "coef = spline_filter(grid, order=3, mode='mirror')",
    ),
}


@pytest.mark.parametrize("call", _GEOMETRY)
def test_length_along_or_the_spline_of_the_deck_is_worked_out_a_second_time(call):
    """`geometry/polylines.py` has the one, `board/deck/surface.py` the other (`spline_kernels.py`
    evaluates it)."""
    owner, line = _GEOMETRY[call]
    assert call in ast.unparse(ast.parse(line))
    found = [name for name, tree in _sources(owner) if call in ast.unparse(tree)]
    assert not found
