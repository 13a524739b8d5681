"""Put all pages in the order of the work, and make the file that contains them."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from corepath.lengths import Said, units_of
from corepath.motion.program import Setup
from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.first_pages import first_page, measure_page
from corepath.views.sheet_html.inline import scoped
from corepath.views.sheet_html.list_pages import holes_page, next_page, stack_page
from corepath.views.sheet_html.page_parts import Page
from corepath.views.sheet_html.pour_page import flush_page, pour_page
from corepath.views.sheet_html.setup_drawing import FULL_ROOM, SetupRoom, drawing_unit
from corepath.views.sheet_html.setups import after_a_page, setup_page
from corepath.views.sheet_html.skim_page import skim_page
from corepath.views.style import stylesheet
from corepath.views.svg import Document

__all__ = [
    "drawing_css", "environment", "pages", "patterns", "plain_sheet", "sheet_html", "template",
]  # fmt: skip


def pages(facts: Facts) -> tuple[Page, ...]:
    """Return all pages; the first lists the others."""
    flush = flush_page(facts)
    work = [measure_page(facts), setup_page(facts, "A"), after_a_page(facts), pour_page(facts)]
    work += [flush] if flush is not None else []
    work += [setup_page(facts, "B"), skim_page(facts), setup_page(facts, "C")]
    work += [setup_page(facts, "D")] if facts.works_of("D") else []
    others = (*_in_turn(work), holes_page(facts), stack_page(facts), next_page(facts))
    return (first_page(facts, others), *others)


def _in_turn(work: Sequence[Page]) -> tuple[Page, ...]:
    """Return the pages with one state "now": that of the first page not done, and of others of the
    same set-up.

    Each page knows only its own operations, so several could claim to be next.
    """
    first = next((page for page in work if page.state != "done"), None)
    return tuple(
        page if page.state == "done" or first is None
        else replace(page, state="now" if page.mark == first.mark else "ahead")
        for page in work
    )  # fmt: skip


def sheet_html(facts: Facts) -> str:
    """Return the whole file as text, to be written as UTF-8."""
    page = _rendered(facts, facts.job.title, facts.digest, pages(facts), drawing_css(facts))
    return units_of(facts.job.units).text(page)


@dataclass(frozen=True, slots=True)
class _NoPlan:
    """What the template asks of a plan, where there is none."""

    player: str = ""
    short: str = ""
    despite: bool = False
    withheld: bool = False


def plain_sheet(title: str, digest: str, shown: Sequence[Page], units: str) -> str:
    """Return pages that belong to no job, without drawings, as a whole file; `units` are those of
    their lengths."""
    return units_of(units).text(_rendered(_NoPlan(), title, digest, shown, ""))


def _rendered(
    facts: Facts | _NoPlan, title: str, digest: str, shown: Sequence[Page], drawing_css: str
) -> str:
    return (
        environment()
        .get_template("sheet.html.j2")
        .render(
            facts=facts,
            title=title,
            digest=digest,
            pages=shown,
            css=Markup(template("sheet.css")),
            drawing_css=Markup(drawing_css),
            script=Markup(template("sheet.js")),
            patterns=Markup(patterns()),
            store=Markup(json.dumps(f"corepath-sheet:{digest}")),
        )
    )


@cache
def environment() -> Environment:
    """Return where the templates are found and how figures in them are written."""
    environment = Environment(
        loader=PackageLoader("corepath.views.sheet_html"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_marked,
    )
    environment.filters["slug"] = _slug
    environment.filters["css"] = _css_string
    return environment


def _marked(value: object) -> object:
    """Return a text with its marks, so that its lengths are shown in the job's units.

    The template joins plain strings, and a `Said` would lose its marks there.
    """
    return value.marked if isinstance(value, Said) else value


def _slug(text: str) -> str:
    """Return words as part of an id: `Set-up A` becomes `set-up-a`."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


def _css_string(text: str) -> Markup:
    """Return text for the inside of quotes in a style sheet: all but letters, digits and a few
    signs escaped by their numbers."""
    return Markup(
        "".join(sign if sign.isalnum() or sign in " .-" else f"\\{ord(sign):06x} " for sign in text)
    )


def template(name: str) -> str:
    """Return the text of a file among the templates."""
    return (resources.files("corepath.views.sheet_html") / "templates" / name).read_text(
        encoding="utf-8"
    )


def drawing_css(facts: Facts, rooms: Sequence[SetupRoom] = (FULL_ROOM,)) -> str:
    """Return the style sheet of all drawings of the page, which applies to them alone; `rooms` are
    those that the set-ups are drawn in."""
    setups: tuple[Setup, ...] = ("A", "B", "C", "D")
    units = {
        room.name(setup): drawing_unit(facts, setup, room)
        for room in rooms
        for setup in setups
        if facts.works_of(setup)
    }
    units["plan-0"] = drawing_unit(facts, "0")
    return scoped(stylesheet(units, 2), ".drawn")


def patterns() -> str:
    """Return the hatchings that the legends use, once for the whole page."""
    svg = Document(0.0, 0.0, "", "")
    with svg.defs():
        for name, pitch in (("resin", 1.8), ("obstacle", 1.0)):
            svg.hatch(f"{name}-sheet", pitch, "hatching")
    text = svg.render()
    return text[text.index("<defs>") : text.index("</defs>") + 7]
