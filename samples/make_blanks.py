"""Writes three measured blanks for the sample board 1280 (flat, wedge, cupped on the bed) and a job
on each.

Run it beside the samples: `python samples/make_blanks.py`. The forms are exact and the noise of
measuring comes from a fixed seed, so that the same files come out each time. Callipers reach the
places near the edges only; farther in there is just a height above the bed.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

LENGTH, WIDTH, NOMINAL = 1400.0, 480.0, 13.6
NOISE = 0.02
REACH = 95.0

PLACES = (
    (-685, -225), (-342, -225), (0, -225), (342, -225), (685, -225), (685, 0), (685, 225), (342,
    225), (0, 225),
    (-342, 225), (-685, 225), (-685, 12), (-522, -86), (-522, 86), (0, 0), (566, 18),
)  # fmt: skip

Form = Callable[[float, float], float]


def level(x: float, y: float) -> float:
    """A blank planed to size."""
    return NOMINAL + 0.02


def wedge(x: float, y: float) -> float:
    """0.4 mm thicker at the right end than at the left."""
    return NOMINAL + 0.4 * x / LENGTH


def none(x: float, y: float) -> float:
    """Lies on the bed."""
    return 0.02


def thin(x: float, y: float) -> float:
    """Planed once more to take the cup out, in vain."""
    return NOMINAL - 0.75


def cupped(x: float, y: float) -> float:
    """The long edges stand 0.3 mm off the bed, the middle line lies on it."""
    return 0.3 * (2 * y / WIDTH) ** 2


def measured(
    thickness: Form, gap: Form, seed: int
) -> list[tuple[float, float, float | None, float]]:
    """Rows of x, y, thickness (None where callipers do not reach) and height."""
    chance = random.Random(seed)
    rows: list[tuple[float, float, float | None, float]] = []
    for x, y in PLACES:
        reached = min(LENGTH / 2 - abs(x), WIDTH / 2 - abs(y)) <= REACH
        t = thickness(x, y) + chance.gauss(0.0, NOISE)
        height = thickness(x, y) + gap(x, y) + chance.gauss(0.0, NOISE)
        rows.append((x, y, round(t, 2) if reached else None, round(height, 2)))
    return rows


def write(
    name: str, story: str, rows: list[tuple[float, float, float | None, float]], decimal: str = "."
) -> None:
    """Write one file; with a decimal comma its cells stand between semicolons."""
    between = "," if decimal == "." else ";"
    lines = [
        f"# {story}",
        "# Invented; lengths in mm.",
        between.join(("x", "y", "thickness", "height")),
    ]
    for x, y, thickness, height in rows:
        cells = [
            f"{x:g}",
            f"{y:g}",
            "" if thickness is None else f"{thickness:.2f}",
            f"{height:.2f}",
        ]
        lines.append(between.join(cell.replace(".", decimal) for cell in cells))
    Path(__file__).with_name(name).write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Write the three files beside this script."""
    write(
        "blank-flat.csv",
        "Planed to size by the yard, lies flat under vacuum.",
        measured(level, none, 4),
    )
    story = "From the end of a planer's table: 0.4 mm thicker at the nose than at the tail."
    write("blank-wedge.csv", story, measured(wedge, none, 9), decimal=",")
    story = (
        "Dried on one side, then planed thinner in vain: its long edges still stand 0.3 mm "
        "off the bed."
    )
    write("blank-cupped.csv", story, measured(thin, cupped, 16))
    write_job("flat", "The first blank: flat and to size. It is ready to plan.")
    write_job(
        "wedge",
        "The second: a wedge delays the showing at the tail, so that little clean-up is left: a "
        "caution, and none with "
        "the values of check --suggest.",
    )
    write_job(
        "cupped",
        "The third: thin and hollow. It is meant to fail: no floor is both safe and seen; "
        "check says what it still gives.",
    )


def write_job(name: str, story: str) -> None:
    """The sample's job on one of the blanks."""
    job = Path(__file__).with_name("board-1280.toml").read_text(encoding="utf-8")
    rest = job.split("\n\n", 1)[1]
    rest = rest.replace('title = "Board 1280"', f'title = "Board 1280, {name} blank"')
    rest = rest.replace("[blank]\n", f'[blank]\nmeasured = "blank-{name}.csv"\n')
    text = (
        f"# Board 1280 on a measured blank. {story}\n# Written by make_blanks.py from "
        f"board-1280.toml.\n\n{rest}"
    )
    Path(__file__).with_name(f"board-1280-{name}.toml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
