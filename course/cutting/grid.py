"""Where a cut can stand: sums of part sizes, and the fewer of them that are enough.

Normal points are all sums of part sizes up to a limit. Raster points are the normal points that remain when each
is replaced by the largest point that leaves as much room behind it (Terno and Scheithauer, from memory). Any two
(or more) sums a + b + ... <= L can be rounded up, one after the other, to raster points without passing L, so a table
over raster points has the same best value as one over all positions.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np


def normal_points(sizes: Iterable[int], limit: int) -> np.ndarray:
    """All sums of `sizes`, each any number of times, from 0 to `limit`; ascending."""
    mask = (1 << (limit + 1)) - 1
    reach = 1
    for size in sorted(set(sizes)):
        step = size
        while step <= limit:
            reach |= (reach << step) & mask
            step *= 2
    bits = np.frombuffer(reach.to_bytes(limit // 8 + 1, "little"), dtype=np.uint8)
    return np.flatnonzero(np.unpackbits(bits, bitorder="little")[: limit + 1]).astype(np.int64)


def raster_points(sizes: Iterable[int], limit: int) -> np.ndarray:
    """Raster points from 0 to `limit`; ascending, the last is the largest sum."""
    points = normal_points(sizes, limit)
    return np.unique(np.append(points[floor_index(points, limit - points)], 0))


def floor_index(points: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Index of the largest point not above each value; every value is at least the first point."""
    return np.searchsorted(points, values, side="right") - 1
