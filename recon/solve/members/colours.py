"""Colours of a picture at given points."""

from __future__ import annotations

import cv2
import numpy as np

from recon.geometry.arrays import FloatArray

MOST_ROWS = 32000  # cv2.remap takes at most 32767


def colours_at(image: np.ndarray, px: FloatArray) -> FloatArray:
    """Colours at image points, bilinear between pixels: (N, 3) L*a*b* / 100.

    Parameters
    ----------
    image : array, (H, W, 3)
        uint8 BGR.
    px : array, (N, 2)
        Inside the picture.

    Examples
    --------
    >>> white = np.full((4, 4, 3), 255, np.uint8)
    >>> colours_at(white, np.array([[1.5, 2.0]])).round(2).tolist()
    [[1.0, 0.0, 0.0]]
    """
    m = px.astype(np.float32).reshape(-1, 1, 2)
    out = np.empty((len(px), 1, 3), np.uint8)
    for i in range(0, len(px), MOST_ROWS):
        part = np.ascontiguousarray(m[i : i + MOST_ROWS])
        out[i : i + MOST_ROWS] = cv2.remap(image, part[..., 0], part[..., 1], cv2.INTER_LINEAR)
    return cv2.cvtColor(out.astype(np.float32) / 255, cv2.COLOR_BGR2LAB)[:, 0] / 100
