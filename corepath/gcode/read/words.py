"""First stage of the reader: one line of text to words, as RS-274 writes them.

A *word* is a letter and a number. Letters may be of either case, spaces and tabs may stand anywhere
outside comments, even inside a number; a comment stands in parentheses and closes on its line. A
line may begin with `/` (block delete) and with a line number N. What is not expressly allowed is a
fault; the words before a semicolon are read all the same, since what follows it is a comment
wherever it is allowed at all. Source of the rules: NIST IR 6556 (2000), sections 3.1 to 3.3.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["LARGEST_DIGITS", "LONGEST_LINE", "TextLine", "Word", "WordFault", "read_line"]

LONGEST_LINE = 256

LARGEST_DIGITS = 6
"""Digits before the point from which on no machine can be meant: 1 km, or as many revolutions a
minute."""

_COMMENT = re.compile(r"\(([^()]*)\)")
_WORD = re.compile(r"([A-Z])([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
_LINE_NUMBER = re.compile(r"N([0-9]{1,5})(?![0-9.])")
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")
_PARAMETERS = re.compile(r"[#\[\]=*]")


class Word(NamedTuple):
    """A letter (upper case) and its number as written."""

    letter: str
    value: float


class WordFault(NamedTuple):
    """A fault of a line: `kind` is `syntax` or `unsupported`, `message` the reason."""

    kind: str
    message: str


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line taken apart. `deleted` tells that it began with `/`; `message` is the text of (MSG,
    …).

    With a `fault` there are no words; with a `remark` something is wrong, yet the words are read.
    """

    words: tuple[Word, ...] = ()
    number: int | None = None
    deleted: bool = False
    comment: str | None = None
    message: str | None = None
    fault: WordFault | None = None
    remark: WordFault | None = None


def _syntax(message: str) -> TextLine:
    return TextLine(fault=WordFault("syntax", message))


def _split_comments(text: str) -> tuple[str, str | None] | None:
    """Return the line without its comments, and the last comment (None: it has none).

    Returns None where parentheses do not match.
    """
    if "(" not in text and ")" not in text:
        return text, None
    comments = _COMMENT.findall(text)
    bare = _COMMENT.sub("", text)
    if "(" in bare or ")" in bare:
        return None
    return bare, comments[-1]


def _message(comment: str | None) -> str | None:
    if comment is None:
        return None
    squeezed = comment.replace(" ", "").replace("\t", "")
    if not squeezed.upper().startswith("MSG,"):
        return None
    return comment.split(",", 1)[1].strip()


def _words(text: str) -> tuple[Word, ...] | WordFault:
    words: list[Word] = []
    at = 0
    while at < len(text):
        found = _WORD.match(text, at)
        if found is None:
            if _PARAMETERS.search(text, at):
                return WordFault("unsupported", "parameters and expressions are not simulated")
            return WordFault("syntax", f"cannot be read from '{text[at : at + 12]}' on")
        value = float(found.group(2))
        if abs(value) >= 10.0**LARGEST_DIGITS:
            return WordFault(
                "syntax", f"{found.group(1)}{value:g} is too large a number to be meant"
            )
        words.append(Word(found.group(1), value))
        at = found.end()
    return tuple(words)


def read_line(text: str) -> TextLine:
    """Take one line (without its end) apart into words. Never raises: what is wrong is in `fault`
    of the result.

    >>> [tuple(word) for word in read_line("G1 X10 (to the stop)").words]
    [('G', 1.0), ('X', 10.0)]
    """
    if len(text) > LONGEST_LINE:
        return _syntax(f"longer than {LONGEST_LINE} characters")
    if not text.isascii():
        return _syntax("characters that are not ASCII")
    control = _CONTROL.search(text)
    if control is not None:
        return _syntax(
            f"a character of code {ord(control[0])}: a control may end the line there, "
            "or act upon it"
        )
    split = _split_comments(text)
    if split is None:
        return _syntax("a comment must open and close on its line, and none inside another")
    # RS-274 ignores blanks outside comments, even inside a number, and the case of letters.
    bare, semicolon, _ = split[0].replace(" ", "").replace("\t", "").upper().partition(";")
    remark = (
        WordFault("syntax", "a semicolon opens no comment in RS-274; what stands before it is read")
        if semicolon
        else None
    )
    deleted = bare.startswith("/")
    if deleted:
        bare = bare[1:]
    number: int | None = None
    if bare.startswith("N"):
        found = _LINE_NUMBER.match(bare)
        if found is None:
            return _syntax("a line number has one to five digits")
        number = int(found.group(1))
        bare = bare[found.end() :]
    words = _words(bare)
    if isinstance(words, WordFault):
        return TextLine(number=number, deleted=deleted, fault=words)
    return TextLine(words, number, deleted, split[1], _message(split[1]), remark=remark)
