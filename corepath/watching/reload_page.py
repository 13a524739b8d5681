"""What is put into a page while it is served: a script that loads it anew. The file on disk stays
as it is."""

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
    """A page with the script before the end of its body; `number` is that of the plan it shows.

    A page that forbids itself all connections may, in this copy, have those to the server that it
    came from.
    """
    page = _POLICY.sub(rb"\1connect-src 'self' ", page, count=1)
    script = resources.files("corepath.watching").joinpath("reload.js").read_bytes()
    tag = b'<script data-number="%d" data-events="%s">\n%s</script>\n' % (
        number,
        EVENTS.encode(),
        script,
    )
    place = page.lower().rfind(b"</body>")
    return page + tag if place < 0 else page[:place] + tag + page[place:]


def waiting_page(name: str) -> bytes:
    """A page to wait at until the first plan is made. `name` is the file that will be there."""
    text = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>corepath: no '
        "plan yet</title>\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n</head>\n<body>\n'
        f"<p>There is no {name} yet. This page shows it as soon as the job can be "
        "planned.</p>\n</body>\n</html>\n"
    )
    return text.encode("utf-8")
