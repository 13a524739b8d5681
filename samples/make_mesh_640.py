"""Writes mesh-640.stl, the body of the sample job mesh-640.toml: a closed body in inches, its deck
in small facets.

    python samples/make_mesh_640.py

The deck is a dome over an ellipse with a saddle-shaped hollow, level at its edge; it stands 3 mm
below the finished bottom's level, has a vertical wall all round and a flat underside, and lies
turned by half a turn.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

INCH = 25.4
FACET = 9.0


def height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Height above the finished bottom at places of the board frame, mm."""
    inside = np.clip(1.0 - (x / 315.0) ** 2 - (y / 140.0) ** 2, 0.0, None)
    dome = 6.5 * (1.0 - (1.0 - np.minimum(inside, 1.0)) ** 3)
    hollow = 1.2 * np.exp(-(((x + 70.0) / 75.0) ** 2) - (y / 48.0) ** 2)
    return (
        5.5
        + dome * (1.0 - 0.14 * np.clip(-x / 320.0, 0.0, 1.0) ** 2)
        - hollow * np.minimum(4.0 * inside, 1.0)
    )


def body() -> np.ndarray:
    """Corners (n, 3, 3) of the body's faces, board frame, mm, fronts outwards."""
    x, y = np.meshgrid(
        np.arange(-333.0, 333.1, FACET), np.arange(-162.0, 162.1, FACET), indexing="ij"
    )
    top = np.stack([x, y, height(x, y)], axis=-1)
    low = np.stack([x, y, np.zeros_like(x)], axis=-1)
    rims = [
        (top[:, 0], low[:, 0]),
        (top[-1], low[-1]),
        (top[::-1, -1], low[::-1, -1]),
        (top[0, ::-1], low[0, ::-1]),
    ]
    faces = [_sheet(top)]
    for upper, lower in rims:
        faces.append(_sheet(np.stack([upper, lower], axis=0)))
        middle = np.zeros_like(lower[1:])
        faces.append(np.stack([lower[1:], lower[:-1], middle], axis=1))
    return np.concatenate(faces)


def _sheet(nodes: np.ndarray) -> np.ndarray:
    a, b, c, d = nodes[:-1, :-1], nodes[1:, :-1], nodes[1:, 1:], nodes[:-1, 1:]
    halves = [np.stack([a, b, c], axis=-2), np.stack([a, c, d], axis=-2)]
    return np.concatenate([half.reshape(-1, 3, 3) for half in halves])


def main() -> None:
    faces = (body() - [0.0, 0.0, 3.0]) * [-1.0, -1.0, 1.0] / INCH
    record = np.zeros(
        len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("count", "<u2")]
    )
    record["corners"] = faces
    normal = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
    record["normal"] = normal / np.linalg.norm(normal, axis=1)[:, None]
    head = b"corepath sample mesh-640, inches".ljust(80) + np.uint32(len(faces)).tobytes()
    (Path(__file__).parent / "mesh-640.stl").write_bytes(head + record.tobytes())


if __name__ == "__main__":
    main()
