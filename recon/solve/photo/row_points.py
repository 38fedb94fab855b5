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
from recon.geometry.camera import Camera, image2sensor, sensor2image


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
    A, place = _solve_places(sensor, points.step, points.weight, directions)
    depth = np.abs(place[:, None, 2] + points.step * directions[:, None, 2])  # negative for a row turned away
    weight = points.weight / np.maximum(depth, 1e-3) ** 2
    A, place = _solve_places(sensor, points.step, weight, directions)
    flip = np.where(place[:, 2] < 0, -1.0, 1.0)[:, None]
    return place * flip, directions * flip, np.asarray(np.linalg.inv(A), float)


def _solve_places(
    sensor: FloatArray, step: FloatArray, weight: FloatArray, direction: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Normal matrices (R, 3, 3) and places (R, 3) of step 0, one weight an opening."""
    x, y = sensor[..., 0], sensor[..., 1]
    A = np.zeros((len(step), 3, 3))
    A[:, 0, 0] = A[:, 1, 1] = weight.sum(1)
    A[:, 0, 2] = A[:, 2, 0] = -(weight * x).sum(1)
    A[:, 1, 2] = A[:, 2, 1] = -(weight * y).sum(1)
    A[:, 2, 2] = (weight * (x * x + y * y)).sum(1)
    ex = step * (direction[:, None, 0] - x * direction[:, None, 2])
    ey = step * (direction[:, None, 1] - y * direction[:, None, 2])
    rhs = np.stack([-(weight * ex).sum(1), -(weight * ey).sum(1), (weight * (x * ex + y * ey)).sum(1)], 1)
    A += 1e-12 * np.eye(3)
    return A, np.linalg.solve(A, rhs[..., None])[..., 0]


def row_residuals(
    camera: Camera, points: RowPoints, axes: IntArray, sensor: FloatArray | None = None
) -> FloatArray:
    """Reprojection errors of rows placed along the camera's axes.

    Parameters
    ----------
    camera : its pose's t is not used
    points : R rows
    axes : (R,) frame axis of each row
    sensor : (R, M, 2) the points in sensor coordinates, where they are at hand

    Returns
    -------
    (R, M, 2) px, 0 in the padding.
    """
    if sensor is None:
        sensor = image2sensor(camera, points.px)
    return placed_residuals(camera, points, camera.R.T[axes], sensor)


def placed_residuals(
    camera: Camera, points: RowPoints, directions: FloatArray, sensor: FloatArray
) -> FloatArray:
    """Reprojection errors of rows placed along directions of their own.

    Parameters
    ----------
    camera : its pose is not used
    points : R rows
    directions : (R, 3) unit, camera coordinates
    sensor : (R, M, 2) the points in sensor coordinates

    Returns
    -------
    (R, M, 2) px, 0 in the padding.
    """
    P, d, _ = place_rows(sensor, points, directions)
    X = P[:, None] + points.step[..., None] * d[:, None]
    z = X[..., 2:]
    xy = X[..., :2] / np.where(z > 1e-3, z, 1e-3)
    return (sensor2image(camera, np.clip(xy, -3, 3)) - points.px) * points.weight[..., None]


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
