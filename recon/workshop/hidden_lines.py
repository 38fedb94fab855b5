"""Which lines of a frame are seen in a parallel view: exact, for members as solid boxes.

Everything behind a convex box for a viewer far away lies in a convex shadow: a point P is in it where, for some t >= 0,
P + t w is in the box (w towards the viewer).  Eliminating t from the box's half-spaces (Fourier-Motzkin) leaves half-
spaces of P alone, so a straight line passes each shadow in one stretch.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from recon.frame.boxes import EDGE_FACES, EDGES, corners, face_centres, face_normals
from recon.frame.model import Member

SLACK = 0.01     # pitches by which a shadow is smaller than its box, so that lines on touching faces stay in sight
EDGE_ON = 1e-6   # cosine below which a face is seen edge on
_ROWS = 15       # half-spaces of a shadow: 3 front faces, and each of them with each of 3 faces behind, or fewer


@dataclass(frozen=True)
class Shadows:
    """n shadows: a point P lies in shadow i where normals[i] @ P < offsets[i] for all 15 rows; (n, 15, 3), (n, 15)."""

    normals: np.ndarray
    offsets: np.ndarray

    def __len__(self) -> int:
        return len(self.normals)


def shadows(members: Sequence[Member], towards) -> Shadows:
    """The shadows of members; `towards` is the unit vector to the viewer."""
    normals, offsets = np.zeros((len(members), _ROWS, 3)), np.full((len(members), _ROWS), np.inf)
    for i, member in enumerate(members):
        faces = face_normals(member)
        reach = np.einsum("ij,ij->i", faces, face_centres(member)) - SLACK
        slope = faces @ np.asarray(towards, float)
        front, back = np.nonzero(slope > EDGE_ON)[0], np.nonzero(slope < -EDGE_ON)[0]
        rows = [(faces[k], reach[k]) for k in np.nonzero(slope <= EDGE_ON)[0] if slope[k] >= -EDGE_ON]
        rows += [(faces[k], reach[k]) for k in front]
        rows += [(faces[f] / slope[f] - faces[b] / slope[b], reach[f] / slope[f] - reach[b] / slope[b])
                 for f in front for b in back]
        for k, (normal, offset) in enumerate(rows):
            normals[i, k], offsets[i, k] = normal, offset
    return Shadows(normals, offsets)


def points_hidden(points, by: Shadows) -> np.ndarray:
    """(points, shadows) bool: which point lies in which shadow.  points : (m, 3) pitches."""
    points = np.asarray(points, float).reshape(-1, 3)
    return (np.einsum("nkj,mj->mnk", by.normals, points) < by.offsets).all(axis=2)


def front_edges(member: Member, towards) -> np.ndarray:
    """The edges of the faces turned to the viewer, (n, 2, 3) pitches, those seen end on left out."""
    towards = np.asarray(towards, float)
    turned = face_normals(member) @ towards > EDGE_ON
    ends = corners(member)[EDGES[turned[EDGE_FACES].any(axis=1)]]
    return ends[np.linalg.norm(np.cross(ends[:, 1] - ends[:, 0], towards), axis=1) > EDGE_ON]


def hidden_stretches(lines, by: Shadows, owner=None) -> list[list[tuple[float, float]]]:
    """For each line (m, 2, 3) the stretches that lie in shadows: merged (start, end) shares of it, 0 to 1, in order.

    owner : (m,) index of the shadow that each line casts itself and is not hidden by, or None.
    """
    lines = np.asarray(lines, float).reshape(-1, 2, 3)
    start, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    speed = np.einsum("nkj,mj->mnk", by.normals, way)
    room = by.offsets - np.einsum("nkj,mj->mnk", by.normals, start)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = room / speed
    still = np.abs(speed) < 1e-12
    enter = np.where(speed < 0, at, -np.inf)
    enter[still] = np.where(room[still] > 0, -np.inf, np.inf)
    leave = np.where(still | (speed < 0), np.inf, at)
    first, last = np.maximum(enter.max(axis=2, initial=0.0), 0.0), np.minimum(leave.min(axis=2, initial=1.0), 1.0)
    met = last - first > 1e-9
    if owner is not None:
        met[np.arange(len(lines)), owner] = False
    return [merged(np.column_stack([first[i, met[i]], last[i, met[i]]])) for i in range(len(lines))]


def merged(stretches, gap: float = 1e-6) -> list[tuple[float, float]]:
    """Stretches (start, end) joined where they touch or overlap, in order."""
    out: list[list[float]] = []
    for start, end in sorted(map(tuple, np.asarray(stretches, float).reshape(-1, 2).tolist())):
        if out and start <= out[-1][1] + gap:
            out[-1][1] = max(out[-1][1], end)
        else:
            out.append([start, end])
    return [tuple(s) for s in out]


def rest(stretches, whole: tuple[float, float] = (0.0, 1.0), least: float = 1e-6) -> list[tuple[float, float]]:
    """What merged stretches leave of `whole`."""
    left, at = [], whole[0]
    for start, end in stretches:
        if start - at > least:
            left.append((at, min(start, whole[1])))
        at = max(at, end)
    if whole[1] - at > least:
        left.append((at, whole[1]))
    return [s for s in left if s[1] - s[0] > least]
