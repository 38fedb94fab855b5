"""Rows with their hole counts for people: a table, and each photo with its rows drawn over it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray
from recon.image.photo_rows import PhotoRows, chance_of_clutter, hole_count
from recon.image.photos import PhotoImage
from recon.show.overlay import draw_overlay


def rows_text(photos: Sequence[PhotoRows]) -> str:
    """A table of each photo's rows, the surest first; rows that are likelier clutter are only counted.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> from recon.image.rows import Row
    >>> openings = np.zeros(4, OPENING)
    >>> openings["x"], openings["y"] = [10, 20, 30, 50], 40
    >>> row = Row(np.arange(4), np.array([0, 1, 2, 4]), -3.0)
    >>> print(rows_text([PhotoRows("left.jpg", (400, 300), openings, (row,))]))
    left.jpg (400 x 300 px): 4 openings, 1 row
      row  holes  seen  clutter  from px      to px
        1      5     4     0.1%  10, 40       50, 40
    """
    return "\n\n".join(_photo_text(photo) for photo in photos)


def _photo_text(photo: PhotoRows) -> str:
    rows = photo.likely_rows
    width, height = photo.size
    counted = f"{len(photo.openings)} openings, {len(rows)} {'row' if len(rows) == 1 else 'rows'}"
    lines = [f"{photo.name} ({width} x {height} px): {counted}"]
    if rows:
        lines.append("  row  holes  seen  clutter  from px      to px")
    for number, row in enumerate(rows, 1):
        first, last = photo.row_px(row)[[0, -1]]
        ends = f"{first[0]:.0f}, {first[1]:.0f}".ljust(11) + f"  {last[0]:.0f}, {last[1]:.0f}"
        chance = f"{chance_of_clutter(row):.1%}"
        lines.append(f"  {number:3d}  {hole_count(row):5d}  {len(row.index):4d}  {chance:>7}  {ends}")
    if more := len(photo.rows) - len(rows):
        lines.append(f"  {more} more that are likelier clutter than rows")
    if photo.reason:
        lines.append(f"  {photo.reason}")
    return "\n".join(lines)


def rows_overlay(photo: PhotoImage, found: PhotoRows) -> np.ndarray:
    """A photo with its rows drawn over it, each with its number of holes at its end.

    Parameters
    ----------
    photo : PhotoImage
    found : PhotoRows
        Of the same photo.

    Returns
    -------
    (H, W, 3) uint8 array
        RGB, as of `recon.show.overlay.draw_overlay`.
    """
    rows = found.likely_rows
    index = np.unique(np.concatenate([row.index for row in rows])) if rows else np.zeros(0, int)
    lines = [found.row_px(row) for row in rows]
    counts = [str(hole_count(row)) for row in rows]
    return draw_overlay(photo, _opening_table(found, index), lines, Frame(()), None, counts)


def _opening_table(found: PhotoRows, index: np.ndarray) -> FloatArray:
    """(N, 6) x, y, semi-major, semi-minor (px), angle (radians), taken by a bolt (0)."""
    o = found.openings[index]
    return np.c_[o["x"], o["y"], o["major"] / 2, o["minor"] / 2, o["angle"], np.zeros(len(o))]
