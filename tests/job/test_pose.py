"""The pose of a set-up: a place mirrored the wrong way is a seat beside its plug, a zero off by the
blank's width."""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely import Polygon

from corepath.job.load import load_job
from corepath.job.pose import Pose, pose_of


@pytest.mark.parametrize(
    ("setup", "flip_about", "lies"),
    [
        ("A", "x", (30.0, 12.0)),
        ("B", "x", (30.0, -12.0)),
        ("B", "y", (-30.0, 12.0)),
        ("C", "x", (30.0, 12.0)),
        ("C", "y", (30.0, 12.0)),
        ("D", "y", (30.0, 12.0)),
    ],
)
def test_a_place_lies_on_the_wrong_side_after_the_flip(setup, flip_about, lies):
    """Turned over about X, what lay behind the axis lies before it; X stays."""
    pose = Pose(setup, flip_about)
    assert pose.place(30.0, 12.0) == lies
    assert pose.place(*lies) == (30.0, 12.0)


def test_an_area_lies_elsewhere_than_its_corners():
    corners = [(1.0, 2.0), (5.0, 2.0), (5.0, 4.0)]
    for flip_about in ("x", "y"):
        pose = Pose("B", flip_about)
        assert pose.shape(Polygon(corners)).equals(
            Polygon([pose.place(*corner) for corner in corners])
        )


def test_a_place_on_the_axis_is_written_as_minus_zero():
    x, y = Pose("B", "x").place(3.0, 0.0)
    assert f"{x:g} {y:g}" == "3 0"


def test_the_corner_turns_with_the_blank():
    """Front-left is the corner in front and at the left as the blank lies, in every set-up; what is
    touched turns."""
    job = load_job(Path(__file__).parents[2] / "samples" / "coupon.toml")
    machine = job.machine.model_copy(
        update={"xy_zero": "front-left", "touch_at": (7.0, -3.0), "flip_about": "y"}
    )
    job = job.model_copy(update={"machine": machine})
    for setup in ("A", "B", "C"):
        assert pose_of(job, setup).zero == (-job.blank.length / 2, -job.blank.width / 2)
    assert pose_of(job, "A").touch == (7.0, -3.0)
    assert pose_of(job, "B").touch == (-7.0, -3.0)
    assert Pose("B", "x").touch == (0.0, 0.0)


def test_head_and_drawing_name_another_face():
    """The head's words stand in the drawing's caption, which adds that B is seen from below."""
    for setup in ("A", "B", "C", "D"):
        pose = Pose(setup, "x")
        assert pose.caption.endswith(pose.face_up.upper())
        assert pose.caption.startswith("SEEN FROM BELOW") == (setup == "B")
