"""Drawings that stand inside the page: styles for them alone, ids of their own, as wide as the page
lets them be."""

from __future__ import annotations

import re

from corepath.views.svg import Document

__all__ = ["inlined", "scoped"]

_STYLE = re.compile(r" <style>.*?</style>\n", re.DOTALL)
_SIZE = re.compile(r'(<svg [^>]*?) width="[^"]*" height="[^"]*"')
_ID = re.compile(r'(?<= id=")(?!resin-|obstacle-)')


def inlined(svg: Document, prefix: str) -> str:
    """`svg` as an element of an HTML page: without its style sheet (see `scoped`), its ids after
    `prefix`."""
    text = svg.render().partition("\n")[2]
    text = _SIZE.sub(r"\1", _STYLE.sub("", text), count=1)
    return _ID.sub(f"{prefix}-", text)


def scoped(css: str, within: str) -> str:
    """The rules of a plain style sheet (no @-rules) for what lies inside `within` only."""
    rules = []
    for rule in css.replace("\n", " ").split("}"):
        selectors, _, body = rule.partition("{")
        if body:
            inside = ",".join(f"{within} {selector.strip()}" for selector in selectors.split(","))
            rules.append(f"{inside}{{{body}}}")
    return "\n".join(rules) + "\n"
