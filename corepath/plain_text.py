"""Text from files: its digest, and what of it is safe to show: nothing that moves a cursor, hides
letters or turns their order round.

One place for all: `corepath.cli.guard.say` sends everything that a command prints through `safe`,
and a job's own texts are refused where `unsafe_letter` finds something.
"""

from __future__ import annotations

import hashlib
import re

__all__ = ["safe", "sha256_of", "unsafe_letter"]

# C0 and C1 control codes and DEL; marks, overrides and isolates of the bidirectional algorithm (UAX
# #9); the two separators that some programs take for line ends; surrogates, which replace bytes
# that are no text; noncharacters, which `corepath.lengths` marks figures with.
_UNSAFE = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef]"
)
# Printed text may have line ends and tabs; a job's own texts may not.
_PRINTED = re.compile("(?![\t\n])" + _UNSAFE.pattern)


def unsafe_letter(text: str) -> str:
    r"""Return the first unsafe letter of `text`, escaped as `\u001b`; "" where there is none.

    >>> unsafe_letter("Board \x1b[2J")
    '\\u001b'
    """
    found = _UNSAFE.search(text)
    return _escaped(found) if found else ""


def safe(text: str) -> str:
    r"""Return `text` with each unsafe letter escaped as in TOML and JSON; line ends and tabs stay.

    >>> print(safe("(\x1b[2J)"))
    (\u001b[2J)
    """
    return _PRINTED.sub(_escaped, text)


def _escaped(found: re.Match[str]) -> str:
    return f"\\u{ord(found[0]):04x}"


def sha256_of(text: str) -> str:
    """Return the SHA-256 of a text as it stands in a file, in hexadecimal digits; bytes that were
    no text count as they were read."""
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()
