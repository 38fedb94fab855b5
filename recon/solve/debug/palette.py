"""Colours (BGR) and names that the pictures of the stages share."""

from __future__ import annotations

import cv2
import numpy as np

Colour = tuple[int, int, int]

AXES = "xyz"
AXIS_COLOUR: tuple[Colour, ...] = ((0, 94, 213), (115, 158, 0), (178, 114, 0))  # vermillion, green, blue
RED, GREEN, ORANGE, GREY = (40, 40, 220), (90, 200, 0), (0, 159, 230), (150, 150, 150)
INK, PAPER = (25, 25, 25), (245, 245, 245)
BEST_SCORE = 8.0  # of an opening, drawn in the brightest colour


def score_colours(score: np.ndarray) -> list[Colour]:
    """Colours from a score of 1 (dark) to 8 (bright), by its logarithm."""
    if not len(score):
        return []
    level = np.clip(np.log(np.maximum(score, 1)) / np.log(BEST_SCORE), 0, 1) * 255
    mapped = cv2.applyColorMap(level.astype(np.uint8)[:, None], cv2.COLORMAP_PLASMA)[:, 0]
    return [(int(b), int(g), int(r)) for b, g, r in mapped]


def chance_colour(p: float) -> Colour:
    """Green for sure, orange for likely, red for open.

    Examples
    --------
    >>> chance_colour(0.9) == GREEN, chance_colour(0.5) == ORANGE
    (True, True)
    """
    return GREEN if p > 0.75 else ORANGE if p > 0.4 else RED
