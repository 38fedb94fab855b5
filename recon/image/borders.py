"""Uniform borders round a picture: of a screenshot, a letterbox or a printed page.  No camera saw them."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

ALIKE = 10  # grey levels of 255 that a border's pixels differ by: JPEG's ringing; this project's choice
STRAIGHT = (
    0.5  # of a side's pixels that must change where a border ends: a thing before a plain wall has fewer
)
LEAST = 0.01  # of the picture's side, for a border; this project's choice
SPECKS = 0.001  # of a line's pixels that may differ from the border's colour; this project's choice
BLOCK = 8  # px: JPEG smears an edge over one block (ITU-T T.81)
MOST = 0.6  # of a side, for both its borders together

Box = tuple[
    int, int, int, int
]  # left, top, right, low: the first column and row within, and the first beyond


def content_box(picture: NDArray[np.uint8]) -> Box:
    """The part of a picture within its uniform borders.

    Parameters
    ----------
    picture : (H, W, 3) array
        uint8 BGR.

    Returns
    -------
    tuple of int
        Left, top, right, low; of the whole picture where it has no border.

    Examples
    --------
    >>> picture = np.zeros((60, 100, 3), np.uint8)
    >>> picture[10:50, 20:] = np.random.default_rng(1).integers(40, 220, (40, 80, 3))
    >>> content_box(picture)
    (20, 10, 100, 50)
    """
    height, width = picture.shape[:2]
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(np.int16)  # colours are smeared twice as far
    top, low = _span(grey)
    left, right = _span(grey[top:low].T)
    if right - left < (1 - MOST) * width or low - top < (1 - MOST) * height:
        return 0, 0, width, height
    return left, top, right, low


def _span(lines: NDArray[np.int16]) -> tuple[int, int]:
    """First line within the borders, and first line beyond, of lines (N, M)."""
    n = len(lines)
    first = _border(lines)
    beyond = n - _border(lines[::-1])
    return (first, beyond) if first < beyond else (0, n)


def _border(lines: NDArray[np.int16]) -> int:
    """How many of the first lines are a border; 0 where what comes after them begins ragged."""
    colour = np.median(lines[0])

    def changed(number: int) -> float:
        """Share of a line's pixels that are not of the border's colour."""
        return float((np.abs(lines[number] - colour) > ALIKE).mean())

    first = next((k for k in range(len(lines)) if changed(k) > SPECKS), 0)
    if first < LEAST * len(lines):
        return 0
    return first if changed(min(first + BLOCK, len(lines) - 1)) >= STRAIGHT else 0
