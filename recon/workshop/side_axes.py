"""Front, back, left and right of a frame, as its drawings and sentences have them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.frame.model import Member
from recon.geometry.arrays import FloatArray

UP = np.array([0.0, 0.0, 1.0])
TIE = 1e-6  # pitches by which rounding may part two equal sizes


def to_the_right(members: Sequence[Member]) -> FloatArray:
    """Unit vector, (3,), to the right of who stands before the frame; the front is its longer level side.

    Parameters
    ----------
    members : sequence of Member
        At least one; z points up.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (0.0, 1.0, 0.0), 12)
    >>> to_the_right([rail]).tolist()
    [0.0, 1.0, 0.0]
    """
    first, direction = (np.array([getattr(m, name) for m in members]) for name in ("first", "direction"))
    holes, width = (np.array([[getattr(m, name)] for m in members]) for name in ("holes", "width"))
    middle = first + direction * (holes - 1) / 2
    # Along its length half of that, across it half the width: exact where it runs along an axis.
    reach = np.abs(direction) * holes / 2 + np.sqrt(np.maximum(1 - direction**2, 0)) * width / 2
    size = np.ptp(np.concatenate([middle - reach, middle + reach]), axis=0)
    return np.eye(3)[0 if size[0] >= size[1] - TIE else 1]


def side_axes(right: FloatArray) -> dict[str, FloatArray]:
    """The six directions by name: unit vectors, (3,).

    Examples
    --------
    >>> side_axes(np.array([1.0, 0, 0]))["back"].tolist()
    [0.0, 1.0, 0.0]
    """
    back = np.cross(UP, right)
    return {"right": right, "left": -right, "back": back, "front": -back, "up": UP, "down": -UP}
