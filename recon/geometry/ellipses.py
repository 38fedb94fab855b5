"""Ellipses as matrices: shape of an opening seen, and shape of one foreseen, compared."""

from __future__ import annotations

import numpy as np

from recon.geometry.camera import Camera, image2sensor


def unit_shapes(openings: np.ndarray) -> np.ndarray:
    """(N, 2, 2) second-moment matrices of the ellipses, scaled to determinant 1."""
    c, s = np.cos(openings["angle"]), np.sin(openings["angle"])
    A, B = openings["major"] ** 2, np.maximum(openings["minor"], 0.3) ** 2
    S = np.empty((len(openings), 2, 2))
    S[:, 0, 0], S[:, 1, 1] = c * c * A + s * s * B, s * s * A + c * c * B
    S[:, 0, 1] = S[:, 1, 0] = c * s * (A - B)
    return S / np.sqrt(A * B)[:, None, None]


def face_shapes(camera: Camera, px: np.ndarray, normal: int) -> np.ndarray:
    """(N, 2, 2) unit shapes of small circles at image points (N, 2) px on faces normal to a frame axis.

    The shape depends on the line of sight only, not on the distance.  Lens terms are left out: they
    change shapes by less than a per cent.
    """
    xy = image2sensor(camera, px)
    a, b = [camera.R[:, j] for j in range(3) if j != normal]
    # d(x/z) = (da_x - x da_z) / z for a step along a.
    M = np.stack([a[:2] - xy * a[2], b[:2] - xy * b[2]], 2)
    T = M @ np.swapaxes(M, 1, 2)
    det = np.maximum(np.linalg.det(T), 1e-9)
    return T / np.sqrt(det)[:, None, None]


def shape_distance(S: np.ndarray, T: np.ndarray) -> np.ndarray:
    """(...,) affine-invariant distance of unit shapes: sqrt 2 times the log of the axis ratio that is left.

    Source: the geodesic distance of positive definite matrices (Pennec, Fillard and Ayache 2006,
    doi:10.1007/s11263-005-3222-z), for determinant 1.
    """
    # trace(T^-1 S) with det T = 1.
    tr = T[..., 1, 1] * S[..., 0, 0] - 2 * T[..., 0, 1] * S[..., 0, 1] + T[..., 0, 0] * S[..., 1, 1]
    tr = np.maximum(tr, 2.0)
    return np.sqrt(2) * np.log((tr + np.sqrt(tr * tr - 4)) / 2)


# Log-likelihood ratios (nats) of what a detection looks like, opening against clutter.  Straight lines
# through the log ratios of the two histograms over 12 rendered photos with truth (4 frames: steel,
# aluminium, lit wood; tiles, gravel, carpet); clipped, because such marks repeat along a row.


def score_llr(score: np.ndarray) -> np.ndarray:
    """(N,) from an opening's ``score``: even contrast all round its rim."""
    return np.clip(2.5 * np.log(np.maximum(score, 0.1) / 2.0), -2.0, 2.0)


def shape_llr(distance: np.ndarray) -> np.ndarray:
    """(N,) from the distance between the shape seen and the one foreseen (:func:`shape_distance`)."""
    return np.clip(1.6 - 2.8 * distance, -2.0, 1.3)
