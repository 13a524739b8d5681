"""A job made of another one, or of a sample: under its own title, scaled or mirrored if asked for,
with the files that it names; comments and layout stay."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path as FilePath

from corepath.board.make_board import layout_faults
from corepath.board.outline.make_outline import build_outline
from corepath.errors import Fault, InputError
from corepath.job.load import check_source
from corepath.job.model import Job
from corepath.job.text.editing import edited, toml_text, with_head, without_line
from corepath.job.text.positions import Path
from corepath.job.text.regular import read_regular
from corepath.job.text.reshaping import Mirror, Reshape, changes_of
from corepath.job.text.samples import sample_path, samples, samples_folder
from corepath.job.text.source import Source, parse, read_text, value_at
from corepath.job.text.starter import title_of, write_job
from corepath.job.text.writing import write_new
from corepath.lengths import Units, plain, units_of

__all__ = ["Copied", "copy_job"]

_SHOP: Path = ("shop",)
_FILES: tuple[Path, ...] = (
    ("outline", "dxf"),
    ("outline", "template"),
    ("deck", "mesh"),
    ("deck", "grid"),
    _SHOP,
)
_UNSCALED = {("outline", "dxf"): "outline", ("deck", "mesh"): "deck", ("deck", "grid"): "deck"}
_OF_TEMPLATE = ("template", "template_layer", "template_units", "template_at")
_LARGEST_FILE = 200_000_000


@dataclass(frozen=True, slots=True)
class Copied:
    """A copy that is not written yet: its `text`, and the files that go beside it, by name.
    `told` is what the builder must know of it."""

    path: FilePath
    title: str
    text: str
    files: tuple[tuple[str, bytes], ...]
    told: tuple[str, ...]

    def write(self) -> None:
        """Write the job and the files it names. Raises OSError; a file that is there already is
        never overwritten."""
        for name, content in self.files:
            write_new(self.path.parent / name, content)
        write_job(self.path, self.text)


def copy_job(
    path: FilePath, wanted: str, length: float | None = None, mirror: Mirror | None = None
) -> Copied:
    """Returns the copy of a job file, or of the sample of that name, to be written to `path`.

    `length` is the new one of the board, in the units of the job, to which it is scaled in plan.
    Raises InputError with all faults: no such job or sample, faults in it, a board that cannot be
    scaled or mirrored, a file beside that is another one.
    """
    source, folder = _source(wanted)
    job, faults = check_source(source)
    if job is None or faults:
        raise InputError(faults)
    units = units_of(job.units)
    shape = _shape(job, folder, length, mirror, units)
    changes = {**changes_of(source.document, shape, units), ("title",): toml_text(title_of(path))}
    text = edited(source.text, changes)
    told = []
    if job.blank.measured is not None:
        text = without_line(text, ("blank", "measured"), "Of the other blank; measure yours:")
        told.append("blank.measured was of the other blank and is left out; measure yours.")
    if job.outline.template is not None and shape.changes:
        for key in _OF_TEMPLATE:
            text = without_line(text, ("outline", key), "Of the board before it was changed:")
        told.append("outline.template does not fit the changed board and is left out.")
    _require_possible(text, folder, str(path))
    files, renamed = _files(text, folder, path)
    head = list(_head(FilePath(source.file).name, shape, length, units))
    return Copied(path, title_of(path), with_head(edited(text, renamed), head), files, tuple(told))


def _source(wanted: str) -> tuple[Source, FilePath]:
    """Returns the job of this path, or the sample of this name, as typed text, and its folder."""
    path = FilePath(wanted)
    if not path.exists():
        sample = sample_path(path.name.removesuffix(".toml"))
        if path.parent != FilePath() or sample is None:
            says = "there is no such job, and no sample of that name"
            raise InputError(
                [Fault("--from", says, wanted, f"a job file, or {', '.join(samples())}")]
            )
        path = sample
    text, faults = read_text(path)
    source, faults = (None, faults) if faults else parse(text, str(path))
    if source is None:
        raise InputError(faults)
    # as it stands in the file, with its line ends
    return replace(source, text=text), path.parent


def _shape(
    job: Job, folder: FilePath, length: float | None, mirror: Mirror | None, units: Units
) -> Reshape:
    if length is None and mirror is None:
        return Reshape(1.0, 1.0)
    held = [(path, whole) for path, whole in _UNSCALED.items() if _named(job, path)]
    if held:
        raise InputError([_fixed(path, whole, length) for path, whole in held])
    left, low, right, high = build_outline(job, folder).bounds
    now = units.scaled(right - left)
    if length is not None and not 0.2 <= length / now <= 5.0:
        allowed = f"{plain(0.2 * now, 3)} to {plain(5.0 * now, 3)} {units.short}"
        says = "is another board, not this one scaled"
        raise InputError([Fault("--length", says, plain(length, 4), allowed)])
    factor = 1.0 if length is None else length / now
    return Reshape(now, units.scaled(high - low), factor, mirror)


def _named(job: Job, path: Path) -> str | None:
    section, key = path
    name: str | None = getattr(getattr(job, str(section)), str(key))
    return name


def _fixed(path: Path, whole: str, length: float | None) -> Fault:
    option = "--length" if length is not None else "--mirror"
    key = ".".join(map(str, path))
    says = f"does not change a file, and {key} takes the {whole} from one"
    return Fault(
        option, says, allowed=f"a job whose {whole} has stations or points; or change the file"
    )


def _require_possible(text: str, folder: FilePath, file: str) -> None:
    """Raise InputError where the changed board cannot be: what overlaps now, or lies off the
    wood."""
    source, faults = parse(text, file)
    if source is not None:
        # the files that it names are not copied yet
        source = replace(source, folder=folder)
    job, faults = (None, faults) if source is None else check_source(source)
    if job is not None and not faults:
        faults = layout_faults(job, folder)
    if faults:
        raise InputError([replace(fault, file="", line=None) for fault in faults])


def _files(
    text: str, folder: FilePath, path: FilePath
) -> tuple[tuple[tuple[str, bytes], ...], dict[Path, str]]:
    """Returns the files to copy beside the new job, and the names of those that lay elsewhere."""
    if folder.resolve() == path.parent.resolve():
        return (), {}
    source, _ = parse(text, str(path))
    document = source.document if source is not None else {}
    files: dict[str, bytes] = {}
    renamed: dict[Path, str] = {}
    for key in _FILES:
        given, named = value_at(document, key)
        if not given or FilePath(named).is_absolute():
            continue
        if key == _SHOP and folder.resolve() not in _sample_folders():
            # all jobs of a shop share one file
            shared = os.path.relpath((folder / named).resolve(), path.parent.resolve())
            renamed[key] = toml_text(FilePath(shared).as_posix())
            continue
        content, name = read_regular(folder / named, _LARGEST_FILE), FilePath(named).name
        if name != named:
            renamed[key] = toml_text(name)
        if not _is_there(path.parent / name, content):
            files[name] = content
    return tuple(files.items()), renamed


def _sample_folders() -> set[FilePath]:
    """Returns the folders of the samples: what they share is copied beside a copy, since an
    installed package is no place to change it."""
    top = samples_folder()
    return {path.resolve() for path in (top, *top.iterdir()) if path.is_dir()}


def _is_there(path: FilePath, content: bytes) -> bool:
    """Returns whether a file is there already; raises InputError where it is another one."""
    if not path.exists():
        return False
    if read_regular(path, _LARGEST_FILE) != content:
        says = "is there already and is not overwritten; the job needs another file of this name"
        raise InputError([Fault("", says, allowed="another folder", file=str(path))])
    return True


def _head(name: str, shape: Reshape, length: float | None, units: Units) -> Iterator[str]:
    """Yields the comment at the head of a copy, line by line."""
    yield f"From {name}."
    if length is not None:
        before, after = plain(shape.length, 3), plain(length, 3)
        yield f"Scaled in plan from a length of {before} to {after} {units.short}."
    if shape.mirror is not None:
        axis, sides = ("X", "ends") if shape.mirror == "ends" else ("Y", "sides")
        yield f"Mirrored, {sides} exchanged: in comments read {axis}- for {axis}+."
