"""Write the templates of a prepared job to files."""

from __future__ import annotations

from pathlib import Path

from corepath.errors import Fault, InputError, OutputError
from corepath.layup.ribs import form_template
from corepath.layup.template_lines import Face, TemplateLines, board_template
from corepath.planning.folder.in_place import Change, in_place
from corepath.planning.prepare import Prepared
from corepath.views.templates.template_dxf import dxf_text
from corepath.views.templates.template_svg import Paper, pages, svg_text
from corepath.work.checks.laid_checks import skin_reach

__all__ = ["template_files", "template_of", "write_template"]

ENDINGS = (".dxf", ".svg")


def template_of(
    prepared: Prepared,
    *,
    flat: bool = False,
    form: bool = False,
    cradle: bool = False,
    on: Face = "core",
) -> TemplateLines:
    """Return the template of the board or, with `form`, of the form it is laid up on, with `cradle`
    of what holds it in set-up D.

    `flat` is for skins and hand work, on the flat core instead of along the arc; `on` is the face
    whose lengths count. Raises InputError where a form is wanted and the job has no rocker.
    """
    if form or cradle:
        return form_template(prepared.job, prepared.board, prepared.digest, cradle)
    job, board, digest = prepared.job, prepared.board, prepared.digest
    reach = skin_reach(job, prepared.works) if flat else None
    return board_template(job, board, digest, reach=reach, on=on)


def template_files(
    template: TemplateLines, path: Path, paper: Paper | None = None
) -> dict[str, str]:
    """Return file names with texts: the whole template in the format of the ending of `path`, and
    with `paper` its pages (SVG). Raises InputError for an ending other than .dxf and .svg."""
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise InputError(
            [Fault("", "the ending tells the format", str(path.name), " or ".join(ENDINGS))]
        )
    files = {path.name: dxf_text(template) if ending == ".dxf" else svg_text(template)}
    if paper is not None:
        for k, text in enumerate(pages(template, paper), start=1):
            files[f"{path.stem}-page-{k:02d}.svg"] = text
    return files


def write_template(
    template: TemplateLines, path: Path, paper: Paper | None = None
) -> tuple[Path, ...]:
    """Write a template, over an earlier one; whole files or none. Raises InputError,
    OutputError."""
    files = template_files(template, path, paper)
    content = {name: text.encode("utf-8") for name, text in files.items()}
    try:
        # Pages of two drawings laid edge to edge would make a board of neither: all or none.
        in_place(path.parent, Change(content), note=False)
    except OSError as error:
        says = f"cannot write: {error.strerror or error}; what was there before is as it was"
        raise OutputError(f"{path}: {says}") from error
    return tuple(path.parent / name for name in files)
