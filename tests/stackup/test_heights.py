"""Heights with their errors, on an assumed and on a measured blank, and what the record settles."""

from pathlib import Path

import numpy as np
import pytest

from corepath.job.load import load_job
from corepath.job.measured import Measured
from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.stackup.heights import Heights
from corepath.stackup.linear import Linear
from corepath.stackup.measuring.blank import Blank

SAMPLES = Path(__file__).parents[2] / "samples"
AT = (10.0, 20.0)


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(SAMPLES / "board-1280.toml")


@pytest.fixture(scope="module")
def heights(job: Job) -> Heights:
    return Heights(job, Blank.assumed(job))


def on_face(job: Job) -> Heights:
    machine = job.machine.model_copy(update={"z_zero": "face", "touch_at": (680.0, 100.0)})
    job = job.model_copy(update={"machine": machine})
    return Heights(job, Blank.assumed(job))


def test_wood_under_the_groove_does_not_hang_on_thickness(heights: Heights):
    """Zeroed on the bed a thicker blank leaves no more wood under a floor."""
    names = set(heights.wood_under(1.2, "groove", AT).parts)
    assert not any(name.startswith("thickness") for name in names)
    assert heights.wood_under(1.2, "groove", AT).worst()[0] == pytest.approx(
        1.2 - 0.05 - 0.03 - 0.05 - 0.10
    )


def test_wood_under_the_groove_hangs_on_thickness_when_the_face_is_touched(job: Job):
    """The floor is then cut down from the face: a thinner blank leaves less."""
    value = on_face(job).wood_under(1.2, "groove", AT)
    assert value.nominal == pytest.approx(1.2)
    assert value.parts["thickness at the touch"].extremes == pytest.approx((-0.1, 0.1))


def test_depth_is_thickness_and_gap_less_the_floor(heights: Heights):
    """D = T + gA - f; the bed under the place enters through the floor alone."""
    depth = heights.depth(1.2, "groove", AT)
    assert depth.nominal == pytest.approx(13.6 - 1.2)
    assert depth.worst() == pytest.approx((12.4 - 0.1 - 0.13, 12.4 + 0.1 + 0.13 + 0.1))


def test_bed_cancels_between_a_and_c(heights: Heights):
    """Floor and deck over one place stand on one bed: their difference does not know it."""
    difference = heights.floor(1.2, "groove") - heights.deck(4.2, 11.9)
    assert difference.parts["bed"].sensitivity == pytest.approx(0.0)


def test_a_depth_gauge_replaces_thickness_and_floor(job: Job):
    """Measured D of a pocket needs neither T nor f any more.

    Of the groove one reading tells the likeliest depth, but elsewhere it is within 0.43 of it at
    best (2 x 0.10 thickness, 0.10 flat, 2 x 0.05 bed, 0.03 gauge): 12.4 - 0.23 to 12.4 + 0.33, as
    predicted, says more.
    """
    settled = Settled(groove_depth=((-600.0, 0.0, 12.31),), pocket_depth={"P1a": 12.5})
    heights = Heights(job, Blank.assumed(job), settled)
    groove = heights.depth(1.2, "groove", AT)
    assert groove.nominal == pytest.approx(12.31)
    assert groove.worst() == pytest.approx((12.17, 12.73))
    pocket = heights.depth(1.2, "plug-pockets", AT, "P1a")
    assert set(pocket.parts) == {"depth gauge"}
    assert pocket.worst() == pytest.approx((12.47, 12.53))
    assert heights.depth(1.2, "plug-pockets", AT, "P1b").nominal == pytest.approx(12.4)


def test_measured_fill_replaces_the_expected(job: Job):
    heights = Heights(job, Blank.assumed(job), Settled(fill={"P1a": 1.3}))
    assert heights.resin_low("P1a", Linear.of(12.4), 9.0).nominal == pytest.approx(1.3)
    assert heights.resin_low("P1b", Linear.of(12.4), 9.0).nominal == pytest.approx(
        0.7 + 0.02 * 12.4 + 0.062 + 0.009
    )


def test_thickness_after_the_skim_replaces_the_plane(job: Job):
    """The likeliest is what callipers read, not where the skim should have ended.

    11.82 was expected between 11.9 - 0.23 and 11.9 + 0.13 (touch 0.05, machine 0.03, bed 0.05, gap
    0.10): the place that was read may lie low by bed and gap, so that elsewhere no less is
    possible. Read 11.70, the cut itself is at most 11.70 + 0.03 + 0.05 + 0.10, 11.93 at the most
    with the bed. Read 11.40, which was not expected, there is 0.28 less or more than that.
    """

    def skimmed(read: float) -> Linear:
        settled = Settled(thickness_after=((0.0, 0.0, read),))
        return Heights(job, Blank.assumed(job), settled).skimmed(11.9, AT)

    assert skimmed(11.82).nominal == pytest.approx(11.82)
    assert skimmed(11.82).worst() == pytest.approx((11.67, 12.03))
    assert skimmed(11.70).worst() == pytest.approx((11.67, 11.93))
    assert skimmed(11.40).worst() == pytest.approx((11.40 - 0.23, 11.40 + 0.23))


def test_a_reading_follows_the_measured_wedge(job: Job):
    """Read as planned at the thin end, the groove is as planned at the thick end too, 0.74 deeper;
    it was taken for as deep as at the thin end, within 0.43."""
    x = np.array([-690.0, -690.0, 690.0, 690.0, 0.0, 0.0, -300.0, 300.0])
    y = np.array([-230.0, 230.0, -230.0, 230.0, -230.0, 230.0, 0.0, 0.0])
    measured = Measured(x, y, 13.6 + 0.4 * x / 690.0, np.full(8, np.nan))
    blank = Blank.from_measured(job, measured)
    thin = Heights(job, blank).depth(1.2, "groove", (-640.0, 0.0)).nominal
    read = Settled(groove_depth=((-640.0, 0.0, thin),))
    thick = Heights(job, blank, read).depth(1.2, "groove", (640.0, 0.0))
    assert thick.nominal == pytest.approx(thin + 0.8 * 640 / 690, abs=0.01)
    predicted = Heights(job, blank).depth(1.2, "groove", (640.0, 0.0)).worst()
    assert predicted[0] - 1e-9 <= thick.worst()[0] and thick.worst()[1] <= predicted[1] + 1e-9


def test_a_coupon_narrows_the_machine(job: Job):
    """A bias that was measured is no tolerance any more, but it shifts what is reached."""
    heights = Heights(job, Blank.assumed(job), Settled(coupon_z=0.04))
    floor = heights.floor(1.2, "groove")
    assert floor.nominal == pytest.approx(1.24)
    assert not any(name == "machine in groove" for name in floor.parts)


def test_a_measured_wedge_moves_depth_and_not_wood(job: Job):
    """A wedge delays the showing at the thin end; it does not thin the floor."""
    x = np.array([-690.0, -690.0, 690.0, 690.0, 0.0, 0.0, -300.0, 300.0])
    y = np.array([-230.0, 230.0, -230.0, 230.0, -230.0, 230.0, 0.0, 0.0])
    measured = Measured(x, y, 13.6 + 0.2 * x / 690.0, np.full(8, np.nan))
    heights = Heights(job, Blank.from_measured(job, measured))
    thin, thick = (
        heights.depth(1.2, "groove", (-640.0, 0.0)),
        heights.depth(1.2, "groove", (640.0, 0.0)),
    )
    assert thick.nominal - thin.nominal == pytest.approx(0.4 * 640 / 690, abs=0.01)
    under = [heights.wood_under(1.2, "groove", (sign * 640.0, 0.0)).nominal for sign in (-1, 1)]
    assert under == pytest.approx([1.2, 1.2])


def test_depths_over_places_are_those_at_each_of_them(job: Job):
    """Where a casting shows first and last is sought over many places at once: another figure
    there, another stop."""
    x = np.array([-690.0, -690.0, 690.0, 690.0, 0.0, 0.0, -300.0, 300.0])
    y = np.array([-230.0, 230.0, -230.0, 230.0, -230.0, 230.0, 0.0, 0.0])
    measured = Measured(x, y, 13.6 + 0.2 * x / 690.0, np.full(8, np.nan))
    places = np.array([[-640.0, 0.0], [10.0, 20.0], [640.0, -100.0]])
    for heights in (
        Heights(job, Blank.assumed(job)),
        Heights(job, Blank.from_measured(job, measured)),
    ):
        nominal, low, high = heights.depth_over(1.2, "groove", places)
        each = [heights.depth(1.2, "groove", (a, b)) for a, b in places.tolist()]
        assert nominal == pytest.approx([depth.nominal for depth in each])
        thickness = [heights.blank.thickness_error(a, b) for a, b in places.tolist()]
        assert low == pytest.approx(nominal - thickness)
        assert high == pytest.approx(nominal + thickness + 0.1), "± T and up to 0.1 of gap"


def test_errors_of_the_pour_are_told_each_by_its_name(job: Job):
    """A groove 12.4 ± 0.3 deep, level: 0.2 for the line; of at most 12.7 lost ± 0.01 and ± 0.0025;
    0.3 x 0.025 of D.

    Out of level so far that it spills, a lower line costs only what spills no more.
    """
    heights = Heights(job, Blank.assumed(job))
    depth = 12.4 + Linear.term("thickness", 0.3)
    level = heights.resin_low("P1a", depth, 0.0)
    assert level.nominal == pytest.approx(0.7 + 12.4 * 0.025)
    ends = {name: part.extremes[1] for name, part in level.parts.items()}
    assert ends == pytest.approx(
        {"pour line": 0.2, "lost before the gel": 0.127, "shrinkage": 0.03175, "thickness": 0.0075}
    )
    spilt = heights.resin_low("groove", depth, 800.0)
    assert spilt.nominal == pytest.approx(2 * 0.8 + 12.4 * 0.025)
    assert spilt.parts["pour line"].extremes == pytest.approx((0.0, 0.1)), (
        "at 0.8 nothing spills any more"
    )
