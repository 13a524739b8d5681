"""The tables of docs/record.md: generated from the table of kinds, so that the page cannot drift
from it."""

from __future__ import annotations

from corepath.job.record.entry_kinds import KINDS, EntryKind

__all__ = ["record_reference"]

_HEAD = (
    "<!-- from the table of kinds, corepath/job/record/entry_kinds.py; do not edit up to the "
    "next mark -->"
)
_END = "<!-- end of the table of kinds -->"


def record_reference(kinds: dict[str, EntryKind] = KINDS) -> str:
    """As Markdown: what to type, when, what it replaces, and the kind that it becomes in the
    file."""
    lines = [
        _HEAD,
        "| type this | when | it replaces | kind in the file | its keys |",
        "|---|---|---|---|---|",
    ]
    for name, kind in kinds.items():
        typed = ", ".join(f"`{_typed(kind, k)}`" for k in range(len(kind.typed))) or "–"
        keys = [*kind.needs, *(" or ".join(kind.one_of),) * bool(kind.one_of)]
        may = [key for key in kind.may if key not in kind.one_of]
        words = ", ".join(f"`{key}`".replace(" or ", "` or `") for key in keys)
        words += f"; may have {', '.join(f'`{key}`' for key in may)}" if may else ""
        lines.append(f"| {typed} | {kind.when} | {kind.replaces} | `{name}` | {words} |")
    return "\n".join([*lines, _END])


def _typed(kind: EntryKind, k: int) -> str:
    option = kind.typed[k]
    flag = f" {option.flag[0]}" if option.flag is not None else ""
    return " ".join((option.option, *(word for word, _ in option.words))) + flag
