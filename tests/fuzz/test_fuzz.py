"""Any bytes end in an answer or a clear error; files that lie about their size, or would be run,
are refused quickly.

The long loop is `python -m tests.fuzz --minutes 10`; here a few cases of each kind run with fixed
seeds.
"""

from __future__ import annotations

import io
import json
import pickle
import resource
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.board.deck.files.file_bytes import read_bytes
from corepath.board.deck.files.grid_file import read_grid
from corepath.errors import CorepathError, InputError
from corepath.gcode.read.motions import read_program
from corepath.job.measured import read_measured
from corepath.job.model import DeckSection
from corepath.planning.proving.reading import read_folder
from tests.fuzz.loop import Tally, case_of, run_case
from tests.fuzz.targets import TARGETS
from tests.given import load_text

pytestmark = pytest.mark.slow

CASES = {
    "odd": 36,
    "printed-nc": 12,
    "printed-record": 8,
    "printed-job": 8,
    "nc": 25,
    "restart": 20,
    "toml": 15,
    "toml-file": 5,
    "csv": 15,
    "obj": 10,
    "ply": 10,
    "stl": 10,
    "dxf": 12,
}
ROOT = Path(__file__).parents[2]
BY_NAME = {target.name: target for target in TARGETS}


@pytest.mark.parametrize("name", [target.name for target in TARGETS if not target.slow])
def test_changed_files_end_in_an_answer_or_a_clear_error(name: str) -> None:
    """A traceback, a hang or a machine out of memory in front of a person who has only a bad
    file."""
    tally = Tally()
    for seed in range(CASES.get(name, 20)):
        trouble = run_case(BY_NAME[name], seed, case_of(BY_NAME[name], seed), tally)
        assert trouble is None, f"seed {trouble.seed}: {trouble.message}"


@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    st.binary(max_size=300), st.sampled_from([target.name for target in TARGETS if not target.slow])
)
def test_any_bytes_at_all(data: bytes, name: str) -> None:
    """The same of bytes that never were a file of any kind."""
    trouble = run_case(BY_NAME[name], 0, data, Tally())
    assert trouble is None, trouble


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(
        st.text(alphabet="GMTSFXYZIJKRPQLNHD0123456789.-+ ()%/;#[]=\n", max_size=30), max_size=8
    )
)
def test_any_lines_of_letters_and_numbers(lines: list[str]) -> None:
    """Words in any order: read or told, and the same by both ways of reading."""
    text = "G21 G90\n" + "\n".join(lines)
    fast, full = read_program(text, "x.nc"), read_program(text, "x.nc", fast=False)
    assert [(one.kind, one.line) for one in fast.findings] == [
        (one.kind, one.line) for one in full.findings
    ]
    assert fast.count == full.count
    assert np.array_equal(fast.end, full.end, equal_nan=True)


LIES: dict[str, tuple[str, bytes]] = {
    "stl of 4 G faces": ("stl", b"\0" * 80 + struct.pack("<I", 0xFFFFFFFF) + b"\0" * 50),
    "ply of a milliard corners": (
        "ply",
        b"ply\nformat binary_little_endian 1.0\nelement vertex 1000000000\nproperty float x\n"
        b"property float y\n"
        b"property float z\nelement face 1000000000\nproperty list uchar int vertex_indices\n"
        b"end_header\n" + b"\0" * 99,
    ),
    "ply in text of a milliard corners": (
        "ply",
        b"ply\nformat ascii 1.0\nelement vertex 1000000000\nproperty float x\n"
        b"property float y\nproperty float z\n"
        b"element face 1000000000\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n",
    ),
    "obj of a far corner": (
        "obj",
        b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999\nf 1 2 -99999999999\n",
    ),
    "obj that names another file": (
        "obj",
        b"mtllib /etc/passwd\nusemtl x\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n",
    ),
    "npy of 10^10 numbers": (
        "grid-npy",
        b"\x93NUMPY\x01\x00"
        + struct.pack("<H", 70)
        + b"{'descr': '<f8', 'fortran_order': False, 'shape': (1000000000, 10)}  \n"
        + b"\0" * 64,
    ),
    "npy deep in brackets": (
        "grid-npy",
        b"\x93NUMPY\x01\x00" + struct.pack("<H", 9000) + b"(" * 9000,
    ),
    "csv of one endless line": ("csv", b"0," * 2_000_000),
    "csv of one endless cell": ("csv", b'"' + b"0" * 3_000_000 + b'"'),
    "grid of one endless cell": ("grid-csv", b'0,0,"' + b"0" * 300_000 + b'"\n'),
    "toml deep in lists": ("toml", b"title = " + b"[" * 10_000 + b"]" * 10_000),
    "toml deep in tables": ("toml", b"title = " + b"{a=" * 10_000 + b"1" + b"}" * 10_000),
    "toml deep in keys": ("toml", b"a." * 10_000 + b"a = 1"),
    "toml deep in headers": ("toml", b"[" + b"a." * 10_000 + b"a]"),
    "toml of a long number": ("toml", b"n = " + b"9" * 10_000),
    "dxf that nests itself": (
        "dxf",
        b"0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n2\nB\n0\nINSERT\n2\nB\n0\nENDBLK\n0\nENDSEC\n"
        b"0\nSECTION\n2\nENTITIES\n0\nINSERT\n2\nB\n0\nENDSEC\n0\nEOF\n",
    ),
    "dxf of a far arc": (
        "dxf",
        b"0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\n0\n10\n0\n20\n0\n40\n1e300\n"
        b"0\nARC\n8\n0\n10\n0\n20\n0\n40\n1e12\n50\n0\n51\n359\n0\nENDSEC\n0\nEOF\n",
    ),
    "record deep in lists": ("ascut", b"schema = 1\nentry = " + b"[" * 5_000 + b"]" * 5_000),
}


@pytest.mark.parametrize("name", LIES)
def test_files_that_lie_about_their_size_are_refused_quickly(name: str) -> None:
    """A few bytes would fill the memory or stop the machine for hours."""
    kind, data = LIES[name]
    start, peak = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with tempfile.TemporaryDirectory() as folder, pytest.raises(CorepathError) as told:
        BY_NAME[kind].run(data, Path(folder))
    assert len(str(told.value)) < 20_000
    assert time.process_time() - start < 8.0
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak < 300 * 1024


class _Evil:
    def __reduce__(self) -> tuple[Any, ...]:
        return (print, ("this was run",))


def test_nothing_in_a_file_is_run(capfd: pytest.CaptureFixture[str]) -> None:
    """A grid of heights from a stranger would run what he likes."""
    deck = DeckSection(
        grid="g.npy", grid_units="mm", grid_origin=(0.0, 0.0), grid_spacing=(1.0, 1.0)
    )
    held = io.BytesIO()
    np.save(held, np.array([[_Evil()]], dtype=object), allow_pickle=True)
    packed = io.BytesIO()
    np.savez(packed, h=np.zeros((8, 8)))
    for data in (held.getvalue(), pickle.dumps(_Evil()), packed.getvalue()):
        with pytest.raises(InputError):
            read_grid(data, "g.npy", deck)
    assert "this was run" not in "".join(capfd.readouterr())


def test_enormous_files_are_refused_before_they_are_read(tmp_path: Path) -> None:
    """A gigabyte in one line would be read into memory first and judged afterwards; these take no
    room on the disk."""
    path = tmp_path / "x.csv"
    with path.open("wb") as file:
        file.truncate(3 << 30)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(InputError, match="far too large"):
        read_measured(path)
    with pytest.raises(InputError, match="larger than is read"):
        read_bytes(path, "deck.mesh")
    (tmp_path / "p").mkdir()
    path.rename(tmp_path / "p" / "job.resolved.json")
    with pytest.raises(InputError, match="larger than"):
        read_folder(tmp_path / "p")
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak < 100 * 1024


BEYOND = [
    ("length = 240", "length = 1e7", "blank.length"),
    ("step = 0.5", "step = 1e-9", "skim.step"),
    ("edge_band = 7.0", "edge_band = 1e308", "deck.edge_band"),
    ("inside = 6.0", "inside = 1e308", "groove.inside"),
    ("smooth = 30.0", "smooth = 1e9", "deck.smooth"),
    ("[82, 13]", "[82, 1e99]", "outline.stations[7]"),
    ("diameter = 14.0", "diameter = 1e9", "plug[1].diameter"),
    ('title = "Coupon"', 'title = "' + "../" * 40 + '"', "title"),
    ('name = "P1"', 'name = "../../P1"', "plug[1].name"),
]


@pytest.mark.parametrize(("old", "new", "key"), BEYOND, ids=[row[1][:24] for row in BEYOND])
def test_a_job_beyond_all_measure_is_refused(old: str, new: str, key: str, tmp_path: Path) -> None:
    """A slip of the pen would fill the memory, or a name lead out of the folder."""
    from corepath.planning.prepare import prepare

    text = (ROOT / "samples" / "coupon.toml").read_text()
    assert old in text
    path = tmp_path / "x.toml"
    path.write_text(text.replace(old, new, 1))
    start = time.process_time()
    with pytest.raises(InputError) as told:
        prepare(path)
    assert any(fault.key.startswith(key) for fault in told.value.faults), told.value.faults
    assert time.process_time() - start < 5.0


def test_deep_json_in_a_folder_is_no_traceback(tmp_path: Path) -> None:
    """A damaged folder would end in a traceback."""
    (tmp_path / "job.resolved.json").write_text("[" * 100_000)
    with pytest.raises(InputError, match="is not JSON"):
        read_folder(tmp_path)
    for content in (
        '{"lengths": 1e999}',
        "{}",
        "[]",
        "3",
        '{"board": {"thickness": 1e400}}',
        '{"deck": null}',
    ):
        (tmp_path / "job.resolved.json").write_text(content)
        with pytest.raises(InputError):
            read_folder(tmp_path)
    with pytest.raises(InputError):
        load_text(json.dumps({"a": 1}), "x.toml")


def test_the_long_loop_runs_and_counts(tmp_path: Path) -> None:
    """The loop itself would end at once, or swallow what it finds."""
    words = ["--minutes", "0.01", "--only", "grid-csv", "--keep", str(tmp_path)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz", *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 troubles, 0 workers died" in done.stdout and "grid-csv" in done.stdout
