"""Members as solid boxes: their corners, faces and openings, and what of them a viewer sees."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.model import Member, box_half_sizes, section_axes
from recon.geometry.arrays import BoolArray, FloatArray
from recon.geometry.boxes import LIFT, OrientedBoxes, occluded_by_oriented

# Corners of a box in the order of `corners`, as signs along (direction, u, v); bit 4 is direction, 2 u, 1 v.
CORNER_SIGNS = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], float)
# Edges as pairs of corners that differ in one sign, and for each the two faces that meet there
# (see `face_normals`).
EDGES = np.array([(i, j) for i in range(8) for j in range(i + 1, 8) if (i ^ j) in (1, 2, 4)])


def _face_of(axis: int, sign: float) -> int:
    return 2 * axis + int(sign > 0)


EDGE_FACES = np.array(
    [
        [_face_of(k, CORNER_SIGNS[i, k]) for k in range(3) if CORNER_SIGNS[i, k] == CORNER_SIGNS[j, k]]
        for i, j in EDGES
    ]
)


def box_axes(member: Member) -> FloatArray:
    """Unit vectors along the member and across two neighbouring faces: rows direction, u, v; (3, 3)."""
    return np.array([member.direction, *section_axes(member)], float)


def centre(member: Member) -> FloatArray:
    """Middle of the member, (3,), pitches."""
    middle: FloatArray = (np.asarray(member.first, float) + member.last) / 2
    return middle


def corners(member: Member) -> FloatArray:
    """The eight corners, (8, 3), pitches; `EDGES` pairs them.

    Examples
    --------
    >>> corners(Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5)).max(axis=0).tolist()
    [0.5, 0.5, 4.5]
    """
    off: FloatArray = (CORNER_SIGNS * box_half_sizes(member)) @ box_axes(member)
    return centre(member) + off


def face_normals(member: Member) -> FloatArray:
    """Outward unit normals, (6, 3): the end at hole 0, the end at the last hole, then -u, +u, -v, +v."""
    axes = box_axes(member)
    return np.array([sign * axes[k] for k in range(3) for sign in (-1.0, 1.0)])


def face_centres(member: Member) -> FloatArray:
    """Middle of each face, (6, 3), pitches, in the order of `face_normals`."""
    off: FloatArray = np.repeat(box_half_sizes(member), 2)[:, None] * face_normals(member)
    return centre(member) + off


def faces_seen(member: Member, eye: ArrayLike) -> BoolArray:
    """(6,) bool: which faces are turned towards a viewer at `eye` (3,), pitches."""
    towards = np.asarray(eye, float) - face_centres(member)
    seen: BoolArray = np.einsum("ij,ij->i", face_normals(member), towards) > 0
    return seen


def openings(member: Member) -> FloatArray:
    """Centres of the openings on the four long faces, (4, holes, 3), pitches; faces -u, +u, -v, +v."""
    off: FloatArray = face_normals(member)[2:] * member.width / 2
    return member.hole_centres()[None] + off[:, None]


def oriented_boxes(members: Sequence[Member]) -> OrientedBoxes:
    """The members as boxes, their axes along direction, u, v."""
    return OrientedBoxes(
        np.array([centre(m) for m in members]).reshape(-1, 3),
        np.array([box_axes(m) for m in members]).reshape(-1, 3, 3),
        np.array([box_half_sizes(m) for m in members]).reshape(-1, 3),
    )


def hidden(points: ArrayLike, eye: ArrayLike, members: Sequence[Member], slack: float = LIFT) -> BoolArray:
    """Which points lie behind a member, for a viewer at `eye`.

    Parameters
    ----------
    points : array_like, (N, 3)
        Pitches.
    eye : array_like, (3,)
        Pitches.
    members : sequence of Member
    slack : float
        A box ends so much early on all sides, pitches, so that a point on its surface is not hidden by it.

    Returns
    -------
    (N,) bool array

    Examples
    --------
    >>> post = Member("A", (5.0, 0.0, 0.0), (0.0, 0.0, 1.0), 4)
    >>> hidden([[10, 0, 1], [10, 9, 1]], [0, 0, 1], [post]).tolist()
    [True, False]
    """
    points = np.atleast_2d(np.asarray(points, float))
    return occluded_by_oriented(np.asarray(eye, float), points, oriented_boxes(members), slack)
