"""Openings under a stroke, looked for in the strip of the photo along it: a photo need not have been read."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from recon.geometry.arrays import FloatArray
from recon.image.openings import OPENING, detect_openings, lab_image
from recon.image.photos import PhotoImage
from recon.image.working_copy import working_scale

# Half of the strip's width: px of the photo, and part of the stroke's length.  It holds an opening of the
# widest stock seen from near and the corridor of `row_strokes`; this project's choice.
HALF_WIDE = (24.0, 0.04)
BEYOND = 0.06  # of the stroke's length that the strip goes on past its ends


def strip_openings(photo: PhotoImage, start: tuple[float, float], end: tuple[float, float]) -> NDArray[Any]:
    """Openings that the detector finds along a stroke.

    Parameters
    ----------
    photo : PhotoImage
    start, end : tuple of float
        Ends of the stroke, px.

    Returns
    -------
    (N,) array of dtype ``recon.image.openings.OPENING``, px of the photo

    Examples
    --------
    >>> from pathlib import Path
    >>> colour = np.full((300, 400, 3), 190, np.uint8)
    >>> for k in range(9):
    ...     colour = cv2.circle(colour, (60 + 30 * k, 80 + 12 * k), 5, (40, 40, 40), -1)
    >>> bar = PhotoImage(Path("bar.png"), "bar.png", colour, (400, 300), None, None, "")
    >>> found = strip_openings(bar, (60, 80), (300, 176))
    >>> sorted(round(float(x) / 30) - 2 for x in found["x"] if found["score"].max() > 0)
    [0, 1, 2, 3, 4, 5, 6, 7, 8]
    """
    ends = np.array([start, end], float)
    length = float(np.linalg.norm(ends[1] - ends[0]))
    if not np.isfinite(ends).all() or length < 2:
        return np.zeros(0, OPENING)
    way = (ends[1] - ends[0]) / length
    scale = working_scale(photo.size)
    half = HALF_WIDE[0] + HALF_WIDE[1] * length
    corner = ends[0] - BEYOND * length * way - half * np.array([-way[1], way[0]])
    # From the strip to the photo: x' = corner + (x way + y across) / scale.
    turn = np.array([way, [-way[1], way[0]]]).T
    matrix = np.c_[turn / scale, corner]
    size = (int(np.ceil((1 + 2 * BEYOND) * length * scale)), int(np.ceil(2 * half * scale)))
    bgr = cv2.cvtColor(photo.colour, cv2.COLOR_RGB2BGR)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    strip = cv2.warpAffine(bgr, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    found = detect_openings(lab_image(np.asarray(strip, np.uint8)))
    return _on_photo(found, turn, corner, scale)


def _on_photo(found: NDArray[Any], turn: FloatArray, corner: FloatArray, scale: float) -> NDArray[Any]:
    """Openings of a strip in px of its photo."""
    out = found.copy()
    px = np.c_[found["x"], found["y"]] @ turn.T / scale + corner
    out["x"], out["y"] = px.T
    out["major"], out["minor"] = found["major"] / scale, found["minor"] / scale
    out["angle"] = found["angle"] + np.arctan2(turn[1, 0], turn[0, 0])
    return np.asarray(out)
