"""A deck from a profile, patches, a mesh or a grid: heights, smoothness, and each fault by its
key."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from shapely import Polygon

from corepath.board.deck.blur import blurred
from corepath.board.deck.cross_section import Profile
from corepath.board.deck.distance import OutlineDistance
from corepath.board.deck.form import smoothstep7
from corepath.board.deck.make_deck import build_deck
from corepath.board.deck.patches import patches_of
from corepath.board.outline.make_outline import build_outline
from corepath.errors import InputError
from corepath.lengths import units_of

SQUARE = np.array([[0, 0, 60, 0], [60, 0, 60, 40], [60, 40, 0, 40], [0, 40, 0, 0]], dtype=float)
CSV = {"deck.stations": None, "deck.grid": "a.csv", "deck.grid_units": "mm"}
PAD = {"size": [40, 24], "at": [[-20, 2]], "angle": 20.0, "flat": 7.0, "blend": 9.0}
LEVEL = {"deck.stations": [[-100, 8.0], [88, 8.0]]}


def of_source(changes):
    """The sound job has a blend, which a deck from a file must not have."""
    return {"deck.blend": None, **changes} if changes.get("deck.stations", 0) is None else changes


def built(make_job, changes, folder=None):
    job = make_job(of_source(changes))
    outline = build_outline(job, Path())
    return job, outline, build_deck(job, outline, folder)


def faults_of(make_job, changes, folder=None):
    job = make_job(of_source(changes))
    with pytest.raises(InputError) as caught:
        build_deck(job, build_outline(job, Path()), folder)
    return {fault.key: fault.message + " | " + fault.allowed for fault in caught.value.faults}


def test_a_straight_edge_softens_to_the_smoothstep():
    """The closed form: the round kernel's average across a straight edge is S."""
    y = np.linspace(-9.9, 9.9, 67)
    w = blurred(SQUARE, np.full(67, 30.0), y, 8.0)
    assert np.abs(w - smoothstep7((y + 8.0) / 16.0)).max() < 1e-6


def test_a_corner_softens_to_the_kernels_average():
    """Against the double integral by scipy's adaptive quadrature."""
    a = 10.0
    whole = 2.0 * np.pi * a * a / 7.0
    for x, y in ((0.0, 0.0), (3.0, -4.0), (-2.5, 6.0), (5.0, 5.0)):
        part = dblquad(
            lambda v, u, x=x, y=y: max(1.0 - ((u - x) ** 2 + (v - y) ** 2) / a**2, 0.0) ** 2.5,
            max(0.0, x - a), x + a, max(0.0, y - a), y + a, epsabs=1e-5,
        )[0]  # fmt: skip
        assert float(blurred(SQUARE, np.array([x]), np.array([y]), a)[0]) == pytest.approx(
            part / whole, abs=2e-5
        )


@settings(max_examples=12, derandomize=True, deadline=None)
@given(st.floats(-0.8, 1.4), st.floats(-0.8, 1.4))
def test_a_profile_is_even_and_keeps_the_middle_line(crown_at_tail, crown_at_nose):
    """A deck that leans, or a middle line off its thickness, would not be the board that was
    drawn."""
    from corepath.job.model import Job
    from tests.board.conftest import SOUND  # the fixture is of the function, not of each example

    data = {
        **SOUND,
        "deck": {
            **SOUND["deck"],
            "profile": [[-80, crown_at_tail], [70, crown_at_nose]],
            "least_radius": 0.01,
        },
    }
    job = Job.model_validate(data, context={"scale": 1.0})
    outline = build_outline(job, Path())
    try:
        deck = build_deck(job, outline)
    except InputError as error:
        assert [fault.key for fault in error.faults] == ["deck.profile"]
        return
    assert np.abs(deck.grid - deck.grid[:, ::-1]).max() < 1e-9
    assert deck.grid.min() >= 5.0
    plain = build_deck(
        job.model_copy(update={"deck": job.deck.model_copy(update={"profile": None})}), outline
    )
    middle = len(deck.ys) // 2
    assert np.abs(deck.grid[:, middle] - plain.grid[:, middle]).max() < 1e-9


def test_a_profile_falls_by_its_crown_at_the_half_width(make_job):
    """crown is what a straightedge laid across the board would show, where nothing else shapes
    it."""
    crown, outline = 1.2, [[-100, -30], [100, -30], [100, 30], [-100, 30]]
    changes = LEVEL | {
        "outline": {"points": outline},
        "deck.profile": [[0, crown]],
        "deck.edge_band": 1.0,
    }
    changes |= {"deck.blend": 3.0, "deck.least_radius": 0.01}
    _, _, deck = built(make_job, changes)
    y = np.array([0.0, 10.0, -20.0, 25.0])
    assert np.abs(deck.height(np.zeros(4), y) - (8.0 - crown * (y / 30.0) ** 2)).max() < 0.001


@pytest.mark.parametrize("smooth", [0.0, 60.0])
def test_a_profile_is_the_same_at_both_ends(smooth):
    """Monotone cubic of 0.8, 1.6, 0.8 at -300, 0, 300, by hand: slope 0 in the middle, 2 x 0.8 /
    300 at the ends, so 1.6 - 0.8 (x / 300)^2 throughout: 1.4 at either 150. A cubic B-spline of
    total width w adds a variance of w^2 / 48, which takes 0.8 (w / 300)^2 / 48 from a parabola:
    0.0007 for 60."""
    whole = Polygon([(-320, -90), (320, -90), (320, 90), (-320, 90)])
    profile = Profile(np.array([[-300.0, 0.8], [0.0, 1.6], [300.0, 0.8]]), whole, smooth)
    wanted = 1.4 - 0.8 * (smooth / 300.0) ** 2 / 48.0
    assert profile.crown(np.array([-150.0, 150.0])) == pytest.approx([wanted, wanted], abs=1e-5)
    alone = Profile(np.array([[40.0, 1.2]]), whole, smooth)
    assert alone.crown(np.array([-300.0, 40.0, 310.0])) == pytest.approx([1.2] * 3, abs=1e-12)


def test_patches_do_what_they_say(make_job):
    """Flat is level at its height, raised and sunk follow the ground, and outside nothing
    changes."""
    circle = {"diameter": 20.0, "at": [[30, 0]], "blend": 6.0}
    for kind, by in (("flat", 7.0), ("raised", 0.4), ("sunk", 0.3)):
        _, _, plain = built(make_job, {})
        _, _, deck = built(make_job, {"deck.patch": [circle | {kind: by}]})
        r = np.hypot(deck.xs[:, None] - 30.0, deck.ys[None, :])
        asked = {"flat": by - plain.grid, "raised": by, "sunk": -by}[kind]
        assert np.abs(deck.grid - plain.grid - asked * smoothstep7((10.0 - r) / 6.0)).max() < 1e-9


def test_patches_are_laid_on_in_order(make_job):
    """A hollow in a pad is lower than the pad by its depth."""
    hollow = {"diameter": 10.0, "at": [[-20, 2]], "sunk": 0.5, "blend": 2.0}
    _, _, deck = built(make_job, {"deck.patch": [PAD, hollow]})
    assert float(deck.height(-20.0, 2.0)) == pytest.approx(6.5, abs=1e-6)
    _, _, other = built(make_job, {"deck.patch": [hollow, PAD]})
    assert float(other.height(-20.0, 2.0)) == pytest.approx(7.0, abs=1e-6)


@settings(max_examples=25, derandomize=True, deadline=None)
@given(st.floats(0.0, 180.0), st.floats(4.0, 11.9))
def test_a_patch_has_no_crease_even_at_its_corners(angle, blend):
    """At its corners its weight bends little more than across its sides, and the bend has no
    jump."""
    from corepath.job.model import Job
    from tests.board.conftest import SOUND

    patch = {**PAD, "angle": angle, "blend": blend}
    job = Job.model_validate(
        {**SOUND, "deck": {**SOUND["deck"], "patch": [patch]}}, context={"scale": 1.0}
    )
    (laid,) = patches_of(job)
    step, reach = 0.1, 6.0
    at = shapely.get_coordinates(laid.area)[0]
    lines = np.arange(-reach, reach, step)
    x, y = np.meshgrid(at[0] + lines, at[1] + lines, indexing="ij")
    w = laid.weight(x.ravel(), y.ravel()).reshape(x.shape)
    second = np.diff(w, 2, axis=0) / step**2
    assert np.abs(second).max() < 1.34 * 7.52 / blend**2
    assert np.abs(np.diff(second, axis=0)).max() < 140.0 / blend**3 * step
    assert w.min() >= 0.0 and w.max() <= 1.0


@pytest.mark.parametrize(
    ("patch", "key", "message"),
    [
        (PAD | {"blend": 13.0}, "deck.patch[1].blend", "at most 12"),
        (PAD | {"flat": 4.0}, "deck.patch[1].flat", "below the edge thickness"),
        (PAD | {"flat": 11.0}, "deck.patch[1].flat", "above the blank"),
        (PAD | {"raised": 1.0}, "deck.patch[1]", "flat and raised at once"),
        (PAD | {"flat": None}, "deck.patch[1]", "neither a height"),
        (PAD | {"diameter": 9.0}, "deck.patch[1]", "more than one form"),
        (PAD | {"at": None}, "deck.patch[1].at", "missing key"),
        (PAD | {"at": [[-20, 14]]}, "deck.patch[1]", "edge band"),
        (PAD | {"flat": None, "sunk": 3.0}, "deck.patch[1].sunk", "below the edge thickness"),
        (PAD | {"flat": None, "raised": 4.0}, "deck.patch[1].raised", "above the blank"),
        (
            {"points": [[0, 0], [9, 9], [9, 0], [0, 9]], "flat": 7, "blend": 1},
            "deck.patch[1].points",
            "",
        ),
    ],
)
def test_each_fault_of_a_patch_is_named(make_job, patch, key, message):
    found = faults_of(make_job, {"deck.patch": [{k: v for k, v in patch.items() if v is not None}]})
    assert key in found and message in found[key], found


def test_a_tight_blend_is_told_with_the_width_that_would_do(make_job):
    """And that width does."""
    tight = {"diameter": 30.0, "at": [[-10, 0]], "raised": 0.2, "blend": 3.0}
    said = built(make_job, {"deck.patch": [tight]})[2].source.cautions
    # sqrt(8 * 7.5132 * 0.2) = 3.47
    assert len(said) == 1 and "a blend of 4 mm would not" in said[0]
    assert built(make_job, {"deck.patch": [tight | {"blend": 4.0}]})[2].source.cautions == ()


def meshed(folder: Path, mesh: trimesh.Trimesh, name: str = "deck.stl") -> dict[str, object]:
    (folder / name).write_bytes(
        data if isinstance(data := mesh.export(file_type=name[-3:]), bytes) else data.encode()
    )
    return {
        "deck.stations": None,
        "deck.mesh": name,
        "deck.mesh_units": "mm",
        "deck.least_radius": 0.01,
    }


def slab(height, step=4.0, base=0.0):
    """A closed body under `height(x, y)`."""
    x, y = np.meshgrid(np.arange(-120, 120.1, step), np.arange(-44, 44.1, step), indexing="ij")
    top = np.column_stack([x.ravel(), y.ravel(), height(x, y).ravel()])
    n, m = x.shape
    k = np.arange(n * m).reshape(n, m)
    a, b, c, d = k[:-1, :-1].ravel(), k[1:, :-1].ravel(), k[1:, 1:].ravel(), k[:-1, 1:].ravel()
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    rim = np.concatenate([k[:-1, 0], k[-1, :-1], k[:0:-1, -1], k[0, :0:-1]])
    low = top[rim] * [1, 1, 0] + [0, 0, base]
    at = n * m + np.arange(len(rim))
    after = np.roll(np.arange(len(rim)), -1)
    walls = np.concatenate([
        np.column_stack([rim, at, at[after]]), np.column_stack([rim, at[after], rim[after]]),
        np.column_stack([at[after], at, np.full(len(rim), n * m + len(rim))]),
    ])  # fmt: skip
    return trimesh.Trimesh(
        np.vstack([top, low, [[0, 0, base]]]), np.concatenate([faces, walls]), process=False
    )


def tilted(x, y):
    return 7.0 + 0.01 * x + 0.005 * y


@pytest.mark.parametrize("name", ["deck.stl", "deck.obj", "deck.ply"])
def test_a_plane_comes_through_exactly_in_each_kind_of_file(make_job, tmp_path, name):
    """Units, place, angle: one wrong and the plane lies elsewhere."""
    mesh = slab(tilted)
    mesh.apply_translation([0, 0, -2.0])
    mesh.apply_transform(trimesh.transformations.rotation_matrix(np.radians(-90), [0, 0, 1]))
    mesh.apply_scale(1 / 25.4)
    changes = meshed(tmp_path, mesh, name) | {"deck.mesh_units": "inch", "deck.mesh_angle": 90.0}
    job, outline, deck = built(
        make_job, changes | {"deck.mesh_at": [0, 0, 2.0], "board.thickness": 7.75}, tmp_path
    )
    d = OutlineDistance(outline).on_grid(deck.xs, deck.ys, 50.0)
    want = 5.0 + (tilted(deck.xs[:, None], deck.ys[None, :]) - 5.0) * smoothstep7(
        d / job.deck.edge_band
    )
    assert np.abs(deck.grid - np.where(d > 0, want, 5.0)).max() < 2e-5  # 32-bit numbers of STL
    assert [said for said in deck.source.cautions if "normals" in said or "closed" in said] == []
    assert any("along the outline deck" in said for said in deck.source.cautions)
    assert len(deck.source.sha256) == 64


def test_turned_faces_and_holes_below_are_told_and_change_nothing(make_job, tmp_path):
    """A mesh from a careless program is still a deck."""
    mesh = slab(tilted)
    _, _, right = built(make_job, meshed(tmp_path, mesh) | {"board.thickness": 7.75}, tmp_path)
    mesh.faces[:400] = mesh.faces[:400, ::-1]
    careless = trimesh.Trimesh(mesh.vertices, mesh.faces[:-30], process=False)
    _, _, deck = built(make_job, meshed(tmp_path, careless) | {"board.thickness": 7.75}, tmp_path)
    assert np.array_equal(deck.grid, right.grid)
    assert any("flipped normals" in said for said in deck.source.cautions)
    assert any("is not closed" in said for said in deck.source.cautions)


def hole(x, y):
    return np.hypot(x - 12.0, y - 4.0) < 9.0


@pytest.mark.parametrize(
    ("mesh", "message"),
    [
        (lambda: slab(lambda x, y: 7.0 + 1.0 * (x > 10)), None),
        (lambda: _boxed(9.5), "folds"),
        (lambda: _boxed(7.0), "folds"),
        (lambda: _step(), "vertical step"),
        (lambda: _with_hole(closed=True), "a hole at"),
        (lambda: _with_hole(closed=False), "does not cover"),
        (lambda: slab(tilted).apply_translation([60, 0, 0]), "does not cover"),
    ],
)
def test_folds_steps_and_holes_in_the_deck_are_refused_with_their_place(
    make_job, tmp_path, mesh, message
):
    """A cutter has one height at each place."""
    changes = meshed(tmp_path, mesh()) | {"board.thickness": 8.0}
    if message is None:
        built(make_job, changes, tmp_path)  # steep, but a function
        return
    found = faults_of(make_job, changes, tmp_path)
    assert message in found["deck.mesh"] and "(" in found["deck.mesh"], found


def _boxed(z):
    """With a box over it, or half sunk into it."""
    up = trimesh.transformations.translation_matrix([0, 0, z])
    return trimesh.util.concatenate([slab(tilted), trimesh.creation.box((30, 30, 2), transform=up)])


def _step():
    """Two slabs side by side: the step between them has walls."""
    mesh = slab(lambda x, y: 7.0 + 1.0 * (x > 10))
    mesh.vertices[np.abs(mesh.vertices[:, 0] - 10.0) < 2.1, 0] = 10.5
    return mesh


def _with_hole(closed):
    mesh = slab(tilted)
    middles = mesh.vertices[mesh.faces].mean(axis=1)
    cut = hole(middles[:, 0], middles[:, 1]) & (middles[:, 2] > 5.0)
    keep = ~cut if closed else ~cut & (mesh.face_normals[:, 2] > 0.5)
    return trimesh.Trimesh(mesh.vertices, mesh.faces[keep], process=False)


def test_heights_of_a_file_must_be_those_of_the_board(make_job, tmp_path):
    """Wrong units would give a core of twenty times the size, or none."""
    low = meshed(tmp_path, slab(lambda x, y: np.full(x.shape, 4.0)))
    assert "below the edge thickness" in faults_of(make_job, low, tmp_path)["deck.mesh"]
    thick = meshed(tmp_path, slab(lambda x, y: np.full(x.shape, 7.0)))
    assert faults_of(make_job, thick, tmp_path)["board.thickness"].endswith("7.00")


def test_a_file_that_is_missing_or_another_is_refused(make_job, tmp_path):
    changes = meshed(tmp_path, slab(tilted)) | {"board.thickness": 7.75}
    assert (
        "cannot be read"
        in faults_of(make_job, changes | {"deck.mesh": "other.stl"}, tmp_path)["deck.mesh"]
    )
    assert (
        "not the file"
        in faults_of(make_job, changes | {"deck.sha256": "0" * 64}, tmp_path)["deck.sha256"]
    )
    (tmp_path / "deck.stl").write_bytes(b"solid nothing\nendsolid\n")
    assert "deck.mesh" in faults_of(make_job, changes, tmp_path)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"deck.mesh": "deck.stl", "deck.mesh_units": "mm"}, "deck.mesh"),
        ({"deck.stations": None, "deck.mesh": "deck.stl"}, "deck.mesh_units"),
        ({"deck.stations": None, "deck.mesh": "deck.step", "deck.mesh_units": "mm"}, "deck.mesh"),
        ({"deck.mesh_angle": 4.0}, "deck.mesh_angle"),
        (
            {"deck.stations": None, "deck.grid": "a.npy", "deck.grid_units": "mm"},
            "deck.grid_spacing",
        ),
        (
            {
                "deck.stations": None,
                "deck.grid": "a.csv",
                "deck.grid_units": "mm",
                "deck.profile": [[0, 1]],
            },
            "deck.profile",
        ),
        (
            {
                "deck.stations": None,
                "deck.grid": "a.csv",
                "deck.grid_units": "mm",
                "deck.edge_band": 1,
            },
            "deck.edge_band",
        ),
        (
            {
                "deck.stations": None,
                "deck.grid": "a.csv",
                "deck.grid_units": "mm",
                "deck.blend": 55.0,
            },
            "deck.blend",
        ),
        (
            {
                "deck.stations": None,
                "deck.mesh": "a.stl",
                "deck.mesh_units": "mm",
                "deck.smooth": 0.0,
            },
            "deck.smooth",
        ),
        ({"deck.profile": [[0, 9.0]]}, "deck.profile"),
        ({"deck.profile": [[0, 1.0], [-5, 1.0]]}, "deck.profile[2]"),
    ],
)
def test_keys_that_contradict_each_other_are_named(make_job, changes, key):
    assert key in faults_of(make_job, changes)


def wave(x, y):
    return 7.0 + 0.4 * np.sin(x / 40.0) * np.cos(y / 25.0)


def test_a_grid_is_read_from_csv_and_from_npy_alike(make_job, tmp_path):
    """Rows in any order, any of the three columns first, inches or mm."""
    gx, gy = np.arange(-110.0, 100.0, 5.0), np.arange(-40.0, 41.0, 4.0)
    h = wave(gx[:, None], gy[None, :])
    np.save(tmp_path / "deck.npy", h / 10.0)
    rows = [
        f"{float(h[i, j]) / 10!r};{float(gx[i]) / 10!r};{float(gy[j]) / 10!r}"
        for j in range(len(gy))
        for i in range(len(gx))
    ]
    (tmp_path / "deck.csv").write_text("# a survey\nh;x;y\n" + "\n".join(rows[::-1]) + "\n")
    keys = {
        "deck.stations": None,
        "deck.grid_units": "cm",
        "deck.least_radius": 0.01,
        "board.thickness": 7.39,
    }
    spacing = {"deck.grid_origin": [-110, -40], "deck.grid_spacing": [5.0, 4.0]}
    job, outline, npy = built(make_job, keys | spacing | {"deck.grid": "deck.npy"}, tmp_path)
    _, _, text = built(make_job, keys | {"deck.grid": "deck.csv"}, tmp_path)
    assert np.array_equal(npy.grid, text.grid)
    d = OutlineDistance(outline).on_grid(npy.xs, npy.ys, 50.0)
    inner = d > job.deck.edge_band
    # the error of a bicubic spline is of the order (5/384) f'''' step^4
    assert np.abs(npy.grid - wave(npy.xs[:, None], npy.ys[None, :]))[inner].max() < 1e-4


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda rows: [r for r in rows if not r.startswith("0.0,8.0,")],
            "gap: 1 values are missing, first at (0, 8)",
        ),
        (
            lambda rows: [r for r in rows if not r.startswith(("90.0,", "85.0,", "95.0,"))],
            "does not cover",
        ),
        (lambda rows: [*rows, "0.0,8.0,7.0"], "two values at (0, 8)"),
        (lambda rows: [*rows, "0.0,eight,7.0"], "no row of x, y, h"),
        (lambda rows: rows[:1], "too coarse"),
        (lambda rows: [], "no rows"),
    ],
)
def test_gaps_and_faults_of_a_grid_are_named_with_their_place(make_job, tmp_path, change, message):
    gx, gy = np.arange(-110.0, 100.0, 5.0), np.arange(-40.0, 41.0, 4.0)
    rows = [f"{x},{y},{wave(x, y)}" for x in gx for y in gy]
    (tmp_path / "deck.csv").write_text("\n".join(change(rows)))
    keys = {
        "deck.stations": None,
        "deck.grid": "deck.csv",
        "deck.grid_units": "mm",
        "board.thickness": 7.39,
    }
    assert message in faults_of(make_job, keys, tmp_path)["deck.grid"]


def test_a_place_of_a_grid_is_told_in_the_unit_of_the_job(make_job, tmp_path):
    """In a job in inches a place in mm is looked for 25 times too far away: 8 mm is 0.315 in."""
    places = [(x, y) for x in np.arange(-110.0, 100.0, 5.0) for y in np.arange(-40.0, 41.0, 4.0)]
    rows = [f"{x},{y},{wave(x, y)}" for x, y in places]
    (tmp_path / "deck.csv").write_text("\n".join([*rows, "0.0,8.0,7.0"]))
    keys = {"deck.stations": None, "deck.grid": "deck.csv", "deck.grid_units": "mm"}
    told = faults_of(make_job, {**keys, "board.thickness": 7.39}, tmp_path)["deck.grid"]
    found = re.search(r"two values at \(0, ([0-9.]+)\)", units_of("inch").text(told))
    assert found and float(found[1]) == pytest.approx(0.315, abs=0.0005)


def test_a_gap_beyond_the_board_is_none(make_job, tmp_path):
    gx, gy = np.arange(-120.0, 121.0, 5.0), np.arange(-60.0, 61.0, 4.0)
    h = wave(gx[:, None], gy[None, :])
    h[:2, :2] = np.nan
    buffer = io.BytesIO()
    np.save(buffer, h)
    (tmp_path / "deck.npy").write_bytes(buffer.getvalue())
    keys = {
        "deck.stations": None,
        "deck.grid": "deck.npy",
        "deck.grid_units": "mm",
        "board.thickness": 7.39,
    }
    _, _, deck = built(
        make_job, keys | {"deck.grid_origin": [-120, -60], "deck.grid_spacing": [5, 4]}, tmp_path
    )
    assert np.isfinite(deck.grid).all() and deck.grid.min() == 5.0


def test_smoothing_takes_the_facets_out_and_leaves_a_plane(make_job, tmp_path):
    """The kernel's mean is that of its middle; facets of a bowl bend less at their edges."""
    changes = meshed(tmp_path, slab(tilted)) | {"board.thickness": 7.75, "deck.mesh_smooth": 16.0}
    _, outline, deck = built(make_job, changes, tmp_path)
    d = OutlineDistance(outline).on_grid(deck.xs, deck.ys, 50.0)
    want = tilted(deck.xs[:, None], deck.ys[None, :])
    assert np.abs(deck.grid - want)[d > 20.0].max() < 2e-5
    bowl = meshed(tmp_path, slab(lambda x, y: 6.0 + (x / 100.0) ** 2, step=12.0)) | {
        "board.thickness": 6.83
    }
    rough = built(make_job, bowl, tmp_path)[2].hessian(np.arange(-50, 50.0), 0.0)[0]
    even = built(make_job, bowl | {"deck.mesh_smooth": 24.0}, tmp_path)[2].hessian(
        np.arange(-50, 50.0), 0.0
    )[0]
    assert np.ptp(even) < 0.25 * np.ptp(rough)
    assert float(even.mean()) == pytest.approx(2e-4, rel=0.1)


def test_polygon_of_a_patch_keeps_its_area(make_job):
    """Rectangle turned about its own middle."""
    (patch,) = patches_of(make_job({"deck.patch": [PAD]}))
    assert patch.area.area == pytest.approx(960.0) and patch.area.centroid.coords[
        0
    ] == pytest.approx((-20.0, 2.0))
    assert isinstance(patch.level, Polygon) and patch.level.area == pytest.approx(22.0 * 6.0)
