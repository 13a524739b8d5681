"""The commented job that `corepath new` writes: a small test piece that is ready to plan."""

from __future__ import annotations

import json
import os
from importlib import resources
from pathlib import Path

from corepath.errors import Fault, InputError
from corepath.job.text.writing import write_new

__all__ = [
    "require_free",
    "shop_text",
    "starter_text",
    "title_of",
    "write_job",
    "write_shop",
    "write_starter",
]

_LONGEST_TITLE = 60


def title_of(path: Path) -> str:
    """Return a title made from a file's name: `my-board.toml` gives "My board".

    >>> title_of(Path("my-board.toml"))
    'My board'
    """
    words = "".join(letter if letter.isprintable() else " " for letter in path.stem)
    text = " ".join(words.replace("-", " ").replace("_", " ").split())[:_LONGEST_TITLE].strip()
    return text[:1].upper() + text[1:] or "Board"


def starter_text(title: str) -> str:
    """Return the text of the starter job with this title."""
    return _data("starter.toml").replace("@TITLE@", json.dumps(title, ensure_ascii=False))


def shop_text(name: str) -> str:
    """Return the text of a commented shop file that jobs name by `name`."""
    return _data("shop.toml").replace("@FILE@", json.dumps(name, ensure_ascii=False)[1:-1])


def _data(name: str) -> str:
    return resources.files("corepath.job").joinpath("data", name).read_text(encoding="utf-8")


def write_starter(path: Path) -> str:
    """Write the starter job to a new file and return its title.

    Raises InputError where the file exists already (it is never overwritten), its name does not end
    in `.toml`, or its folder is missing or cannot be written.
    """
    title = title_of(path)
    require_free(path)
    write_job(path, starter_text(title))
    return title


def write_shop(path: Path) -> None:
    """Write a commented shop file. Raises InputError as `write_starter` does."""
    require_free(path)
    write_job(path, shop_text(path.name))


def require_free(path: Path) -> None:
    """Raise InputError where no new job can be written to `path`: its name does not end in `.toml`,
    its folder is missing, or it is there already."""
    if path.suffix.lower() != ".toml":
        raise _refused(path, "a job file's name ends in .toml", f"{path}.toml")
    if not path.parent.is_dir():
        raise _refused(path, f"there is no folder {path.parent}", "a name in an existing folder")
    if os.path.lexists(path):
        raise _there(path)


def write_job(path: Path, text: str) -> None:
    """Write the text of a new job. Raises InputError where the file exists already (it is never
    overwritten) or cannot be written."""
    try:
        write_new(path, text.encode("utf-8"))
    except FileExistsError:
        raise _there(path) from None
    except (OSError, ValueError) as error:
        raise _refused(
            path, f"cannot be written: {getattr(error, 'strerror', None) or error}", ""
        ) from None


def _there(path: Path) -> InputError:
    return _refused(path, "is there already and is not overwritten", "a name that is free")


def _refused(path: Path, message: str, allowed: str) -> InputError:
    return InputError([Fault("", message, allowed=allowed, file=str(path))])
