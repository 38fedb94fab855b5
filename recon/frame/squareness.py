"""How far a built frame is from its lattice: the angles between its axes, and each member's place.

A hole count says where a member is on the lattice; a frame bolted by hand is racked a little, and each member
lies off its place within the play of its bolts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import FloatArray, Vector

PLANES = ((1, 2), (0, 2), (0, 1))  # pairs of axes whose angle changes when the frame racks about x, y, z


@dataclass(frozen=True)
class Racked:
    """How far a frame is out of square.

    Attributes
    ----------
    deg : tuple of three float
        About x, y and z: by how much the angle between the two other axes is under 90 degrees.
    error_deg : tuple of three float
        Their standard errors.
    """

    deg: Vector
    error_deg: Vector

    def turned(self, turn: ArrayLike) -> Racked:
        """The same after the frame is moved by a rotation or reflection (3, 3).

        Examples
        --------
        >>> turn = [[0, -1, 0], [1, 0, 0], [0, 0, 1]]
        >>> Racked((1.0, 0.5, 0.0), (0.1, 0.2, 0.3)).turned(turn).deg
        (0.5, -1.0, 0.0)
        """
        T = np.asarray(turn, float)
        size = np.abs(T)
        return Racked(_about(T @ _matrix(self.deg) @ T.T), _about(size @ _matrix(self.error_deg) @ size.T))


@dataclass(frozen=True)
class OffPlace:
    """How far a member lies off its place on the frame's lattice, which may be racked.

    Attributes
    ----------
    shift : tuple of three float
        Of its middle, pitches.
    turn_deg : tuple of three float
        Rotation vector, degrees.
    shift_error, turn_error_deg : tuple of three float
        Standard errors.
    """

    shift: Vector
    turn_deg: Vector
    shift_error: Vector
    turn_error_deg: Vector

    def turned(self, turn: ArrayLike) -> OffPlace:
        """The same after the frame is moved by a rotation or reflection (3, 3).

        Examples
        --------
        >>> off = OffPlace((0.1, 0.0, 0.0), (0.0, 0.0, 1.0), (0.01, 0.02, 0.03), (0.1, 0.1, 0.1))
        >>> off.turned([[0, -1, 0], [1, 0, 0], [0, 0, 1]]).shift
        (0.0, 0.1, 0.0)
        """
        T = np.asarray(turn, float)
        way = np.sign(np.linalg.det(T))  # a reflection turns rotations round
        return OffPlace(
            _vector(T @ self.shift),
            _vector(way * T @ self.turn_deg),
            _vector(np.abs(T) @ self.shift_error),
            _vector(np.abs(T) @ self.turn_error_deg),
        )


def _matrix(about: ArrayLike) -> FloatArray:
    """Symmetric (3, 3) with values about x, y, z at the pairs of axes that they are between."""
    G = np.zeros((3, 3))
    for value, (i, j) in zip(np.asarray(about, float), PLANES):
        G[i, j] = G[j, i] = value
    return G


def _about(G: FloatArray) -> Vector:
    return _vector([G[i, j] for i, j in PLANES])


def _vector(values: ArrayLike) -> Vector:
    x, y, z = (float(v) + 0.0 for v in np.asarray(values, float))
    return x, y, z


def to_dict(value: Racked | OffPlace) -> dict[str, list[float]]:
    """The value as the plain values of a frame file.

    Examples
    --------
    >>> to_dict(Racked((1.0, 0.5, 0.0), (0.1, 0.2, 0.3)))
    {'deg': [1.0, 0.5, 0.0], 'error_deg': [0.1, 0.2, 0.3]}
    """
    return {name: list(v) for name, v in vars(value).items()}


def racked_from_dict(entry: Mapping[str, Any] | None) -> Racked | None:
    """The rack in the plain values of a frame file; None for None."""
    if entry is None:
        return None
    return Racked(_vector(entry["deg"]), _vector(entry["error_deg"]))


def off_place_from_dict(entry: Mapping[str, Any] | None) -> OffPlace | None:
    """A member's place in the plain values of a frame file; None for None."""
    if entry is None:
        return None
    names = ("shift", "turn_deg", "shift_error", "turn_error_deg")
    return OffPlace(*(_vector(entry[name]) for name in names))
