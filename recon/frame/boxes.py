"""Members as solid boxes: their corners, faces and openings, and what of them a viewer sees."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.frame.model import Member, box_half_sizes, section_axes

# Corners of a box in the order of `corners`, as signs along (direction, u, v); bit 4 is direction, 2 u, 1 v.
_SIGNS = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], float)
# Edges as pairs of corners that differ in one sign, and for each the two faces that meet there (see `face_normals`).
EDGES = np.array([(i, j) for i in range(8) for j in range(i + 1, 8) if (i ^ j) in (1, 2, 4)])


def _face_of(axis: int, sign: float) -> int:
    return 2 * axis + int(sign > 0)


EDGE_FACES = np.array(
    [[_face_of(k, _SIGNS[i, k]) for k in range(3) if _SIGNS[i, k] == _SIGNS[j, k]] for i, j in EDGES]
)


def box_axes(member: Member) -> np.ndarray:
    """Unit vectors along the member and across two neighbouring faces: rows direction, u, v; (3, 3)."""
    return np.array([member.direction, *section_axes(member)], float)


def centre(member: Member) -> np.ndarray:
    """Middle of the member, (3,), pitches."""
    return (np.asarray(member.first, float) + member.last) / 2


def corners(member: Member) -> np.ndarray:
    """The eight corners, (8, 3), pitches; `EDGES` pairs them."""
    return centre(member) + (_SIGNS * box_half_sizes(member)) @ box_axes(member)


def face_normals(member: Member) -> np.ndarray:
    """Outward unit normals, (6, 3): the end at hole 0, the end at the last hole, then -u, +u, -v, +v."""
    axes = box_axes(member)
    return np.array([sign * axes[k] for k in range(3) for sign in (-1.0, 1.0)])


def face_centres(member: Member) -> np.ndarray:
    """Middle of each face, (6, 3), pitches, in the order of `face_normals`."""
    return centre(member) + np.repeat(box_half_sizes(member), 2)[:, None] * face_normals(member)


def faces_seen(member: Member, eye) -> np.ndarray:
    """(6,) bool: which faces are turned towards a viewer at `eye` (3,), pitches."""
    return np.einsum("ij,ij->i", face_normals(member), np.asarray(eye, float) - face_centres(member)) > 0


def openings(member: Member) -> np.ndarray:
    """Centres of the openings on the four long faces, (4, holes, 3), pitches; faces -u, +u, -v, +v."""
    return member.hole_centres()[None] + (face_normals(member)[2:] * member.width / 2)[:, None]


def hidden(points, eye, members: Sequence[Member], slack: float = 0.02) -> np.ndarray:
    """(n,) bool: which points lie behind a member for a viewer at `eye`.

    points (n, 3), eye (3,), slack: pitches. A box ends `slack` early, so that a point on its surface is not hidden by it.
    Slab method: T. Kay, J. Kajiya, "Ray Tracing Complex Scenes", SIGGRAPH 1986, doi:10.1145/15886.15916.
    """
    points, eye = np.atleast_2d(np.asarray(points, float)), np.asarray(eye, float)
    covered = np.zeros(len(points), bool)
    for member in members:
        axes = box_axes(member)
        half = np.maximum(box_half_sizes(member) - slack, 0)
        start, way = axes @ (eye - centre(member)), (points - eye) @ axes.T
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (-half - start) / way, (half - start) / way
        # A ray along a slab (0 / 0) neither enters nor leaves it.
        enter = np.nanmax(np.minimum(a, b), axis=1, initial=-np.inf)
        leave = np.nanmin(np.maximum(a, b), axis=1, initial=np.inf)
        covered |= (enter < leave) & (leave > 0) & (enter < 1)
    return covered
