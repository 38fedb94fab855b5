"""The rows of one photo in space: place, uncertainty, faces that may bear them, width that twins show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera, image2sensor, project_jacobian
from recon.geometry.ellipses import affine_distance, circle_shapes, unit_shapes
from recon.solve.evidence.candidate import across
from recon.solve.photo.axis_rows import AxisRow
from recon.solve.photo.row_points import RowPoints, place_rows, row_points

SYSTEMATIC = 0.05  # pitches: what shading in a hole's mouth shifts a row (measured: 0.03 to 0.08)
SIGMA_FACTOR = 1.3  # of a row's place over what its openings' standard errors give; this project's choice
# Of the shape distance between a row's openings and those that its own face would show; this project's choice
FACE_SPREAD = 0.35
# Pitches, least and most half a width looked for; this project's choice, known widths are 1 to 2.5.
HALF_WIDTHS = (0.3, 1.5)
TWIN_SPREAD = 0.04  # pitches: of twin rows' half widths round the true one; this project's choice


@dataclass(frozen=True)
class PlacedRows:
    """R rows of one photo in the frame's axes.

    Attributes
    ----------
    rows : R rows.
    points : their padded arrays.
    place : (R, 3) opening of step 0, pitches, frame axes, from the camera's centre (or lattice origin once
        posed).
    sign : (R,) +1 or -1: steps count along +axis or -axis.
    cov : (R, 3, 3) pitches^2.
    normal : (R, 2, 3) outward normals of the two faces that may bear the row.
    face_log : (R, 2) log probability of each face.
    """

    rows: list[AxisRow]
    points: RowPoints
    place: FloatArray
    sign: FloatArray
    cov: FloatArray
    normal: FloatArray
    face_log: FloatArray


def place_axis_rows(
    camera: Camera,
    openings: np.ndarray,
    rows: list[AxisRow],
    faces: PlacedRows | None = None,
    play: float = 0.0,
) -> PlacedRows:
    """Rows placed along the axes of a camera (its t is honoured), with the likelihood of each face.

    Parameters
    ----------
    camera : its R and t from the frame's axes
    openings : (N,), dtype OPENING
    rows : found along the camera's axes
    faces : an earlier placing whose face likelihoods are kept (they hardly change with the camera)
    play : pitches that members may lie off the lattice

    Examples
    --------
    >>> import numpy as np
    >>> from recon.image.openings import OPENING
    >>> camera = Camera(1000.0, 799.5, 599.5)
    >>> openings = np.zeros(4, OPENING)
    >>> openings["x"], openings["y"] = camera.project(np.array([[k, 2.0, 20.0] for k in range(4)])).T
    >>> openings["major"], openings["minor"] = 15, 15
    >>> placed = place_axis_rows(camera, openings, [AxisRow(0, np.arange(4), np.arange(4), 9.0)])
    >>> placed.place.round(3) + 0.0
    array([[ 0.,  2., 20.]])
    """
    pts = faces.points if faces else row_points(openings, rows)
    sensor = image2sensor(camera, pts.px)
    axes = np.array([r.axis for r in rows], int)
    d0 = camera.R.T[axes]
    P, d, inv = place_rows(sensor, pts, d0)
    sign = np.sign((d * d0).sum(1))
    cov = inv * (SIGMA_FACTOR * pts.sigma / camera.f)[:, None, None] ** 2
    back = np.linalg.inv(camera.R)
    Q = (P - camera.t) @ back.T
    cov = back @ cov @ back.T + np.eye(3) * (SYSTEMATIC**2 + play**2)
    number = np.arange(len(rows))
    middle = Q.copy()
    middle[number, axes] += sign * _median_steps(pts)
    normals = np.zeros((len(rows), 2, 3))
    towards = np.sign(camera.centre - middle)
    sides = np.array([across(axis) for axis in range(3)])[axes]
    for c in range(2):
        j = sides[:, c]
        normals[number, c, j] = np.where(towards[number, j] == 0, 1.0, towards[number, j])
    if faces:
        return PlacedRows(rows, pts, Q, sign, cov, normals, faces.face_log)
    logs = [_face_log(camera, openings[r.index], m, r.axis) for r, m in zip(rows, middle)]
    return PlacedRows(rows, pts, Q, sign, cov, normals, np.array(logs).reshape(-1, 2))


def _median_steps(points: RowPoints) -> FloatArray:
    """(R,) median of each row's steps, which rise."""
    count = points.weight.sum(1).astype(int)
    number = np.arange(len(count))
    middle: FloatArray = (points.step[number, (count - 1) // 2] + points.step[number, count // 2]) / 2
    return middle


def _face_log(camera: Camera, openings: np.ndarray, middle: FloatArray, axis: int) -> FloatArray:
    """(2,) log probability of the two faces from the shape of the ellipses (normalised second moments)."""
    S = np.median(unit_shapes(openings), axis=0) + 1e-6 * np.eye(2)
    _, _, J = project_jacobian(camera, middle[None])
    logs = []
    for j in across(axis):  # the face with normal j is spanned by the axis and the other one
        T = circle_shapes(J[0][:, [axis, 3 - axis - j]])
        logs.append(-0.5 * (affine_distance(S, T) / FACE_SPREAD) ** 2 * min(len(openings), 6) ** 0.5)
    out = np.maximum(np.array(logs), max(logs) - 6)
    return out - np.logaddexp(out[0], out[1])


def twin_width(placed: PlacedRows) -> tuple[float, float]:
    """Width in pitches, and its standard error, from rows on neighbouring faces of one member.

    Twin rows differ by half a width outward along each of the two normals and by whole pitches along the
    axis.  The mode over all pairs that can be twins, weighted by how well they are known; (1, inf) where
    there are none.
    """
    pairs = [
        twin
        for i in range(len(placed.rows))
        for j in range(len(placed.rows))
        if (twin := _half_width(placed, i, j)) is not None
    ]
    if not pairs:
        return 1.0, np.inf
    halves, weights = np.array([h for h, _ in pairs]), np.array([w for _, w in pairs])
    # Mode, not mean: false pairs spread, true ones pile up.
    grid = np.arange(*HALF_WIDTHS, 0.01)
    pile = (weights * np.exp(-0.5 * ((grid[:, None] - halves) / TWIN_SPREAD) ** 2)).sum(1)
    best = grid[pile.argmax()]
    near = np.abs(halves - best) < 0.1
    w = weights[near]
    mean = float((halves[near] * w).sum() / w.sum())
    return 2 * mean, float(
        2 * max(0.02, np.sqrt(((halves[near] - mean) ** 2 * w).sum() / w.sum() / near.sum()))
    )


def _half_width(placed: PlacedRows, i: int, j: int) -> tuple[float, float] | None:
    """Half a width (pitches) from row i on its first face and row j on its second, and its weight."""
    r, q = placed.rows[i], placed.rows[j]
    if j == i or q.axis != r.axis:
        return None
    a, b = across(r.axis)
    delta = placed.place[i] - placed.place[j]
    half_a = delta[a] * placed.normal[i, 0][a]
    half_b = -delta[b] * placed.normal[j, 1][b]
    along = delta[r.axis] - np.rint(delta[r.axis])
    cov = placed.cov[i] + placed.cov[j]
    sigma = np.sqrt(cov[a, a] + cov[b, b])
    least, most = HALF_WIDTHS
    if sigma > 0.35 or not (least < half_a < most and least < half_b < most):
        return None
    if abs(half_a - half_b) > 2.5 * sigma + 0.05 or abs(along) > 0.2:
        return None
    log = placed.face_log[i, 0] + placed.face_log[j, 1]
    return (half_a + half_b) / 2, np.exp(log) * min(len(r.index), len(q.index)) / sigma**2
