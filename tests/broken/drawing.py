"""What can be broken in a module's arithmetic, and what of it a seed draws.

A *change* replaces the text of one expression by that of another of the same kind of mistake as
people make: plus for minus, at most for less than, a factor left out, another constant, the least
for the most, a sign, a neighbour's key. Only text within functions and constants is taken;
annotations, messages and imports are left alone.
"""

from __future__ import annotations

import ast
import copy
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass

__all__ = ["KINDS", "Change", "broken", "changes", "drawn"]

_SUM = {ast.Add: ast.Sub, ast.Sub: ast.Add}
_PRODUCT = {ast.Mult: ast.Div, ast.Div: ast.Mult}
_BOUND = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
_TURNED = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
}
_LOGIC = {ast.And: ast.Or, ast.Or: ast.And}
_EXTREMES = {
    "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "ceil": "floor",
    "floor": "ceil",
    "any": "all", "all": "any", "argmin": "argmax", "argmax": "argmin", "sin": "cos", "cos": "sin",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """One expression of a module, by its place (bytes `start` to `end`), and what it becomes.

    `within` is the function or class it stands in ("module" for a constant), `lines` those of its
    statement.
    """

    kind: str
    within: str
    before: str
    after: str
    start: int
    end: int
    lines: tuple[int, int]


def _operator(table: dict[type, type]) -> Callable[[ast.AST], Iterator[ast.AST]]:
    def change(node: ast.AST) -> Iterator[ast.AST]:
        if isinstance(node, ast.BinOp) and type(node.op) in table and not _is_idle(node):
            yield ast.BinOp(node.left, table[type(node.op)](), node.right)
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in table:
            yield ast.Compare(node.left, [table[type(node.ops[0])]()], node.comparators)
        if isinstance(node, ast.BoolOp) and type(node.op) in table:
            yield ast.BoolOp(table[type(node.op)](), node.values)

    return change


def _left_out(operators: tuple[type, ...]) -> Callable[[ast.AST], Iterator[ast.AST]]:
    def change(node: ast.AST) -> Iterator[ast.AST]:
        if isinstance(node, ast.BinOp) and isinstance(node.op, operators) and not _is_idle(node):
            yield node.left
            if isinstance(node.op, ast.Mult):
                yield node.right

    return change


def _is_idle(node: ast.BinOp) -> bool:
    """Lists, texts and unions of types are joined by the same signs; nought and hairs add nothing
    to be seen."""
    parts = (ast.List, ast.Tuple, ast.JoinedStr, ast.ListComp, ast.Set)
    ends = (node.left, node.right)
    if any(_is_hair(e) for e in ends):
        return True
    return any(
        isinstance(e, parts) or (isinstance(e, ast.Constant) and isinstance(e.value, str | None))
        for e in ends
    )


def _is_hair(node: ast.AST) -> bool:
    """Nought, or what a bound gets so that ties of floating point fall on one side: no test can
    tell it is gone."""
    if isinstance(node, ast.Name):
        return node.id == "TIE"
    return (
        isinstance(node, ast.Constant)
        and type(node.value) in (int, float)
        and abs(node.value) < 1e-6
    )


def _is_count(node: ast.AST) -> bool:
    """A whole number: only for these does `<` for `<=` mean more than one value of floating
    point."""
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Name) and node.func.id in ("len", "round", "int")
    return isinstance(node, ast.Constant) and type(node.value) is int


def _bound(node: ast.AST) -> Iterator[ast.AST]:
    if isinstance(node, ast.Compare) and any(
        _is_count(one) for one in (node.left, *node.comparators)
    ):
        yield from _operator(_BOUND)(node)


def _constant(node: ast.AST) -> Iterator[ast.AST]:
    if (
        isinstance(node, ast.Constant)
        and type(node.value) in (int, float)
        and (not node.value or not _is_hair(node))
    ):
        yield ast.Constant(node.value + 1 if type(node.value) is int else node.value * 2.0 or 1.0)


def _extreme(node: ast.AST) -> Iterator[ast.AST]:
    if not isinstance(node, ast.Call):
        return
    call = copy.deepcopy(node)
    if isinstance(call.func, ast.Name) and call.func.id in _EXTREMES:
        call.func.id = _EXTREMES[call.func.id]
        yield call
    elif isinstance(call.func, ast.Attribute) and call.func.attr in _EXTREMES:
        call.func.attr = _EXTREMES[call.func.attr]
        yield call


def _sign(node: ast.AST) -> Iterator[ast.AST]:
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield node.operand
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "abs":
        yield node.args[0]


def _condition(node: ast.AST) -> Iterator[ast.AST]:
    if isinstance(node, ast.IfExp):
        yield ast.IfExp(node.test, node.orelse, node.body)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield node.operand


KINDS: dict[str, Callable[[ast.AST], Iterator[ast.AST]]] = {
    "plus for minus": _operator(_SUM),
    "times for by": _operator(_PRODUCT),
    "factor left out": _left_out((ast.Mult, ast.Div)),
    "term left out": _left_out((ast.Add, ast.Sub)),
    "bound moved": _bound,
    "comparison turned": _operator(_TURNED),
    "and for or": _operator(_LOGIC),
    "another constant": _constant,
    "least for most": _extreme,
    "sign lost": _sign,
    "condition turned": _condition,
}
"""By name: what an expression may become; "neighbour's key" is the one more that `changes` draws
itself."""


def changes(source: str) -> list[Change]:
    """All changes of a module's text, in the order of their places."""
    tree = ast.parse(source)
    starts = _line_starts(source)
    text = source.encode()
    found: list[Change] = []
    for node, within, lines, near in _walk(tree):
        start = starts[node.lineno - 1] + node.col_offset
        end = starts[node.end_lineno - 1] + node.end_col_offset
        for kind, other in _others(node, near):
            after = ast.unparse(other)
            found.append(Change(kind, within, text[start:end].decode(), after, start, end, lines))
    return sorted(found, key=lambda one: (one.start, one.end, one.kind, one.after))


def _others(node: ast.expr, near: dict[str, set[str]]) -> Iterator[tuple[str, ast.AST]]:
    for kind, rule in KINDS.items():
        for other in rule(node):
            yield kind, other
    if (
        isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and isinstance(node.ctx, ast.Load)
    ):
        keys = near.get(node.value.id, set())
        for other_key in sorted(keys - {node.attr}) if node.attr in keys else ():
            yield "neighbour's key", ast.Attribute(node.value, other_key, ast.Load())


def broken(source: str, change: Change) -> str:
    """The module's text with one change made."""
    text = source.encode()
    return (text[: change.start] + f"({change.after})".encode() + text[change.end :]).decode()


def drawn(source: str, count: int, seed: str) -> list[Change]:
    """`count` changes of a module, each in another statement, of all kinds in turn; fewer where it
    has none."""
    draw = random.Random(seed)
    every = changes(source)
    kinds = sorted({one.kind for one in every})
    draw.shuffle(kinds)
    taken: list[Change] = []
    while len(taken) < count:
        before = len(taken)
        for kind in kinds:
            used = {one.lines for one in taken}
            free = [one for one in every if one.kind == kind and one.lines not in used]
            if free and len(taken) < count:
                taken.append(draw.choice(free))
        if len(taken) == before:
            break
    return taken


def _line_starts(source: str) -> list[int]:
    starts = [0]
    for row in source.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(row))
    return starts


def _walk(tree: ast.Module) -> Iterator[tuple[ast.expr, str, tuple[int, int], dict[str, set[str]]]]:
    """Expressions that work something out, with the function they stand in, the lines of their
    statement, its keys."""

    def visit(
        node: ast.AST, within: str, lines: tuple[int, int], near: dict[str, set[str]]
    ) -> Iterator:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            within = node.name if within == "module" else f"{within}.{node.name}"
            near = _keys(node)
        if isinstance(node, ast.stmt):
            lines = (node.lineno, _last_line(node))
        if isinstance(node, ast.expr) and hasattr(node, "lineno"):
            yield node, within, lines, near
        for child in _parts(node):
            yield from visit(child, within, lines, near)

    for statement in tree.body:
        yield from visit(statement, "module", (0, 0), {})


def _parts(node: ast.AST) -> Iterator[ast.AST]:
    """Children, but for annotations, decorators, messages and what a fault says."""
    if isinstance(node, ast.JoinedStr | ast.Import | ast.ImportFrom | ast.Raise | ast.Assert):
        return
    for name, value in ast.iter_fields(node):
        if name in (
            "annotation",
            "returns",
            "decorator_list",
            "bases",
            "slice" if _is_type(node) else "",
        ):
            continue
        if isinstance(value, list):
            yield from (one for one in value if isinstance(one, ast.AST))
        elif isinstance(value, ast.AST):
            yield value


def _is_type(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Subscript)
        and isinstance(node.value, ast.Name)
        and node.value.id[:1].isupper()
    )


def _last_line(node: ast.stmt) -> int:
    """Of a loop or condition, the last line of its head."""
    body = getattr(node, "body", None)
    if isinstance(body, list) and body:
        return max(node.lineno, body[0].lineno - 1)
    return node.end_lineno or node.lineno


def _keys(node: ast.AST) -> dict[str, set[str]]:
    """What a function asks of each name ("self.low", "self.high"): a mix-up among them would go
    unseen by the eye."""
    keys: dict[str, set[str]] = {}
    called = {id(one.func) for one in ast.walk(node) if isinstance(one, ast.Call)}
    for one in ast.walk(node):
        if (
            isinstance(one, ast.Attribute)
            and isinstance(one.value, ast.Name)
            and id(one) not in called
        ):
            keys.setdefault(one.value.id, set()).add(one.attr)
    return keys
