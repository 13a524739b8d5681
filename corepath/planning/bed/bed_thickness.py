"""The thickness of the spoil board, written into the shop file where it stands."""

from __future__ import annotations

import difflib
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from corepath.errors import Fault, InputError
from corepath.job.text.editing import edited, is_value
from corepath.job.text.slips import decimal_comma
from corepath.job.text.source import read_text
from corepath.planning.bed.shop_job import read_shop
from corepath.planning.job_files.applying import write_changed

__all__ = ["SetThickness", "set_thickness"]


@dataclass(frozen=True, slots=True)
class SetThickness:
    """The lines that differ, and the path at which the old file is kept; None where none do."""

    difference: tuple[str, ...]
    kept: Path | None


def set_thickness(shop: Path, typed: str) -> SetThickness:
    """Write `bed.thickness` as typed, in the units of the file; all its other bytes stay.

    Raises InputError where it is no number, or leaves a shop file with faults, such as a spoil
    board that is worn out: that is written nowhere.
    """
    if not is_value(typed) or decimal_comma(typed):
        says = decimal_comma(typed) or "is no number"
        raise InputError([Fault("--thickness", says, typed, "a length, such as 17.4")])
    read_shop(shop)
    before, _ = read_text(shop)
    after = edited(before, {("bed", "thickness"): typed})
    _require_right(shop, after)
    old, new = before.splitlines(), after.splitlines()
    lines = difflib.unified_diff(old, new, shop.name, shop.name, n=1, lineterm="")
    return SetThickness(tuple(lines), write_changed(shop, before, after))


def _require_right(shop: Path, text: str) -> None:
    """Raise InputError with the faults that the shop file would have with this text."""
    folder = Path(tempfile.mkdtemp(prefix="corepath-"))
    try:
        trial = folder / shop.name
        trial.write_text(text, encoding="utf-8", newline="")
        read_shop(trial)
    except InputError as error:
        raise InputError(
            [Fault(one.key, one.message, one.value, one.allowed) for one in error.faults]
        ) from None
    finally:
        shutil.rmtree(folder, ignore_errors=True)
