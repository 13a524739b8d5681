"""What belongs together in the trade or in geometry is passed together.

A call with seven values in a row is read wrong and, where two of them have one type, swapped
without a word. Kernels take plain numbers and arrays, since the compiler asks for that, and a
command has one parameter for each option: both are left out.
"""

from __future__ import annotations

import ast
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "corepath"
MOST = 6
"""parameters, self and cls aside"""


Function = ast.FunctionDef | ast.AsyncFunctionDef


def _parameters(function: Function) -> int:
    a = function.args
    found = [*a.posonlyargs, *a.args, *a.kwonlyargs, a.vararg, a.kwarg]
    return len([one for one in found if one is not None and one.arg not in ("self", "cls")])


def _compiled(function: Function) -> bool:
    return any("njit" in ast.unparse(one) for one in function.decorator_list)


def _crowded(source: str) -> list[str]:
    """Names of the functions with more than `MOST` parameters that are not compiled."""
    functions = [node for node in ast.walk(ast.parse(source)) if isinstance(node, Function)]
    return [one.name for one in functions if _parameters(one) > MOST and not _compiled(one)]


def test_a_function_takes_more_than_six_parameters() -> None:
    seven = "a, b, c, d, e, f, g"
    assert _crowded(f"def f({seven}): ...\nclass C:\n def m(self, {seven[:-3]}): ...") == ["f"]
    assert _crowded(f"def f(a, b, c, *d, e, f, **g): ...\n@njit()\ndef k({seven}): ...") == ["f"]
    found = [
        f"{name}: {function}"
        for path in sorted(PACKAGE.glob("**/*.py"))
        if not (name := path.relative_to(PACKAGE).as_posix()).startswith("cli/commands/")
        and "kernels" not in path.stem
        for function in _crowded(path.read_text(encoding="utf-8"))
    ]
    assert found == []
