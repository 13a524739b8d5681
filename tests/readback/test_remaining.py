"""The blank kept in little room comes back bit for bit."""

from __future__ import annotations

import numpy as np
import pytest

from corepath.readback.remaining import KeptBlank, KeptSetups, Remaining
from corepath.stock.contact_kernels import Underside
from corepath.stock.kept_face import KeptFace
from corepath.stock.material import Stock

FACES = ("wood_bottom", "wood_top", "cast_bottom", "cast_top", "top")
RNG = np.random.default_rng(4)
NONE = np.float32(np.nan)


def some_face(share: float) -> np.ndarray:
    """A face of 12.0, of which `share` of the columns have other heights, some of them none."""
    face = np.full((37, 53), 12.0, dtype=np.float32)
    other = RNG.random(face.shape) < share
    face[other] = RNG.uniform(0.0, 12.0, int(other.sum()))
    face[RNG.random(face.shape) < share / 2.0] = NONE
    return face


@pytest.mark.parametrize("share", [0.0, 0.02, 0.5, 0.95])
def test_a_face_comes_back_bit_for_bit(share):
    """Also where it has -0.0 and no height at all, and where all heights differ."""
    face = some_face(share)
    face[3, :7] = -0.0
    back = KeptFace.of(face).face()
    assert back.dtype == np.float32 and back.shape == face.shape
    assert back.tobytes() == face.tobytes()


def test_what_comes_back_is_a_copy():
    """Else whoever draws it could change what is kept."""
    for share in (0.02, 0.95):
        kept = KeptFace.of(some_face(share))
        before = kept.face().tobytes()
        kept.face()[:] = 1.0
        assert kept.face().tobytes() == before


def test_a_face_of_few_other_heights_takes_little_room():
    """One bit a column and four bytes for each other height, against four bytes a column."""
    face = np.full((200, 300), NONE, dtype=np.float32)
    face[50:60, 50:150] = 5.0
    kept = KeptFace.of(face)
    assert kept.others is not None
    assert (kept.others.nbytes, kept.heights.nbytes) == (200 * 300 / 8, 4 * 10 * 100)


def test_equal_faces_are_told_from_others():
    face = some_face(0.1)
    other = face.copy()
    other[5, 5] = 3.25
    assert KeptFace.of(face).equals(KeptFace.of(face.copy()))
    assert not KeptFace.of(face).equals(KeptFace.of(other))
    assert not KeptFace.of(face).equals(KeptFace.of(face.T))


def test_states_share_the_faces_that_a_file_leaves_as_they_were():
    """A file lowers tops: the lower faces and a casting that it does not reach are kept once."""
    stock = Stock(40.0, 30.0, 10.0, 0.5)
    before = KeptBlank.of(Remaining.of(stock, "A"))
    stock.carve(stock.grid.near(0.0, 0.0, 5.0), 4.0)
    after = KeptBlank.of(Remaining.of(stock, "A"), before)
    assert after.faces[0] is before.faces[0] and after.faces[1] is not before.faces[1]
    assert set(np.unique(after.blank().wood[1])) == {4.0, 10.0}


def test_each_setup_comes_back_as_it_was_kept():
    """Though the blank is cut further, and turned over."""
    stock, kept = Stock(40.0, 30.0, 10.0, 0.5), KeptSetups()
    stock.carve(stock.grid.near(0.0, 0.0, 5.0), 4.0)
    wanted = Remaining.of(stock, "A").top.copy()
    kept.keep(stock, "A")
    stock.flip("x")
    stock.carve(np.ones_like(stock.top, dtype=np.bool_), 8.0)
    kept.keep(stock, "B")
    assert list(kept) == ["A", "B"] and kept["A"].setup == "A"
    np.testing.assert_array_equal(kept["A"].top, wanted)
    assert kept["B"].top.max() == 8.0
    assert kept.get("C") is None


def test_a_copy_of_the_blank_and_the_blank_go_their_own_ways():
    """Copies share lower faces: neither a pour into one nor a cut may show in the other."""
    stock = Stock(40.0, 30.0, 10.0, 0.5)
    mask = stock.grid.near(0.0, 0.0, 5.0)
    stock.carve(mask, 4.0)
    other = stock.copy()
    other.pour(mask, 0.5)
    assert not stock.has_casting.any() and other.has_casting[mask].all()
    assert (other.cast_bottom[mask] == 4.0).all() and (other.cast_top[mask] == 9.5).all()
    third = other.copy()
    third.flip("y")
    third.carve(np.ones_like(mask), 2.0)
    assert (other.cast_top[mask] == 9.5).all() and other.wood_top.max() == 10.0


def test_a_blank_laid_aside_comes_back_as_it_was():
    """Though the one that it was has been cut on, and as often as asked for."""
    stock = Stock(40.0, 30.0, 10.0, 0.5)
    stock.carve(stock.grid.near(0.0, 0.0, 5.0), 4.0)
    stock.pour(stock.grid.near(0.0, 0.0, 5.0), 0.5)
    faces = [getattr(stock, name).copy() for name in FACES]
    aside = stock.lay_aside()
    lower, upper = np.array([[-10.0, 0.0, 3.0]]), np.array([[10.0, 0.0, 3.0]])
    first = stock.cut(lower, upper, np.zeros(1, dtype=np.int64), 1, Underside(3.0, 0.0, 3.0))
    for back in (aside.stock(), aside.stock()):
        assert all(
            np.array_equal(getattr(back, name), face)
            for name, face in zip(FACES, faces, strict=True)
        )
        again = back.cut(lower, upper, np.zeros(1, dtype=np.int64), 1, Underside(3.0, 0.0, 3.0))
        np.testing.assert_array_equal(again.removed, first.removed)
        np.testing.assert_array_equal(back.began, faces[-1])
        np.testing.assert_array_equal(back.top, stock.top)
