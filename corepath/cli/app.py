"""The `corepath` command: one application, one module for each command.

Only typer and the standard library are loaded here, so that help is quick; a command loads what it
needs when it is run. Exit codes: 0 OK (cautions too), 1 a check or the read-back failed, 2 the
input is wrong.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

import corepath
from corepath import __version__
from corepath.cli.commands.bed import bed
from corepath.cli.commands.check import check
from corepath.cli.commands.edit import edit
from corepath.cli.commands.new import new
from corepath.cli.commands.plan import plan
from corepath.cli.commands.preview import preview
from corepath.cli.commands.readback import readback
from corepath.cli.commands.record import record_command
from corepath.cli.commands.record_options import RecordCommand
from corepath.cli.commands.recut import recut
from corepath.cli.commands.restart import restart
from corepath.cli.commands.shop import shop
from corepath.cli.commands.template import template
from corepath.cli.guard import WELL, WRONG, as_dict, as_json, say
from corepath.errors import Fault

__all__ = ["app", "application", "guide_folder", "run"]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"corepath {__version__}")
        raise typer.Exit


def _guide(wanted: bool) -> None:
    if wanted:
        typer.echo(guide_folder())
        raise typer.Exit


def guide_folder(package: Path = Path(corepath.__file__).parent) -> Path:
    """Return the folder `docs`: inside the package when installed from a wheel, beside it in the
    source."""
    inside = package / "docs"
    return inside if inside.is_dir() else package.parent / "docs"


def _common(
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Show the version and exit.", callback=_version, is_eager=True
        ),
    ] = False,
    guide: Annotated[
        bool,
        typer.Option(
            "--guide", help="Show where the guide lies and exit.", callback=_guide, is_eager=True
        ),
    ] = False,
) -> None:
    pass


_COMMANDS = (new, edit, plan, check, preview, readback, template, restart, recut, bed, shop)
_RECORD = "record"


def application(only: str | None = None) -> typer.Typer:
    """Return the application with all commands, or with the one of this name: typer works out the
    options of every command that it is given, which takes as long as loading typer."""
    made = typer.Typer(
        help="From the design of a laminated board's wood core to G-code that has been read back.",
        epilog="Exit codes: 0 OK, 1 a check or the read-back failed, 2 the input is wrong. "
        "Pages named docs/NAME lie in the folder that --guide prints.",
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    made.callback()(_common)
    for command in _COMMANDS:
        if only in (None, command.__name__):
            made.command()(command)
    if only in (None, _RECORD):
        made.command(_RECORD, cls=RecordCommand)(record_command())
    return made


app = application()


def _asked_for() -> typer.Typer:
    """Return the application with the command that the command line begins with; with all where
    it begins with none of them (help, a slip of typing) or a shell asks what may come next."""
    first = next((word for word in sys.argv[1:] if not word.startswith("-")), "")
    known = first == _RECORD or any(first == command.__name__ for command in _COMMANDS)
    return application(first) if known and "_COREPATH_COMPLETE" not in os.environ else app


def run() -> None:
    """Run the command line; ends the process with the exit code."""
    # A letter that the terminal's encoding lacks must not end in a traceback.
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    # Before the arguments are parsed: what is wrong with them must come as JSON too.
    if "--json" in sys.argv[1:]:
        _run_for_a_program()
    _asked_for()(prog_name="corepath")


def _run_for_a_program() -> None:
    """Run it with `--json`: a wrong command line is reported as JSON too, as the only output on
    stdout."""
    try:
        code = _asked_for()(prog_name="corepath", standalone_mode=False)
    except Exception as error:
        # The usage errors of the library under typer; anything else is not ours to report.
        message = getattr(error, "format_message", None)
        if message is None:
            raise
        say(as_json({"faults": [as_dict(Fault("", message()))]}))
        raise SystemExit(WRONG) from None
    raise SystemExit(code if isinstance(code, int) else WELL)
