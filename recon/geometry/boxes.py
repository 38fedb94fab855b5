"""Boxes in space as arrays: what hides what from a viewer, and which boxes lie in one another.

A box is given by its middle, its axes (unit vectors, in rows) and its half sizes along them; where all lie
along the axes of space, by its lowest and highest corner.  Lengths are pitches.

References
----------
T. Kay, J. Kajiya, "Ray Tracing Complex Scenes", Computer Graphics (Proc. SIGGRAPH) 20(4), 1986, 269-278,
doi:10.1145/15886.15916: the slab method.

S. Gottschalk, M. Lin, D. Manocha, "OBBTree: A Hierarchical Structure for Rapid Interference Detection",
SIGGRAPH 1996, doi:10.1145/237170.237244: boxes are apart where they are so along one of fifteen axes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import BoolArray, FloatArray, IntArray, lengths

# This project's choices, all in pitches; a hole is 0.2 to 0.45 wide.
LIFT = 0.02  # a point on a face is lifted so far off it before one asks whether a box hides it
CLEARANCE = 0.05  # a box that the line of sight enters so near to its point only touches it
PARALLEL = 1e-9  # a component of a line of sight smaller than this is taken as this
NEAR = 1e-3  # pitches before the viewer; what is nearer has no place on a plane before it
ROUNDING = 1e-9  # of places on that plane
FEW_PAIRS = 500  # of boxes and points: fewer are sooner compared than sorted out
POINTS_AT_ONCE = 4096  # bounds memory
CORNERS = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])  # low or high, by axis
DEGENERATE = (
    1e-6  # the product of two unit edges that is shorter than this is no axis: the edges are parallel
)


@dataclass(frozen=True)
class OrientedBoxes:
    """One box or many, at any angle.

    Attributes
    ----------
    centre : (..., 3) array
        Middles, pitches.
    axes : (..., 3, 3) array
        Unit vectors along the edges, in rows.
    half : (..., 3) array
        Half sizes along the axes, pitches.
    """

    centre: FloatArray
    axes: FloatArray
    half: FloatArray

    def take(self, index: int | Sequence[int] | slice | IntArray | BoolArray) -> OrientedBoxes:
        """The boxes of this index along the first dimension."""
        return OrientedBoxes(self.centre[index], self.axes[index], self.half[index])


# Occlusion


def lifted(points: ArrayLike, normals: ArrayLike, by: float = LIFT) -> FloatArray:
    """Points on faces, lifted off them so that the box that they lie on does not hide them.

    Parameters
    ----------
    points, normals : array_like, (..., 3)
        Points (pitches) and the outward unit normals of their faces.
    by : float
        Pitches.

    Returns
    -------
    (..., 3) array
    """
    return np.asarray(points, float) + by * np.asarray(normals, float)


def occluded(eye: FloatArray, points: FloatArray, low: FloatArray, high: FloatArray) -> BoolArray:
    """Which points lie behind a box along the axes of space, for a viewer at `eye`.

    A box that the line of sight enters within `CLEARANCE` of the point does not hide it.

    Parameters
    ----------
    eye : (3,) array
        Pitches.
    points : (N, 3) array
        Pitches.
    low, high : (B, 3) array
        Lowest and highest corners of the boxes, pitches.

    Returns
    -------
    (N,) bool array

    Examples
    --------
    >>> points = np.array([[10.0, 0, 0], [0, 10, 0]])
    >>> occluded(np.zeros(3), points, np.array([[4.0, -1, -1]]), np.array([[5.0, 1, 1]])).tolist()
    [True, False]
    """
    out = np.zeros(len(points), bool)
    if not len(low) or not len(points):
        return out
    way = points - eye
    inverse = 1 / np.where(np.abs(way) < PARALLEL, PARALLEL, way)
    until = 1 - CLEARANCE / np.maximum(lengths(way), 1e-9)
    low, high = low - eye, high - eye
    for i in range(0, len(points), POINTS_AT_ONCE):
        box, point = _may_hide(way[i : i + POINTS_AT_ONCE], low, high)
        point += i
        first, second = low[box] * inverse[point], high[box] * inverse[point]
        out[point[_enters(first, second, until[point])]] = True
    return out


def _may_hide(way: FloatArray, low: FloatArray, high: FloatArray) -> tuple[IntArray, IntArray]:
    """Boxes and points, pair by pair, that could hide and be hidden from the origin; a few cannot.

    Both are seen on a plane across the middle of the view; what is not before the viewer may hide anything.
    """
    if len(way) * len(low) < FEW_PAIRS:
        return _every_pair(np.arange(len(low)), np.arange(len(way)))
    view = _view_towards(way.mean(0))
    p = way @ view.T
    ends = np.stack([low, high])
    corners = np.stack([ends[CORNERS[:, k], :, k] for k in range(3)], 2) @ view.T  # (8, B, 3)
    z = corners[..., 2]
    begin = z.min(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        u, v = corners[..., 0] / z, corners[..., 1] / z
    beside = p[:, 2] <= NEAR
    ahead = np.nonzero(~beside)[0]
    x, y = p[ahead, 0] / p[ahead, 2], p[ahead, 1] / p[ahead, 2]
    # Points in the order of x: those that a box may hide lie next to one another.
    order = np.argsort(x)
    ahead, x, y = ahead[order], x[order], y[order]
    near = begin <= NEAR
    start = np.where(near, 0, np.searchsorted(x, u.min(0) - ROUNDING))
    count = np.where(near, len(x), np.searchsorted(x, u.max(0) + ROUNDING, side="right")) - start
    box = np.repeat(np.arange(len(low)), count)
    at = np.arange(len(box)) + np.repeat(start - (np.cumsum(count) - count), count)
    keep = (v.min(0)[box] - ROUNDING <= y[at]) & (y[at] <= v.max(0)[box] + ROUNDING)
    keep &= begin[box] <= p[ahead[at], 2]  # a box that begins behind a point does not hide it
    keep |= near[box]
    boxes, points = _every_pair(np.arange(len(low)), np.nonzero(beside)[0])
    return np.r_[box[keep], boxes], np.r_[ahead[at[keep]], points]


def _view_towards(way: FloatArray) -> FloatArray:
    """(3, 3) rotation into the frame of a viewer who looks along a way."""
    x, y, z = (way / max(float(np.linalg.norm(way)), 1e-9)).tolist()
    # Across the axis that is furthest from the way; products by hand: np.cross takes longer than all else.
    a, b, c = ((0.0, z, -y), (-z, 0.0, x), (y, -x, 0.0))[int(np.abs((x, y, z)).argmin())]
    size = max(float(np.sqrt(a * a + b * b + c * c)), 1e-9)
    a, b, c = a / size, b / size, c / size
    return np.array([[a, b, c], [y * c - z * b, z * a - x * c, x * b - y * a], [x, y, z]])


def _every_pair(a: IntArray, b: IntArray) -> tuple[IntArray, IntArray]:
    """Each of a with each of b, side by side."""
    return np.repeat(a, len(b)), np.tile(b, len(a))


def occluded_by_oriented(
    eye: FloatArray, points: FloatArray, boxes: OrientedBoxes, slack: float
) -> BoolArray:
    """Which points lie behind a box at any angle, for a viewer at `eye`.

    Parameters
    ----------
    eye : (3,) array
        Pitches.
    points : (N, 3) array
        Pitches.
    boxes : OrientedBoxes
        Of B boxes.
    slack : float
        Every box ends so much early on all sides, pitches, so that it does not hide points on its surface.

    Returns
    -------
    (N,) bool array
    """
    out = np.zeros(len(points), bool)
    for centre, axes, half in zip(boxes.centre, boxes.axes, np.maximum(boxes.half - slack, 0)):
        start, way = axes @ (eye - centre), (points - eye) @ axes.T
        with np.errstate(divide="ignore", invalid="ignore"):
            first, second = (-half - start) / way, (half - start) / way
        # A line of sight along a slab's face (0 / 0) neither enters nor leaves it.
        parallel = np.isnan(first) | np.isnan(second)
        if parallel.any():
            first, second = np.where(parallel, -np.inf, first), np.where(parallel, np.inf, second)
        out |= _enters(first, second, 1.0)
    return out


def _enters(first: FloatArray, second: FloatArray, until: FloatArray | float) -> BoolArray:
    """(N,) bool: does a line of sight enter a box before `until` (shares of the way from eye to point)?

    first, second : (N, 3) shares at which it crosses the two faces of each of the box's slabs.
    """
    near, far = np.minimum(first, second), np.maximum(first, second)
    # Axis by axis: along a short last axis it takes several times as long.
    enter = np.maximum(np.maximum(near[:, 0], near[:, 1]), near[:, 2])
    leave = np.minimum(np.minimum(far[:, 0], far[:, 1]), far[:, 2])
    entered: BoolArray = (enter < leave) & (leave > 0) & (enter < until)
    return entered


# Separating axes


def separating_axes(a: FloatArray, b: FloatArray) -> tuple[FloatArray, BoolArray]:
    """The fifteen axes along which two boxes are compared: normals of both, and products of their edges.

    Parameters
    ----------
    a, b : (..., 3, 3) array
        Axes of the boxes, in rows.

    Returns
    -------
    axes : (..., 15, 3) array
        Unit vectors; zeros where degenerate.
    degenerate : (..., 15) bool array
        Products of edges that are parallel: no axes.
    """
    products = np.cross(a[..., :, None, :], b[..., None, :, :])
    products = products.reshape(*products.shape[:-3], 9, 3)
    size = np.linalg.norm(products, axis=-1, keepdims=True)
    parallel = size <= DEGENERATE
    products = np.divide(products, size, out=np.zeros_like(products), where=~parallel)
    lead = products.shape[:-2]
    axes = np.concatenate(
        [np.broadcast_to(a, (*lead, 3, 3)), np.broadcast_to(b, (*lead, 3, 3)), products], axis=-2
    )
    return axes, np.concatenate([np.zeros((*lead, 6), bool), parallel[..., 0]], axis=-1)


def reach_along(axes: FloatArray, boxes: OrientedBoxes) -> FloatArray:
    """(..., K) how far boxes reach from their middles along axes (..., K, 3), pitches."""
    shares = np.abs(axes @ np.swapaxes(boxes.axes, -1, -2))
    reach: FloatArray = (shares @ boxes.half[..., None])[..., 0]
    return reach


def penetration(a: OrientedBoxes, b: OrientedBoxes) -> FloatArray:
    """How deep boxes lie in one another, box by box.

    Parameters
    ----------
    a, b : OrientedBoxes
        Their leading dimensions are broadcast.

    Returns
    -------
    (...,) array
        The overlap along the axis that separates the two best, pitches; not above 0 where they are apart.

    Examples
    --------
    >>> cube = OrientedBoxes(np.zeros(3), np.eye(3), np.full(3, 0.5))
    >>> beside = OrientedBoxes(np.array([[0.75, 0, 0], [2, 0, 0]]), np.eye(3), np.full(3, 0.5))
    >>> penetration(cube, beside).tolist()
    [0.25, -1.0]
    """
    axes, degenerate = separating_axes(a.axes, b.axes)
    between = ((b.centre - a.centre)[..., None, :] @ np.swapaxes(axes, -1, -2))[..., 0, :]
    depth = reach_along(axes, a) + reach_along(axes, b) - np.abs(between)
    least: FloatArray = np.where(degenerate, np.inf, depth).min(axis=-1)
    return least
