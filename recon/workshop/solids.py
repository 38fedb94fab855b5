"""Boxes in space: which overlap, and which meet when one of them is moved straight.

Boxes are told apart by a separating axis (`recon.geometry.boxes.separating_axes`).  Each axis separates two boxes at all but
one stretch of the way that one of them moves; they meet where all stretches have a part in common.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from recon.frame.joints import BRACE_TOL, CLASH_TOL
from recon.geometry.boxes import OrientedBoxes, reach_along, separating_axes
from recon.workshop.hardware.bolts import Bolt

HOLE = 0.28  # diameter in pitches where the stock is not known; sold are 0.21 to 0.44
# A bolt is a little thinner than its hole, and head, nut and washer grow with it.  In diameters of the bolt: ISO 273
# medium holes are 9, 11 and 13.5 mm for M8, M10 and M12; ISO 7089 washers 16, 20 and 24 mm across; ISO 4032 nuts 6.8, 8.4
# and 10.8 mm high; all from memory.
BOLT_PER_HOLE = 0.9
END_RADIUS = 1.0  # of the washer, the widest part of either end
END_LENGTH = 1.4  # washer 0.2, nut 0.9 and the bolt's tip 0.3; a head with its washer takes 0.9

DENSE = (
    1 << 20
)  # pairs of boxes that are compared at a time; where there are more of small ones, a tree finds the near ones
SMALL = 4.0  # pitches
STILL = 1e-12  # speeds below this are none
_ALONG = 1e-9  # an edge whose other components are below this is along an axis of space


@dataclass(frozen=True)
class Boxes(OrientedBoxes):
    """n boxes: `centre` (n, 3), `axes` (n, 3, 3) unit rows, `half` (n, 3) half sizes along them, pitches;
    `play` (n,) pitches that a box may be off its place."""

    play: np.ndarray

    def __len__(self) -> int:
        return len(self.centre)

    def take(self, index) -> Boxes:
        return Boxes(self.centre[index], self.axes[index], self.half[index], self.play[index])

    @property
    def reach(self) -> np.ndarray:
        """Half sizes of the axis-parallel boxes round them, (n, 3)."""
        return np.einsum("nij,ni->nj", np.abs(self.axes), self.half)

    @property
    def straight(self) -> np.ndarray:
        """(n,) bool: which lie along the axes of space."""
        return np.sort(np.abs(self.axes), axis=2)[:, :, :2].max(axis=(1, 2), initial=0) < _ALONG


def joined(parts) -> Boxes:
    """All the boxes of several `Boxes`, one after another."""
    parts = list(parts)
    return Boxes(
        *(np.concatenate([getattr(p, name) for p in parts]) for name in ("centre", "axes", "half", "play"))
    )


def member_boxes(members) -> Boxes:
    """The members as boxes."""
    members = tuple(members)
    first = np.array([m.first for m in members], float).reshape(-1, 3)
    way = np.array([m.direction for m in members], float).reshape(-1, 3)
    holes, width = np.array([m.holes for m in members], int), np.array([m.width for m in members], float)
    axes = across(way / np.linalg.norm(way, axis=1, keepdims=True))
    axes[:, 0] = way
    return Boxes(
        (first + (first + (holes - 1)[:, None] * way)) / 2,
        axes,
        np.stack([holes / 2, width / 2, width / 2], axis=1),
        np.array([CLASH_TOL if m.on_lattice else BRACE_TOL for m in members]),
    )


def bolt_ends(bolts, hole: float = HOLE) -> Boxes:
    """The two ends of every bolt that stick out, start then end: 2 n boxes as wide as the washer.

    hole : diameter of the holes, pitches.
    """
    bolts, d = tuple(bolts), BOLT_PER_HOLE * hole
    axes = across(np.array([bolt.axis for bolt in bolts], float).reshape(-1, 3))
    faces = np.array([(bolt.start, bolt.end) for bolt in bolts], float).reshape(-1, 2, 3)
    out = np.array([[-1.0], [1.0]]) * END_LENGTH * d / 2 * axes[:, None, 0]
    half = np.tile([END_LENGTH * d / 2, END_RADIUS * d, END_RADIUS * d], (2 * len(bolts), 1))
    return Boxes(
        (faces + out).reshape(-1, 3), np.repeat(axes, 2, axis=0), half, np.full(2 * len(bolts), CLASH_TOL)
    )


def across(ways) -> np.ndarray:
    """For each of n unit vectors (n, 3) the three rows it, and two directions across it as `section_axes` has them, (n, 3, 3)."""
    u = np.eye(3)[np.abs(ways).argmin(axis=1)]
    u = u - ways * (u * ways).sum(axis=1, keepdims=True)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    return np.stack([ways, u, np.cross(ways, u)], axis=1)


def boxes_of(rows) -> Boxes:
    """Boxes from (centre, axes, half) rows, true to their place."""
    rows = list(rows)
    c, a, h = zip(*rows) if rows else ((), (), ())
    return Boxes(
        np.array(c, float).reshape(-1, 3),
        np.array(a, float).reshape(-1, 3, 3),
        np.array(h, float).reshape(-1, 3),
        np.full(len(rows), CLASH_TOL),
    )


def along_bolt(bolt: Bolt, side: int, near: float, far: float, radius: float):
    """A (centre, axes, half) row: square prism round the bolt's axis, from `near` to `far` pitches beyond the face where
    the bolt starts (side -1) or ends (side 1)."""
    axes = bolt_axes(bolt)
    face = np.asarray(bolt.start if side < 0 else bolt.end, float)
    return face + side * (near + far) / 2 * axes[0], axes, ((far - near) / 2, radius, radius)


def bolt_axes(bolt: Bolt) -> np.ndarray:
    """Rows: the bolt's axis and two directions across it, along axes of space where the bolt is."""
    return across(np.array([bolt.axis], float))[0]


def overlaps(a: Boxes, b: Boxes) -> np.ndarray:
    """(n, m) bool: which box of a takes room of which box of b, by more than the play of the two."""
    met = np.zeros((len(a), len(b)), bool)
    met[overlapping(a, b)] = True
    return met


def overlapping(a: Boxes, b: Boxes) -> tuple[np.ndarray, np.ndarray]:
    """The pairs of `overlaps`, indices of a and of b, in order of a, then of b.  Boxes far apart cost nothing."""
    i, k = _near(a, b)
    slanting = ~(a.straight[i] & b.straight[k])
    kept = ~slanting
    i_slanting, k_slanting = i[slanting], k[slanting]
    if len(i_slanting):
        play = np.maximum(a.play[i_slanting], b.play[k_slanting])
        kept[slanting] = _slanting_met(a.take(i_slanting), b.take(k_slanting), np.zeros(3), play)
    return i[kept], k[kept]


def _near(a: Boxes, b: Boxes) -> tuple[np.ndarray, np.ndarray]:
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
        found = [
            (
                start,
                *np.nonzero(
                    np.logical_and.reduce(
                        [
                            np.abs(b.centre[:, c] - a.centre[start : start + rows, None, c])
                            < reach_a[start : start + rows, None, c] + reach_b[:, c]
                            for c in range(3)
                        ]
                    )
                ),
            )
            for start in range(0, len(a), rows)
        ]
        i, k = (np.concatenate(part) for part in zip(*((start + i, k) for start, i, k in found)))
    room = reach_a[i] + reach_b[k] - np.maximum(a.play[i], b.play[k])[:, None]
    met = (np.abs(b.centre[k] - a.centre[i]) < room).all(axis=1)
    return i[met], k[met]


def met_on_the_way(a: Boxes, b: Boxes, direction) -> np.ndarray:
    """(n, m) bool: which box of b is met by which box of a, where a moves along `direction` without end."""
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
