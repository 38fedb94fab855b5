"""Lines of holes at any angle: their openings, and how deep a member on one lies in boxes along the axes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.geometry.boxes import OrientedBoxes, penetration
from recon.solve.evidence.along_line import LineOpenings
from recon.solve.evidence.predictions import member_openings

ALONG_AXIS = 1 - 1e-6  # cosine from which a line counts as running along an axis: rounding
FLUSH = 0.05  # pitches by which faces that touch may miss one another; this project's choice
PUSH, COMMON = 0.4, 0.3  # pitches: a member pushed so far in lies so deep in a box that it is flush with


@dataclass(frozen=True)
class Line:
    """A line of holes, in the frame's world.

    Attributes
    ----------
    first : (3,) centre of hole 0, pitches.
    direction : (3,) unit.
    normal : (3,) unit, of one pair of faces, perpendicular to the direction.
    """

    first: FloatArray
    direction: FloatArray
    normal: FloatArray

    @property
    def turn(self) -> FloatArray:
        """(3, 3) rotation to the world in which the line runs along axis 0 and ``normal`` is axis 2."""
        return np.array([self.direction, self.side, self.normal])

    @property
    def side(self) -> FloatArray:
        """(3,) unit, normal of the other pair of faces."""
        return np.cross(self.normal, self.direction)

    @property
    def slanted(self) -> bool:
        """Does the line run along no axis?"""
        return bool(np.abs(self.direction).max() < ALONG_AXIS)

    def shifted(self, steps: float) -> Line:
        """The line counted from ``steps`` holes further on."""
        return replace(self, first=self.first + steps * self.direction)

    def holes(self, steps: np.ndarray) -> FloatArray:
        """(N, 3) pitches: centres of the holes ``steps`` (N,)."""
        return self.first + steps[:, None] * self.direction


def line_openings(line: Line, count: int, width: float) -> LineOpenings:
    """Openings of ``count`` holes of a line from hole 0; the last two faces are those with -+ ``normal``.

    Examples
    --------
    >>> import numpy as np
    >>> brace = Line(np.zeros(3), np.array([0.8, 0.0, 0.6]), np.array([0.0, 1.0, 0.0]))
    >>> line_openings(brace, 2, 1.0).centre[2].round(3).tolist()
    [[0.0, 0.5, 0.0], [0.8, 0.5, 0.6]]
    """
    X, normals = member_openings(0, line.turn @ line.first, count, width)
    return LineOpenings(X @ line.turn, np.repeat((normals @ line.turn)[:, None], count, 1), line.turn, width)


def box_of(line: Line, count: int, width: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle (3,), axes (3, 3) in rows and half sizes (3,) of a member on the line."""
    return (
        line.first + (count - 1) / 2 * line.direction,
        line.turn,
        np.array([count / 2, width / 2, width / 2]),
    )


def overlap_boxes(line: Line, count: int, width: float, lo: np.ndarray, hi: np.ndarray) -> np.ndarray:
    """(B,) how deep a member on the line lies in axis-aligned boxes, pitches; at most 0 where apart."""
    aligned = OrientedBoxes((lo + hi) / 2, np.eye(3), (hi - lo) / 2)
    return penetration(aligned, OrientedBoxes(*box_of(line, count, width)))


def faces_along(line: Line, axis: int) -> int | None:
    """Number of the first of the two faces that are normal to a frame axis, 0 or 2; None where none is."""
    across = np.abs(line.turn[1:, axis])
    return None if across.max() < ALONG_AXIS else 2 * int(across.argmax())


def touches(line: Line, count: int, width: float, lo: FloatArray, hi: FloatArray) -> bool:
    """Does a member on the line lie flush with a box, with a good part of a hole's room in common?

    Parameters
    ----------
    line, count, width : of the member, pitches
    lo, hi : (B, 3) corners of boxes along the frame's axes, pitches
    """
    near: BoolArray = np.abs(overlap_boxes(line, count, width, lo, hi)) < FLUSH
    if not near.any():
        return False
    for axis in range(3):
        if faces_along(line, axis) is None:
            continue
        # Pushed half-way in along the face's axis, a member that is flush runs into the box.
        for way in (-PUSH, PUSH):
            pushed = replace(line, first=line.first + way * np.eye(3)[axis])
            if overlap_boxes(pushed, count, width, lo[near], hi[near]).max() > COMMON:
                return True
    return False
