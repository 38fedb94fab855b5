"""Pictures of one video share their camera: one that was read with quite another focal length is wrong."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

# Pictures that agree on a focal length, from which the others' are judged: two could agree on a wrong one by
# chance.  This project's choice.
LEAST_AGREEING = 3
# Of the focal length, within which pictures agree.  Without a word of EXIF photos of made frames came within
# 0.7 % of it (6 photos); focusing changes a telephone's by some per cent (from memory).
AGREE = 0.05


def shared_focal(focals_px: Sequence[float | None]) -> float | None:
    """The focal length that most pictures of one video agree on, px.

    Parameters
    ----------
    focals_px : sequence of float or None
        As each picture by itself has it; None where it has no camera.

    Returns
    -------
    float or None
        The median of the largest group whose focal lengths lie within AGREE of one of them; None where that
        group is smaller than LEAST_AGREEING, or no larger than the rest.

    Examples
    --------
    >>> shared_focal([1000.0, 1010.0, None, 1003.0, 1450.0])
    1003.0
    >>> shared_focal([1000.0, 1450.0, None]) is None
    True
    """
    known = np.array([f for f in focals_px if f])
    if len(known) < LEAST_AGREEING:
        return None
    near = np.abs(np.log(known[:, None] / known[None])) < AGREE
    group = near[int(near.sum(axis=1).argmax())]
    if group.sum() < LEAST_AGREEING or 2 * group.sum() <= len(known):
        return None
    return float(np.median(known[group]))


def disagrees(focal_px: float | None, shared_px: float) -> bool:
    """Whether a picture's focal length is not the shared one, or it has none.

    Examples
    --------
    >>> disagrees(1450.0, 1003.0), disagrees(1010.0, 1003.0), disagrees(None, 1003.0)
    (True, False, True)
    """
    return not focal_px or abs(float(np.log(focal_px / shared_px))) >= AGREE
