"""Put pages and cards of the short sheet into one file."""

from __future__ import annotations

import json
import shlex
from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from corepath.lengths import units_of
from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.page_parts import Slot
from corepath.views.sheet_html.sheet_file import drawing_css, environment, patterns, template
from corepath.views.short_sheet.boxes import RecordLine
from corepath.views.short_sheet.cards import PHONE_ROOM, cards, record_lines
from corepath.views.short_sheet.one_page import one_pages
from corepath.views.short_sheet.page_room import PAPER_ROOMS

__all__ = ["short_sheet"]

_WORDS = frozenset({"NAME", "FILE", "SETUP", "TEXT"})
"""Placeholders of boxes that hold a word or a text and no number."""


def short_sheet(facts: Facts) -> str:
    """Return the whole file as text, to be written as UTF-8."""
    page = environment().get_template("short.html.j2").render(
        facts=facts,
        title=facts.job.title,
        digest=facts.digest,
        pages=one_pages(facts),
        cards=cards(facts),
        words=_WORDS,
        css=Markup(template("sheet.css")),
        short_css=Markup(template("short.css")),
        drawing_css=Markup(drawing_css(facts, (*PAPER_ROOMS, PHONE_ROOM))),
        script=Markup(template("short.js")),
        patterns=Markup(patterns()),
        store=_script(f"corepath-sheet:{facts.digest}"),
        lines=_script(_lines(record_lines(facts))),
        command=_script(f"corepath record {shlex.quote(facts.file)}"),
        figures=_script(f"{facts.file.removesuffix('.toml')}-{facts.digest}.txt"),
    )  # fmt: skip
    return units_of(facts.job.units).text(page)


def _lines(lines: Sequence[RecordLine]) -> list[dict[str, Any]]:
    """Return the lines as the script takes them: texts, and for a box its key, its name and whether
    it holds a number."""
    return [
        {
            "ticks": list(line.ticks),
            "options": [
                [
                    {"key": piece.key, "label": piece.label, "number": piece.letter not in _WORDS}
                    if isinstance(piece, Slot)
                    else piece
                    for piece in option
                ]
                for option in line.options
            ],
        }
        for line in lines
    ]


def _script(value: object) -> Markup:
    """Return a value for a script inside a page: JSON in which nothing ends the script."""
    return Markup(json.dumps(value, ensure_ascii=False).replace("<", "\\u003c"))
