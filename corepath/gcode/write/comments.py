"""Comments of an RS-274 file: plain ASCII in one pair of parentheses, at most 80 characters a line.

The standard knows no other comment and no parentheses inside one (NIST IR 6556, 3.3.4); a comment
that begins with "MSG," is shown to the operator. Signs that some controls act upon even inside a
comment are replaced as well.
"""

from __future__ import annotations

import textwrap
import unicodedata

__all__ = ["WIDTH", "comment", "message", "plain"]

WIDTH = 80

_SPELT = {
    "(": "[", ")": "]", "{": "[", "}": "]", ";": ",", "%": " percent", '"': "'", "±": "+/-",
    "×": "x", "·": "*",
    "°": " deg", "–": "-", "—": "-", "−": "-", "‑": "-", "’": "'", "‘": "'", "“": "'", "”": "'",
    "…": "...",
    "≤": "<=", "≥": ">=", "→": "->", "µ": "u", "Ø": "dia ", "⌀": "dia ", "ß": "ss", "ø": "o",
    "æ": "ae", "Æ": "AE",
    "ł": "l", "Ł": "L",
}  # fmt: skip
_KEPT = frozenset(
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789 .,:=+-*/'_[]<>#&@"
)


def plain(text: str) -> str:
    """Return `text` in characters allowed in a comment; what has no equal becomes a full stop.

    >>> plain("Körper (6 ± 0.1 mm)")
    'Korper [6 +/- 0.1 mm]'
    """
    spelt = "".join(_SPELT.get(sign, sign) for sign in text)
    bare = (
        sign for sign in unicodedata.normalize("NFKD", spelt) if not unicodedata.combining(sign)
    )
    kept = "".join(_SPELT.get(sign, " " if sign.isspace() else sign) for sign in bare)
    return " ".join("".join(sign if sign in _KEPT else "." for sign in kept).split())


def comment(text: str) -> list[str]:
    """Return `text` as one or more comment lines that no control takes for a message.

    >>> comment("Job: Board (test)")
    ['(Job: Board [test])']
    """
    safe = plain(text)
    rows = textwrap.wrap(safe, WIDTH - 2, subsequent_indent="  ", break_on_hyphens=False)
    return [f"({_unsaid(row)})" for row in rows]


def message(text: str) -> list[str]:
    """Return `text` as a message to the operator: what does not fit the message line comes in
    comments before it."""
    # 7 of the width are "(MSG, " and ")".
    rows = textwrap.wrap(plain(text), WIDTH - 7, break_on_hyphens=False) or ["stop"]
    return [line for row in rows[:-1] for line in comment(row)] + [f"(MSG, {rows[-1]})"]


def _unsaid(row: str) -> str:
    """Return a row that begins like a message by chance with a dash before it, else as it is."""
    return "- " + row.strip() if row.replace(" ", "").upper().startswith("MSG,") else row
