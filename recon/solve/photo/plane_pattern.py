"""Plane patterns: openings that repeat in two directions on one plane, as dots and perforated sheet do.

Openings of a member repeat along its row only; on its next face lies one further row, half a width off round
the edge.  Openings that repeat in two directions are explained by one plane: one homography takes whole
numbers (i, j) to the picture.  A pattern is grown from a block of nine openings, one foreseen neighbour at a
time, and judged in nats against clutter of the same density, as rows are.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import lru_cache
from math import dist, hypot

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import ConvexHull, QhullError, cKDTree

from recon.geometry.arrays import BoolArray, FloatArray, IntArray, lengths
from recon.geometry.point_grid import PointGrid
from recon.image.openings import OPENING, local_density

SEED_OPENINGS = 3000  # best-scored openings that patterns grow from: bounds the time on gravel
NEIGHBOURS = 14  # a block of nine has 8; the others bear clutter between; this project's choice
ALIKE = 0.45  # of the logs of both axes of two neighbours' ellipses; this project's choice
EVEN = (0.08, 1.0)  # of a step, and px: by how much an opening may be off midway between its neighbours
LEAST_SINE = 0.3  # between the two steps of a seed: a plane seen at 17 degrees
REACH = (0.16, 0.8)  # of a step, and px: from a foreseen neighbour to the opening taken for it
LEAST_NODES = 12  # 8 unknowns are fixed by 4; two rows in 3 of clutter chance upon one another
LEAST_LINES = 3  # in either direction: any two rows whose steps agree lie on a plane
HIT, MISS = np.log(0.9), np.log(0.1)  # an opening in sight is detected 9 times of 10, as for rows
LEAST_SPREAD_PX = 0.35  # of an opening's centre round its node: a sharp opening's standard error
ON_HULL = 1e-9  # steps outside the hull within which a place is on it: rounding
MOST_COMPLETED = 12  # rounds of adding a line on each side: bounds the time
KEPT = 8  # photos whose patterns are kept, at 0.2 MB each.  This project's choice
MOST_PATTERNS = 6  # planes looked for in one photo; this project's choice
LEAST_NATS = 20.0  # evidence of a pattern: a few thousand seeds, each with a few dozen pairs of steps
SPREADING = 3  # rounds in which a pattern's plane is fitted to all that lies on it; this project's choice
LEAST_BESIDE = 4  # of the eight places round one: at a straight edge there are five
# Lines either way and openings from which a pattern is a sheet, wider than members that lie side by side: of
# the patterns of members' own openings in 78 rendered photos none with as many lines had more than 27.
SHEET_LINES, SHEET_OPENINGS = 5, 40
STEPS = ((1, 0), (-1, 0), (0, 1), (0, -1))
BLOCK = tuple((i, j) for i in (-1, 0, 1) for j in (-1, 0, 1))

Node = tuple[int, int]


@dataclass(frozen=True)
class PlanePattern:
    """Openings at whole numbers of two steps on one plane.

    Attributes
    ----------
    index : (M,) int array
        Its openings, by number.
    node : (M, 2) int array
        Which step each is at, from 0 in both directions.
    homography : (3, 3) array
        From nodes to the picture, px.
    evidence : float
        Nats against clutter.
    """

    index: IntArray
    node: IntArray
    homography: FloatArray
    evidence: float

    @property
    def shape(self) -> tuple[int, int]:
        """How many lines it has in both directions."""
        return int(self.node[:, 0].max()) + 1, int(self.node[:, 1].max()) + 1

    @property
    def is_sheet(self) -> bool:
        """Is it wider than members that lie side by side?"""
        return min(self.shape) >= SHEET_LINES and len(self.index) >= SHEET_OPENINGS


def find_plane_patterns(openings: np.ndarray, most: int = MOST_PATTERNS) -> list[PlanePattern]:
    """Plane patterns of one photo, the one with most evidence first; an opening serves one of them.

    Parameters
    ----------
    openings : (N,), dtype OPENING, best first
    most : patterns returned at most

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> openings = np.zeros(30, OPENING)
    >>> openings["x"], openings["y"] = 50 + 20.0 * (np.arange(30) % 6), 40 + 20.0 * (np.arange(30) // 6)
    >>> openings["major"], openings["minor"] = 7.0, 7.0
    >>> pattern, = find_plane_patterns(openings)
    >>> len(pattern.index), sorted(pattern.shape)
    (30, [5, 6])
    """
    if len(openings) < LEAST_NODES:
        return []
    return list(_patterns_among(np.ascontiguousarray(openings[:SEED_OPENINGS], OPENING).tobytes())[:most])


@lru_cache(KEPT)
def _patterns_among(data: bytes) -> list[PlanePattern]:
    """:func:`find_plane_patterns` of openings as bytes; those of a photo are asked for more than once."""
    field = _Field(np.frombuffer(data, OPENING))
    free = np.ones(len(field.xy), bool)
    tried = np.zeros(len(field.xy), bool)  # what grew to nothing from one opening will not from the next
    found: list[PlanePattern] = []
    for i in range(len(field.xy)):
        if tried[i] or not free[i] or not field.may_seed[i]:
            continue
        for seed in field.blocks(i):
            grown = _grow(field, seed, free)
            tried[list(grown.values())] = True
            pattern = _judged(field, grown)
            pattern = pattern and _completed(field, pattern, free)
            if pattern is not None:
                found.append(pattern)
                free[pattern.index] = False
                break
    found.sort(key=lambda p: -p.evidence)
    return found


class _Field:
    """The openings as arrays with a tree, computed once."""

    def __init__(self, openings: np.ndarray) -> None:
        self.xy = np.c_[openings["x"], openings["y"]]
        self.log_size = np.log(np.c_[openings["major"], openings["minor"]])
        self.tree = cKDTree(self.xy)
        self.grid = PointGrid(self.xy)
        # As Python's own numbers: patterns grow by one opening at a time, for which these are quicker.
        self.places, self.sizes = self.xy.tolist(), self.log_size.tolist()
        self.density = local_density(openings, self.tree)
        k = min(NEIGHBOURS + 1, len(openings))
        self.near = self.tree.query(self.xy, k=k)[1][:, 1:]
        self.may_seed = self._pairs_mirrored() > 1  # a block needs two steps

    def alike(self, i: int, others: IntArray) -> BoolArray:
        """Which of others are nearly the same ellipse as i?"""
        off = np.abs(self.log_size[others] - self.log_size[i]).max(axis=-1)
        near: BoolArray = off < ALIKE
        return near

    def _pairs_mirrored(self) -> IntArray:
        """(N,) how many pairs of neighbours like an opening mirror one another in it."""
        alike = (np.abs(self.log_size[self.near] - self.log_size[:, None]) < ALIKE).all(axis=-1)
        v = self.xy[self.near] - self.xy[:, None]
        length = lengths(v)
        a, b = np.triu_indices(alike.shape[1], 1)
        i, pair = np.nonzero(alike[:, a] & alike[:, b])
        a, b = a[pair], b[pair]
        even = lengths(v[i, a] + v[i, b]) < EVEN[0] * (length[i, a] + length[i, b]) + EVEN[1]
        return np.bincount(i[even], minlength=len(alike))

    def mirrored(self, i: int) -> list[list[float]]:
        """Steps (x, y) px from i to a neighbour that another one mirrors, the shortest first."""
        j = self.near[i][self.alike(i, self.near[i])]
        v = self.xy[j] - self.xy[i]
        length = np.linalg.norm(v, axis=1)
        off = np.linalg.norm(v[:, None] + v[None], axis=2)
        a, b = np.nonzero(np.triu(off < EVEN[0] * (length[:, None] + length) + EVEN[1], 1))
        step = (v[a] - v[b]) / 2
        steps: list[list[float]] = step[np.argsort(np.linalg.norm(step, axis=1))].tolist()
        return steps

    def blocks(self, i: int) -> list[dict[Node, int]]:
        """Seeds round opening i: blocks of nine openings, of which at most one is missing."""
        steps = self.mirrored(i)
        x, y = self.places[i]
        out = []
        for p, a in enumerate(steps[:4]):
            for b in steps[p + 1 : 6]:
                sine = abs(a[0] * b[1] - a[1] * b[0]) / (hypot(*a) * hypot(*b))
                if sine < LEAST_SINE:
                    continue
                block = {(0, 0): i}
                step = min(hypot(*a), hypot(*b))
                for u, v in BLOCK:
                    hit = self.at((x + u * a[0] + v * b[0], y + u * a[1] + v * b[1]), i, step)
                    if hit is not None and hit not in block.values():
                        block[u, v] = hit
                if len(block) >= len(BLOCK) - 1:
                    out.append(block)
        return out

    def at(self, place: tuple[float, float], like: int, step: float) -> int | None:
        """The opening nearest to a place, where it is near enough and looks like another one."""
        for j in self.grid.nearest(*place, within=REACH[0] * step + REACH[1], most=1):
            (major, minor), (other_major, other_minor) = self.sizes[like], self.sizes[j]
            if max(abs(other_major - major), abs(other_minor - minor)) < ALIKE:
                return j
        return None


def _grow(field: _Field, seed: dict[Node, int], free: BoolArray) -> dict[Node, int]:
    """The seed with every neighbour, and their neighbours, that lies where it is foreseen."""
    at, taken = dict(seed), set(seed.values())
    queue = deque(at)
    while queue:
        node = queue.popleft()
        for u, v in STEPS:
            new = node[0] + u, node[1] + v
            if new in at:
                continue
            places = _foreseen(field, at, node, (u, v))
            if not places:
                continue
            place = sum(x for x, _ in places) / len(places), sum(y for _, y in places) / len(places)
            hit = field.at(place, at[node], dist(place, field.places[at[node]]))
            if hit is not None and hit not in taken and free[hit]:
                at[new] = hit
                taken.add(hit)
                queue.append(new)
    return at


def _foreseen(field: _Field, at: dict[Node, int], node: Node, step: Node) -> list[tuple[float, float]]:
    """Where a node's neighbour should be: as far on as the node before, and as its neighbours' neighbours."""
    (i, j), (u, v), xy = node, step, field.places
    x, y = xy[at[node]]
    places = []
    if (i - u, j - v) in at:
        before = xy[at[i - u, j - v]]
        places.append((2 * x - before[0], 2 * y - before[1]))
    for p, q in ((v, u), (-v, -u)):
        beside, beyond = (i + p, j + q), (i + p + u, j + q + v)
        if beside in at and beyond in at:
            one, two = xy[at[beside]], xy[at[beyond]]
            places.append((x + two[0] - one[0], y + two[1] - one[1]))
    return places if len(places) > 1 or (i - 2 * u, j - 2 * v) in at else []


def _judged(field: _Field, grown: dict[Node, int]) -> PlanePattern | None:
    """What was grown as a pattern; None where it has too few lines or too little evidence."""
    node, index = np.array(list(grown)), np.array(list(grown.values()))
    if len(index) < LEAST_NODES or min(len(np.unique(node[:, k])) for k in (0, 1)) < LEAST_LINES:
        return None
    node = node - node.min(axis=0)
    H, off = fit_homography(node, field.xy[index])
    kept = off < max(3 * np.median(off), 3 * LEAST_SPREAD_PX)
    if kept.sum() < LEAST_NODES:
        return None
    node, index, off = node[kept], index[kept], off[kept]
    if min(len(np.unique(node[:, k])) for k in (0, 1)) < LEAST_LINES:
        return None
    spread = max(LEAST_SPREAD_PX, float(np.sqrt((off**2).mean() / 2)))
    # Density of a hit round its node over that of clutter; the first four fix the homography.
    gain = HIT - 0.5 * (off / spread) ** 2 - np.log(2 * np.pi * spread**2 * field.density[index])
    evidence = float(gain.mean() * (len(index) - 4)) + MISS * _misses(node)
    if evidence < LEAST_NATS:
        return None
    return PlanePattern(index, node - node.min(axis=0), H, evidence)


def _completed(field: _Field, pattern: PlanePattern, free: BoolArray) -> PlanePattern:
    """The pattern with what it foresees within its lines and one line on, until nothing is added."""
    for _ in range(MOST_COMPLETED):
        at = dict(zip(map(tuple, pattern.node.tolist()), pattern.index.tolist()))
        across, down = pattern.shape
        new = [(i, j) for i in range(-1, across + 1) for j in range(-1, down + 1) if (i, j) not in at]
        seen, depth = _mapped(pattern.homography, new)
        ahead = depth * (np.array([*pattern.node[0], 1]) @ pattern.homography[2]) > 0
        d, hit = field.tree.query(seen)
        tree = cKDTree(field.xy[pattern.index])
        taken = set(at.values())
        for node, off, h, ok in zip(new, d, hit, ahead):
            if not ok or h in taken or not free[h]:
                continue
            step, near = tree.query(field.xy[h])
            like = int(pattern.index[near])
            if off < 3 * LEAST_SPREAD_PX + EVEN[0] / 2 * step and field.alike(like, np.array([h]))[0]:
                at[node] = int(h)
                taken.add(int(h))
        larger = _judged(field, at)
        if larger is None or larger.evidence <= pattern.evidence:
            break
        pattern = larger
    return pattern


def on_plane(pattern: PlanePattern, openings: np.ndarray) -> BoolArray:
    """Which openings, wherever in the picture, lie at whole steps of a pattern's plane and look like its own.

    A pattern that something stands before was grown on one side of it only.  A corner, with few beside it,
    counts only where the pattern has it.

    Parameters
    ----------
    pattern : PlanePattern
    openings : (N,), dtype OPENING
        Those that the pattern was found among.

    Returns
    -------
    (N,) bool array

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> openings = np.zeros(40, OPENING)
    >>> openings["x"], openings["y"] = 50 + 20.0 * (np.arange(40) % 8), 40 + 20.0 * (np.arange(40) // 8)
    >>> openings["major"], openings["minor"] = 7.0, 7.0
    >>> half = openings["x"] < 120
    >>> pattern, = find_plane_patterns(openings[half])
    >>> whole = PlanePattern(np.nonzero(half)[0][pattern.index], pattern.node, pattern.homography, 1.0)
    >>> int(on_plane(whole, openings).sum())  # all but the two corners beyond
    38
    """
    xy, H = np.c_[openings["x"], openings["y"]], pattern.homography
    size = np.log(np.sqrt(openings["major"] * openings["minor"]))
    for _ in range(SPREADING):
        node, _ = _mapped(np.linalg.inv(H), xy)
        whole, depth = np.rint(node), _mapped(H, node)[1]
        # A step's length in the picture goes with the inverse of the homography's scale there.
        scale = np.log(np.abs(np.linalg.det(H))) / 2 - 1.5 * np.log(np.abs(depth))
        alike = np.abs(size - scale - np.median((size - scale)[pattern.index])) < ALIKE
        ahead = depth * np.median(depth[pattern.index]) > 0
        off = _mapped(H, whole)[0] - xy
        near = np.linalg.norm(off, axis=1) < EVEN[0] * np.exp(scale) + EVEN[1]
        on = alike & ahead & near
        on[on] = _accompanied(whole[on].astype(int))
        on[pattern.index] = True
        H, _ = fit_homography(whole[on], xy[on])
    return on


def _accompanied(node: IntArray) -> BoolArray:
    """(M,) which of M nodes have neighbours enough: chance puts single openings on any plane."""
    places = {tuple(n) for n in node.tolist()}
    beside = [sum((i + u, j + v) in places for u, v in BLOCK) - 1 for i, j in node.tolist()]
    return np.array(beside, int) >= LEAST_BESIDE


def _mapped(homography: ArrayLike, points: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """The images (N, 2) of points (N, 2) under a homography, and their third coordinates (N,)."""
    points = np.asarray(points, float)
    seen = np.c_[points, np.ones(len(points))] @ np.asarray(homography, float).T
    return seen[:, :2] / seen[:, 2:], seen[:, 2]


def _misses(node: IntArray) -> int:
    """Whole places within the nodes' hull that no opening is at."""
    try:
        sides = ConvexHull(node).equations  # outward normals and offsets
    except QhullError:
        return 0
    size = node.max(axis=0) + 1
    places = np.stack(np.meshgrid(np.arange(size[0]), np.arange(size[1])), 2).reshape(-1, 2)
    inside = (places @ sides[:, :2].T + sides[:, 2] <= ON_HULL).all(axis=1)
    return int(inside.sum()) - len(node)


def fit_homography(node: IntArray | FloatArray, px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The homography from nodes to the picture by robust least squares, and how far off each point is.

    Parameters
    ----------
    node : (M, 2), at least four of them
    px : (M, 2)

    Returns
    -------
    homography : (3, 3)
    off : (M,) px

    Notes
    -----
    Normalised direct linear transform (Hartley 1997, doi:10.1109/34.601246), re-weighted for errors in px.
    """
    T, U = _normalising(np.asarray(node, float)), _normalising(px)
    p = np.c_[node, np.ones(len(node))] @ T.T
    q = (np.c_[px, np.ones(len(px))] @ U.T)[:, :2]
    zero = np.zeros_like(p)
    weight, H = np.ones(len(p)), np.eye(3)
    off = np.zeros(len(p))
    for _ in range(6):
        A = np.r_[
            np.c_[p, zero, -q[:, :1] * p] * weight[:, None], np.c_[zero, p, -q[:, 1:] * p] * weight[:, None]
        ]
        H = np.linalg.inv(U) @ np.linalg.svd(A, full_matrices=False)[2][-1].reshape(3, 3) @ T
        seen, depth = _mapped(H, node)
        off = np.linalg.norm(seen - px, axis=1)
        scale = max(float(np.median(off)), 1e-3)
        depth = np.abs(depth) / np.abs(depth).mean()
        weight = 1 / depth / (1 + (off / (3 * scale)) ** 2)
    return H / H[2, 2], off


def _normalising(points: FloatArray) -> FloatArray:
    """(3, 3) that brings points to their middle and a mean distance of sqrt 2."""
    middle = points.mean(axis=0)
    s = np.sqrt(2) / np.linalg.norm(points - middle, axis=1).mean()
    return np.array([[s, 0, -s * middle[0]], [0, s, -s * middle[1]], [0, 0, 1]])
