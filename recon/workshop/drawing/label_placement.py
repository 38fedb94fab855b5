"""Where text goes on a drawing: each label takes, of the places that would do, the one that covers least."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import FloatArray
from recon.workshop.drawing.vector import Rectangle, Text

TAKEN = 1e4  # weight of a place where text stands already
MOST_CELLS = 4e6  # of the grid over a drawing


class Clutter:
    """How much of what is drawn lies where, on a grid over the drawing.

    Parameters
    ----------
    extent : (float, float, float, float)
        Left, bottom, right and top of the drawing, mm.
    step : float
        Size of a cell, mm; it gets larger where the drawing is large.

    Examples
    --------
    >>> clutter = Clutter((0.0, 0.0, 100.0, 100.0), 1.0)
    >>> clutter.add((0.0, 0.0, 50.0, 100.0), 10.0)
    >>> clutter.place([Text((x, 50.0), "A", 5.0) for x in (20.0, 70.0)]).at
    (70.0, 50.0)
    """

    def __init__(self, extent: Rectangle, step: float) -> None:
        left, bottom, right, top = extent
        self.step = max(step, ((right - left) * (top - bottom) / MOST_CELLS) ** 0.5)
        self.low = np.array([left, bottom])
        shape = np.ceil([(top - bottom) / self.step, (right - left) / self.step]).astype(int) + 1
        self.weight = np.zeros(shape)

    def _cells(self, box: Rectangle) -> tuple[slice, slice]:
        """Rows and columns of the grid that a rectangle covers."""
        low = np.floor((np.asarray(box[:2]) - self.low) / self.step + 1e-6).astype(int)
        high = np.ceil((np.asarray(box[2:]) - self.low) / self.step - 1e-6).astype(int)
        low, high = np.maximum(low, 0), np.maximum(high, 0)
        return slice(low[1], high[1]), slice(low[0], high[0])

    def add(self, box: Rectangle, weight: float) -> None:
        """A rectangle in which text would cover something of this weight."""
        self.weight[self._cells(box)] += weight

    def add_lines(self, lines: ArrayLike, weight: float) -> None:
        """Straight lines of this weight in each cell, (n, 2, 2) mm."""
        lines = np.asarray(lines, float).reshape(-1, 2, 2)
        if not len(lines):
            return
        length = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)
        count = np.ceil(length / self.step).astype(int) + 1
        which = np.repeat(np.arange(len(lines)), count)
        share = (np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)) / np.maximum(
            np.repeat(count, count) - 1, 1
        )
        points = lines[which, 0] + share[:, None] * (lines[which, 1] - lines[which, 0])
        cells = np.floor((points - self.low) / self.step).astype(int)
        good = (
            (cells >= 0).all(axis=1)
            & (cells[:, 1] < self.weight.shape[0])
            & (cells[:, 0] < self.weight.shape[1])
        )
        np.add.at(self.weight, (cells[good, 1], cells[good, 0]), weight)

    def cost(self, box: Rectangle) -> float:
        """What text in this rectangle would cover, per its own area in cells.

        What lies outside the drawing counts as taken.
        """
        rows, columns = self._cells(box)
        part = self.weight[rows, columns]
        wanted = max((rows.stop - rows.start) * (columns.stop - columns.start), 1)
        return float(part.sum()) / wanted + TAKEN * (1 - part.size / wanted)

    def place(
        self, candidates: Iterable[Text], price: Sequence[float] | FloatArray = (), limit: float = np.inf
    ) -> Text | None:
        """The candidate that covers least, its place taken; None where even that covers more than `limit`.

        Parameters
        ----------
        candidates : iterable of Text
        price : sequence of float
            Added to what each candidate covers; with equal sums the earlier one is taken.
        limit : float
        """
        best, least = None, np.inf
        for k, text in enumerate(candidates):
            cost = self.cost(text.box) + (price[k] if k < len(price) else 0.0)
            if cost < least - 1e-9:
                best, least = text, cost
                if cost == 0:
                    break
        if best is None or least > limit:
            return None
        self.add(best.box, TAKEN)
        return best
