"""Boxes in space: which overlap, and which meet when one of them is moved straight.

Boxes are told apart by a separating axis (`recon.geometry.boxes.separating_axes`).  Each axis separates two
boxes at all but one stretch of the way that one of them moves; they meet where all stretches have a part in
common.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from recon.frame.fitting_boxes import fitting_boxes
from recon.frame.joints import BRACE_TOL, CLASH_TOL
from recon.frame.model import Frame, Member
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.boxes import OrientedBoxes, reach_along, separating_axes
from recon.workshop.hardware.bolts import Bolt

HOLE = 0.28  # diameter in pitches where the stock is not known; sold are 0.21 to 0.44
# A bolt is a little thinner than its hole, and head, nut and washer grow with it.  In diameters of the bolt:
# ISO 273 medium holes are 9, 11 and 13.5 mm for M8, M10 and M12; ISO 7089 washers 16, 20 and 24 mm across;
# ISO 4032 nuts 6.8, 8.4 and 10.8 mm high; all from memory.
BOLT_PER_HOLE = 0.9
END_RADIUS = 1.0  # of the washer, the widest part of either end
END_LENGTH = 1.4  # washer 0.2, nut 0.9 and the bolt's tip 0.3; a head with its washer takes 0.9

DENSE = (
    1 << 20
)  # pairs of boxes that are compared at a time; of more small ones, a tree finds those that are near
SMALL = 4.0  # pitches
STILL = 1e-12  # speeds below this are none
_ALONG = 1e-9  # an edge whose other components are below this is along an axis of space

BoxRow = tuple[ArrayLike, ArrayLike, ArrayLike]  # centre (3,), axes (3, 3), half sizes (3,) of one box


@dataclass(frozen=True)
class Boxes(OrientedBoxes):
    """Boxes, n of them, in any direction.

    Attributes
    ----------
    centre : (n, 3)
        Middles, pitches.
    axes : (n, 3, 3)
        Unit vectors along the edges, in rows.
    half : (n, 3)
        Half sizes along them, pitches.
    play : (n,)
        How far a box may be off its place, pitches; overlaps no deeper than this do not count.
    """

    play: FloatArray

    def __len__(self) -> int:
        return len(self.centre)

    def take(self, index: int | Sequence[int] | slice | IntArray | BoolArray) -> Boxes:
        """Some of the boxes, by index or mask."""
        return Boxes(self.centre[index], self.axes[index], self.half[index], self.play[index])

    @property
    def reach(self) -> FloatArray:
        """Half sizes of the axis-parallel boxes round them, (n, 3), pitches."""
        return np.einsum("nij,ni->nj", np.abs(self.axes), self.half)

    @property
    def straight(self) -> BoolArray:
        """Which lie along the axes of space, (n,)."""
        return np.sort(np.abs(self.axes), axis=2)[:, :, :2].max(axis=(1, 2), initial=0) < _ALONG


def joined(parts: Iterable[Boxes]) -> Boxes:
    """All the boxes of several `Boxes`, one after another."""
    parts = list(parts)
    return Boxes(
        np.concatenate([p.centre for p in parts]),
        np.concatenate([p.axes for p in parts]),
        np.concatenate([p.half for p in parts]),
        np.concatenate([p.play for p in parts]),
    )


def member_boxes(members: Iterable[Member]) -> Boxes:
    """The members as boxes, the first axis of each along the member.

    >>> boxes = member_boxes([Member("A", (0, 0, 0), (0, 0, 1), 5)])
    >>> boxes.centre.tolist(), boxes.half.tolist()
    ([[0.0, 0.0, 2.0]], [[2.5, 0.5, 0.5]])
    """
    members = tuple(members)
    first = np.array([m.first for m in members], float).reshape(-1, 3)
    way = np.array([m.direction for m in members], float).reshape(-1, 3)
    holes, width = np.array([m.holes for m in members], int), np.array([m.width for m in members], float)
    axes = section_frames(way / np.linalg.norm(way, axis=1, keepdims=True))
    axes[:, 0] = way
    return Boxes(
        (first + (first + (holes - 1)[:, None] * way)) / 2,
        axes,
        np.stack([holes / 2, width / 2, width / 2], axis=1),
        np.array([CLASH_TOL if m.on_lattice else BRACE_TOL for m in members]),
    )


def fitting_solids(frame: Frame) -> tuple[tuple[str, ...], Boxes]:
    """The labels of the fittings whose size is known in pitches, and their boxes.

    >>> fitting_solids(Frame(()))[0]
    ()
    """
    boxes = fitting_boxes(frame)
    return tuple(boxes), boxes_of((b.centre, b.axes, b.half) for b in boxes.values())


def bolt_ends(bolts: Iterable[Bolt], hole: float = HOLE) -> Boxes:
    """The two ends of every bolt that stick out, start then end: 2 n boxes as wide as the washer.

    Parameters
    ----------
    bolts : iterable of Bolt
        The n bolts.
    hole : float
        Diameter of the holes, pitches.
    """
    bolts, d = tuple(bolts), BOLT_PER_HOLE * hole
    axes = section_frames(np.array([bolt.axis for bolt in bolts], float).reshape(-1, 3))
    faces = np.array([(bolt.start, bolt.end) for bolt in bolts], float).reshape(-1, 2, 3)
    out = np.array([[-1.0], [1.0]]) * END_LENGTH * d / 2 * axes[:, None, 0]
    half = np.tile([END_LENGTH * d / 2, END_RADIUS * d, END_RADIUS * d], (2 * len(bolts), 1))
    return Boxes(
        (faces + out).reshape(-1, 3), np.repeat(axes, 2, axis=0), half, np.full(2 * len(bolts), CLASH_TOL)
    )


def section_frames(directions: FloatArray) -> FloatArray:
    """Each direction with two others across it.

    Parameters
    ----------
    directions : (n, 3)
        Unit vectors.

    Returns
    -------
    (n, 3, 3)
        Rows: the direction, and two across it as `recon.frame.model.section_axes` has them.
    """
    u = np.eye(3)[np.abs(directions).argmin(axis=1)]
    u = u - directions * (u * directions).sum(axis=1, keepdims=True)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    return np.stack([directions, u, np.cross(directions, u)], axis=1)


def boxes_of(rows: Iterable[BoxRow]) -> Boxes:
    """Boxes from (centre, axes, half) rows, true to their place."""
    rows = list(rows)
    return Boxes(
        np.array([centre for centre, _, _ in rows], float).reshape(-1, 3),
        np.array([axes for _, axes, _ in rows], float).reshape(-1, 3, 3),
        np.array([half for _, _, half in rows], float).reshape(-1, 3),
        np.full(len(rows), CLASH_TOL),
    )


def prism_on_bolt(bolt: Bolt, side: int, near: float, far: float, radius: float) -> BoxRow:
    """A square prism round a bolt's axis, beyond a face that it clamps, as a row for `boxes_of`.

    Parameters
    ----------
    bolt : Bolt
        The bolt.
    side : -1 or 1
        Beyond the face where the bolt starts, or where it ends.
    near, far : float
        From where to where, pitches from the face.
    radius : float
        Half the prism's width, pitches.
    """
    axes = bolt_axes(bolt)
    face = np.asarray(bolt.start if side < 0 else bolt.end, float)
    return face + side * (near + far) / 2 * axes[0], axes, ((far - near) / 2, radius, radius)


def bolt_axes(bolt: Bolt) -> FloatArray:
    """Rows, (3, 3): the bolt's axis and two directions across it, along axes of space where the bolt is."""
    return section_frames(np.array([bolt.axis], float))[0]


def overlaps(a: Boxes, b: Boxes) -> BoolArray:
    """Which of n boxes overlaps which of m by more than the play of the two, (n, m).

    >>> post, rail = ([Member("A", (0, 0, 0), (0, 0, 1), 5)], [Member("B", (-2, 0.5, 2), (1, 0, 0), 5)])
    >>> overlaps(member_boxes(post), member_boxes(rail)).tolist()
    [[True]]
    """
    met = np.zeros((len(a), len(b)), bool)
    met[overlapping(a, b)] = True
    return met


def overlapping(a: Boxes, b: Boxes) -> tuple[IntArray, IntArray]:
    """The pairs of `overlaps`: indices of a and b, in order of a, then of b.  Boxes far apart are cheap."""
    i, k = _near(a, b)
    slanting = ~(a.straight[i] & b.straight[k])
    kept = ~slanting
    i_slanting, k_slanting = i[slanting], k[slanting]
    if len(i_slanting):
        play = np.maximum(a.play[i_slanting], b.play[k_slanting])
        kept[slanting] = _slanting_met(a.take(i_slanting), b.take(k_slanting), np.zeros(3), play)
    return i[kept], k[kept]


def _near(a: Boxes, b: Boxes) -> tuple[IntArray, IntArray]:
    """Pairs whose axis-parallel boxes overlap by more than the play of the two, in order."""
    if not len(a) or not len(b):
        return np.zeros(0, int), np.zeros(0, int)
    reach_a, reach_b = a.reach, b.reach
    radius = reach_a.max() + reach_b.max()
    if len(a) * len(b) > DENSE and radius < SMALL:
        pairs = cKDTree(a.centre).sparse_distance_matrix(
            cKDTree(b.centre), radius, p=np.inf, output_type="ndarray"
        )
        i, k = pairs["i"].astype(int), pairs["j"].astype(int)
        order = np.lexsort((k, i))
        i, k = i[order], k[order]
    else:
        rows = max(DENSE // len(b), 1)
        starts = range(0, len(a), rows)
        found = [_near_rows(a, b, slice(start, start + rows), reach_a, reach_b) for start in starts]
        i = np.concatenate([start + one for start, (one, _) in zip(starts, found)])
        k = np.concatenate([other for _, other in found])
    room = reach_a[i] + reach_b[k] - np.maximum(a.play[i], b.play[k])[:, None]
    met = (np.abs(b.centre[k] - a.centre[i]) < room).all(axis=1)
    return i[met], k[met]


def _near_rows(
    a: Boxes, b: Boxes, rows: slice, reach_a: FloatArray, reach_b: FloatArray
) -> tuple[IntArray, IntArray]:
    """Pairs of these rows of a, counted from their first, and of b, whose axis-parallel boxes overlap."""
    near = [
        np.abs(b.centre[:, c] - a.centre[rows, None, c]) < reach_a[rows, None, c] + reach_b[:, c]
        for c in range(3)
    ]
    one, other = np.nonzero(np.logical_and.reduce(near))
    return one, other


def met_on_the_way(a: Boxes, b: Boxes, direction: ArrayLike) -> BoolArray:
    """Which of n boxes meets which of m others when it moves without end, (n, m).

    Parameters
    ----------
    a, b : Boxes
        The n boxes that move, and the m that rest.
    direction : array_like, (3,)
        In which all of `a` move.

    Examples
    --------
    >>> boxes = member_boxes([Member("A", (0, 0, 0), (0, 0, 1), 5), Member("B", (3, 0, 0), (0, 0, 1), 5)])
    >>> met_on_the_way(boxes.take([0]), boxes.take([1]), (1, 0, 0)).tolist()
    [[True]]
    >>> met_on_the_way(boxes.take([0]), boxes.take([1]), (0, 1, 0)).tolist()
    [[False]]
    """
    direction = np.asarray(direction, float)
    play = np.maximum.outer(a.play, b.play)
    reach_a, reach_b = a.reach, b.reach
    met = np.ones((len(a), len(b)), bool)
    enter, leave = np.zeros(met.shape), np.full(met.shape, np.inf)
    for c in range(3):  # an axis at a time, as most boxes pass most others by
        between = b.centre[:, c] - a.centre[:, c, None]
        room = reach_a[:, c, None] + reach_b[:, c] - play
        if abs(direction[c]) < STILL:
            met &= np.abs(between) < room
        else:
            middle, half = between / direction[c], room / abs(direction[c])
            met &= room > 0
            enter, leave = np.maximum(enter, middle - half), np.minimum(leave, middle + half)
    met &= enter + 1e-9 < leave
    i, k = np.nonzero(met & ~np.logical_and.outer(a.straight, b.straight))
    if len(i):
        met[i, k] = _slanting_met(a.take(i), b.take(k), direction, play[i, k])
    return met


def _slanting_met(a: Boxes, b: Boxes, direction, play) -> np.ndarray:
    """The same for pairs of boxes, n and n, along all fifteen axes."""
    axes, degenerate = separating_axes(a.axes, b.axes)
    reach = reach_along(axes, a) + reach_along(axes, b)
    enter, leave = _stretch(
        np.einsum("nki,ni->nk", axes, b.centre - a.centre),
        axes @ direction,
        reach - play[:, None],
        parallel=degenerate,
    )
    return enter + 1e-9 < leave


def _stretch(between, speed, room, parallel=None) -> tuple[np.ndarray, np.ndarray]:
    """When (t >= 0) all of |between - t speed| < room hold, over the last index: from, until."""
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (between - room) / speed, (between + room) / speed
    still = np.abs(speed) < STILL
    apart = still & (np.abs(between) >= room) | (room <= 0)
    enter = np.where(still, -np.inf, np.minimum(first, second))
    leave = np.where(still, np.inf, np.maximum(first, second))
    enter, leave = np.where(apart, np.inf, enter), np.where(apart, -np.inf, leave)
    if parallel is not None:
        enter, leave = np.where(parallel, -np.inf, enter), np.where(parallel, np.inf, leave)
    return np.maximum(enter.max(axis=-1), 0.0), leave.min(axis=-1)
