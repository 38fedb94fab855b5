"""Openings of a picture of any size, sought at the scale at which the holes of its rows are small.

A picture of many pixels shows the same holes larger: sought in a smaller copy they are found as well, in a
part of the time and memory.  Only where the rows turn out to have small holes is the picture looked at more
finely.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from recon.image.openings import detect_openings, lab_image, rough_openings
from recon.image.rows import find_rows
from recon.image.working_copy import first_look_halvings

SMALL_PX = 5.0  # median of rows' holes below which they are looked at twice as large: a blob needs 4
SURE_ROW = -2.0  # log10 of the number of such rows by chance, below which a row tells the size of holes
SIZED_OPENINGS = 2000  # best-scored openings that rows are sought among for that
GLANCE_PIXELS = 1e6  # of the copy that is looked at first, for whoever watches; this project's choice
LEAST_ROWS = 3  # that tell the size of holes; with fewer the picture is looked at as it is


def find_openings(
    bgr: NDArray[np.uint8], seen: Callable[[NDArray[Any]], object] | None = None
) -> NDArray[Any]:
    """Openings of a picture.

    Parameters
    ----------
    bgr : (H, W, 3) uint8 array
        BGR.
    seen : callable, optional
        Called with those that are known before all are: for whoever watches.

    Returns
    -------
    (N,) array of dtype `recon.image.openings.OPENING`
        Best score first, in px of the picture.

    Examples
    --------
    >>> photo = np.full((120, 120, 3), 180, np.uint8)
    >>> photo = cv2.circle(photo, (60, 50), 8, (40, 40, 40), -1)
    >>> best = find_openings(photo)[0]
    >>> round(best["x"]), round(best["y"]), round(best["major"])
    (60, 50, 16)
    """
    for k in range(first_look_halvings(bgr.shape[0] * bgr.shape[1]), -1, -1):
        scale = 2**k
        small = cv2.resize(bgr, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA) if k else bgr
        found = detect_openings(lab_image(np.asarray(small, np.uint8)), seen=_shown(seen, scale))
        if k == 0 or _hole_px(found) >= SMALL_PX:
            return _in_picture(found, scale)
    raise AssertionError("the finest level always returns")


def glance(bgr: NDArray[np.uint8]) -> NDArray[Any]:
    """What a first quick look at a smaller copy shows, for whoever watches; as :func:`find_openings`."""
    scale = 2 ** first_look_halvings(bgr.shape[0] * bgr.shape[1], GLANCE_PIXELS)
    small = cv2.resize(bgr, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    return _in_picture(rough_openings(lab_image(np.asarray(small, np.uint8))), scale)


def _shown(
    seen: Callable[[NDArray[Any]], object] | None, scale: int
) -> Callable[[NDArray[Any]], object] | None:
    """Shows openings of a smaller picture in px of the picture itself."""
    return seen and (lambda early: seen(_in_picture(early, scale)))


def _hole_px(openings: NDArray[Any]) -> float:
    """Median over the sure rows of their openings' major axes, px; 0 where there are too few rows."""
    best = openings[:SIZED_OPENINGS]
    sizes = [float(np.median(best["major"][r.index])) for r in find_rows(best, SURE_ROW)]
    return float(np.median(sizes)) if len(sizes) >= LEAST_ROWS else 0.0


def _in_picture(openings: NDArray[Any], scale: int) -> NDArray[Any]:
    """Openings of a picture made smaller, in px of the picture itself."""
    if scale == 1:
        return openings
    out = openings.copy()
    for name in ("x", "y"):
        out[name] = (out[name] + 0.5) * scale - 0.5
    for name in ("major", "minor"):
        out[name] *= scale
    return out
