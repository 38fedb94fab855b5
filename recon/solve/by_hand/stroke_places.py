"""Where a stroke's row lies in space, and which lattice lines it may mean.

With camera and direction known, a row of unit pitch has a place, known well across the line of sight and
worse along it.  Its openings lie half a width off the member's centre line, on one of two faces turned to the
camera.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera, image2sensor
from recon.geometry.lattice import snap
from recon.solve.by_hand.row_strokes import CountedStroke, stroke_points
from recon.solve.by_hand.stroke_camera import stepped_camera
from recon.solve.evidence.candidate import across
from recon.solve.photo.placed_rows import SYSTEMATIC
from recon.solve.photo.row_points import RowPoints, place_rows

PLAY = 0.1  # pitches: members of frames bolted by hand lie about so far off a lattice; this project's choice
STEP_SIZE, SMALL = 7, 1e-5  # numbers of a camera's step, and the step for a numeric derivative
REACH = 3.5  # standard errors from a row's place within which lattice lines are looked for
STEP = 0.25  # pitches between the places along the ray that are snapped to the lattice
MOST_LINES = 10  # lattice lines a row and face at most, the nearest first: bounds the time


@dataclass(frozen=True)
class PlacedStroke:
    """A stroke's row in the frame's axes.

    Attributes
    ----------
    axis : int
        Along which it runs.
    holes : int
    low : (3,) array
        Its opening of lowest coordinate, pitches, from the camera's centre or in the camera's world.
    sign : float
        +1 where the stroke runs towards higher coordinates, else -1.
    cov : (3, 3) array
        Of `low` were the camera known, play of the member included, pitches^2.
    by_camera : (3, 7) array
        Derivative of `low` by a step of the camera (`stroke_camera.stepped_camera`).
    normals : (2, 3) array
        Outward normals of the two faces that may bear it.
    """

    axis: int
    holes: int
    low: FloatArray
    sign: float
    cov: FloatArray
    by_camera: FloatArray
    normals: FloatArray


def place_strokes(
    camera: Camera, strokes: Sequence[CountedStroke], axis: IntArray, long_side: float
) -> list[PlacedStroke]:
    """Where strokes' rows lie.

    Parameters
    ----------
    camera : Camera
        Its t is honoured.
    strokes : sequence of CountedStroke
    axis : (S,) int array
        Which of the frame's axes each runs along.
    long_side : float
        Of the photo, px.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.by_hand.row_strokes import RowStroke, count_holes
    >>> camera = Camera(1000.0, 799.5, 599.5, t=np.array([0.0, 0.0, 20.0]))
    >>> ends = camera.project([[6.0, 2, 0], [1, 2, 0]])
    >>> stroke = count_holes(RowStroke(tuple(ends[0]), tuple(ends[1]), holes=6), np.zeros(0, OPENING))
    >>> placed = place_strokes(camera, [stroke], np.array([0]), 1600)[0]
    >>> (placed.low.round(3) + 0.0).tolist(), placed.sign
    ([1.0, 2.0, 0.0], -1.0)
    """
    holes = np.array([s.holes for s in strokes])
    points = stroke_points(strokes)
    low, sign, cov = _lowest(camera, points, holes, axis)
    by_camera = np.zeros((len(strokes), 3, STEP_SIZE))
    for k in range(STEP_SIZE):
        step = np.zeros(STEP_SIZE)
        step[k] = SMALL
        ahead, back = (stepped_camera(camera, s, long_side) for s in (step, -step))
        by_camera[:, :, k] = _lowest(ahead, points, holes, axis)[0] - _lowest(back, points, holes, axis)[0]
    by_camera /= 2 * SMALL
    out = []
    for i, stroke in enumerate(strokes):
        a = int(axis[i])
        middle = low[i] + 0.0
        middle[a] += (stroke.holes - 1) / 2
        normals = np.zeros((2, 3))
        for k, j in enumerate(across(a)):
            normals[k, j] = np.sign(camera.centre[j] - middle[j]) or 1.0
        spread = cov[i] + (SYSTEMATIC**2 + PLAY**2) * np.eye(3)
        out.append(PlacedStroke(a, stroke.holes, low[i], float(sign[i]), spread, by_camera[i], normals))
    return out


def _lowest(
    camera: Camera, points: RowPoints, holes: IntArray, axis: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """For each row the opening of lowest coordinate (S, 3), pitches, the row's sign and covariance."""
    towards = camera.R.T[axis]
    place, way, inverse = place_rows(image2sensor(camera, points.px), points, towards)
    sign = np.sign((way * towards).sum(1))
    low = (place - camera.t) @ camera.R
    low[np.arange(len(axis)), axis] -= np.where(sign < 0, holes - 1, 0)
    cov = camera.R.T @ (inverse * (points.sigma / camera.f)[:, None, None] ** 2) @ camera.R
    return low, sign, cov


def lattice_lines(centre: FloatArray, cov: FloatArray, classes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places of the lattice in an ellipsoid, the nearest first.

    Parameters
    ----------
    centre : (3,) array
        Pitches from the lattice's origin.
    cov : (3, 3) array
        Pitches^2.
    classes : (C,) array
        From `recon.geometry.lattice.lattice_classes`.

    Returns
    -------
    places : (L, 3) array
        Pitches.
    log : (L,) array
        Log density of each, nats.

    Examples
    --------
    >>> places, log = lattice_lines(np.array([0.1, 0.0, 3.4]), np.diag([0.01, 0.01, 0.25]), np.zeros(1))
    >>> places.tolist()
    [[0.0, 0.0, 3.0], [0.0, 0.0, 4.0], [0.0, 0.0, 2.0], [0.0, 0.0, 5.0]]
    """
    value, vector = np.linalg.eigh(cov)
    reach = REACH * np.sqrt(value)
    t = np.arange(-reach[2], reach[2] + STEP, STEP)
    spots = centre + t[:, None] * vector[:, 2]
    side = [k * reach[1] * vector[:, 1] for k in np.linspace(-1, 1, 1 + 2 * int(np.ceil(reach[1] / 0.5)))]
    spots = (spots[:, None] + np.array(side)[None]).reshape(-1, 3)
    places = np.unique(np.round(snap(spots, classes)[0], 6), axis=0)
    e = places - centre
    chi2 = np.einsum("ij,jk,ik->i", e, np.linalg.inv(cov), e)
    order = np.argsort(chi2)[:MOST_LINES]
    order = order[chi2[order] < REACH**2]
    norm = -0.5 * float(np.linalg.slogdet(cov)[1])
    return places[order], norm - 0.5 * chi2[order]
