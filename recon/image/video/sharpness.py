"""How sharp each picture of a video is beside its neighbours."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from recon.geometry.arrays import FloatArray

LONG_SIDE = 1920  # px; larger pictures are reduced to it: openings are wider than what is lost
# Half of the stretch of time that a picture is compared with, s: a hand shakes 4 to 12 times, a walk jolts
# twice a second (from memory), so that a sharp picture is among its neighbours, and the view is the same yet.
NEIGHBOURS_S = 0.5
TOP = 0.9  # quantile of the neighbours that counts as sharp: the very sharpest may be noise
COARSE = 4  # px, more than a hand's blur of 1 to 3 px; this project's choice
_STEPS = ((0, 1), (1, 0), (1, 1), (1, -1))  # from a pixel to the next one, in four directions


def edge_contrasts(bgr: np.ndarray) -> FloatArray:
    """Contrast of a picture from one pixel to the next over that from one COARSE px to the next, (4,).

    A step that is blurred over w px leaves w differences of 1 / w: the sum of their squares falls as 1 / w.
    What is seen coarsely stays, so that contrast and light count for nothing.  A movement blurs along its own
    direction alone, so each of four directions has its own number.

    Parameters
    ----------
    bgr : (H, W, 3) uint8 array
    """
    grey = reduced_grey(bgr, LONG_SIDE)
    coarse = cv2.resize(grey, None, fx=1 / COARSE, fy=1 / COARSE, interpolation=cv2.INTER_AREA)
    return np.array([_mean_square(grey, *s) / max(_mean_square(coarse, *s), 1.0) for s in _STEPS])


def _mean_square(grey: np.ndarray, dy: int, dx: int) -> float:
    """Mean squared difference of pixels so far apart."""
    height, width = grey.shape
    ahead = grey[dy:, max(dx, 0) : width + min(dx, 0)]
    back = grey[: height - dy, max(-dx, 0) : width - max(dx, 0)]
    return float(cv2.norm(ahead, back, cv2.NORM_L2SQR)) / ahead.size


def reduced_grey(bgr: np.ndarray, long_side: int) -> NDArray[np.uint8]:
    """A picture's luma, at most so many px long."""
    grey = cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY)
    share = long_side / max(grey.shape)
    if share < 1:
        grey = cv2.resize(grey, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return np.asarray(grey, np.uint8)


def sharpness(contrasts: FloatArray, at_s: ArrayLike) -> FloatArray:
    """How sharp each picture is, 0..1 (N,): in its worst direction, against its neighbours in time.

    The neighbours show nearly the same, so that the texture of what is seen does not decide.

    Parameters
    ----------
    contrasts : (N, 4) array
        Of each picture, as `edge_contrasts` gives them.
    at_s : (N,) array-like
        When each was taken, s, ascending.

    Examples
    --------
    >>> import numpy as np
    >>> sharp, shaken = [9.0, 9, 9, 9], [9.0, 3, 5, 5]
    >>> sharpness(np.array([sharp, sharp, shaken, sharp]), [0, 0.1, 0.2, 0.3]).round(2).tolist()
    [1.0, 1.0, 0.33, 1.0]
    """
    times = np.asarray(at_s, float)
    first = np.searchsorted(times, times - NEIGHBOURS_S)
    last = np.searchsorted(times, times + NEIGHBOURS_S, side="right")
    tops = np.array([np.quantile(contrasts[a:b], TOP, axis=0) for a, b in zip(first, last)])
    return np.asarray(np.clip(contrasts / np.maximum(tops, 1e-9), 0, 1).min(axis=1))
