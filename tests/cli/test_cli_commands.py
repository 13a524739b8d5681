"""The commands against a stand-in for planning: what they print, where, and the exit code."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.cli.tables.verdict_lines import tightest_table
from corepath.errors import Fault, InputError, OutputError
from corepath.job.load import load_job
from corepath.job.text.starter import starter_text
from corepath.lengths import INCH
from corepath.motion.cutter import Cutter
from corepath.planning import plan as _loaded_before_its_functions_are_replaced  # noqa: F401
from corepath.planning.exploring.exploration import Exploration
from corepath.planning.exploring.explore import Explored
from corepath.planning.exploring.limit_costs import LimitCosts
from corepath.planning.exploring.tried_numbers import TriedNumber
from corepath.planning.folder.plan_folder import Written
from corepath.planning.report.times import MinutesApart
from corepath.readback.result import Case, CaseOutcome
from corepath.reported import reported
from corepath.stackup.checks.judge import judge
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.stackup.odds.odds import Odds, Spoiler
from corepath.stackup.odds.outcome import Outcome as Verdict
from corepath.stackup.odds.outcome import Tight

runner = CliRunner()

OK = Check("floor", "ok", 1.2, 0.95, 1.02, 0.6, "mm", "1.20 of wood left", "groove at (10.0, 2.0)")
WINDOW = Check("window", "ok", 0.9, 0.4, 0.6, 0.0, "mm", "0.90 to spare", "deck at (5.0, 0.0)")
CAUTION = Check(
    "hold", "caution", 3.1, 2.9, 3.05, 3.0, "mm", "3.10 of casting", "set-up C", "make it deeper"
)
FAIL = Check(
    "seat",
    "fail",
    -0.1,
    -0.3,
    -0.2,
    0.1,
    "mm",
    "the flange stands proud",
    "I1",
    "raise insert.recess",
)


@dataclass
class Planner:
    """Stands in for the functions of `corepath.planning`; keeps what it was asked for."""

    checks: tuple[Check, ...] = (OK, WINDOW)
    findings: tuple[Any, ...] = ()
    counts: dict[str, int] = field(default_factory=dict)
    raises: BaseException | None = None
    asked: list[Any] = field(default_factory=list)

    def prepare(self, path: Path, progress: Callable[[str, float], None]) -> Any:
        self.asked.append(("prepare", path))
        if self.raises:
            raise self.raises
        return SimpleNamespace(
            job=load_job(path),
            board=SimpleNamespace(template=None),
            checks=self.checks,
            refuse_contradictions=lambda: None,
            known=SimpleNamespace(
                measured=None, settled=SimpleNamespace(thickness=(), cut=frozenset())
            ),
            failed=any(check.verdict == "fail" for check in self.checks),
            cautions=(),
            fills=(),
            advice=SimpleNamespace(lines=lambda: ("groove.floor passes from 0.90 to 1.20",)),
        )

    def passes(self, prepared: Any) -> Any:
        return (SimpleNamespace(number=1, plane=9.4, shares={"groove": (0.0, 0.5, 1.0)}),)

    def stops(self, prepared: Any) -> Any:
        return SimpleNamespace(
            header=lambda: ("", "9.40"), lines=lambda: (("fill groove", "0.40 ok"),)
        )

    def pour_sheet(self, prepared: Any) -> Any:
        return None

    def outcome(self, prepared: Any) -> Verdict:
        failed = tuple(check.id for check in self.checks if check.verdict == "fail")
        tight = tuple(Tight(check) for check in self.checks)
        return Verdict("no" if failed else "ready", ODDS, tight, "raise it", failed, ())

    def measuring_path(self, path: Path) -> Path:
        return path.with_suffix(".measure.csv")

    def plan(
        self,
        prepared: Any,
        *,
        progress: Callable[[str, float], None],
        despite_failures: bool = False,
        bodies: bool = False,
        store: Any = None,
        cores: int = 1,
    ) -> Any:
        progress("groove", 0.5)
        bad = any(check.verdict == "fail" for check in self.checks)
        files = [] if bad and not despite_failures else [_file(4.56), _file(3.0, combined=True)]
        report = {"checks": [reported(check) for check in self.checks], "minutes": 12.34}
        failed = bad or bool(self.findings)

        def write(folder: Path) -> Written:
            self.asked.append(("write", folder))
            names = ["report.json", "overview.svg", *(["03-A-groove.nc"] if files else [])]
            return Written(folder, tuple(names), () if files else ("03-A-groove.nc",))

        lists = SimpleNamespace(holes=(), outcome=self.outcome(prepared))
        results = SimpleNamespace(
            minutes=12.34, apart=MinutesApart(), lists=lists, cutters=(), ridges=()
        )
        made = {
            "checks": self.checks,
            "findings": self.findings,
            "report": report,
            "failed": failed,
            "write": write,
        }
        return SimpleNamespace(
            prepared=prepared, made=files, readback=None, results=results, **made
        )

    def exploration(self, made: Any, **_: Any) -> Exploration:
        return Exploration(
            (Explored("flat D50", 9.94, 2.4, ("deck",)), Explored("ball D25", 12.34, 0.0, ())),
            (LimitCosts("08-C-deck.nc", 12.3, 3.1, 1.2, 0.4, 0.2, None, 0.52),),
            (
                TriedNumber("T3 rpm 12000 → 16000", 2.2, 10.34, 2.0),
                TriedNumber("T3 depth_a_pass 4 → 6", 1.0, against="puts deflection in doubt"),
            ),
        )

    def preview(
        self, prepared: Any, folder: Path, progress: Callable[[str, float], None], store: Any = None
    ) -> Any:
        self.asked.append(("preview", folder))
        return SimpleNamespace(written=("overview.svg",))

    def read_folder(self, folder: Path, progress: Callable[[str, float], None]) -> Any:
        if self.raises:
            raise self.raises
        measures = [MEASURE]
        return SimpleNamespace(
            findings=self.findings,
            prepared=SimpleNamespace(job=SimpleNamespace(units="mm")),
            measures=measures,
            cases=[CASE],
            readback=SimpleNamespace(counts=self.counts),
            report={"readback": {"counts": self.counts}},
            failed=bool(self.findings),
        )

    def write_solids(self, reading: Any, folder: Path) -> Any:
        return ()

    def checks_report(self, prepared: Any) -> dict[str, Any]:
        return {"checks": [reported(check) for check in self.checks]}


def _file(minutes: float, combined: bool = False) -> Any:
    """A file of a plan, as the table of files asks for it."""
    program = SimpleNamespace(
        name="groove",
        setup="A",
        combined=combined,
        cutter=Cutter(2, "flat", 6.0, 0.0, 2, 20.0, 30.0),
    )
    least = SimpleNamespace(minutes=3.8, level=False)
    return SimpleNamespace(
        name="03-A-groove.nc", program=program, minutes=minutes, lines=812, least_time=least
    )


ODDS = Odds(0.9701, 0.968, 0.93, 20_000, (Spoiler("clean-up", "", 0.029),))
CASE = CaseOutcome(
    Case("likely stop", "if the skim stops at 9.40", 1),
    (),
    {"least_floor": 1.2, "load": 0.91},
    again=False,
)
MEASURE = SimpleNamespace(
    unit="mm",
    id="groove floor",
    file="03-A-groove.nc",
    value=1.2004,
    wanted=1.2,
    deviation=0.0004,
    message="height above the bed",
)


@pytest.fixture
def planner(monkeypatch: pytest.MonkeyPatch) -> Planner:
    """A stand-in for planning, in place of its functions."""
    stand_in = Planner()
    for place in (
        "report.checks_report.checks_report",
        "prepare.prepare",
        "plan.plan",
        "plan.preview",
        "exploring.exploration.exploration",
        "folder.solids.write_solids",
        "proving.reading.read_folder",
        "questions.passes",
        "questions.pour_sheet",
        "questions.stops",
        "questions.measuring_path",
        "questions.outcome",
    ):
        name = place.rpartition(".")[2]
        monkeypatch.setattr(f"corepath.planning.{place}", getattr(stand_in, name))
    return stand_in


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The starter job, in the current folder."""
    monkeypatch.chdir(tmp_path)
    path = Path("my-board.toml")
    path.write_text(starter_text("My board"), encoding="utf-8")
    return path


def _run(*words: object) -> Result:
    return runner.invoke(app, [str(word) for word in words])


def _plain(text: str) -> None:
    assert "\x1b" not in text
    assert all(len(line) <= 80 for line in text.split("\n")), [
        line for line in text.split("\n") if len(line) > 80
    ]


def test_check_prints_window_first(planner: Planner, job: Path) -> None:
    """The window is what all else hangs on; the table is plain text of 80 columns in a pipe."""
    result = _run("check", job, "--show", "heights")
    assert result.exit_code == 0
    _plain(result.stdout)
    rows = [line.split()[:2] for line in result.stdout.split("\n") if " ok " in line]
    assert rows[:2] == [["window", "ok"], ["floor", "ok"]]
    row = next(line for line in result.stdout.split("\n") if line.strip().startswith("window"))
    assert row.split()[2:6] == ["0.900", "0.400", "0.000", "0.900"]
    assert result.stdout.rstrip().endswith("Next: corepath plan my-board.toml")
    assert result.stderr == ""


def test_the_verdict_is_first_and_last_on_a_small_terminal(planner: Planner, job: Path) -> None:
    """Twenty lines of 80 hold answer, odds, tightest checks, fix and next command; with tables the
    same stands at their end, where a terminal stops."""
    planner.checks = (WINDOW, FAIL)
    short, long = _run("check", job).stdout, _run("check", job, "--show", "skim").stdout
    _plain(short)
    assert len(short.rstrip().split("\n")) <= 20
    assert short.startswith("My board: not as it is; these checks fail: seat\n")
    assert "Comes out in 97 of 100. What spoils the others, of 100: clean-up 2.9." in short
    assert "93 of 100" in short  # of evenly drawn errors
    assert "\nFix: raise it\n" in short
    assert "Next: fix the job, then: corepath check my-board.toml" in short
    verdict = short[: short.index("\nMore: ")]
    assert "if the skim stops at" in long.partition(verdict)[0]


@pytest.mark.parametrize("part", ["heights", "skim", "feeds", "holes", "record"])
def test_each_part_is_shown_alone(job: Path, part: str) -> None:
    """Of the real starter: each option prints its table above the verdict, and no other's."""
    heads = {
        "heights": "largest contributors",
        "skim": "if the skim stops at",
        "feeds": "plunge",
        "holes": "bore ends",
        "record": "Nothing is recorded yet",
    }
    told = _run("check", job, "--show", part)
    assert told.exit_code == 0
    assert [name for name, head in heads.items() if head in told.stdout] == [part]


def test_the_pour_is_shown_with_its_cautions(job: Path) -> None:
    """Resin safety stands where the resin does: with the pour, and on the sheet."""
    pour = _run("check", job, "--show", "pour").stdout
    assert "isocyanates" in pour
    # and what to buy and lay ready, and what the core will be
    assert re.search(r"blank +1 +240 × 90 × 10.60, basswood\n", pour)
    assert "The core: about 34 g: wood 19 g ± 2 at 0.41 g/cm³" in " ".join(pour.split())
    assert "isocyanates" not in _run("check", job).stdout


def test_caution_is_well_but_told(planner: Planner, job: Path) -> None:
    """A caution is exit 0, with what it says and what would mend it."""
    planner.checks = (WINDOW, CAUTION)
    result = _run("check", job, "--show", "heights")
    assert result.exit_code == 0
    assert "caution: hold (set-up C): 3.10 of casting" in result.stdout
    assert "Fix: make it deeper" in result.stdout


def test_failed_check_is_exit_1(planner: Planner, job: Path) -> None:
    """A wrong depth is no bad input: the table is printed, exit 1."""
    planner.checks = (WINDOW, FAIL)
    result = _run("check", job, "--show", "heights")
    assert result.exit_code == 1
    assert "-0.100" in result.stdout and "fail: seat (I1): the flange stands proud" in result.stdout


def test_check_json_is_all_there_is_on_stdout(planner: Planner, job: Path) -> None:
    """A program reads it: nothing else may stand on stdout."""
    planner.checks = (WINDOW, FAIL)
    result = _run("check", job, "--json")
    assert result.exit_code == 1
    assert [entry["id"] for entry in json.loads(result.stdout)["checks"]] == ["window", "seat"]


def test_plan_tells_all(planner: Planner, job: Path) -> None:
    """Checks, files with cutter and minutes, read-back, folder, next command; progress stays off a
    pipe."""
    result = _run("plan", job)
    assert result.exit_code == 0, result.output
    _plain(result.stdout)
    for part in (
        "03-A-groove.nc",
        "T2 flat D6",
        "4.6",
        "3.8",
        "1.20",
        "812",
        "(with stops)",
        "12.3 minutes",
        "read-back: no findings",
    ):
        assert part in result.stdout
    assert ("write", Path("my-board-plan")) in planner.asked
    assert (
        result.stdout.rstrip().endswith("then: corepath record my-board.toml")
        and "my-board-plan" in result.stdout
    )
    assert "Open my-board-plan/sheet.html in a browser" in result.stdout
    # the verdict first, then files and minutes, and the answer again where the screen ends
    answer = "My board: ready to cut; all checks hold with every error against you"
    assert result.stdout.startswith(answer)
    files, again = result.stdout.index("03-A-groove.nc"), result.stdout.rindex(answer)
    assert result.stdout.index("tightest") < files < result.stdout.index("12.3 minutes") < again
    assert len(result.stdout[again:].split("\n")) <= 8
    assert result.stderr == ""


def test_plan_says_what_one_cutter_more_would_save(planner: Planner, job: Path) -> None:
    """Only where it is asked for, and never while a job is watched."""
    assert "one cutter more" not in _run("plan", job).stdout
    told = " ".join(_run("plan", job, "--explore").stdout.split())
    assert "with one cutter more, flat D50: 9.9 min in all, 2.4 less; for deck" in told
    assert "with one cutter more, ball D25: it would not be used" in told
    assert "08-C-deck.nc 12.3 3.1 1.2 0.4 0.2 – 52%" in told
    assert "with T3 rpm 12000 → 16000: 10.3 min in all, 2.0 less; planned" in told
    assert "T3 depth_a_pass 4 → 6: would take up to 1.0 min off; puts deflection in doubt" in told
    both = _run("plan", job, "--explore", "--watch")
    assert both.exit_code == 2 and "--explore: plans a few times more" in both.stderr


def test_plan_with_failed_check_says_no_gcode(planner: Planner, job: Path) -> None:
    """The user must see that there are no files to cut and where earlier ones went."""
    planner.checks = (WINDOW, FAIL)
    result = _run("plan", job, "-o", "out")
    assert result.exit_code == 1
    assert "No G-code was written, since a check failed: seat." in result.stdout
    assert "Moved 1 earlier G-code files to out/withdrawn" in result.stdout


def test_plan_despite_failures_still_ends_in_1(planner: Planner, job: Path) -> None:
    """Asked for, it is written, but never passes for a good plan."""
    planner.checks = (WINDOW, FAIL)
    result = _run("plan", job, "--despite-failures")
    assert result.exit_code == 1
    assert "PLANNED DESPITE FAILURES" in result.stdout


def test_plan_json(planner: Planner, job: Path) -> None:
    """The report itself."""
    result = _run("plan", job, "--json")
    assert json.loads(result.stdout)["minutes"] == 12.34


def test_findings_are_listed_up_to_20_then_counted(planner: Planner, job: Path) -> None:
    """A flood of findings must not hide how many there are of which kind."""
    planner.findings = tuple(
        SimpleNamespace(
            kind="gouge" if k < 23 else "rapid",
            file="08-C-deck.nc",
            line=k + 1,
            place=None,
            message=f"n{k}",
        )
        for k in range(25)
    )
    result = _run("readback", ".")
    assert result.exit_code == 1
    assert "read-back: 25 findings" in result.stdout
    assert "gouge: 08-C-deck.nc:20: n19" in result.stdout and "n20" not in result.stdout
    assert "23 gouge, 2 rapid" in result.stdout
    planner.counts = {"gouge": 5000, "rapid": 2}
    assert "read-back: 5002 findings" in _run("readback", ".").stdout


def test_readback_tells_measures(planner: Planner) -> None:
    """What was measured is the point of reading back."""
    result = _run("readback", "somewhere")
    assert result.exit_code == 0
    _plain(result.stdout)
    lines = [line.split() for line in result.stdout.split("\n")]
    at = lines.index(["03-A-groove.nc"])
    assert lines[at + 1] == [
        "groove",
        "floor",
        "1.200",
        "1.200",
        "0.000",
        "height",
        "above",
        "the",
        "bed",
    ]
    (row,) = [line for line in result.stdout.split("\n") if "stops at 9.40" in line]
    assert "1.20" in row and "0.91" in row and "nothing" in row


def test_preview_names_drawings(planner: Planner, job: Path) -> None:
    """Only drawings, in the folder asked for."""
    result = _run("preview", job, "-o", "pictures")
    assert result.exit_code == 0
    assert ("preview", Path("pictures")) in planner.asked
    assert "overview.svg" in result.stdout


def test_faults_quote_the_line_with_a_caret(planner: Planner, job: Path) -> None:
    """The eye must land on the key; faults are on stderr, stdout stays empty."""
    text = (
        job.read_text()
        .replace("thickness = 8.0 ", 'thickness = "8"')
        .replace("safe_z = 8.0", "safe_z = 1")
    )
    job.write_text(text)
    result = _run("plan", job)
    assert result.exit_code == 2
    assert result.stdout == ""
    lines = result.stderr.split("\n")
    quoted = next(k for k, line in enumerate(lines) if 'thickness = "8"' in line)
    start = lines[quoted].index("thickness")
    assert lines[quoted + 1][start:] == "^" * len("thickness")
    number = text.split("[board]")[0].count("\n") + 2
    assert lines[quoted - 1].startswith(
        f"my-board.toml:{number}: board.thickness: must be a number"
    )
    assert "2 faults; nothing has been written" in result.stderr


def test_caret_on_a_long_line(planner: Planner, job: Path) -> None:
    """A fault far to the right on a long line is cut out around the caret."""
    pairs = ", ".join(f"[{x}, 20]" for x in range(-99, 99, 2))
    head = starter_text("x").split("stations = [")
    job.write_text(
        head[0]
        + f'stations = [[-100, 0], {pairs}, [99, "0"]]\n\n[deck]'
        + head[1].split("[deck]")[1]
        + "stations = ["
        + head[2]
    )
    result = _run("check", job)
    assert result.exit_code == 2
    lines = result.stderr.split("\n")
    row = next(k for k, line in enumerate(lines) if set(line.split("| ")[-1].strip()) == {"^"})
    column = lines[row].index("^")
    assert lines[row - 1][column : column + 3] == '"0"'
    assert all(len(line) <= 80 for line in lines[row - 1 : row + 1])


@pytest.mark.parametrize("command", ["check", "plan", "preview"])
def test_faults_as_json(planner: Planner, job: Path, command: str) -> None:
    """All faults with their fields, on stdout alone."""
    job.write_text(job.read_text().replace("floor = 1.2", "floor = -1"))
    result = _run(command, job, "--json")
    assert result.exit_code == 2
    (fault,) = json.loads(result.stdout)["faults"]
    assert set(fault) == {"key", "says", "value", "allowed", "file", "line"}
    assert (fault["key"], fault["value"], fault["file"]) == ("groove.floor", "-1", "my-board.toml")
    assert result.stderr == ""


def test_not_toml_is_quoted_at_its_line(planner: Planner, job: Path) -> None:
    """Even without positions the line is shown."""
    job.write_text("title = 'x'\n[board\n")
    result = _run("check", job)
    assert result.exit_code == 2
    assert "my-board.toml:2: is no header of a table" in result.stderr
    assert "    2 | [board" in result.stderr


RAISED = [
    (
        InputError([Fault("plug[1].at[1]", "lies outside the board", file="j.toml", line=3)]),
        2,
        "outside the board",
    ),
    (OutputError("out: cannot write here: No space left on device"), 2, "No space left"),
    (OSError(28, "No space left on device", "x.nc"), 2, "x.nc: No space left on device"),
    (PermissionError(13, "Permission denied", "x.nc"), 2, "x.nc: Permission denied"),
    (MemoryError(), 2, "not enough memory"),
    (KeyboardInterrupt(), 130, "interrupted"),
    (ZeroDivisionError("division by zero"), 2, "went wrong (ZeroDivisionError"),
]


@pytest.mark.parametrize(
    ("error", "code", "message"), RAISED, ids=[type(row[0]).__name__ for row in RAISED]
)
@pytest.mark.parametrize("command", ["check", "plan", "preview", "readback"])
def test_nothing_ends_in_a_traceback(
    planner: Planner, job: Path, command: str, error: BaseException, code: int, message: str
) -> None:
    """Whatever goes wrong below, the answer is a message and the fixed exit code."""
    planner.raises = error
    result = _run(command, job)
    assert result.exit_code == code
    assert message in result.stderr
    assert "Traceback" not in result.output


def test_usage_errors_are_exit_2() -> None:
    """An unknown option or a missing argument is wrong input."""
    assert _run("plan").exit_code == 2
    assert _run("plan", "x.toml", "--nonsense").exit_code == 2
    assert _run("nonsense").exit_code == 2


def test_new_then_refuses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second time is exit 2, and the file as it was."""
    monkeypatch.chdir(tmp_path)
    first = _run("new", "test-piece.toml")
    assert first.exit_code == 0
    assert "corepath check test-piece.toml" in first.stdout
    before = Path("test-piece.toml").read_bytes()
    second = _run("new", "test-piece.toml")
    assert second.exit_code == 2
    assert "test-piece.toml: is there already" in second.stderr
    assert Path("test-piece.toml").read_bytes() == before
    assert _run("new", "no/such/folder.toml").exit_code == 2


def test_next_command_is_quoted_for_the_shell(planner: Planner, job: Path) -> None:
    """A name with blanks must be copied as it is printed."""
    odd = job.rename("my board's.toml")
    result = _run("check", odd)
    assert "Next: corepath plan 'my board'\"'\"'s.toml'" in result.stdout


def test_no_figure_of_the_tightest_is_cut_short():
    """The columns shared what was missing: -0.0484 read -0.04 and two dots."""
    check = judge(
        "spacing", Linear.of(-1.08), 3.0, message="", where="groove – dowel 1 at X-0.008 Y1"
    )
    found = SimpleNamespace(tightest=[SimpleNamespace(check=check, driven_by="what " * 30)])
    row = tightest_table(found, INCH).splitlines()[2]
    assert row.split()[:5] == ["spacing", "fail", "-0.0425", "-0.0425", "0.1181"]
    assert len(row) <= 80 and row.rstrip().endswith("…")
