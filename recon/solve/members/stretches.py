"""The stretch of a line that holds a member: the one with most evidence."""

from __future__ import annotations

import numpy as np

from recon.geometry.arrays import FloatArray

LOOSE_END = 4.0  # nats: what lies past a miss must be worth more, or it is left to the search for ends


def best_stretch(profile: FloatArray) -> tuple[int, int, float]:
    """Start, stop and sum of the stretch with the largest sum, without loose ends.

    A loose end is a piece past a miss that is worth little by itself.

    Parameters
    ----------
    profile : array, (K,)
        Nats at each hole.

    Notes
    -----
    The largest sum by Kadane's algorithm (Bentley 1984, doi:10.1145/358234.381162).

    Examples
    --------
    >>> best_stretch(np.array([-1.0, 5, 5, 5, -2, 3]))
    (1, 4, 15.0)
    """
    best, where = 0.0, (0, 0)
    total, start = 0.0, 0
    for i, v in enumerate(profile.tolist()):
        if total <= 0:
            total, start = v, i
        else:
            total += v
        if total > best:
            best, where = total, (start, i + 1)
    a, b = where
    a, b = _without_loose_ends(profile, a, b)
    return a, b, float(np.sum(profile[a:b]))


def _without_loose_ends(profile: FloatArray, a: int, b: int) -> tuple[int, int]:
    while b - a > 1 and (loose := _loose_end(profile[a:b][::-1])):
        b -= loose
    while b - a > 1 and (loose := _loose_end(profile[a:b])):
        a += loose
    return a, b


def _loose_end(piece: FloatArray) -> int:
    """Holes of the loose end with which a piece starts; 0 where it has none."""
    misses = np.nonzero(piece < 0)[0]
    if not len(misses):
        return 0
    # The run of misses and all before it.
    upto = int(misses[0])
    while upto < len(piece) and piece[upto] <= 0:
        upto += 1
    return 0 if upto >= len(piece) or piece[:upto].sum() >= LOOSE_END else upto
