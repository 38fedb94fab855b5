"""Openings and rows of one photo with their hole counts: what is found before any camera is known.

They need no lattice and no frame, so they stay where a reading fails, and can be built on by hand.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.image.photos import PhotoImage
from recon.image.rows import Row, find_rows
from recon.image.scales import find_openings
from recon.image.working_copy import working_copy, working_scale

MOST_OPENINGS = 2000  # the best-scored that rows grow from: bounds time on gravel
LIKELY_CLUTTER = 0.5  # chance of clutter from which a row is kept in the file and not drawn or listed


@dataclass(frozen=True)
class PhotoRows:
    """Openings and rows of one photo.

    Attributes
    ----------
    name : str
        Of the photo.
    size : tuple of int
        Its width and height, px.
    openings : (N,) array of dtype ``recon.image.openings.OPENING``
        Px of the photo.
    rows : tuple of Row
        Least likely by chance first.
    camera : Camera or None
        Of the photo in its own pixels, where it is known.
    reason : str
        Why no frame was read from the photo; empty where one was, or where none was looked for.
    """

    name: str
    size: tuple[int, int]
    openings: NDArray[Any]
    rows: tuple[Row, ...]
    camera: Camera | None = None
    reason: str = ""

    @property
    def likely_rows(self) -> tuple[Row, ...]:
        """The rows that are likelier to be rows than clutter."""
        return likely(self.rows)

    def row_px(self, row: Row) -> FloatArray:
        """(M, 2) px of a row's openings, in order."""
        return np.c_[self.openings["x"][row.index], self.openings["y"][row.index]]


def hole_count(row: Row) -> int:
    """Holes from a row's first opening to its last, those between that are not seen among them.

    Examples
    --------
    >>> hole_count(Row(np.array([4, 7, 9, 2]), np.array([0, 1, 3, 4]), -3.0))
    5
    """
    return int(row.step[-1] - row.step[0]) + 1


def chance_of_clutter(row: Row) -> float:
    """Probability that a row is one of clutter's, from how many such rows clutter makes.

    Examples
    --------
    >>> chance_of_clutter(Row(np.arange(4), np.arange(4), 0.0))
    0.5
    """
    expected = 10.0 ** min(row.log_nfa, 300.0)
    return float(expected / (1 + expected))


def in_photo_px(openings: NDArray[Any], scale: float) -> NDArray[Any]:
    """Openings of a working copy `scale` times a photo's size, in px of the photo.

    Pixel centres are at whole numbers in both.
    """
    out = openings.copy()
    for name in ("x", "y"):
        out[name] = (openings[name] + 0.5) / scale - 0.5
    for name in ("major", "minor"):
        out[name] = openings[name] / scale
    return out


def likely(rows: Iterable[Row]) -> tuple[Row, ...]:
    """Of some rows those that are likelier than clutter.

    Examples
    --------
    >>> rows = [Row(np.arange(4), np.arange(4), log_nfa) for log_nfa in (-3.0, 1.0)]
    >>> [row.log_nfa for row in likely(rows)]
    [-3.0]
    """
    return tuple(row for row in rows if chance_of_clutter(row) < LIKELY_CLUTTER)


def find_photo_rows(photo: PhotoImage, detected: NDArray[Any] | None = None) -> PhotoRows:
    """Openings and rows of a photo.

    Parameters
    ----------
    photo : PhotoImage
    detected : (N,) array of dtype OPENING, optional
        Openings of its working copy (`recon.image.working_copy`), best first, where they are known already.

    Examples
    --------
    >>> from pathlib import Path
    >>> import cv2
    >>> colour = np.full((300, 400, 3), 190, np.uint8)
    >>> for k in range(9):
    ...     colour = cv2.circle(colour, (60 + 30 * k, 150), 5, (40, 40, 40), -1)
    >>> photo = PhotoImage(Path("bar.png"), "bar.png", colour, (400, 300), None, None, "")
    >>> [hole_count(row) for row in find_photo_rows(photo).likely_rows]
    [9]
    """
    if detected is None:
        copy, scale = working_copy(photo)
        detected = find_openings(copy)
    else:
        scale = working_scale(photo.size)
    openings = np.asarray(detected[:MOST_OPENINGS], OPENING)
    # Rows are grown in the working copy: the tolerances of growing count its pixels.
    rows = find_rows(openings)
    return PhotoRows(photo.name, photo.size, in_photo_px(openings, scale), tuple(rows))


def with_result(found: PhotoRows, camera: Camera | None, reason: str = "") -> PhotoRows:
    """The same with the photo's camera, or with the reason why no frame was read from it."""
    return replace(found, camera=camera, reason=reason)
