"""Rows of openings as padded arrays, and where rows of unit pitch lie once camera and direction are known.

With camera and direction known, a row of unit pitch has three unknowns left, the place of its step 0; they
follow in closed form, and what the openings are off then tests camera, direction and steps together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import LENS_ROUNDS, Camera

MOST_COUNTED = 12  # openings of a row that count for its weight: longer ones tell no more of a camera
TINY = 1e-12  # added to normal equations, so that those of an empty row have a solution


class OpeningRow(Protocol):
    """What ``recon.image.rows.Row`` and ``recon.solve.photo.axis_rows.AxisRow`` have in common."""

    @property
    def index(self) -> np.ndarray:
        """(M,) numbers of the row's openings."""

    @property
    def step(self) -> np.ndarray:
        """(M,) whole pitches along the row."""


@dataclass(frozen=True)
class RowPoints:
    """R rows of up to M openings as padded arrays.

    Attributes
    ----------
    px : (R, M, 2) opening centres, px.
    step : (R, M) whole pitches from the row's step 0.
    weight : (R, M) 1 for an opening, 0 for padding.
    sigma : (R,) standard error of an opening's centre, px.
    """

    px: FloatArray
    step: FloatArray
    weight: FloatArray
    sigma: FloatArray

    @property
    def counted(self) -> FloatArray:
        """(R,) openings of each row, as far as they count for its weight."""
        return np.minimum(self.weight.sum(1), MOST_COUNTED)

    def subset(self, which: np.ndarray) -> RowPoints:
        """The rows that an index or a mask picks."""
        return RowPoints(self.px[which], self.step[which], self.weight[which], self.sigma[which])


def row_points(openings: np.ndarray, rows: Sequence[OpeningRow]) -> RowPoints:
    """Padded arrays of a list of rows.

    Parameters
    ----------
    openings : (N,), dtype OPENING
    rows : R rows

    Examples
    --------
    >>> import numpy as np
    >>> from recon.image.openings import OPENING
    >>> from recon.image.rows import Row
    >>> openings = np.zeros(5, OPENING)
    >>> openings["x"] = [10, 20, 30, 40, 50]
    >>> long = Row(np.array([0, 1, 2]), np.array([0, 1, 2]), -5.0)
    >>> short = Row(np.array([3, 4]), np.array([0, 2]), -5.0)
    >>> row_points(openings, [long, short]).weight
    array([[1., 1., 1.],
           [1., 1., 0.]])
    """
    m = max((len(r.index) for r in rows), default=0)
    n = len(rows)
    px, step, w = np.zeros((n, m, 2)), np.zeros((n, m)), np.zeros((n, m))
    sigma = np.zeros(n)
    for i, r in enumerate(rows):
        k = len(r.index)
        px[i, :k] = np.c_[openings["x"][r.index], openings["y"][r.index]]
        px[i, k:] = px[i, 0]
        step[i, :k], w[i, :k] = r.step, 1
        sigma[i] = centre_sigma_px(np.median(openings["minor"][r.index]))
    return RowPoints(px, step, w, sigma)


def centre_sigma_px(minor_px: np.ndarray | float) -> FloatArray:
    """Standard error of an opening's centre along its row, px, from the width of its ellipse, px.

    A quarter of a pixel of sensor noise and sampling, plus light and shade in the hole's mouth that
    move the visible spot by a part of the hole (measured on rendered frames with truth: 0.06).
    """
    return np.hypot(0.25, 0.06 * np.asarray(minor_px, float))


def place_rows(
    sensor: FloatArray, points: RowPoints, directions: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Place of each row's step 0 in camera coordinates, unit pitch, by linear least squares.

    Parameters
    ----------
    sensor : (R, M, 2) the openings in sensor coordinates
    points : their steps and weights
    directions : (R, 3) unit, camera coordinates

    Returns
    -------
    place : (R, 3) pitches
    direction : (R, 3) the directions, turned so that the row lies before the camera
    inverse : (R, 3, 3) of the normal matrix, sensor units (times the noise variance it is a covariance)

    Notes
    -----
    Solved twice: errors in the sensor count alike only when each equation is divided by the opening's
    depth, which the first solution gives.
    """
    x, y = sensor[..., 0], sensor[..., 1]
    place, weight = _placed(x, y, points, directions)
    flip = np.where(place[..., 2] < 0, -1.0, 1.0)[..., None]
    wx, wy = (weight * x).sum(-1), (weight * y).sum(-1)
    A = np.zeros((*wx.shape, 3, 3))
    A[..., 0, 0] = A[..., 1, 1] = weight.sum(-1)
    A[..., 0, 2] = A[..., 2, 0] = -wx
    A[..., 1, 2] = A[..., 2, 1] = -wy
    A[..., 2, 2] = (weight * (x * x + y * y)).sum(-1)
    return place * flip, directions * flip, np.asarray(np.linalg.inv(A + TINY * np.eye(3)), float)


def _placed(
    x: FloatArray, y: FloatArray, points: RowPoints, directions: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Places (..., R, 3) of step 0, and the weights (..., R, M) that they were solved with."""
    place = _solve_places(x, y, points.step, points.weight, directions)
    depth = np.abs(place[..., 2, None] + points.step * directions[..., 2, None])  # negative: turned away
    weight = points.weight / np.maximum(depth, 1e-3) ** 2
    return _solve_places(x, y, points.step, weight, directions), weight


def _solve_places(
    x: FloatArray, y: FloatArray, step: FloatArray, weight: FloatArray, directions: FloatArray
) -> FloatArray:
    """Places (..., R, 3) of step 0, one weight an opening; leading dimensions are broadcast.

    The normal matrix has the sums of the weights on its diagonal and a 0 between x and y, so that the depth
    comes first and the rest follows.
    """
    q, turned = x * x + y * y, weight * step
    w, wx, wy, wq = weight.sum(-1) + TINY, _dot(weight, x), _dot(weight, y), _dot(weight, q) + TINY
    k, kx, ky, kq = turned.sum(-1), _dot(turned, x), _dot(turned, y), _dot(turned, q)
    dx, dy, dz = directions[..., 0], directions[..., 1], directions[..., 2]
    rx, ry, rz = dz * kx - dx * k, dz * ky - dy * k, dx * kx + dy * ky - dz * kq
    z = (rz + (wx * rx + wy * ry) / w) / (wq - (wx**2 + wy**2) / w)
    return np.stack([(rx + wx * z) / w, (ry + wy * z) / w, z], -1)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    total: FloatArray = np.einsum("...m,...m->...", a, b)
    return total


def row_residuals(camera: Camera, points: RowPoints, axes: IntArray) -> FloatArray:
    """Reprojection errors of rows placed along the camera's axes.

    Parameters
    ----------
    camera : its pose's t is not used
    points : R rows
    axes : (R,) frame axis of each row

    Returns
    -------
    (R, M, 2) px, 0 in the padding.
    """
    return placed_residuals([camera], points, camera.R.T[axes][None])[0]


def placed_residuals(cameras: Sequence[Camera], points: RowPoints, directions: FloatArray) -> FloatArray:
    """Reprojection errors of rows placed along directions of their own, under several cameras at once.

    Parameters
    ----------
    cameras : C cameras; their poses are not used
    points : R rows
    directions : (C, ..., R or 1, 3) unit, camera coordinates; C may be 1 where there are several cameras

    Returns
    -------
    (C, ..., R, M, 2) px, 0 in the padding.
    """
    lead = (len(cameras), *[1] * (directions.ndim - 1))
    f, cx, cy, k1, k2 = (
        np.array([getattr(c, name) for c in cameras]).reshape(lead) for name in ("f", "cx", "cy", "k1", "k2")
    )
    px = points.px
    x, y = _without_lens((px[..., 0] - cx) / f, (px[..., 1] - cy) / f, k1, k2)
    place, _ = _placed(x, y, points, directions)
    flip = np.where(place[..., 2] < 0, -1.0, 1.0)
    place, d = place * flip[..., None], directions * flip[..., None]
    z = np.maximum(place[..., 2, None] + points.step * d[..., 2, None], 1e-3)
    u = np.clip((place[..., 0, None] + points.step * d[..., 0, None]) / z, -3, 3)
    v = np.clip((place[..., 1, None] + points.step * d[..., 1, None]) / z, -3, 3)
    r2 = u * u + v * v
    scale = f * (1 + r2 * (k1 + k2 * r2))
    out = np.empty((*u.shape, 2))
    out[..., 0] = (scale * u + cx - px[..., 0]) * points.weight
    out[..., 1] = (scale * v + cy - px[..., 1]) * points.weight
    return out


def _without_lens(
    x: FloatArray, y: FloatArray, k1: FloatArray, k2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Places on the sensor with the lens undone, as :func:`recon.geometry.camera.image2sensor` does it."""
    if not k1.any() and not k2.any():
        return x, y
    seen = np.sqrt(x * x + y * y)
    r = seen.copy()
    for _ in range(LENS_ROUNDS):
        r2 = r * r
        slope = 1 + r2 * (3 * k1 + 5 * k2 * r2)
        r = r - (r * (1 + r2 * (k1 + k2 * r2)) - seen) / np.where(np.abs(slope) < 0.2, 0.2, slope)
    grow = np.divide(r, seen, out=np.ones_like(r), where=seen > 1e-12)
    return x * grow, y * grow


def row_shares(openings_in_rows: Sequence[np.ndarray]) -> FloatArray:
    """Weight 0..1 of each row: openings in several rows at once belong to a pattern, not to a member.

    A floor of tiles gives every spot to many rows; an opening of a member belongs to one.

    Parameters
    ----------
    openings_in_rows : for each row the numbers of its openings

    Examples
    --------
    >>> import numpy as np
    >>> row_shares([np.array([0, 1, 2]), np.array([2, 3, 4, 5])])
    array([0.75  , 0.8125])
    """
    count: dict[int, int] = {}
    for idx in openings_in_rows:
        for i in idx:
            count[int(i)] = count.get(int(i), 0) + 1
    return np.array([np.mean([1.0 / count[int(i)] ** 2 for i in idx]) for idx in openings_in_rows])
