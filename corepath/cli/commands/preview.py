"""`corepath preview`: the drawings of a job, without any G-code."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from corepath.cli.guard import as_json, guarded, say
from corepath.cli.options import JobFile, NoCache, json_option, output_option, quiet_option

__all__ = ["preview"]


def preview(
    job: JobFile,
    output: Annotated[
        Path | None, output_option("DIR", "Folder to write; NAME-preview if not given.")
    ] = None,
    json: Annotated[bool, json_option("the names of the drawings as JSON")] = False,
    no_cache: NoCache = False,
    quiet: Annotated[bool, quiet_option()] = False,
) -> None:
    """Write one SVG for each operation, and an overview."""
    with guarded(json_wanted=json, job=job):
        from corepath.caching.folder_store import store_of
        from corepath.cli.progress_line import showing
        from corepath.cli.tables.paragraphs import next_command
        from corepath.planning.folder.plan_folder import ensure_writable

        folder = output if output is not None else Path(f"{job.stem}-preview")
        ensure_writable(folder)
        with showing(quiet or json) as progress:
            from corepath.planning.plan import preview as make_preview
            from corepath.planning.prepare import prepare
            from corepath.planning.progress import within

            prepared = prepare(job, within(progress, 0.0, 0.1))
            prepared.refuse_contradictions()
            names = make_preview(prepared, folder, progress, store_of(not no_cache)).written
        if json:
            say(as_json({"folder": str(folder), "drawings": names}))
            return
        say(
            "\n".join(
                [f"Wrote {len(names)} drawings to {folder}", *(f"  {name}" for name in names)]
            )
        )
        if not quiet:
            say(next_command("plan", job))
