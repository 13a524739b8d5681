"""A face of the virtual blank, kept in little room.

Of its faces (bottom and top, of wood and casting) most columns of most have one height: that of a
raw face, or none. So a face is kept as that height, one bit a column, and the heights of the other
columns, bit for bit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["KeptFace"]

Singles = NDArray[np.float32]

# Columns looked at for the height that most have.
_SAMPLE = 2048
# Share of columns of other heights from which on a face is kept as it is.
_MANY = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class KeptFace:
    """One face [iy, ix]: `common`, the height of the columns that have no bit in `others`, and the
    `heights` of those that have one, in order. Heights are held as their 32 bits, so that none
    (NaN) equals itself. Without `others` all heights are there."""

    shape: tuple[int, ...]
    common: int
    others: NDArray[np.uint8] | None
    heights: NDArray[np.int32]

    @staticmethod
    def of(face: Singles) -> KeptFace:
        """Return `face` [iy, ix] packed; no bit of it is lost."""
        bits = np.ascontiguousarray(face).view(np.int32).ravel()
        values, counts = np.unique(bits[:: max(len(bits) // _SAMPLE, 1)], return_counts=True)
        common = int(values[int(np.argmax(counts))])
        other = bits != np.int32(common)
        if np.count_nonzero(other) > _MANY * len(bits):
            return KeptFace(face.shape, common, None, bits.copy())
        return KeptFace(face.shape, common, np.packbits(other), bits[other])

    def face(self) -> Singles:
        """Return the face as it was, [iy, ix], mm."""
        if self.others is None:
            return self.heights.copy().view(np.float32).reshape(self.shape)
        bits = np.full(int(np.prod(self.shape)), self.common, dtype=np.int32)
        bits[np.unpackbits(self.others, count=len(bits)).view(np.bool_)] = self.heights
        return bits.view(np.float32).reshape(self.shape)

    def equals(self, other: KeptFace) -> bool:
        """Tell whether both have the same heights, kept alike."""
        if (self.shape, self.common) != (other.shape, other.common):
            return False
        if self.others is None or other.others is None:
            return self.others is other.others and np.array_equal(self.heights, other.heights)
        alike = np.array_equal(self.others, other.others)
        return alike and np.array_equal(self.heights, other.heights)
