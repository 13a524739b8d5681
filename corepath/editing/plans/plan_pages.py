"""The files of a plan's folder as they are served: pages show the next plan by themselves.

A script is added to pages while they are served; on disk they stay as they are, and make no request
to any network. Files inside the folder are served, but no listing, no hidden file, and nothing that
a link leads out to.
"""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path
from urllib.parse import unquote

from corepath.job.text.regular import read_regular

__all__ = ["plan_file"]

_FIRST = "sheet.html"
_LARGEST = 2**30  # bytes of a file that is sent
_TEXT = "text/plain; charset=utf-8"
_TYPES = {
    ".html": "text/html; charset=utf-8", ".svg": "image/svg+xml", ".json": "application/json",
    ".stl": "model/stl", ".nc": _TEXT, ".toml": _TEXT, ".csv": _TEXT,
    ".js": "text/javascript", ".css": "text/css", ".png": "image/png", ".glb": "model/gltf-binary",
}  # fmt: skip
_POLICY = re.compile(
    rb"(<meta http-equiv=\"Content-Security-Policy\" content=\"[^\">]*?)connect-src "
)


def plan_file(folder: Path, name: str, number: int, told_at: str) -> tuple[bytes, str] | None:
    """Return the contents and the type of a file of a plan's folder, None where there is none.

    `name` is the path of a URL. Pages get the script that shows the next plan: `number` counts the
    plans made before this file was read, `told_at` is the path of the socket that tells of more.
    """
    try:
        target = _inside(folder, name)
        data = None if target is None else read_regular(target, _LARGEST)
    except OSError:
        data = None
    if data is None and name == _FIRST:
        data = _waiting_page()
    if data is None:
        return None
    kind = _TYPES.get(Path(name).suffix.lower(), "application/octet-stream")
    return (with_script(data, number, told_at) if kind.startswith("text/html") else data), kind


def with_script(page: bytes, number: int, told_at: str) -> bytes:
    """Return a page with the script at the end of its body.

    Where the page's own policy forbids all connections, this copy allows those to its own server.
    """
    page = _POLICY.sub(rb"\1connect-src 'self' ", page, count=1)
    script = resources.files("corepath.editing").joinpath("page", "reload.js").read_bytes()
    tag = b'<script data-number="%d" data-told-at="%s">\n%s</script>\n' % (
        number,
        told_at.encode(),
        script,
    )
    # The last one: a page may quote the tag in its text. Without any, browsers accept the script
    # after the end.
    place = page.lower().rfind(b"</body>")
    return page + tag if place < 0 else page[:place] + tag + page[place:]


def _waiting_page() -> bytes:
    text = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>corepath: no '
        "plan yet</title>\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n</head>\n<body>\n'
        f"<p>There is no {_FIRST} yet. This page shows it as soon as the job can be "
        "planned.</p>\n</body>\n</html>\n"
    )
    return text.encode("utf-8")


def _inside(folder: Path, path: str) -> Path | None:
    """Return the file of this folder that the path of a URL names; None unless it is the plain name
    of one inside."""
    try:
        parts = unquote(path, errors="strict").split("/")
    except UnicodeDecodeError:
        return None
    if any(not part or part.startswith(".") or set(part) & set('\\:\0"<>|?*') for part in parts):
        return None
    # Links are resolved before the comparison: one that leads out of the folder is not followed.
    root = folder.resolve(strict=True)
    target = root.joinpath(*parts).resolve(strict=True)
    return target if target.is_relative_to(root) and target.is_file() else None
