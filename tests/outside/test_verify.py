"""`docs/verify.py`, which shares no code with the package, on the coupon's files: as planned, and
with faults planted.

The script stands in for a stranger with numpy alone; a fault of the whole chain would have to be
made twice to pass.
"""

from __future__ import annotations

import ast
import hashlib
import importlib.util
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corepath.caching.folder_store import store_of
from corepath.job.load import load_job
from corepath.job.model import CutterSection
from corepath.job.text.resolved import resolved_dict
from corepath.planning.make import make_files
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.proving.proof import Proof
from corepath.planning.proving.rehearsal import rehearsals
from corepath.planning.report.full_report import full_report, results_of
from corepath.planning.report.geometry import geometry_dict
from corepath.planning.restart.restart_program import restart, write_restart
from tests.faults.beside import REHEARSAL_RULES, RESTART_RULES

pytestmark = pytest.mark.whole

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "docs" / "verify.py"


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The coupon's folder as far as the script reads it: neither drawn nor read back."""
    return _planned(
        prepare(ROOT / "samples" / "coupon.toml"), tmp_path_factory.mktemp("coupon-plan")
    )


def _planned(prepared: Prepared, folder: Path) -> Path:
    made = make_files(prepared, store=store_of())
    for one in made:
        (folder / one.name).write_text(one.text)
    walks = rehearsals(prepared, made)
    (folder / "rehearsal").mkdir()
    for one in walks:
        (folder / one.name).write_text(one.text)
    proof = Proof(prepared, made, walks=walks)
    report = full_report(proof, results_of(proof))
    for name, content in (
        ("report", report),
        ("geometry", geometry_dict(prepared)),
        ("job.resolved", resolved_dict(prepared.resolved)),
    ):
        (folder / f"{name}.json").write_text(json.dumps(content))
    return folder


@pytest.fixture
def early(planned: Path, tmp_path: Path) -> Path:
    """The same up to the inserts, which is quicker."""
    folder = tmp_path / "early"
    shutil.copytree(planned, folder)
    _keep(folder, "AB")
    return folder


def _keep(folder: Path, setups: str) -> None:
    """Take away the files of other set-ups, and what the report says of them."""
    report = json.loads((folder / "report.json").read_text())
    for key in ("operations", "rehearsals"):
        for entry in report[key]:
            if entry["setup"] not in setups:
                (folder / entry["file"]).unlink()
        report[key] = [entry for entry in report[key] if entry["setup"] in setups]
    (folder / "report.json").write_text(json.dumps(report))


def _run(folder: Path) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "-I", str(SCRIPT), str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert not done.stderr, done.stderr
    return done.returncode, done.stdout


def _edit(folder: Path, name: str, change: Callable[[str], str], *, known: bool = True) -> None:
    """Change a file; with `known` the report is told its new hash, so that only what it cuts can
    give it away."""
    before = (folder / name).read_text()
    text = change(before)
    assert text != before
    (folder / name).write_text(text)
    report = json.loads((folder / "report.json").read_text())
    for entry in report["operations"]:
        if entry["file"] == name and known:
            entry["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    (folder / "report.json").write_text(json.dumps(report))


def _sub(pattern: str, by: str) -> Callable[[str], str]:
    return lambda text: re.sub(pattern, by, text, count=1, flags=re.MULTILINE)


def test_it_shares_no_code_with_the_package() -> None:
    """A fault of the package would be a fault of its judge."""
    names = set()
    for node in ast.walk(ast.parse(SCRIPT.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or "")
    assert names <= {"__future__", "hashlib", "json", "math", "re", "sys", "pathlib", "numpy"}


def test_a_good_plan_passes(planned: Path) -> None:
    """A judge that cries wolf is not heard."""
    code, told = _run(planned)
    assert code == 0 and "0 breaches in 11 files" in told
    for name in (
        "01-A-dowels",
        "02-A-plug-pockets",
        "03-A-groove",
        "05-B-skim-pass-4",
        "06-B-inserts",
        "08-C-deck",
    ):
        assert re.search(rf"^{name}\.nc .* mm at \d+ columns$", told, re.MULTILINE)


def test_the_file_of_a_second_cutter_keeps_the_zero_of_the_first(tmp_path: Path) -> None:
    """Bores that a drill makes after their seats were told to stop on a first way down."""
    job = load_job(ROOT / "samples" / "coupon.toml")
    bore = job.insert[0].bore_diameter
    drill = {"number": 21, "shape": "drill", "diameter": bore, "chip_load": 0.1, "rpm": 8000}
    section = CutterSection(**drill, cutting_length=60.0, stick_out=70.0)
    job = job.model_copy(
        update={
            "cutter": (*job.cutter, section),
            "machine": job.machine.model_copy(update={"canned_cycles": True}),
        }
    )
    prepared = prepare_job(job, ROOT / "samples")
    works = tuple(work for work in prepared.works if work.setup in "AB")
    assert works[-1].stem == "06-B-inserts-2"
    code, told = _run(_planned(replace(prepared, works=works), tmp_path))
    assert code == 0 and "0 breaches" in told


@pytest.mark.parametrize("flat", [True, False])
def test_a_flush_is_judged_and_stands_in_no_ones_way_before_the_cast(
    tmp_path: Path, flat: bool
) -> None:
    """Resin 0.3 proud was taken for wood that the dowels' drill ran into at rapid; nobody asked for
    its plane."""
    text = (ROOT / "samples" / "coupon.toml").read_text()
    text = text.replace("pour_short = 0.3", 'pour_short = -0.3\nflush = "local"')
    (tmp_path / "proud.toml").write_text(text)
    prepared = prepare(tmp_path / "proud.toml")
    folder = tmp_path / "plan"
    folder.mkdir()
    _planned(
        replace(prepared, works=tuple(work for work in prepared.works if work.setup == "A")), folder
    )
    if not flat:  # all of its moves 0.05 high
        file = "04-A-flush.nc"
        _edit(
            folder,
            file,
            lambda text: re.sub(r"Z(\d+\.\d+)", lambda z: f"Z{float(z[1]) + 0.05:.4f}", text),
        )
    code, told = _run(folder)
    assert code == (0 if flat else 1)
    assert re.search(r"^04-A-flush\.nc +flush .* mm at \d+ columns$", told, re.MULTILINE)
    assert flat or "BREACH 04-A-flush.nc: flush: " in told


def _loaded() -> Any:
    spec = importlib.util.spec_from_file_location("verify", SCRIPT)
    assert spec is not None and spec.loader is not None
    verify = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(verify)
    return verify


def test_what_is_spared_reaches_to_its_very_edge() -> None:
    """A node on the blank's own edge, beside a clamp, stood 5.75 too high. A clamp over a corner of
    268 by 120."""
    piece = {"outer": [[250.0, 100.0], [268.0, 100.0], [268.0, 120.0], [250.0, 120.0]], "holes": []}
    x, y = np.array([268.0, 260.0, 249.9, 268.0]), np.array([111.0, 110.0, 110.0, 99.9])
    assert _loaded().spared(x, y, {"uncut": [piece]}).tolist() == [True, True, False, False]


def test_a_frame_is_no_deck() -> None:
    """Its full height was taken for a deck left uncut. Blank 100 by 60, frame 5: inside ends at 45
    and 25."""
    verify = _loaded()
    x, y = (
        np.array([0.0, 44.9, 45.1, 0.0, -44.9, -46.0]),
        np.array([0.0, 24.9, 0.0, 25.1, -25.1, -26.0]),
    )
    job = {"blank": {"length": 100.0, "width": 60.0}, "deck": {"margin": 5.0}}
    assert verify.framed(x, y, job, 0.05).tolist() == [False, False, True, True, True, True]
    assert verify.framed(x, y, job, -0.2).tolist() == [False, True, True, True, True, True]
    assert not verify.framed(x, y, {**job, "deck": {"margin": 0.0}}, 0.0).any()


def test_beyond_the_blank_there_is_nothing_to_cut() -> None:
    """A local flush reached 0.6 past the blank's edge, and columns out there were taken for wood
    left by the skim."""
    ring = [[-40.0, 20.0], [40.0, 20.0], [40.0, 30.6], [-40.0, 30.6]]
    plan = {
        "areas": [{"outer": ring, "holes": []}],
        "deck": {"h": np.ones((9, 9)), "x0": 0.0, "y0": 0.0},
    }
    x, y, _, _ = _loaded().spread({"blank": {"length": 100.0, "width": 60.0}}, plan, [])
    assert np.abs(x).max() < 50.0 and np.abs(y).max() < 30.0
    assert (np.abs(y - 20.0) < 0.06).sum() > 100, "the edges within the blank are looked at"


def test_a_gouge_in_the_deck_is_found(planned: Path, tmp_path: Path) -> None:
    """0.1 mm too deep on one short stretch of the deck."""
    folder = tmp_path / "gouged"
    shutil.copytree(planned, folder)

    def lower(text: str) -> str:
        lines = text.split("\n")
        at = len(lines) // 2
        for k in range(at, at + 120):
            lines[k] = re.sub(
                r"Z([0-9.]+)", lambda found: f"Z{float(found[1]) - 0.1:.4f}", lines[k]
            )
        return "\n".join(lines)

    _edit(folder, "08-C-deck.nc", lower)
    code, told = _run(folder)
    assert code == 1 and re.search(
        r"^BREACH 08-C-deck\.nc: deck: -0\.\d+ to .* mm "
        r"off",
        told,
        re.MULTILINE,
    )


PLANTED: list[tuple[str, str, Callable[[str], str], str]] = [
    ("deep cut", "03-A-groove.nc", _sub(r"Z1\.2000", "Z0.9000"), r"03-A-groove\.nc: floors, walls: "
                                                                 r"-0\.300"),
    ("rapid for a cut", "05-B-skim-pass-1.nc", _sub(r"^G1 X120", "G0 X120"),
     r"05-B-skim-pass-1\.nc:\d+: rapid through material at .* deep"),
    ("line lost", "05-B-skim-pass-2.nc", _sub(r"^G1 Y-7\.1000\n", ""), r"05-B-skim-pass-2\.nc: "
                                                                       r"skim: "),
    ("plane at a stop", "05-B-skim-all.nc", lambda text: text.replace("Z8.8996", "Z8.7600"),
     r"05-B-skim-all\.nc: plane 8\.90: -0\.140"),
    ("stop", "05-B-skim-all.nc", lambda text: re.sub(r"(?s)(.*)M0\n", r"\1", text, count=1),
     r"05-B-skim-all\.nc: stops 2 times to look for the casting, 3 are planned"),
    ("straight down", "05-B-skim-pass-1.nc",
     _sub(r"^G4 P4\.0$", "G4 P4.0\nF1478.4\nG0 X0 Y0\nG1 Z9.8996\nG0 Z18.8"),
     r"05-B-skim-pass-1\.nc:\d+: straight down into solid material"),
    ("steep", "05-B-skim-pass-1.nc",
     _sub(r"^G4 P4\.0$", "G4 P4.0\nF1478.4\nG0 X0 Y0\nG1 Z11.0\nG1 X7 Z9.8996\nG0 Z18.8"),
     r"05-B-skim-pass-1\.nc:\d+: down into solid material more steeply"),
    ("fast ramp", "03-A-groove.nc", _sub(r"^F1980\.0$", "F3960.0"),
     r"03-A-groove\.nc:\d+: down a ramp into solid material at F3960, planned 1980"),
    ("digit lost in F", "05-B-skim-pass-2.nc", _sub(r"^F4480\.0$", "F448.0"),
     r"05-B-skim-pass-2\.nc:\d+: cuts at F448, planned \d+ to 4480"),
    ("wall", "02-A-plug-pockets.nc",
     lambda text: re.sub(r"(?<=X)-6\d\.\d+", lambda found: f"{float(found[0]) + 0.2:.4f}", text),
     r"02-A-plug-pockets\.nc: cuts down to 1\.20 outside its areas"),
    ("seat", "06-B-inserts.nc", lambda text: text.replace("Z-1.5000", "Z-1.4000"),
     r"06-B-inserts\.nc: floors, walls: .*0\.100"),
    ("bed", "01-A-dowels.nc", lambda text: text.replace("Z-7.0000", "Z-19.0000"),
    r"through the spoil board"),
    ("first way at rapid", "06-B-inserts.nc", _sub(r"^G1 Z13\.8000$", "G0 Z13.8000"),
     r"06-B-inserts\.nc:\d+: its zero is another than before, and the first way down goes at "
     r"rapid"),
    ("first way low", "06-B-inserts.nc", _sub(r"^G1 Z13\.8000$", "G1 Z11.7000"),
     r"06-B-inserts\.nc:\d+: with the zero of the file before, the first way down comes within 3 "
     r"mm"),
    ("no first stop", "06-B-inserts.nc", _sub(r"(?<=skimmed face, else stop and touch "
                                              r"Z\)\n)M0\n", ""),
     r"06-B-inserts\.nc: its zero is another than before, and it does not stop on the first way "
     r"down"),
    ("units", "02-A-plug-pockets.nc", _sub(r"^G21\n", "G20\n"), r"02-A-plug-pockets\.nc: "),
]  # fmt: skip

TEXT: list[tuple[str, Callable[[str], str], str]] = [
    (
        "01-A-dowels.nc",
        _sub(r"^S18000 M3\n", ""),
        r"01-A-dowels\.nc:\d+: cuts with the spindle "
        r"off",
    ),
    ("01-A-dowels.nc", _sub(r"^G90\n", ""), r"01-A-dowels\.nc:\d+: moves before G90"),
    (
        "02-A-plug-pockets.nc",
        _sub(r"^\(Plan: \w+\)", "(Plan: 00000000)"),
        r"02-A-plug-pockets\.nc: "
        r"is of another plan",
    ),
    (
        "02-A-plug-pockets.nc",
        _sub(r"^G90\n", "G91\n"),
        r"02-A-plug-pockets\.nc:\d+: G91 is not of "
        r"the plain kind",
    ),
    ("03-A-groove.nc", _sub(r"^M2\n", ""), r"03-A-groove\.nc: has no end"),
    (
        "03-A-groove.nc",
        _sub(r"^\(MSG, Fit T2", "(MSG, Fit T3"),
        r"03-A-groove\.nc: its words ask for T3, the plan has T2",
    ),
    (
        "03-A-groove.nc",
        _sub(r"^\(Set-up: A", "(Set-up: B"),
        r"03-A-groove\.nc: its head does not say 'Set-up: A, operation 03",
    ),
    (
        "03-A-groove.nc",
        _sub(r"^\(Zero Z: touch the bed", "(Zero Z: touch the raw top"),
        r"03-A-groove\.nc: its head does not say 'Zero Z: touch the bed beside the blank'",
    ),
    (
        "03-A-groove.nc",
        _sub(r"^\(Face up: .*\n", ""),
        r"03-A-groove\.nc: its head does not say "
        r"'Face up: '",
    ),
    (
        "05-B-skim-pass-1.nc",
        _sub(r"^\(Minutes", "(Min\rutes"),
        r"05-B-skim-pass-1\.nc:\d+: a "
        r"character of code 13",
    ),
    (
        "03-A-groove.nc",
        _sub(r"^(G3 .*) I([0-9.]+) ", r"\1 I-\2 "),
        r"03-A-groove\.nc:\d+: the "
        r"arc's radius",
    ),
    (
        "05-B-skim-all.nc",
        _sub(r"^M5\n(?=G4 P8)", ""),
        r"05-B-skim-all\.nc:\d+: stops with the "
        r"spindle running",
    ),
    (
        "05-B-skim-pass-2.nc",
        _sub(r"^T3\n", "T2\n"),
        r"05-B-skim-pass-2\.nc: does not call T3, or "
        r"another cutter",
    ),
    (
        "05-B-skim-pass-3.nc",
        _sub(r"^M0\n", ""),
        r"05-B-skim-pass-3\.nc:\d+: moves before a stop to "
        r"fit the cutter",
    ),
    (
        "05-B-skim-pass-3.nc",
        _sub(r"^G64\n", "G61\n"),
        r"05-B-skim-pass-3\.nc: keeps to its path by G61, the job asks for",
    ),
    (
        "05-B-skim-pass-4.nc",
        _sub(r"^G4 P4\.0\n", ""),
        r"05-B-skim-pass-4\.nc:\d+: cuts 0 s after the start of the spindle",
    ),
]


def test_faults_in_words_are_found(early: Path) -> None:
    """A spindle that stands, a state that nobody stated, a file of another plan: no depth tells
    them."""
    for file, change, _ in TEXT:
        _edit(early, file, change)
    code, told = _run(early)
    assert code == 1
    for _, _, says in TEXT:
        assert re.search(says, told), says


@pytest.mark.parametrize(
    ("name", "file", "change", "message"), PLANTED, ids=[row[0] for row in PLANTED]
)
def test_planted_faults_are_found(
    early: Path, name: str, file: str, change: Callable[[str], str], message: str
) -> None:
    """Each would spoil a blank or hurt someone, and the hashes would not tell it."""
    _keep(early, file[3])
    _edit(early, file, change)
    code, told = _run(early)
    assert code == 1 and re.search(message, told), told


def test_strangers_and_restarts_of_other_files_are_named(early: Path) -> None:
    """Whatever lies there may be run: another case of the ending, a restart of a file that is not
    here or changed."""
    good = (early / "03-A-groove.nc").read_bytes()
    (early / "STRAY.NC").write_bytes(good)
    (early / "12-A-other.from-7.nc").write_bytes(good)
    (early / "03-A-groove.from-9.nc").write_bytes(good)
    write_restart(restart(early / "03-A-groove.nc", 150), early / "03-A-groove.from-150.nc")
    write_restart(restart(early / "06-B-inserts.nc", 80), early / "06-B-inserts.from-80.nc")
    code, told = _run(early)
    assert code == 1
    wanted = (
        "STRAY.NC: is not of this plan",
        "12-A-other.from-7.nc: is not of this plan",
        "03-A-groove.from-9.nc: is a restart of another file than the 03-A-groove.nc here",
    )
    breaches = [line for line in told.split("\n") if line.startswith("BREACH")]
    assert sorted(breaches) == sorted(f"BREACH {one}" for one in wanted)


class Judge:
    """The script's own judgement of one rehearsal or restart, in this process: what it says of
    it."""

    def __init__(self, folder: Path) -> None:
        self.verify, self.folder = _loaded(), folder
        self.job, self.report = (
            json.loads((folder / name).read_text()) for name in ("job.resolved.json", "report.json")
        )
        self.entries = {entry["file"]: entry for entry in self.report["operations"]}
        self.programs = {
            name: self.read(name, (folder / name).read_text(), name) for name in self.entries
        }

    def read(self, name: str, text: str, base: str) -> Any:
        return self.verify.read(name, text, 100.0, self.entries[base]["system"], False, False, 4.0)

    def told(self) -> list[str]:
        said = list(self.verify.found)
        self.verify.found.clear()
        return said

    def rehearsal(self, setup: str, change: Callable[[str], str]) -> list[str]:
        """What is said of a rehearsal that was changed; its hash is that of the changed one."""
        entry = next(one for one in self.report["rehearsals"] if one["setup"] == setup)
        path = self.folder / entry["file"]
        good = path.read_text()
        path.write_text(change(good))
        new = {**entry, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
        mine = [one for one in self.report["operations"] if one["setup"] == setup]
        self.verify.rehearsal(self.folder, new, self.job, mine, self.programs)
        path.write_text(good)
        return self.told()

    def restart(self, base: str, name: str, text: str) -> list[str]:
        entry = self.entries[base]
        self.verify.words(entry, text, self.report["plan"], self.job, name)
        try:
            self.verify.restart(name, text, entry, self.programs[base], self.read(name, text, base))
        except ValueError as error:
            return [f"cannot be read: {error}"]
        return self.told()


def test_each_fault_of_a_rehearsal_is_found(early: Path) -> None:
    """All rules of the bench but that for words, five faults each: a wrong place or height shown, a
    stop lost."""
    judge = Judge(early)
    for setup in "AB":
        assert judge.rehearsal(setup, lambda text: text) == []
    for rule, change in REHEARSAL_RULES.items():
        if rule == "rehearsal: words":
            continue
        for seed in range(5):
            draw = np.random.default_rng(seed)
            spoil = _by_rule(change, draw)
            assert judge.rehearsal("AB"[seed % 2], spoil), (rule, seed)


@pytest.mark.parametrize(("stops", "message"), [(2, []), (1, ["D.nc: does not show X0.00 Y0.00"])])
def test_a_mark_under_the_tip_needs_a_stop_and_no_motion(
    tmp_path: Path, stops: int, message: list[str]
) -> None:
    """The first way down may end over the mark: the next stop shows it, where the tip stands."""
    script = _loaded()
    walk = "G0 X-10 Y-5\nG1 X10\nG1 Y5\nG1 X-10\nG1 Y-5\nM5\nG0 Y5\nM2\n"
    modes = "\n".join(["G17", "G21", "G90", "G94", "G54", "G40", "G49", "G80", "G64"])
    way = "T1\nM0\nF1000\nG1 Z50\nF2000\nG1 X0 Y0\n" + "M0\n" * stops
    data = f"{modes}\nM5\n{way}{walk}".encode()
    (tmp_path / "D.nc").write_bytes(data)
    entry = {"file": "D.nc", "sha256": hashlib.sha256(data).hexdigest(), "setup": "D"}
    ends = {"x": [-10.0, 10.0], "y": [-5.0, 5.0]}
    trim = {"file": "09-D-trim.nc", "zero": dict.fromkeys("xyz", 0.0), "system": "G54"}
    machine = {"flip_about": "x", "z_zero": "bed"}
    script.rehearsal(tmp_path, entry, {"machine": machine}, [{**trim, "extents": ends}], {})
    assert [one[: len(message[0])] if message else one for one in script.found[:1]] == message


def test_each_fault_of_a_restart_is_found(early: Path) -> None:
    """All rules of the bench, of a groove and of inserts, which have a stop on their first way
    down."""
    judge = Judge(early)
    for base, line in (("03-A-groove.nc", 150), ("06-B-inserts.nc", 80)):
        name = base.replace(".nc", f".from-{line}.nc")
        good = restart(early / base, line).text
        assert judge.restart(base, name, good) == []
        for rule, change in RESTART_RULES.items():
            for seed in range(3):
                text = _by_rule(change, np.random.default_rng(seed))(good)
                assert text == good or judge.restart(base, name, text), (rule, base, seed)


def _by_rule(change: Callable[..., Any], draw: np.random.Generator) -> Callable[[str], str]:
    def spoilt(text: str) -> str:
        lines = change(text.rstrip("\n").split("\n"), draw)
        return text if lines is None else "\n".join(lines) + "\n"

    return spoilt


def test_a_design_that_was_altered_is_found(early: Path) -> None:
    """A spoil board of 60 in the job hides a cut through the table."""
    job = json.loads((early / "job.resolved.json").read_text())
    job["blank"]["spoil_board"] = 60.0
    (early / "job.resolved.json").write_text(json.dumps(job))
    report = json.loads((early / "report.json").read_text())
    report["sha256"] = {"geometry.json": "0" * 64}
    (early / "report.json").write_text(json.dumps(report))
    code, told = _run(early)
    assert code == 1
    assert re.search(
        r"job\.resolved\.json: is the job of plan \w+, the files are of "
        rf"{report['plan']}",
        told,
    )
    assert "geometry.json: has changed since it was planned" in told


def test_missing_strange_changed_and_disordered_files_are_found(early: Path) -> None:
    """The right cuts in the wrong order, or by a file that nobody planned."""
    (early / "01-A-dowels.nc").unlink()
    (early / "99-A-extra.nc").write_text("M2\n")
    _edit(early, "02-A-plug-pockets.nc", lambda text: "(a remark)\n" + text, known=False)
    report = json.loads((early / "report.json").read_text())
    report["operations"].reverse()
    (early / "report.json").write_text(json.dumps(report))
    code, told = _run(early)
    assert code == 1
    for says in (
        "01-A-dowels.nc: is missing",
        "99-A-extra.nc: is not of this plan",
        "02-A-plug-pockets.nc: has changed since it was planned",
        "report.json: the files are not in the order of the work",
    ):
        assert says in told
