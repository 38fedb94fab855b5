"""Ellipses as matrices: the shape of an opening seen and that of one predicted, compared."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera, image2sensor

FLAT = 1e-9  # determinants and eigenvalues below this are rounding, as of a face seen edge-on
THINNEST_PX = 0.3  # a minor axis thinner than this is taken as this: a third of a pixel says nothing


def unit_shapes(openings: NDArray[Any]) -> FloatArray:
    """Second-moment matrices of ellipses, scaled to determinant 1.

    Parameters
    ----------
    openings : (N,) structured array
        With fields `angle` (radians), `major` and `minor` (px), as ``recon.image.openings.OPENING``.

    Returns
    -------
    (N, 2, 2) array
    """
    c, s = np.cos(openings["angle"]), np.sin(openings["angle"])
    A, B = openings["major"] ** 2, np.maximum(openings["minor"], THINNEST_PX) ** 2
    S = np.empty((len(openings), 2, 2))
    S[:, 0, 0], S[:, 1, 1] = c * c * A + s * s * B, s * s * A + c * c * B
    S[:, 0, 1] = S[:, 1, 0] = c * s * (A - B)
    scaled: FloatArray = S / np.sqrt(A * B)[:, None, None]
    return scaled


def circle_shapes(maps: FloatArray) -> FloatArray:
    """(..., 2, 2) unit shapes of what linear maps (..., 2, 2) make of a circle."""
    T = maps @ np.swapaxes(maps, -1, -2)
    det = np.maximum(np.linalg.det(T), FLAT)
    scaled: FloatArray = T / np.sqrt(det)[..., None, None]
    return scaled


def face_shapes(camera: Camera, px: FloatArray, normal: int) -> FloatArray:
    """Unit shapes of small circles on faces normal to an axis of the frame.

    Parameters
    ----------
    camera : Camera
    px : (N, 2) array
        Where the circles are seen, px.
    normal : int
        The axis, 0 to 2.

    Returns
    -------
    (N, 2, 2) array

    Notes
    -----
    The shape depends on the line of sight only, not on the distance.  Lens terms are left out: they
    change shapes by less than a per cent.
    """
    xy = image2sensor(camera, px)
    a, b = [camera.R[:, j] for j in range(3) if j != normal]
    # d(x/z) = (da_x - x da_z) / z for a step along a.
    return circle_shapes(np.stack([a[:2] - xy * a[2], b[:2] - xy * b[2]], 2))


def face_distances(camera: Camera, px: FloatArray, seen: FloatArray) -> FloatArray:
    """How far shapes are from those of small circles on faces normal to each axis of the frame.

    Parameters
    ----------
    camera : Camera
    px : (N, 2) array
        Where they are seen, px.
    seen : (N, 2, 2) array
        Unit shapes.

    Returns
    -------
    (N, 3) array
        `shape_distance` from `face_shapes`, for all axes at once.

    Examples
    --------
    A circle on a face towards the camera is seen round.

    >>> head_on = Camera(1000.0, 400.0, 300.0)
    >>> face_distances(head_on, np.array([[400.0, 300.0]]), np.eye(2)[None])[0, 2]
    np.float64(0.0)
    """
    x, y = image2sensor(camera, px).T
    # d(x/z) = (da_x - x da_z) / z for a step along each axis.
    u, v = ([camera.R[i, j] - q * camera.R[2, j] for j in range(3)] for i, q in ((0, x), (1, y)))
    s00, s01, s11 = seen[:, 0, 0], seen[:, 0, 1], seen[:, 1, 1]
    # What a step along each axis adds to trace(T^-1 S), still times the root of det T.
    part = [b * b * s00 - 2 * a * b * s01 + a * a * s11 for a, b in zip(u, v)]
    trace = np.empty((len(x), 3))
    for normal, (i, j) in enumerate(((1, 2), (0, 2), (0, 1))):
        area = u[i] * v[j] - v[i] * u[j]
        trace[:, normal] = (part[i] + part[j]) / np.sqrt(np.maximum(area * area, FLAT))
    return _distance_of_trace(trace)


def shape_distance(S: FloatArray, T: FloatArray) -> FloatArray:
    """(...,) affine-invariant distance of unit shapes: sqrt 2 times the log of the axis ratio that is left.

    `affine_distance` for determinants of 1, in half the time.

    Examples
    --------
    >>> float(shape_distance(np.diag([np.e, 1 / np.e]), np.eye(2)).round(4))
    1.4142
    """
    # trace(T^-1 S) with det T = 1.
    return _distance_of_trace(_trace_of_quotient(S, T))


def _distance_of_trace(trace: FloatArray) -> FloatArray:
    tr = np.maximum(trace, 2.0)
    distance: FloatArray = np.sqrt(2) * np.log((tr + np.sqrt(tr * tr - 4)) / 2)
    return distance


def affine_distance(S: FloatArray, T: FloatArray) -> FloatArray:
    """(...,) affine-invariant distance of second-moment matrices (..., 2, 2).

    The root of the sum of squares of the logs of the eigenvalues of T^-1 S.

    References
    ----------
    X. Pennec, P. Fillard, N. Ayache 2006, doi:10.1007/s11263-005-3222-z: the geodesic distance of positive
    definite matrices.
    """
    det_t = np.maximum(np.linalg.det(T), FLAT)
    tr, det = _trace_of_quotient(S, T) / det_t, np.linalg.det(S) / det_t
    large = np.maximum(tr + np.sqrt(np.maximum(tr * tr - 4 * det, 0.0)), FLAT) / 2
    distance: FloatArray = np.hypot(np.log(large), np.log(np.maximum(det / large, FLAT)))
    return distance


def _trace_of_quotient(S: FloatArray, T: FloatArray) -> FloatArray:
    """(...,) trace(T^-1 S) times the determinant of T."""
    trace: FloatArray = (
        T[..., 1, 1] * S[..., 0, 0] - 2 * T[..., 0, 1] * S[..., 0, 1] + T[..., 0, 0] * S[..., 1, 1]
    )
    return trace


# Log-likelihood ratios (nats) of what a detection looks like, opening against clutter.  Straight lines
# through the log ratios of the two histograms over 12 rendered photos with truth (4 frames: steel,
# aluminium, lit wood; tiles, gravel, carpet); clipped, because such marks repeat along a row.


def score_llr(score: FloatArray) -> FloatArray:
    """(N,) nats from an opening's `score`: even contrast all round its rim."""
    return np.clip(2.5 * np.log(np.maximum(score, 0.1) / 2.0), -2.0, 2.0)


def shape_llr(distance: FloatArray) -> FloatArray:
    """(N,) nats from the distance between the shape seen and the one predicted (`shape_distance`)."""
    return np.clip(1.6 - 2.8 * distance, -2.0, 1.3)
