"""Checks of the head of a file against the file's name, the other files and the blank.

A head is the comments before the first line that is not a comment: `Key: value`; wrapped lines
begin with two blanks. It is only words, so nothing is derived from it, but paper, file and plan
must not contradict each other. A file without such a head, like one by another program, is not
checked here. Lengths in mm.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from corepath.gcode.read.findings import Findings
from corepath.lengths import mm

__all__ = ["Head", "check_heads", "check_stated_zero", "head_lines"]

_LONGEST_HEAD = 200
_ZERO = re.compile(r"Zero lies at X(\S+) Y(\S+) Z(\S+) (mm|in)\b")
_NUMBERED = re.compile(r"^[Nn][0-9]{1,5}[ \t]*")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]*)?")


@dataclass(frozen=True, slots=True)
class Head:
    """The contents of a head: file name, digest of the plan, zero (x, y, z) in the bed frame, mm;
    empty or None where it says nothing."""

    file: str = ""
    plan: str = ""
    zero: tuple[float, float, float] | None = None


def head_lines(text: str) -> list[str]:
    """Return the comments of a text's head; one that was wrapped over lines is joined."""
    says: list[str] = []
    for line in text.split("\n", _LONGEST_HEAD)[:_LONGEST_HEAD]:
        bare = _NUMBERED.sub("", line.strip())
        if bare in ("", "%"):
            continue
        if not (bare.startswith("(") and bare.endswith(")")):
            break
        if bare.startswith("(  ") and says:
            says[-1] += " " + bare[1:-1].strip()
        else:
            says.append(bare[1:-1].strip())
    return says


def _read_head(text: str) -> Head:
    """Return the head of a text. Never raises."""
    says = head_lines(text)
    # Reversed, so that of two lines with one key the first is kept.
    known = dict(part.split(": ", 1) for part in reversed(says) if ": " in part)
    return Head(known.get("File", ""), known.get("Plan", ""), _zero(says))


def _zero(message: list[str]) -> tuple[float, float, float] | None:
    for part in message:
        found = _ZERO.match(part)
        if found is not None and all(_NUMBER.fullmatch(value) for value in found.groups()[:3]):
            x, y, z = (
                float(value) * (25.4 if found.group(4) == "in" else 1.0)
                for value in found.groups()[:3]
            )
            return x, y, z
    return None


def check_heads(texts: Mapping[str, str], findings: Findings, plan: str = "") -> None:
    """Check that each head names its own file, and all name the same plan: `plan`, or if that is
    not known the one of most files.

    `texts` maps names of files to their texts.
    """
    heads = {name: _read_head(text) for name, text in texts.items()}
    named = Counter(head.plan for head in heads.values() if head.plan)
    wanted = plan or next((digest for digest, _ in named.most_common(1)), "")
    for name in sorted(heads):
        head = heads[name]
        if head.file and head.file != name.rpartition("/")[2]:
            says = (
                f"its head says that it is {head.file}: files mixed up, or cut in the wrong order"
            )
            findings.add("order", says, file=name)
        if head.plan and head.plan != wanted:
            findings.add(
                "mixed-plans",
                f"its head names plan {head.plan}, the others are of {wanted}",
                file=name,
            )


def check_stated_zero(
    text: str, zero: tuple[float, float, float], allowed: float, findings: Findings
) -> None:
    """Check the zero that the head states against `zero`, the one derived from the blank as it
    lies."""
    stated = _read_head(text).zero
    for axis, said, derived in zip("XYZ", stated or (), zero, strict=False):
        if abs(said - derived) > allowed:
            says = (
                f"zero {axis} is {mm(said):.3f} by the head of the file, {mm(derived):.3f} by the "
                "blank as it lies"
            )
            findings.add("zero", says, place=zero, depth=abs(said - derived))
