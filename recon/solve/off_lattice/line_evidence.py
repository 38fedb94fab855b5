"""Evidence for a member at any angle: the photos are looked at from a world turned so that it runs along an axis.

In the turned world everything that is known about members along an axis holds (``recon.solve.evidence.predictions``,
``recon.solve.members.ends``); only what hides what is asked in the world of the frame, whose members lie along its axes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.solve.evidence.along_line import LineEvidence, LineOpenings, along_line
from recon.solve.evidence.occluders import Occluders
from recon.solve.evidence.predictions import member_openings
from recon.solve.evidence.scene import Ends
from recon.solve.members.edges import FAR, LATERAL, NEAR, colour_steps, edge_evidence
from recon.solve.members.ends import boundaries_of, end_guesses, in_some_photo


@dataclass(frozen=True)
class Line:
    """A line of holes: ``first`` (3,) centre of hole 0, ``direction`` (3,) unit, ``normal`` (3,) unit, of one pair
    of faces (perpendicular to the direction); pitches, in the frame's world."""

    first: np.ndarray
    direction: np.ndarray
    normal: np.ndarray

    @property
    def turn(self) -> np.ndarray:
        """(3, 3) rotation to the world in which the line runs along axis 0 and ``normal`` is axis 2."""
        return np.array([self.direction, np.cross(self.normal, self.direction), self.normal])

    def shifted(self, steps: float) -> Line:
        return replace(self, first=self.first + steps * self.direction)


def openings_along(line: Line, count: int, width: float):
    """Opening centres (4, count, 3) and face normals (4, 3) in the frame's world; the last two faces are -+ ``normal``."""
    X, normals = member_openings(0, line.turn @ line.first, count, width)
    return X @ line.turn, normals @ line.turn


def line_openings(line: Line, count: int, width: float) -> LineOpenings:
    """The openings of a line for :func:`recon.solve.evidence.along_line.along_line`."""
    centre, normal = openings_along(line, count, width)
    return LineOpenings(centre, np.repeat(normal[:, None], count, 1), line.turn, width)


def evidence_along(
    photos, line: Line, count: int, width: float, solids: Occluders, bolted=None
) -> LineEvidence:
    """What all photos say at the openings of a line of holes; detections that are not free say nothing.

    Parameters
    ----------
    photos : PosedPhoto, ``free`` False for detections that other members explain.
    bolted : (4, count) bool, faces that a bolt's head or nut may cover: a miss there is no miss.
    """
    return along_line(photos, line_openings(line, count, width), solids, only_free=True, bolted=bolted)


def box_of(line: Line, count: int, width: float):
    """Middle (3,), axes (3, 3) in rows and half sizes (3,) of a member on the line."""
    return (
        line.first + (count - 1) / 2 * line.direction,
        line.turn,
        np.array([count / 2, width / 2, width / 2]),
    )


def overlap_boxes(line: Line, count: int, width: float, lo: np.ndarray, hi: np.ndarray) -> np.ndarray:
    """(B,) how deep a member on the line lies in axis-aligned boxes, pitches; not above 0 where they are apart.

    By separating axes, as in ``recon.frame.joints.collisions`` (Gottschalk, Lin and Manocha 1996,
    doi:10.1145/237170.237244).
    """
    middle, axes, half = box_of(line, count, width)
    products = np.cross(np.eye(3)[:, None], axes[None]).reshape(9, 3)
    size = np.linalg.norm(products, axis=1)
    tests = np.concatenate([np.eye(3), axes, products[size > 1e-6] / size[size > 1e-6, None]])
    own = np.abs(tests @ axes.T) @ half
    reach = (hi - lo) / 2 @ np.abs(tests).T + own  # (B, tests)
    return (reach - np.abs(((lo + hi) / 2 - middle) @ tests.T)).min(1)


def line_ends(
    photos, pictures, line: Line, count: int, width: float, solids: Occluders, bolted, room, reach: int
) -> Ends:
    """Where a member on the line starts and stops, from openings and edges in all photos.

    Parameters
    ----------
    pictures : photo name -> (H, W, 3) uint8 BGR.   count : holes known, 0 to count - 1.
    bolted : (4, count + 2 reach) bool, from ``reach`` holes before hole 0.
    room : (low, high) holes that there is room for before hole 0 and past the last.

    Returns
    -------
    Two EndGuess, holes counted from the line's hole 0.
    """
    step = np.arange(-reach, count + reach)
    found = evidence_along(photos, line.shifted(-reach), len(step), width, solids, bolted)
    boundaries, between = boundaries_of(count, reach)
    edge, inner = edge_evidence(
        (_steps_in_sight(p, pictures[p.name], line, boundaries, width, solids) for p in photos), between
    )
    in_sight = in_some_photo(photos, line.first + step[:, None] * line.direction)
    return end_guesses(found.profile, bolted, edge, inner, in_sight, reach, room)


def _steps_in_sight(photo, image, line, boundaries, width, solids):
    """``colour_steps`` in the turned world, NaN where anything stands before the place."""
    c = photo.camera
    turned = replace(photo, camera=c.posed(c.R @ line.turn.T, c.t))
    steps = colour_steps(turned, image, 0, line.turn @ line.first, boundaries, width)
    strength = steps.strength.copy()
    along = boundaries[:, None] + np.array([-FAR, -NEAR, NEAR, FAR])
    for f, normal in enumerate(steps.normal @ line.turn):
        side = np.cross(line.direction, normal)
        X = (
            line.first
            + 0.52 * width * normal
            + along[:, None, :, None] * line.direction
            + (LATERAL * width)[None, :, None, None] * side
        )
        hidden = solids.hide(c.centre, X.reshape(-1, 3)).reshape(len(boundaries), -1)
        strength[f, hidden.any(1)] = np.nan
    return replace(steps, strength=strength)
