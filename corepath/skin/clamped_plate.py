"""The equation of a clamped plate on a lattice, ∇⁴w = load with w = dw/dn = 0 at the edge, solved
by the 13-point difference formula, line pair by line pair.

The formula reaches two lines of the lattice, so pairs of lines hang on the pairs beside them only:
the matrix is block tridiagonal, and Gauss's elimination by blocks solves it (Golub and Van Loan,
Matrix Computations, 4.5.1). It is symmetric and positive definite, as is what each block becomes,
so no pivots are needed between blocks. A sparse solver is no quicker on these lattices, and takes
four times as long to load.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["clamped"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# of the largest load: what its two sides may differ by, far above the rounding of a mirrored deck
# and far below what the formula's lattice is off
_ALIKE = 1e-9


def clamped(inside: Mask, hx: float, hy: float, load: Floats) -> Floats:
    """Returns w (n, m) with ∇⁴w = `load` (n, m) at the nodes `inside` (n, m), `hx` and `hy` mm
    apart; w = dw/dn = 0 at their edge.

    The outermost nodes of the lattice must not be inside.
    """
    n = len(inside)
    fold = _fold(inside, load)
    if n < fold.shape[1]:
        return clamped(inside.T, hy, hx, load.T).T  # short lines make small blocks
    half = fold.shape[1]
    middle, before, after = _pair_blocks(fold, hx, hy)
    # An odd last line gets a partner without nodes.
    lines = n + n % 2
    keep = np.zeros((lines, half), dtype=np.bool_)
    keep[:n] = inside[:, :half]
    right, over = np.zeros((lines, half)), np.zeros((lines, half))
    right[:n], over[:n] = load[:, :half], _over_the_edge(inside, hx, hy)[:, :half]
    pairs = lines // 2
    at = [np.flatnonzero(pair) for pair in keep.reshape(pairs, -1)]
    right, over = right.reshape(pairs, -1), over.reshape(pairs, -1)
    # Forward: what is left of each pair once those before it are eliminated, solved for the pair
    # after it (`ahead`) and for the load (`held`).
    ahead: list[Floats] = []
    held: list[Floats] = []
    for k, here in enumerate(at):
        left = middle[np.ix_(here, here)]
        left[np.diag_indices_from(left)] += over[k, here]
        rest = right[k, here]
        if k:
            reach = before[np.ix_(here, at[k - 1])]
            left -= reach @ ahead[-1]
            rest = rest - reach @ held[-1]
        follows = after[np.ix_(here, at[k + 1])] if k + 1 < pairs else np.zeros((len(here), 0))
        solved = np.linalg.solve(left, np.column_stack([follows, rest]))
        ahead.append(solved[:, :-1])
        held.append(solved[:, -1])
    w = np.zeros((pairs, 2 * half))
    found = np.zeros(0)
    for k in reversed(range(pairs)):
        found = held[k] - ahead[k] @ found
        w[k, at[k]] = found
    return np.asarray(w.reshape(lines, half)[:n] @ fold.T)


def _pair_blocks(fold: Floats, hx: float, hy: float) -> tuple[Floats, Floats, Floats]:
    """Returns the formula's weights for the nodes of two neighbouring lines, (2 half, 2 half)
    each: on themselves, on the two lines before them, on the two after them."""
    m, half = fold.shape

    def banded(*weights: float) -> Floats:
        """Weights on nodes of a line 0, 1, … apart, where both sides of the middle are one."""
        whole = sum(w * np.eye(m, k=k) for j, w in enumerate(weights) for k in sorted({j, -j}))
        return np.asarray((whole @ fold)[:half])

    x4, y4, xy = 1.0 / hx**4, 1.0 / hy**4, 2.0 / (hx**2 * hy**2)
    own = banded(6.0 * x4 + 6.0 * y4 + 4.0 * xy, -4.0 * y4 - 2.0 * xy, y4)
    next_line = banded(-4.0 * x4 - 2.0 * xy, xy)
    second_line, none = banded(x4), np.zeros((half, half))
    return (
        np.block([[own, next_line], [next_line, own]]),
        np.block([[second_line, next_line], [none, second_line]]),
        np.block([[second_line, none], [next_line, second_line]]),
    )


def _over_the_edge(inside: Mask, hx: float, hy: float) -> Floats:
    """Returns (n, m) what is added to the weight of each node on itself.

    Where the neighbour of a node is on the rim (w = 0), the second one lies over the edge and has
    the node's own value by dw/dn = 0: the formula's outer weight, 1, is added to the node's own.
    """
    over = np.zeros(inside.shape)
    over[1:-1, 1:-1] = (~inside[:-2, 1:-1] * 1.0 + ~inside[2:, 1:-1]) / hx**4 + (
        ~inside[1:-1, :-2] * 1.0 + ~inside[1:-1, 2:]
    ) / hy**4
    return over


def _fold(inside: Mask, load: Floats) -> Floats:
    """Returns the matrix (m, half) that gives both nodes of a mirrored pair of a line the value of
    one, where edge and load are the same on both sides of the middle of Y; else the identity.

    So are then the values (the equation has one solution), and half of them need to be solved for.
    """
    m = inside.shape[1]
    odd = np.abs(load - load[:, ::-1])[inside].max(initial=0.0)
    alike = odd <= _ALIKE * np.abs(load[inside]).max(initial=0.0)
    if not (alike and np.array_equal(inside, inside[:, ::-1])):
        return np.eye(m)
    fold = np.zeros((m, (m + 1) // 2))
    nodes = np.arange(m)
    fold[nodes, np.minimum(nodes, m - 1 - nodes)] = 1.0
    return fold
