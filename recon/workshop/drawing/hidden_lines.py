"""Which lines of a frame are seen in a parallel view: exact, for members as solid boxes.

Everything behind a convex box for a viewer far away lies in a convex shadow: a point P is in it where, for some t >= 0,
P + t w is in the box (w towards the viewer).  Eliminating t from the box's half-spaces (Fourier-Motzkin) leaves half-
spaces of P alone, so a straight line passes each shadow in one stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recon.frame.boxes import EDGE_FACES, EDGES
from recon.workshop.solids import Boxes

SLACK = (
    0.01  # pitches by which a shadow is smaller than its box, so that lines on touching faces stay in sight
)
EDGE_ON = 1e-6  # cosine below which a face is seen edge on
_SIGNS = np.array(
    [[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], float
)  # of corners, as in `recon.frame.boxes`


@dataclass(frozen=True)
class Shadows:
    """n shadows: a point P lies in shadow i where normals[i] @ P < offsets[i] for all 15 rows; (n, 15, 3), (n, 15).

    basis : two directions across the view, (2, 3).   low, high : along them, the rectangle that each box covers, (n, 2).
    """

    normals: np.ndarray
    offsets: np.ndarray
    basis: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def __len__(self) -> int:
        return len(self.normals)

    def take(self, which) -> Shadows:
        return Shadows(
            self.normals[which], self.offsets[which], self.basis, self.low[which], self.high[which]
        )


def shadows(boxes: Boxes, towards) -> Shadows:
    """The shadows of boxes; `towards` is the unit vector to the viewer."""
    towards = np.asarray(towards, float)
    slope = boxes.axes @ towards  # (n, 3)
    edge_on = np.abs(slope) <= EDGE_ON
    front = boxes.axes * np.where(edge_on, 0.0, np.sign(slope))[..., None]  # normals of the faces turned here
    middle = np.einsum("nkj,nj->nk", front, boxes.centre)
    half = boxes.half - SLACK
    normals = [front[:, k] for k in range(3)]
    offsets = [np.where(edge_on[:, k], np.inf, middle[:, k] + half[:, k]) for k in range(3)]
    for k in range(3):  # faces seen edge on bound the shadow as they are
        for sign in (-1.0, 1.0):
            normal = sign * boxes.axes[:, k] * edge_on[:, k, None]
            normals.append(normal)
            offsets.append(
                np.where(edge_on[:, k], np.einsum("nj,nj->n", normal, boxes.centre) + half[:, k], np.inf)
            )
    steep = np.where(edge_on, np.inf, np.abs(slope))
    for f in range(3):  # a face in front and one behind that it does not face: an edge of the outline
        for b in range(3):
            if f != b:
                normals.append(front[:, f] / steep[:, f, None] - front[:, b] / steep[:, b, None])
                offset = (middle[:, f] + half[:, f]) / steep[:, f] + (half[:, b] - middle[:, b]) / steep[:, b]
                offsets.append(np.where(edge_on[:, f] | edge_on[:, b], np.inf, offset))
    across = np.cross(towards, np.eye(3)[np.abs(towards).argmin()])
    basis = np.array([across, np.cross(towards, across)]) / np.linalg.norm(across)
    flat = box_corners(boxes) @ basis.T
    return Shadows(
        np.stack(normals, axis=1), np.stack(offsets, axis=1), basis, flat.min(axis=1), flat.max(axis=1)
    )


def box_corners(boxes: Boxes) -> np.ndarray:
    """(n, 8, 3), in the order of `recon.frame.boxes.corners`."""
    return boxes.centre[:, None] + np.einsum("ck,nk,nkj->ncj", _SIGNS, boxes.half, boxes.axes)


def points_hidden(points, by: Shadows) -> np.ndarray:
    """(points, shadows) bool: which point lies in which shadow.  points : (m, 3) pitches."""
    points = np.asarray(points, float).reshape(-1, 3)
    flat = points @ by.basis.T
    hidden = _near(flat, flat, by)
    p, s = np.nonzero(hidden)  # the few pairs worth a closer look
    hidden[p, s] = (np.einsum("akj,aj->ak", by.normals[s], points[p]) < by.offsets[s]).all(axis=1)
    return hidden


def _near(low, high, by: Shadows) -> np.ndarray:
    """(m, shadows) bool: which of m rectangles (m, 2), (m, 2) meets which shadow's."""
    near = np.ones((len(low), len(by)), bool)
    for k in (0, 1):
        near &= high[:, k, None] > by.low[:, k]
        near &= low[:, k, None] < by.high[:, k]
    return near


def front_edges(boxes: Boxes, towards) -> list[np.ndarray]:
    """For each box the edges of its faces turned to the viewer, (k, 2, 3) pitches, those seen end on left out."""
    towards = np.asarray(towards, float)
    slope = boxes.axes @ towards
    turned = np.stack([-slope, slope], axis=2).reshape(-1, 6) > EDGE_ON  # in the order of `face_normals`
    ends = box_corners(boxes)[:, EDGES]  # (n, 12, 2, 3)
    along = ends[:, :, 1] - ends[:, :, 0]
    across = np.linalg.norm(along - (along @ towards)[..., None] * towards, axis=2)
    kept = turned[:, EDGE_FACES].any(axis=2) & (across > EDGE_ON)
    return [e[k] for e, k in zip(ends, kept)]


def hidden_stretches(lines, by: Shadows, owner=None) -> list[list[tuple[float, float]]]:
    """For each line (m, 2, 3) the stretches that lie in shadows: merged (start, end) shares of it, 0 to 1, in order.

    owner : (m,) index of the shadow that each line casts itself and is not hidden by, or None.
    """
    lines = np.asarray(lines, float).reshape(-1, 2, 3)
    start, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    flat = lines @ by.basis.T
    near = _near(flat.min(axis=1), flat.max(axis=1), by)
    if owner is not None:
        near[np.arange(len(lines)), owner] = False
    line, shadow = np.nonzero(near)  # the few pairs worth a closer look
    speed = np.einsum("akj,aj->ak", by.normals[shadow], way[line])
    room = by.offsets[shadow] - np.einsum("akj,aj->ak", by.normals[shadow], start[line])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = room / speed
    still = np.abs(speed) < 1e-12
    enter = np.where(speed < 0, at, -np.inf)
    enter[still] = np.where(room[still] > 0, -np.inf, np.inf)
    leave = np.where(still | (speed < 0), np.inf, at)
    first, last = (
        np.maximum(enter.max(axis=1, initial=0.0), 0.0),
        np.minimum(leave.min(axis=1, initial=1.0), 1.0),
    )
    found: list[list[tuple[float, float]]] = [[] for _ in lines]
    for k in np.nonzero(last - first > 1e-9)[0]:
        found[line[k]].append((float(first[k]), float(last[k])))
    return [merged(stretches) if stretches else stretches for stretches in found]


def merged(stretches: Sequence[tuple[float, float]], gap: float = 1e-6) -> list[tuple[float, float]]:
    """Stretches (start, end) joined where they touch or overlap, in order."""
    out: list[list[float]] = []
    for start, end in sorted(stretches):
        if out and start <= out[-1][1] + gap:
            out[-1][1] = max(out[-1][1], end)
        else:
            out.append([start, end])
    return [tuple(s) for s in out]


def rest(
    stretches, whole: tuple[float, float] = (0.0, 1.0), least: float = 1e-6
) -> list[tuple[float, float]]:
    """What merged stretches leave of `whole`."""
    left, at = [], whole[0]
    for start, end in stretches:
        if start - at > least:
            left.append((at, min(start, whole[1])))
        at = max(at, end)
    if whole[1] - at > least:
        left.append((at, whole[1]))
    return [s for s in left if s[1] - s[0] > least]
