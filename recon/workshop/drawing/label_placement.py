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

    def _cells(self, boxes: ArrayLike) -> list[tuple[int, int, int, int]]:
        """First and end row, first and end column of the grid that each rectangle, (n, 4), covers."""
        box = np.asarray(boxes, float)
        low = np.floor((box[:, :2] - self.low) / self.step + 1e-6)
        high = np.ceil((box[:, 2:] - self.low) / self.step - 1e-6)
        corners = np.maximum(np.concatenate([low, high], axis=1), 0).astype(int)
        return [(bottom, top, left, right) for left, bottom, right, top in corners.tolist()]

    def add(self, box: Rectangle, weight: float) -> None:
        """A rectangle in which text would cover something of this weight."""
        bottom, top, left, right = self._cells([box])[0]
        self.weight[bottom:top, left:right] += weight

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
        return self._cost(*self._cells([box])[0])

    def _cost(self, bottom: int, top: int, left: int, right: int) -> float:
        part = self.weight[bottom:top, left:right]
        wanted = max((top - bottom) * (right - left), 1)
        return float(np.add.reduce(part, axis=None)) / wanted + TAKEN * (1 - part.size / wanted)

    def place(
        self, candidates: Iterable[Text], price: Sequence[float] | FloatArray = (), limit: float = np.inf
    ) -> Text | None:
        """The candidate that covers least, its place taken; None where even that covers more than `limit`.

        Parameters
        ----------
        candidates : iterable of Text
        price : sequence of float
            Added to what each candidate covers; with equal sums the one of lower price is taken,
            then the earlier one.
        limit : float
        """
        texts = list(candidates)
        prices = [*price, *[0.0] * (len(texts) - len(price))]
        best = self.choose([text.box for text in texts], prices, limit) if texts else None
        return None if best is None else texts[best]

    def choose(self, boxes: ArrayLike, price: Sequence[float], limit: float = np.inf) -> int | None:
        """As `place`, of rectangles (n, 4) with a price each: the number of the one that covers least."""
        best, least = None, np.inf
        cells = self._cells(boxes)
        for k in sorted(range(len(cells)), key=price.__getitem__):
            if price[k] >= least - 1e-9:
                break  # what covers nothing costs its price
            cost = self._cost(*cells[k]) + price[k]
            if cost < least - 1e-9:
                best, least = k, cost
        if best is None or least > limit:
            return None
        bottom, top, left, right = cells[best]
        self.weight[bottom:top, left:right] += TAKEN
        return best
