"""`corepath edit`: the job as a page, shaped by eye and by number."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from corepath.cli.guard import guarded, say
from corepath.cli.options import JobFile

if TYPE_CHECKING:
    from corepath.editing.server import EditServer

__all__ = ["edit", "server_class"]


def edit(
    job: JobFile,
    port: Annotated[
        int | None,
        typer.Option(
            "--port",
            min=1,
            max=65535,
            help="The port of the page, on this machine.",
            show_default=False,
        ),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in a browser.")
    ] = True,
) -> None:
    """Shape a job in a page on this machine."""
    with guarded(job=job):
        from corepath.errors import InputError
        from corepath.job.text.source import read_text

        if not job.is_file():
            raise InputError(read_text(job)[1])
        server = server_class("corepath edit")(job, port)
        say(f"Editing {job}. Open {server.url} in a browser on this machine; Ctrl-C ends.")
        if browser and _has_screen():
            import webbrowser

            webbrowser.open(server.url)
        server.run()
        first = server.desk.session.first
        say(f"\n{job} is saved." + (f" As it was before: {first}" if first else ""))


def _has_screen() -> bool:
    """Whether a browser would open in a window: one in the terminal would take it."""
    return sys.platform in ("win32", "darwin") or any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY")
    )


def server_class(command: str) -> type[EditServer]:
    """Return the server; raises InputError where the packages that `command` needs are not
    installed."""
    from corepath.errors import Fault, InputError

    try:
        from corepath.editing.server import EditServer
    except ModuleNotFoundError as error:
        says = f"needs the package {error.name}, which is not installed"
        allowed = "pip install 'corepath[edit]'"
        raise InputError([Fault(command, says, allowed=allowed)]) from None
    return EditServer
