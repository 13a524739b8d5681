"""A stance in one line: a place too many, one too few or one beside its place would be bored."""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.places import images
from corepath.job.text.resolved import digest, from_resolved, resolved_dict
from tests.given import load_text

SAMPLE = (Path(__file__).parents[2] / "samples" / "board-1280.toml").read_text(encoding="utf-8")
STRAPS = "pattern = {at = [-248, 0], rows = 2, columns = 2, pitch = [40, 124]}\n"
LEASH = "at = [[-96, 47]]\n"


def _leash(keys: str) -> list[tuple[float, float]]:
    """Places of the third insert with these keys in place of its `at`."""
    return list(load_text(SAMPLE.replace(LEASH, keys), "job.toml").insert[2].at)


def test_a_stance_typed_out_is_the_same_job() -> None:
    """Places worked out by hand, in the order in which they are named: the plan's code and with it
    every file stay the same."""
    typed = SAMPLE.replace(STRAPS, "at = [[-268, 62], [-268, -62], [-228, 62], [-228, -62]]\n")
    typed = typed.replace(
        'at = [[-552, 86], [-492, 86]]\nmirror = "sides"',
        "at = [[-552, 86], [-492, 86], [-552, -86], [-492, -86]]\n",
    )
    short, long = load_text(SAMPLE, "short"), load_text(typed, "long")
    assert "mirror =" not in typed and resolved_dict(short) == resolved_dict(long)
    assert digest(short) == digest(long)
    # what is read back from a plan's folder has all places once
    assert from_resolved(resolved_dict(short)).insert[0].at == long.insert[0].at


def test_images_by_hand() -> None:
    """Each quadrant once; on an axis no second one; an image of two places that are there, none."""
    three = (
        'at = [[-96, 47], [-150, 0]]\npattern = {at = [0, 30], pitch = [0, 0]}\nmirror = "both"\n'
    )
    assert _leash(three) == [
        (-96, 47), (-150, 0), (0, 30), (96, 47), (150, 0), (-96, -47), (0, -30), (96, -47),
    ]  # fmt: skip
    assert images([(3.0, 2.0), (-3.0, 2.0)], "ends") == ()
    assert str(images([(3.0, 0.0), (0.0, 2.0)], "both")) == "((-3.0, 0.0), (0.0, -2.0))"


def test_inches_count_once() -> None:
    """Pitch and middle are lengths: scaled as they are read, before the pattern is laid out."""
    text = SAMPLE.replace("at = [-248, 0]", "at = [-10, 0]").replace("[40, 124]}", "[1.5, 5]}", 1)
    starter = load_text(text, "mm").insert[0]
    inch = type(starter).model_validate(
        {
            "name": "I1", "pattern": {"at": [-10, 0], "rows": 2, "columns": 2, "pitch": [1.5, 5]},
            "barrel": 0.3, "flange": 0.7, "flange_thickness": 0.05, "length": 0.3,
        },
        context={"scale": 25.4},
    )  # fmt: skip
    assert inch.at[0] == pytest.approx((-273.05, 63.5)) and len(inch.at) == 4
    assert starter.at[0] == (-10.75, 2.5)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (LEASH, "", "insert[3].at: missing key"),
        (LEASH, "pattern = {at = [1, 2]}\n", "insert[3].pattern.pitch: missing key"),
        (LEASH, "pattern = {at = [1, 2], row = 2, pitch = [3, 4]}\n", "did you mean rows?"),
        (LEASH, "pattern = {at = [1, 2], rows = 2, pitch = [3, 0]}\n", "2 places on one spot"),
        (LEASH, "pattern = {at = [1, 2], rows = 99, columns = 9, pitch = [3, 4]}\n", "too many"),
        (LEASH, f'{LEASH}mirror = "left"\n', '"ends" or "sides" or "both"'),
        ("angle = 0.0\n", 'angle = 30.0\nmirror = "sides"\n', "another [[plug]] for the images"),
    ],
)
def test_contradictions_are_told(old: str, new: str, message: str) -> None:
    """Exactly one fault each, at the key to change."""
    with pytest.raises(InputError) as raised:
        load_text(SAMPLE.replace(old, new), "job.toml")
    assert len(raised.value.faults) == 1 and message in str(raised.value)


def test_a_place_of_a_pattern_that_fits_nowhere_is_told_by_its_key(tmp_path: Path) -> None:
    """`at[3]` would be a place that nobody typed."""
    from corepath.planning.prepare import prepare

    job = tmp_path / "job.toml"
    text = SAMPLE.replace("at = [-248, 0]", "at = [-600, 0]")
    job.write_text(text.replace(LEASH, 'at = [[-96, 202]]\nmirror = "ends"\n'), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        prepare(job)
    keys = {fault.key for fault in raised.value.faults}
    assert {"insert[1].pattern", "insert[3].at[1]", "insert[3].mirror"} <= keys
    assert load_job(job).insert[2].typed == 1
