"""Add a script that reloads the page to a page while it is served. The file on disk stays
unchanged."""

from __future__ import annotations

import re
from importlib import resources

__all__ = ["EVENTS", "waiting_page", "with_script"]

EVENTS = "/-/events"
"""Where the stream of notices is served; no file of a plan has such a name."""

_POLICY = re.compile(
    rb"(<meta http-equiv=\"Content-Security-Policy\" content=\"[^\">]*?)connect-src "
)


def with_script(page: bytes, number: int) -> bytes:
    """Return a page with the script at the end of its body; `number` is that of the plan it shows.

    Where the page's own policy forbids all connections, this copy allows those to its own server.
    """
    # The script must read the stream of notices, which `connect-src 'none'` would block.
    page = _POLICY.sub(rb"\1connect-src 'self' ", page, count=1)
    script = resources.files("corepath.watching").joinpath("reload.js").read_bytes()
    tag = b'<script data-number="%d" data-events="%s">\n%s</script>\n' % (
        number,
        EVENTS.encode(),
        script,
    )
    # The last one: a page may quote the tag in its text. Without any, browsers accept the script
    # after the end.
    place = page.lower().rfind(b"</body>")
    return page + tag if place < 0 else page[:place] + tag + page[place:]


def waiting_page(name: str) -> bytes:
    """Return a page to show until the first plan is made; `name` is the file that will follow."""
    text = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>corepath: no '
        "plan yet</title>\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n</head>\n<body>\n'
        f"<p>There is no {name} yet. This page shows it as soon as the job can be "
        "planned.</p>\n</body>\n</html>\n"
    )
    return text.encode("utf-8")
