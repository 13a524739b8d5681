"""Files of set-up A that several blanks of the same core share: loaded once, run with each.

Two copies share a file where its text is the same but for what its head says of job and plan: zero,
cutter, motions, minutes. From B on every blank has files of its own, since its skim stops where its
own castings show. The shared file names the plan of each copy in its head.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from corepath.errors import OutputError
from corepath.gcode.write.comments import comment
from corepath.planning.folder.in_place import Change, in_place
from corepath.planning.plan import Plan

__all__ = ["shared_files", "write_shared"]

_SHARED = "Shared: the same for every blank named above; files from B on are of each blank alone"
_HEAD = 8000
"""bytes of a file within which its head ends."""


class _Parts(NamedTuple):
    """A file: lines of its head before and after those of job and plan, and all others."""

    before: tuple[str, ...]
    after: tuple[str, ...]
    body: tuple[str, ...]


def shared_files(plans: Sequence[Plan], title: str) -> dict[str, str]:
    """Return name and text of each file of A that is the same in all plans; empty for one plan
    alone, and where a check or the read-back failed in any. `title` is that of the first job."""
    if len(plans) < 2 or any(plan.failed for plan in plans):
        return {}
    texts = [
        {file.name: file.text for file in plan.made if file.work.setup == "A"} for plan in plans
    ]
    found = {}
    for name, text in texts[0].items():
        parts = [_parts(other[name]) if name in other else None for other in texts]
        first = parts[0]
        if first is None or any(one != first for one in parts):
            continue
        lines = [*first.before, *comment(f"Job: {title}, {len(plans)} blanks")]
        for plan in plans:
            lines += comment(f"Plan: {plan.prepared.digest} of {plan.prepared.job.title}")
        lines += [*comment(_SHARED), *first.after, *first.body]
        found[name] = "\n".join(lines) + ("\n" if text.endswith("\n") else "")
    return found


def _parts(text: str) -> _Parts:
    lines = text.splitlines()
    end = next((k for k, line in enumerate(lines) if not line.startswith("(")), len(lines))
    job = next((k for k in range(end) if lines[k].startswith("(Job: ")), end)
    setup = next((k for k in range(job, end) if lines[k].startswith("(Set-up: ")), end)
    return _Parts(tuple(lines[:job]), tuple(lines[setup:end]), tuple(lines[end:]))


def write_shared(files: Mapping[str, str], folder: Path) -> None:
    """Write shared files into a folder, and take away shared ones of an earlier run that are not
    among them; nothing else in it is touched. Raises OutputError."""
    try:
        stale = [
            path.name
            for path in (folder.glob("*.nc") if folder.is_dir() else ())
            if path.name not in files and _is_shared(path)
        ]
        if not files and not stale:
            return
        folder.mkdir(parents=True, exist_ok=True)
        content = {name: text.encode("ascii") for name, text in files.items()}
        in_place(folder, Change(content, gone=tuple(stale)), note=False)
    except OSError as error:
        says = f"{folder}: cannot be written: {error.strerror or error}"
        raise OutputError(says) from error


def _is_shared(path: Path) -> bool:
    with path.open("rb") as file:
        head = file.read(_HEAD)
    return comment(_SHARED)[0].encode("ascii") in head
