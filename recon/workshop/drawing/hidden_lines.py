"""Which lines of a frame are seen in a parallel projection: exact, for members as solid boxes.

Everything behind a convex box for a viewer far away lies in a convex shadow: a point P is in it where, for
some t >= 0, P + t w is in the box (w towards the viewer).  Eliminating t from the box's half-spaces
(Fourier-Motzkin) leaves half-spaces of P alone, so a straight line passes each shadow in one stretch.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.boxes import EDGE_FACES, EDGES
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.workshop.solids import Boxes

# Pitches by which a shadow is smaller than its box, so that lines on touching faces stay in sight.
SLACK = 0.01
LEAST = 1e-6  # share of a line below which nothing of it counts as seen: rounding
EDGE_ON = 1e-6  # cosine below which a face is seen edge on
# Of corners, as in `recon.frame.boxes`.
_SIGNS = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], float)


Stretch = tuple[float, float]  # where it starts and ends


@dataclass(frozen=True)
class Shadows:
    """The shadows of n boxes: a point P lies in shadow i where normals[i] @ P < offsets[i] for all r rows.

    Attributes
    ----------
    normals : array, (n, r, 3)
    offsets : array, (n, r)
        Pitches; infinite where a row does not bound the shadow.
    basis : array, (2, 3)
        Two directions across the view.
    low, high : array, (n, 2)
        Along them, the rectangle that each box covers, pitches.
    """

    normals: FloatArray
    offsets: FloatArray
    basis: FloatArray
    low: FloatArray
    high: FloatArray

    def __len__(self) -> int:
        return len(self.normals)

    def take(self, which: Sequence[int] | IntArray) -> Shadows:
        """Some of the shadows, by their places."""
        return Shadows(
            self.normals[which], self.offsets[which], self.basis, self.low[which], self.high[which]
        )


def shadows(boxes: Boxes, towards: ArrayLike) -> Shadows:
    """The shadows of boxes.

    Parameters
    ----------
    boxes : Boxes
    towards : array, (3,)
        Unit vector to the viewer.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> from recon.workshop.solids import member_boxes
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> behind = shadows(member_boxes([post]), [0.0, -1.0, 0.0])
    >>> points_hidden([[0.0, 5.0, 3.0], [0.0, -5.0, 3.0]], behind)[:, 0].tolist()
    [True, False]
    """
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
            offset = np.einsum("nj,nj->n", normal, boxes.centre) + half[:, k]
            offsets.append(np.where(edge_on[:, k], offset, np.inf))
    steep = np.where(edge_on, np.inf, np.abs(slope))
    # A face in front and one behind that it does not face: an edge of the outline.
    for f, b in permutations(range(3), 2):
        normals.append(front[:, f] / steep[:, f, None] - front[:, b] / steep[:, b, None])
        offset = (middle[:, f] + half[:, f]) / steep[:, f] + (half[:, b] - middle[:, b]) / steep[:, b]
        offsets.append(np.where(edge_on[:, f] | edge_on[:, b], np.inf, offset))
    basis = _basis(towards)
    flat = box_corners(boxes) @ basis.T
    rows = [k for k, row in enumerate(offsets) if np.isfinite(row).any()]
    return Shadows(
        np.stack([normals[k] for k in rows], axis=1),
        np.stack([offsets[k] for k in rows], axis=1),
        basis,
        flat.min(axis=1),
        flat.max(axis=1),
    )


def _basis(towards: FloatArray) -> FloatArray:
    """Two unit vectors across the view, (2, 3)."""
    across = np.cross(towards, np.eye(3)[np.abs(towards).argmin()])
    return np.array([across, np.cross(towards, across)]) / np.linalg.norm(across)


def box_corners(boxes: Boxes) -> FloatArray:
    """Corners of the boxes, (n, 8, 3) pitches, in the order of `recon.frame.boxes.corners`."""
    return boxes.centre[:, None] + np.einsum("ck,nk,nkj->ncj", _SIGNS, boxes.half, boxes.axes)


def points_hidden(points: ArrayLike, by: Shadows) -> BoolArray:
    """Which point lies in which shadow, (points, shadows).

    Parameters
    ----------
    points : array, (m, 3)
        Pitches.
    by : Shadows
    """
    points = np.asarray(points, float).reshape(-1, 3)
    flat = points @ by.basis.T
    hidden = np.zeros((len(points), len(by)), bool)
    p, s = _near(flat, flat, by)
    inside = (np.einsum("akj,aj->ak", by.normals[s], points[p]) < by.offsets[s]).all(axis=1)
    hidden[p[inside], s[inside]] = True
    return hidden


def _near(low: FloatArray, high: FloatArray, by: Shadows) -> tuple[IntArray, IntArray]:
    """Which of m rectangles meets which shadow's: the few pairs worth a closer look; low, high : (m, 2)."""
    if not len(low):
        return np.zeros(0, int), np.zeros(0, int)
    some = np.nonzero(((high.max(axis=0) > by.low) & (low.min(axis=0) < by.high)).all(axis=1))[0]
    near = np.ones((len(low), len(some)), bool)
    for k in (0, 1):
        near &= high[:, k, None] > by.low[some, k]
        near &= low[:, k, None] < by.high[some, k]
    which, shadow = np.nonzero(near)
    return which, some[shadow]


def front_edges(boxes: Boxes, towards: ArrayLike) -> list[FloatArray]:
    """For each box the edges of its faces turned to the viewer, (k, 2, 3) pitches, without those seen end on.

    Parameters
    ----------
    boxes : Boxes
    towards : array, (3,)
        Unit vector to the viewer.
    """
    towards = np.asarray(towards, float)
    slope = boxes.axes @ towards
    turned = np.stack([-slope, slope], axis=2).reshape(-1, 6) > EDGE_ON  # in the order of `face_normals`
    ends = box_corners(boxes)[:, EDGES]  # (n, 12, 2, 3)
    along = ends[:, :, 1] - ends[:, :, 0]
    across = np.linalg.norm(along - (along @ towards)[..., None] * towards, axis=2)
    kept = turned[:, EDGE_FACES].any(axis=2) & (across > EDGE_ON)
    return [e[k] for e, k in zip(ends, kept)]


def hidden_stretches(
    lines: ArrayLike, by: Shadows, owner: Sequence[int] | IntArray | None = None
) -> list[list[Stretch]]:
    """For each line the stretches that lie in shadows.

    Parameters
    ----------
    lines : array, (m, 2, 3)
        Their ends, pitches.
    by : Shadows
    owner : array, (m,), optional
        Place of the shadow that each line casts itself and is not hidden by.

    Returns
    -------
    list of list of (float, float)
        Start and end as shares of the line, 0 to 1; merged and in order.
    """
    found: list[list[Stretch]] = [[] for _ in np.reshape(lines, (-1, 2, 3))]
    darkness = dark_stretches(lines, by, owner)
    for line, first, last in zip(*(x.tolist() for x in (darkness.line, darkness.start, darkness.end))):
        found[line].append((first, last))
    return [merged(stretches) if stretches else stretches for stretches in found]


class DarkStretches(NamedTuple):
    """Where lines lie in shadows, by line.

    Attributes
    ----------
    line, shadow : (n,)
        Numbers of the line, and of the shadow.
    start, end : (n,)
        As shares of the line.
    """

    line: IntArray
    shadow: IntArray
    start: FloatArray
    end: FloatArray


def dark_stretches(
    lines: ArrayLike, by: Shadows, owner: Sequence[int] | IntArray | None = None
) -> DarkStretches:
    """Each line's stretch in each shadow; parameters as for `hidden_stretches`."""
    lines = np.asarray(lines, float).reshape(-1, 2, 3)
    start, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    flat = lines @ by.basis.T
    line, shadow = _near(flat.min(axis=1), flat.max(axis=1), by)
    if owner is not None:
        others = np.asarray(owner, int)[line] != shadow
        line, shadow = line[others], shadow[others]
    speed = np.einsum("akj,aj->ak", by.normals[shadow], way[line])
    room = by.offsets[shadow] - np.einsum("akj,aj->ak", by.normals[shadow], start[line])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = room / speed
    still = np.abs(speed) < 1e-12
    enter = np.where(speed < 0, at, -np.inf)
    enter[still] = np.where(room[still] > 0, -np.inf, np.inf)
    leave = np.where(still | (speed < 0), np.inf, at)
    first = np.maximum(enter.max(axis=1, initial=0.0), 0.0)
    last = np.minimum(leave.min(axis=1, initial=1.0), 1.0)
    kept = last - first > 1e-9
    return DarkStretches(line[kept], shadow[kept], first[kept], last[kept])


def seen_stretches(
    lines: ArrayLike, by: Shadows, owner: Sequence[int] | IntArray | None = None
) -> tuple[IntArray, FloatArray, FloatArray]:
    """What is in sight of lines: `rest` of their `hidden_stretches`, of all at once.

    Parameters
    ----------
    lines, by, owner
        As for `hidden_stretches`.

    Returns
    -------
    line : (n,)
        Number of the line that each stretch is on, in order.
    start, end : (n,)
        As shares of the line.
    """
    return light_stretches(len(np.reshape(lines, (-1, 2, 3))), dark_stretches(lines, by, owner))


def light_stretches(count: int, dark: DarkStretches) -> tuple[IntArray, FloatArray, FloatArray]:
    """What is left of so many lines, as `seen_stretches` gives it."""
    line, _, first, last = dark
    each = np.arange(count)
    # Every line begins with a stretch before it and ends with one after it.
    line = np.concatenate([each, line, each])
    first = np.concatenate([np.full(count, -1.0), first, np.ones(count)])
    last = np.concatenate([np.zeros(count), last, np.full(count, 2.0)])
    order = np.lexsort((first, line))
    line, first, last = line[order], first[order], last[order]
    shift = 3.0 * line  # so that what was covered on one line is no cover on the next
    covered = np.maximum.accumulate(last + shift)[:-1] - shift[:-1]
    kept = (line[1:] == line[:-1]) & (first[1:] - covered > LEAST)
    return line[1:][kept], covered[kept], first[1:][kept]


def stretches_of(lines: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """The stretches from `start` to `end`, shares (n,), of lines (n, 2, k), one of each, as such lines.

    Examples
    --------
    >>> stretches_of(np.array([[[0.0, 0.0], [4.0, 8.0]]]), np.array([0.25]), np.array([0.5])).tolist()
    [[[1.0, 2.0], [2.0, 4.0]]]
    """
    shares = np.stack([start, end], axis=1)[..., None]
    return lines[:, :1] + shares * (lines[:, 1:] - lines[:, :1])


def merged(stretches: Iterable[Stretch], gap: float = 1e-6) -> list[Stretch]:
    """Stretches joined where they touch or overlap, in order.

    Examples
    --------
    >>> merged([(0.5, 0.7), (0.1, 0.2), (0.2, 0.3)])
    [(0.1, 0.3), (0.5, 0.7)]
    """
    out: list[Stretch] = []
    for start, end in sorted(stretches):
        if out and start <= out[-1][1] + gap:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def rest(stretches: Iterable[Stretch], whole: Stretch = (0.0, 1.0), least: float = LEAST) -> list[Stretch]:
    """What merged stretches leave of `whole`, in stretches longer than `least`.

    Examples
    --------
    >>> rest([(0.1, 0.3), (0.5, 0.7)])
    [(0.0, 0.1), (0.3, 0.5), (0.7, 1.0)]
    """
    left, at = [], whole[0]
    for start, end in stretches:
        if start - at > least:
            left.append((at, min(start, whole[1])))
        at = max(at, end)
    if whole[1] - at > least:
        left.append((at, whole[1]))
    return [s for s in left if s[1] - s[0] > least]
