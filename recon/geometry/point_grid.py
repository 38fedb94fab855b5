"""Points of a plane in square cells, for asking of one place at a time in Python.

A k-d tree answers for many places at once in little time; asked for one, most of it goes into the call.
"""

from __future__ import annotations

from math import sqrt

from recon.geometry.arrays import FloatArray

LEAST_CELL = 1.0  # of the unit of the points; this project's choice


class PointGrid:
    """Points in cells, on the average one in each.

    Parameters
    ----------
    points : (N, 2) array

    Examples
    --------
    >>> import numpy as np
    >>> grid = PointGrid(np.array([[0.0, 0.0], [3.0, 4.0], [9.0, 9.0]]))
    >>> grid.nearest(3.0, 3.0, within=5.0, most=2)
    [1, 0]
    """

    def __init__(self, points: FloatArray) -> None:
        self._places: list[list[float]] = points.tolist()
        width, height = (points.max(axis=0) - points.min(axis=0)).tolist() if len(points) else (0.0, 0.0)
        self._cell = max(sqrt(width * height / max(len(points), 1)), LEAST_CELL)
        self._members: dict[tuple[int, int], list[int]] = {}
        for k, (x, y) in enumerate(self._places):
            self._members.setdefault((int(x // self._cell), int(y // self._cell)), []).append(k)

    def nearest(self, x: float, y: float, within: float, most: int) -> list[int]:
        """Numbers of the points nearest to a place, nearest first.

        Parameters
        ----------
        x, y : float
        within : float
            Distance below which a point counts.
        most : int
            So many at most.
        """
        cell, square, places = self._cell, within * within, self._places
        rows = range(int((y - within) // cell), int((y + within) // cell) + 1)
        found = []
        for i in range(int((x - within) // cell), int((x + within) // cell) + 1):
            for j in rows:
                for k in self._members.get((i, j), ()):
                    across, down = places[k][0] - x, places[k][1] - y
                    off = across * across + down * down
                    if off < square:
                        found.append((off, k))
        if len(found) > 1:
            found.sort()
        return [k for _, k in found[:most]]
