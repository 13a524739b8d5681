"""Drawings inside the page: with styles of their own and unique ids, as wide as the page allows."""

from __future__ import annotations

import re

from corepath.views.svg import Document

__all__ = ["inlined", "scoped"]

_STYLE = re.compile(r" <style>.*?</style>\n", re.DOTALL)
_SIZE = re.compile(r'(<svg [^>]*?) width="[^"]*" height="[^"]*"')
# Not the hatchings: the style sheet, one for all drawings of the page, refers to them by id.
_ID = re.compile(r'(?<= id=")(?!resin-|obstacle-)')


def inlined(svg: Document, prefix: str) -> str:
    """Return `svg` as an element of an HTML page: without its style sheet (see `scoped`), and with
    `prefix` before its ids."""
    # Without the first line, the XML declaration, which HTML does not know.
    text = svg.render().partition("\n")[2]
    text = _SIZE.sub(r"\1", _STYLE.sub("", text), count=1)
    return _ID.sub(f"{prefix}-", text)


def scoped(css: str, within: str) -> str:
    """Return the rules of a plain style sheet (no @-rules), applied only inside the selector
    `within`."""
    rules = []
    for rule in css.replace("\n", " ").split("}"):
        selectors, _, body = rule.partition("{")
        if body:
            inside = ",".join(f"{within} {selector.strip()}" for selector in selectors.split(","))
            rules.append(f"{inside}{{{body}}}")
    return "\n".join(rules) + "\n"
