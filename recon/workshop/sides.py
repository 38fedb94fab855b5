"""The sides of a frame as people name them before it: front, back, left, right, top and bottom.

Which way they lie, `recon.workshop.side_axes` knows, as the drawings do.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.model import Member
from recon.geometry.arrays import FloatArray
from recon.workshop.side_axes import side_axes, to_the_right
from recon.workshop.wording import direction_words

AXES = {"top": "up", "bottom": "down"}  # sides that are not called as the way to them is
ALONG = 0.999  # cosine from which a direction is that of a side: rounding
_PLACES = {
    "front": "in front",
    "back": "at the back",
    "left": "on the left",
    "right": "on the right",
    "top": "on top",
    "bottom": "below",
}

SIDES = tuple(_PLACES)
_ORDER = ("top", "bottom", "front", "back", "left", "right")  # of the parts of a slanting direction
_SLANTING = {"top": "upper", "bottom": "lower"}
NO_PART = 0.04  # of a unit vector's components those below are not named: two degrees, this project's choice


def named_sides(members: Sequence[Member]) -> dict[str, FloatArray]:
    """The six sides of a frame by name: unit vectors out of them, (3,).

    Parameters
    ----------
    members : sequence of Member
        At least one; z points up.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (0.0, 1.0, 0.0), 12)
    >>> named_sides([rail])["top"].tolist(), named_sides([rail])["right"].tolist()
    ([0.0, 0.0, 1.0], [0.0, 1.0, 0.0])
    """
    ways = side_axes(to_the_right(members))
    return {name: ways[AXES.get(name, name)] for name in _PLACES}


class Sides:
    """Names of a frame's sides.

    Parameters
    ----------
    members : sequence of Member
        Of the whole frame.
    z_up : bool
        Whether +z is up; where it is not known, sides are called by their axes.

    Examples
    --------
    >>> sides = Sides([Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 12)])
    >>> sides.name((0, -1, 0)), sides.name((1, 0, 0)), sides.place((0, 1, 0)), sides.name((0.6, 0, 0.8))
    ('front', 'right', 'at the back', 'upper right')
    >>> sides.nearest((0.6, 0, 0.8)), sides.nearest((0.8, 0, -0.6))
    ('top', 'right')
    >>> Sides([Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 12)], z_up=False).name((0, -1, 0))
    '-y'
    """

    def __init__(self, members: Sequence[Member], z_up: bool = True):
        self.z_up = z_up
        self._towards = named_sides(members) if z_up and members else {}

    def name(self, vector: ArrayLike) -> str:
        """The side that a vector points to: 'left', 'upper front left', or its axis without names."""
        if not self._towards:
            return direction_words(vector, False)
        unit = np.asarray(vector, float) / np.linalg.norm(vector)
        for name, towards in self._towards.items():
            if unit @ towards > ALONG:
                return name
        parts = [_SLANTING.get(name, name) for name in _ORDER if unit @ self._towards[name] > NO_PART]
        return " ".join(parts)

    def side(self, vector: ArrayLike) -> str:
        """The side that a vector points to, after "the": 'top side', 'side towards -y'."""
        name = self.name(vector)
        return f"{name} side" if self._towards else f"side towards {name}"

    def nearest(self, vector: ArrayLike) -> str:
        """The side that a vector points to most: of one at an angle 'left', too."""
        v = np.asarray(vector, float)
        k = int(np.round(np.abs(v), 9).argmax())
        return self.name(np.eye(3)[k] * np.sign(v[k]))

    def place(self, vector: ArrayLike) -> str:
        """Where something is that lies on that side: 'on the left', 'at the upper right', 'at +x'."""
        name = self.name(vector)
        return _PLACES.get(name, f"at {'the ' if self._towards else ''}{name}")
