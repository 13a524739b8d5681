"""A copy of the project in a folder of its own, in which one place after another is broken and the
tests are run.

Which test files reach a line is found once, by a run of all of them under coverage; for each change
only those that reach it are run, the file that mirrors the module first and then the quickest,
until one fails.
"""

from __future__ import annotations

import math
import os
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from pathlib import Path

from tests.broken.drawing import Change, broken

__all__ = ["FOLDERS", "ROOT", "Bench", "Outcome", "modules"]

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("stackup", "gcode", "skin", "layup", "motion", "outside")
"""Folders of tests that are run; what of the package is broken are the modules that they mirror."""

BROKEN = ("stackup", "gcode/write", "skin", "layup")
SECONDS = 60
"""CPU seconds at most beyond twice what the tests take unchanged: a loop that never ends is caught
as well."""

_LONG = ("test_verify.py",)
"""Left out: a whole plan, judged by a program of its own, which is no test of one folder."""

SLOW = 10.0
"""Seconds from which a test file has to wait until the others have been run."""

FAILED, UNREAD = 1, 2
"""Exit codes of pytest where a test failed, and where a file of tests could not be read."""

CONTROLS = 8
"""The quickest test files, run on the unbroken copy first: were they to fail there, all would seem
caught."""

_COPIED = ("corepath", "tests", "samples", "docs", "pyproject.toml", "README.md", "DEVELOPERS.md")
_FAILED = re.compile(r"^(?:FAILED|ERROR) (\S+?)(?:\[.*)?(?: - (.*))?$", re.M)


def modules(root: Path = ROOT) -> list[str]:
    """The modules whose arithmetic is broken, as paths from the root."""
    some = [
        path for folder in BROKEN for path in sorted((root / "corepath" / folder).rglob("*.py"))
    ]
    some.append(root / "corepath" / "motion" / "clock.py")
    return [path.relative_to(root).as_posix() for path in some if path.name != "__init__.py"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a change: the test that failed ("" where none did) and why it ended."""

    module: str
    change: Change
    caught: str
    tried: int

    @property
    def lives(self) -> bool:
        return not self.caught


class Bench:
    """The copy, in `folder`; a second run there takes the coverage and the numba cache of the
    first."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.copy = folder / "copy"
        folder.mkdir(parents=True, exist_ok=True)
        for name in _COPIED:
            self._copied(name)
        self._reach: dict[str, dict[int, set[str]]] = {}
        self._cost: dict[str, float] = {}

    def _copied(self, name: str) -> None:
        """The copy follows what was changed since; compiled code stays."""
        source = ROOT / name
        files = (
            [source] if source.is_file() else [path for path in source.rglob("*") if path.is_file()]
        )
        for path in files:
            target = self.copy / path.relative_to(ROOT)
            if "__pycache__" in path.parts or (
                target.exists() and target.read_bytes() == path.read_bytes()
            ):
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target)

    def _pytest(
        self, *words: str, under: tuple[str, ...] = (), seconds: float = math.inf
    ) -> tuple[int, str]:
        """Exit code and output of a run in the copy; below zero where it took more than `seconds`
        of the CPU."""
        command = [
            sys.executable,
            *under,
            "-m",
            "pytest",
            "-q",
            "-p",
            "no:cacheprovider",
            "--tb=no",
            *words,
        ]
        if seconds < math.inf:
            command = ["prlimit", f"--cpu={math.ceil(seconds)}", *command]
        environment = {
            **os.environ,
            "PYTHONPATH": str(self.copy),
            "COVERAGE_RCFILE": str(self.folder / "coverage.ini"),
        }
        ran = subprocess.run(
            command, cwd=self.copy, env=environment, capture_output=True, text=True, check=False
        )
        return ran.returncode, ran.stdout + ran.stderr

    def measure(self) -> None:
        """Which test files reach which line, and how long each takes: once a folder."""
        data, times = self.folder / "reach", self.folder / "times.xml"
        (self.folder / "coverage.ini").write_text(
            f"[run]\nsource = corepath\ndata_file = {data}\n", "utf-8"
        )
        if not data.exists():
            words = [f"tests/{folder}" for folder in FOLDERS]
            under = ("-m", "coverage", "run")
            code, said = self._pytest(
                *words, "-p", "tests.broken.contexts", f"--junitxml={times}", under=under
            )
            if code:
                data.unlink(missing_ok=True)
                raise SystemExit(f"the tests fail as they are:\n{said[-2000:]}")
        self._read(data, times)
        quickest = sorted(
            (cost, file) for file, cost in self._cost.items() if file.split("/")[1] in FOLDERS
        )[:CONTROLS]
        code, said = self._pytest(*(file for _, file in quickest), seconds=SECONDS)
        if code:
            raise SystemExit(f"tests of unbroken code fail in the copy:\n{said[-2000:]}")

    def _read(self, data: Path, times: Path) -> None:
        import coverage

        found = coverage.CoverageData(str(data))
        found.read()
        for name in found.measured_files():
            where = Path(name).relative_to(self.copy).as_posix()
            lines = found.contexts_by_lineno(name)
            self._reach[where] = {
                line: {one for one in files if one} for line, files in lines.items()
            }
        for case in ElementTree.parse(times).iter("testcase"):
            file = case.get("classname", "").replace(".", "/") + ".py"
            self._cost[file] = self._cost.get(file, 0.0) + float(case.get("time", 0.0))

    def files(self, module: str, change: Change) -> list[list[str]]:
        """Test files that reach the change, then all others that reach its module, each in the
        order of running.

        The others matter where lines have moved since the reach was measured; new files that mirror
        the module too.
        """
        reach = self._reach.get(module, {})
        low, high = change.lines
        near = {file for line in range(low, high + 1) for file in reach.get(line, ())}
        path = Path(module)
        mirror = self.copy.glob(f"tests/{path.parts[1]}/test_*{path.stem}*.py")
        every = {file for some in reach.values() for file in some}
        every |= {file.relative_to(self.copy).as_posix() for file in mirror}

        def rank(file: str) -> tuple[bool, float, str]:
            cost = self._cost.get(file, 0.0)
            return path.stem not in Path(file).stem or cost > SLOW, cost, file

        parts = (near, every - near)
        return [
            sorted((file for file in part if not file.endswith(_LONG)), key=rank) for part in parts
        ]

    def _seconds(self, files: list[str]) -> float:
        return SECONDS + 2.0 * sum(self._cost.get(file, 0.0) for file in files)

    def judge(self, module: str, change: Change) -> Outcome:
        """The change made, the tests run, the change taken back."""
        path = self.copy / module
        source = path.read_text("utf-8")
        tried = 0
        try:
            _put(path, broken(source, change))
            for files in self.files(module, change):
                if not files:
                    continue
                code, said = self._pytest("-x", *files, seconds=self._seconds(files))
                tried += len(files)
                if code:
                    return Outcome(module, change, _told(code, said, files), tried)
        finally:
            _put(path, source)
        return Outcome(module, change, "", tried)


def _told(code: int, said: str, files: list[str]) -> str:
    """The test that failed; SystemExit where pytest itself did, which catches nothing."""
    failed = _FAILED.search(said)
    if code in (FAILED, UNREAD) and failed:
        return failed[1].removeprefix("tests/")
    if code < 0 or code > 128:
        return f"{files[0].removeprefix('tests/')} (never ends)"
    raise SystemExit(f"pytest ended with {code} over {' '.join(files)}:\n{said[-2000:]}")


def _put(path: Path, source: str) -> None:
    """Writes a module; what was compiled of it goes, for it is told apart by the second alone."""
    path.write_text(source, "utf-8")
    for compiled in path.parent.glob(f"__pycache__/{path.stem}.*.pyc"):
        compiled.unlink()
