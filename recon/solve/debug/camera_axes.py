"""Vanishing points of a camera's axes, in the picture."""

from __future__ import annotations

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera, camera2sensor

LEAST_AHEAD = 0.05  # cosine to the line of sight: nearer to square across, a vanishing point is far off


def vanishing_points_px(camera: Camera) -> FloatArray:
    """(3, 2) px of the directions x, y, z, the lens undone; NaN where one lies across the line of sight.

    Examples
    --------
    >>> vanishing_points_px(Camera(1000.0, 799.5, 599.5))
    array([[  nan,   nan],
           [  nan,   nan],
           [799.5, 599.5]])
    """
    ahead = np.where(np.abs(camera.R[2]) > LEAST_AHEAD, camera.R * np.sign(camera.R[2]), np.nan)
    return camera.f * camera2sensor(ahead.T) + [camera.cx, camera.cy]


def px_text(px: FloatArray) -> str:
    """A place in the picture: '310, 420', or 'far off'."""
    return f"{px[0]:.0f}, {px[1]:.0f}" if np.isfinite(px).all() else "far off"
