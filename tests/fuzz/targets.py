"""What is fed with changed files: each target takes bytes and must end in an answer or a
CorepathError.

Targets marked `slow` take seconds a case (a whole check, a whole read-back) and run in the long
loop alone.
"""

from __future__ import annotations

import io
import json
import os
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import shapely
from typer.testing import CliRunner

from corepath.board.deck.files.file_bytes import BoardNodes, read_bytes
from corepath.board.deck.files.grid_file import grid_heights
from corepath.board.deck.files.mesh_file import mesh_heights
from corepath.board.outline.dxf import read_outline
from corepath.cli.app import app
from corepath.errors import CorepathError
from corepath.gcode.read.motions import read_program
from corepath.job.load import load_job
from corepath.job.measured import read_measured
from corepath.job.model import DeckSection
from corepath.job.record.ascut import load_record
from corepath.job.tables.builtin import hardware
from corepath.plain_text import safe
from corepath.planning.folder.limited import read_limited
from corepath.planning.prepare import prepare
from corepath.planning.proving.reading import read_folder
from corepath.planning.restart.restart_program import restart
from tests.given import load_text

__all__ = ["TARGETS", "Target"]

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "samples"
RECORD = b"""# As-cut record of Coupon: what was measured at the machine.
schema = 1
units = "mm"

[[entry]]
n = 1
date = 2026-05-17
stage = "blank"
kind = "thickness"
at = [10, 5]
value = 10.62

[[entry]]
n = 2
date = 2026-05-18
stage = "cast"
kind = "fill"
casting = "P1a"
value = 0.4
note = "low at the X+ end"
"""


@dataclass(frozen=True, slots=True)
class Target:
    """`run` takes the bytes and an empty folder to work in; `seeds` are valid files, made when
    first asked for."""

    name: str
    seeds: Callable[[], tuple[bytes, ...]]
    run: Callable[[bytes, Path], object]
    slow: bool = False


def _samples(pattern: str) -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted(SAMPLES.glob(pattern)))


def _nc(data: bytes, folder: Path) -> object:
    text = data.decode("utf-8", errors="replace")
    fast, full = read_program(text, "x.nc"), read_program(text, "x.nc", fast=False)
    assert fast.count == full.count and len(fast.findings) == len(full.findings)
    return fast


def _restart(data: bytes, folder: Path) -> object:
    path = folder / "03-A-groove.nc"
    path.write_bytes(data)
    return restart(path, 1 + len(data) % (data.count(b"\n") + 2))


@cache
def _programs() -> tuple[bytes, ...]:
    """Programs short and long: a piece of the standard's words, and what the coupon's folder holds
    if there is one."""
    plain = b"(A SQUARE)\nG17 G21 G90 G94 G54 G40 G49 G80\nG61\nT1\nG0 Z8.\nS12000 M3\nG4 P3.\n"
    plain += b"G0 X0. Y0.\nF600.\n"
    plain += (
        b"G1 Z-1.\nX20.\nY20.\nG2 X0. Y20. I-10. J0.\nG3 X0. Y0. I0. J-10. Z-2.\nG0 Z8.\nM5\nM2\n"
    )
    wild = b"%\nn10 g21 g90 g1 x1.5 y-.5 f100\n/g0 z3\nG81 X1 Y1 Z-2 R2 F50 L3\nG80\n"
    wild += b"G91 G83 X2 Z-3 R1 Q0.5\nG98\n"
    wild += (
        b"(MSG, look)\nG2 X3 Y3 R5\nG4 P0.5\nG53 G0 X1\nG93 G1 X2 F3\n#1=3\nG10 L2 P1 X1\nM30\n%\n"
    )
    folder = ROOT / "coupon-plan"
    return (plain, wild, *(path.read_bytes() for path in sorted(folder.glob("0[1-7]*.nc"))))


def _job(data: bytes, folder: Path) -> object:
    return load_text(data.decode("utf-8", errors="replace"), "x.toml")


def _job_file(data: bytes, folder: Path) -> object:
    path = folder / "x.toml"
    path.write_bytes(data)
    return load_job(path)


def _checked(data: bytes, folder: Path) -> object:
    path = folder / "x.toml"
    path.write_bytes(data)
    for name in ("swallow-620.dxf", "mesh-640.stl", "blank-flat.csv"):
        (folder / name).symlink_to(SAMPLES / name)
    return prepare(path)


def _record(data: bytes, folder: Path) -> object:
    path = folder / "x.ascut.toml"
    path.write_bytes(data)
    return load_record(path).settled()


def _measured(data: bytes, folder: Path) -> object:
    path = folder / "x.csv"
    path.write_bytes(data)
    blank = load_job(SAMPLES / "board-1280.toml").blank
    return read_measured(path), read_measured(path, blank=blank)


OUTLINE = shapely.box(-20, -8, 20, 8)
XS, YS = np.arange(-20.0, 21.0), np.arange(-8.0, 9.0)
NODES = BoardNodes(XS, YS, np.ones((len(XS), len(YS)), dtype=np.bool_), OUTLINE)


def _grid(ending: str) -> Callable[[bytes, Path], object]:
    deck = DeckSection(
        grid=f"g{ending}", grid_units="mm", grid_origin=(-20.0, -8.0), grid_spacing=(4.0, 4.0)
    )
    return lambda data, folder: grid_heights(data, f"g{ending}", deck, NODES)


@cache
def _grids() -> tuple[bytes, ...]:
    gx, gy = np.meshgrid(np.arange(-20.0, 21.0, 4.0), np.arange(-8.0, 9.0, 4.0), indexing="ij")
    rows = "\n".join(
        f"{x:g},{y:g},{5 + 0.01 * x:.3f}" for x, y in zip(gx.flat, gy.flat, strict=True)
    )
    return (f"x,y,h\n{rows}\n".encode(), rows.replace(",", ";").encode())


@cache
def _npys() -> tuple[bytes, ...]:
    found = []
    for kind in ("<f8", ">f4", "<i2"):
        held = io.BytesIO()
        np.save(held, np.full((11, 5), 6).astype(kind))
        found.append(held.getvalue())
    return tuple(found)


def _mesh(ending: str) -> Callable[[bytes, Path], object]:
    deck = DeckSection(mesh=f"m{ending}", mesh_units="mm")
    return lambda data, folder: mesh_heights(data, f"m{ending}", deck, NODES)


def _meshes(kind: str) -> Callable[[], tuple[bytes, ...]]:
    def made() -> tuple[bytes, ...]:
        import trimesh

        whole = trimesh.creation.box(extents=(60, 30, 6))
        kinds = (kind, "stl_ascii") if kind == "stl" else (kind,)
        found = [whole.export(file_type=one) for one in kinds]
        if kind == "ply":
            found.append(whole.export(file_type=kind, encoding="ascii"))
        return tuple(one.encode() if isinstance(one, str) else one for one in found)

    return cache(made)


def _dxf(data: bytes, folder: Path) -> object:
    path = folder / "x.dxf"
    path.write_bytes(data)
    return read_outline(path, None, "mm" if len(data) % 2 else None, 0.01)


@contextmanager
def _coupon_folder(folder: Path) -> Iterator[Path]:
    for path in sorted((ROOT / "coupon-plan").iterdir()):
        if path.suffix in (".nc", ".json"):
            (folder / path.name).write_bytes(path.read_bytes())
    yield folder


def _folder(name: str) -> Callable[[bytes, Path], object]:
    def run(data: bytes, folder: Path) -> object:
        with _coupon_folder(folder):
            (folder / name).write_bytes(data)
            return read_folder(folder)

    return run


def _planned(name: str) -> Callable[[], tuple[bytes, ...]]:
    def made() -> tuple[bytes, ...]:
        path = ROOT / "coupon-plan" / name
        return (path.read_bytes(),) if path.exists() else ()

    return made


def _tomls() -> tuple[bytes, ...]:
    found = _samples("*.toml")
    assert all(tomllib.loads(one.decode()) for one in found) and json
    return found


def _coupons() -> tuple[bytes, ...]:
    return ((SAMPLES / "coupon.toml").read_bytes(), (SAMPLES / "swallow-620.toml").read_bytes())


def _printed(name: str, *words: str, after: bytes = b"") -> Callable[[bytes, Path], object]:
    """A command on a changed file: it ends with 0, 1 or 2, and nothing that it prints moves a
    terminal's cursor."""

    def run(data: bytes, folder: Path) -> object:
        (folder / "x.toml").write_bytes((SAMPLES / "coupon.toml").read_bytes())
        (folder / name).write_bytes(data + after)
        done = CliRunner().invoke(app, [words[0], str(folder / words[1]), *words[2:], "--quiet"])
        assert done.exit_code in (0, 1, 2), done.exception
        assert "itself went wrong" not in done.output, done.output
        assert safe(done.output) == done.output
        return done

    return run


ROLES: tuple[Callable[[Path], object], ...] = (
    load_job, load_record, read_measured, lambda path: read_outline(path, None, "mm", 0.05),
    lambda path: read_bytes(path, "deck.mesh"), read_limited,
)  # fmt: skip


def _odd(data: bytes, folder: Path) -> object:
    """What stands where a file is meant: pipe, device, link to one or to itself, folder, a sparse
    file without end."""
    kind, role = (data + b"\0\0")[:2]
    path = folder / "odd"
    made = kind % 6
    if made == 0:
        os.mkfifo(path)
    elif made == 4:
        path.mkdir()
    elif made == 5:
        with path.open("wb") as held:
            held.truncate(2**41)
    else:
        path.symlink_to(("/dev/zero", "/dev/random", path)[made - 1])
    try:
        return ROLES[role % len(ROLES)](path)
    except CorepathError:
        raise
    except OSError as error:  # those that a caller tells with the file's name
        assert error.strerror or str(error)
        return error


def _hardware(data: bytes, folder: Path) -> object:
    """Any text as the name of a piece of hardware."""
    name = json.dumps(data.decode("utf-8", errors="replace"), ensure_ascii=False)
    text = (SAMPLES / "coupon.toml").read_text(encoding="utf-8")
    return load_text(text.replace("[[insert]]", f"[[insert]]\nhardware = {name}", 1), "x.toml")


def _names() -> tuple[bytes, ...]:
    return tuple(name.encode() for name in hardware())


_ON_BLANK = ("--blank", "60x60x12", "--cutter", "flat:6", "--cell", "0.5")

TARGETS: tuple[Target, ...] = (
    Target("nc", _programs, _nc),
    Target("restart", _programs, _restart),
    Target("toml", _tomls, _job),
    Target("toml-file", _tomls, _job_file),
    Target("ascut", lambda: (RECORD,), _record),
    Target("csv", lambda: _samples("*.csv"), _measured),
    Target("grid-csv", _grids, _grid(".csv")),
    Target("grid-npy", _npys, _grid(".npy")),
    Target("stl", _meshes("stl"), _mesh(".stl")),
    Target("obj", _meshes("obj"), _mesh(".obj")),
    Target("ply", _meshes("ply"), _mesh(".ply")),
    Target("dxf", lambda: _samples("*.dxf"), _dxf),
    Target("hardware", _names, _hardware),
    Target(
        "odd",
        lambda: tuple(bytes((kind, role)) for kind in range(6) for role in range(len(ROLES))),
        _odd,
    ),
    Target(
        "printed-job", _coupons, _printed("x.toml", "check", "x.toml", after=b"\nno_such_key = 1\n")
    ),
    Target("printed-record", lambda: (RECORD,), _printed("x.ascut.toml", "record", "x.toml")),
    Target("printed-nc", _programs, _printed("x.nc", "readback", "x.nc", *_ON_BLANK)),
    Target("check", _coupons, _checked, slow=True),
    *(
        Target(f"folder:{name}", _planned(name), _folder(name), slow=True)
        for name in (
            "03-A-groove.nc",
            "06-B-inserts.nc",
            "job.resolved.json",
            "geometry.json",
            "report.json",
        )
    ),
)
