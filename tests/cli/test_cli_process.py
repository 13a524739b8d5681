"""The installed command as a process: start-up, pipes, terminal, exit codes."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from corepath import __version__
from corepath.cli.app import guide_folder
from corepath.job.text.starter import starter_text

HEAVY = (
    "numpy",
    "pydantic",
    "shapely",
    "scipy",
    "numba",
    "ezdxf",
    "trimesh",
    "rich",
    "tomllib",
    "json.decoder",
)


def _command(*words: str, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    call = [sys.executable, "-c", "from corepath.cli import main; main()", *words]
    return subprocess.run(
        call, capture_output=True, text=True, timeout=120, env={**os.environ, **(env or {})}
    )


def _loaded(code: str) -> set[str]:
    text = (
        f"import sys\ntry:\n    {code}\nexcept SystemExit:\n    pass\nprint('\\n' + ' "
        "'.join(sys.modules))"
    )
    call = subprocess.run(
        [sys.executable, "-c", text], capture_output=True, text=True, check=True, timeout=60
    )
    return set(call.stdout.split("\n")[-2].split())


def test_help_loads_nothing_heavy() -> None:
    """Help must come at once: beyond what typer loads itself only modules of our own and small
    ones."""
    ours = _loaded("sys.argv = ['corepath', '--help']; from corepath.cli import main; main()")
    typers = _loaded("import typer")
    assert "corepath.cli.commands.plan" in ours
    assert [name for name in HEAVY if name in ours - typers and name != "json.decoder"] == []
    # The options of `record` are made from the table of kinds, whose modules are plain tables and
    # rules: 12 ms.
    ours -= {"corepath.job"} | {name for name in ours if name.startswith("corepath.job.record")}
    assert not any(
        name.startswith(("corepath.job", "corepath.board", "corepath.planning")) for name in ours
    )


@pytest.mark.parametrize("sample", ["coupon", "board-1280"])
def test_a_verdict_loads_no_more_than_it_needs(sample: str) -> None:
    """Each of these takes about as long as the verdict itself, and would come back unseen. The
    coupon has creases, which are rounded without compiled loops, the other a skin, whose stresses
    are found without a sparse solver."""
    job = Path(__file__).parents[2] / "samples" / f"{sample}.toml"
    words = ["corepath", "check", str(job)]
    loaded = _loaded(f"sys.argv = {words}; from corepath.cli import main; main()")
    assert {"numpy", "shapely", "corepath.cli.tables.verdict_lines"} <= loaded
    slow = ["numba", "llvmlite", "scipy", "trimesh", "ezdxf", "jinja2", "contourpy"]
    slow += [f"corepath.{name}" for name in ("readback", "stock", "operations", "views")]
    slow += ["corepath.gcode.write", "corepath.planning.plan"]
    assert [name for name in slow if any(f"{one}.".startswith(f"{name}.") for one in loaded)] == []


def test_version_and_help() -> None:
    """The words a user tries first."""
    assert _command("--version").stdout == f"corepath {__version__}\n"
    shown = _command("--help")
    assert shown.returncode == 0
    for name in ("new", "plan", "check", "preview", "readback"):
        assert f"  {name}" in shown.stdout


def test_the_guide_is_where_the_command_says(tmp_path: Path) -> None:
    """Messages name pages of it; from a wheel they lie in the package, else beside it."""
    done = subprocess.run(
        [sys.executable, "-m", "corepath", "--guide"], capture_output=True, text=True, timeout=60
    )
    assert (Path(done.stdout.strip()) / "checks" / "window.md").is_file() and done.returncode == 0
    (tmp_path / "corepath" / "docs").mkdir(parents=True)
    assert guide_folder(tmp_path / "corepath") == tmp_path / "corepath" / "docs"
    assert guide_folder(tmp_path / "other") == tmp_path / "docs"


def test_missing_file_is_exit_2_without_traceback(tmp_path: Path) -> None:
    """Through the real chain, in a real process."""
    done = _command("plan", str(tmp_path / "none.toml"), "-o", str(tmp_path / "out"))
    assert done.returncode == 2
    assert "no such file" in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert not (tmp_path / "out").exists()


def test_interrupt_is_130_without_traceback(tmp_path: Path) -> None:
    """Ctrl-C in the middle of the work ends it at once, with one line and no half-written
    folder."""
    path = tmp_path / "a.toml"
    path.write_text(starter_text("x"), encoding="utf-8")
    code = (
        "import os, signal\nimport corepath.planning.plan as planning\n"
        # a job in the background is born deaf to it
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "def slow(*a, **k): os.kill(os.getpid(), signal.SIGINT); import time; time.sleep(30)\n"
        "planning.plan = slow\n"
        "from corepath.cli import main; main()"
    )
    call = [sys.executable, "-c", code, "plan", str(path), "-o", str(tmp_path / "out")]
    done = subprocess.run(call, capture_output=True, text=True, timeout=60)
    assert done.returncode == 130
    assert "interrupted" in done.stderr and "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_full_disk_under_stdout_is_exit_2(tmp_path: Path) -> None:
    """What cannot be printed is said, without a traceback."""
    path = tmp_path / "a.toml"
    path.write_text(starter_text("x"), encoding="utf-8")
    call = [sys.executable, "-c", "from corepath.cli import main; main()", "check", str(path)]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(call, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60)
    assert done.returncode == 2
    assert "No space left" in done.stderr and "Traceback" not in done.stderr


def test_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    """`corepath check | head -1` must not end in a message about a pipe."""
    path = tmp_path / "a.toml"
    path.write_text(starter_text("x"), encoding="utf-8")
    line = (
        f"{sys.executable} -c 'from corepath.cli import main; main()' check {path} | true; echo "
        f"${{PIPESTATUS[0]}}"
    )
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, timeout=60)
    assert done.stdout == "0\n"
    assert done.stderr == ""


def test_ascii_output_does_not_fail(tmp_path: Path) -> None:
    """A terminal that takes only ASCII still gets its message."""
    path = tmp_path / "a.toml"
    path.write_text(starter_text("x").replace("[[-66, 7]]", "3"), encoding="utf-8")
    done = _command("check", str(path), env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 2
    assert "plug[1].at" in done.stderr


def _on_terminal(code: str, env: dict[str, str]) -> str:
    """What a program prints on a terminal of its own."""
    leader, follower = pty.openpty()
    call = subprocess.Popen(
        [sys.executable, "-c", code], stdout=follower, stderr=follower, env={**os.environ, **env}
    )
    os.close(follower)
    output = b""
    while True:
        try:
            part = os.read(leader, 4096)
        except OSError:
            break
        if not part:
            break
        output += part
    call.wait(60)
    os.close(leader)
    return output.decode()


TABLE = """
from corepath.cli.guard import say
from corepath.cli.tables.paragraphs import check_table
from corepath.stackup.checks.verdict import Check
say(check_table([Check("seat", "fail", 0.0, 0.0, 0.0, 0.1, "mm", "says", "I1", "mend")]))
"""


def test_colour_only_on_a_terminal_that_wants_it() -> None:
    """Same content with and without colour; NO_COLOR is honoured."""
    env = {"TERM": "xterm", "NO_COLOR": ""}
    coloured = _on_terminal(TABLE, env)
    plain = _on_terminal(TABLE, {**env, "NO_COLOR": "1"})
    assert "\x1b[" in coloured and "fail" in coloured
    assert "\x1b[" not in plain and "fail" in plain


def test_progress_only_on_a_terminal() -> None:
    """A bar in a log file would be noise; on a terminal it names what is being done."""
    code = (
        "from corepath.cli.progress_line import showing\nimport time\n"
        "with showing(False) as show:\n    show('path of groove', 0.5)\n    time.sleep(0.3)\n"
    )
    assert "path of groove" in _on_terminal(code, {"TERM": "xterm"})
    piped = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert piped.stderr == "" and piped.stdout == ""


def test_a_shell_can_be_told_to_complete_commands() -> None:
    """The shell asks through the environment; commands come back."""
    env = {
        **os.environ,
        "_COREPATH_COMPLETE": "complete_bash",
        "COMP_WORDS": "corepath re",
        "COMP_CWORD": "1",
    }
    asked = [sys.executable, "-c", "from corepath.cli import main; main()"]
    done = subprocess.run(asked, capture_output=True, text=True, env=env)
    assert done.stdout.split() == ["readback", "restart", "recut", "record"]


def test_the_time_left_is_counted_down_while_a_step_takes_its_time() -> None:
    """A guess that stands still for half a minute looks as if all had stopped."""
    from corepath.cli.progress_line import Clock

    now = [0.0]
    clock = Clock(lambda: now[0])
    assert clock.left() == ""
    now[0] = 5.0
    clock.at(0.25)
    assert clock.left() == "about 15 s left"
    now[0] = 12.0
    assert clock.left() == "about 8 s left"
    now[0] = 60.0
    assert clock.left() == "about 1 s left"
    clock.at(0.2)
    assert clock.left() == "about 4 min left"
    clock.at(0.05)  # a guess from so little would mislead
    assert clock.left() == ""


def test_a_plain_terminal_gets_lines_and_no_control_codes() -> None:
    """TERM=dumb knows no cursor: a bar would be rubbish, and nothing at all for half a minute a
    riddle."""
    code = (
        "from corepath.cli import progress_line as progress\nimport time\nprogress._APART = 0.05\n"
        "with progress.showing(False) as show:\n    show('path of groove', 0.5)\n    "
        "time.sleep(0.3)\n"
    )
    shown = _on_terminal(code, {"TERM": "dumb"})
    assert shown.count("path of groove") == 1 and "\x1b" not in shown and "left" in shown


def test_what_is_typed_wrong_is_told_to_a_program_as_json() -> None:
    """A program that calls us with `--json` must not meet a text that it cannot read."""
    for words, says in (
        (["plan", "--json"], "JOB.toml"),
        (["check", "a.toml", "--json", "--nonsense"], "--nonsense"),
    ):
        done = _command(*words)
        assert done.returncode == 2 and done.stderr == ""
        (fault,) = json.loads(done.stdout)["faults"]
        assert says in fault["says"]


def test_the_package_can_be_run_as_a_module() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "corepath", "--version"], capture_output=True, text=True, timeout=60
    )
    assert done.stdout == f"corepath {__version__}\n"
