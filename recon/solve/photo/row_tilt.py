"""Rows of members bolted by hand: each runs a little off the frame's axis, all its openings together.

Such a row is off by many standard errors of its openings, yet says hardly less of the camera than the play of
its bolts leaves open.  Weighed by their openings alone, long rows draw the camera to wherever their tilts
happen to point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera
from recon.solve.photo.row_points import RowPoints, placed_residuals

# Radians, each way.  Bolts leave 1 to 2 mm of play in their holes (0.04 pitches), laps that hold a member lie
# some ten pitches apart: 0.04 * sqrt(2) / 10.  This project's choice.
TILT_SPREAD = 0.005
STEP = 1e-3  # radians, for derivatives: residuals are nearly linear over it


@dataclass(frozen=True)
class RowTilts:
    """How tilts of R rows show in their residuals.

    Attributes
    ----------
    basis : (R, 2 M, 2) orthonormal columns: residuals that a row's two tilts give, in units of its sigma.
    shrink : (R, 2) by how much residuals along them count less, 0 to 1.
    """

    basis: FloatArray
    shrink: FloatArray

    def whitened(self, residuals: FloatArray) -> FloatArray:
        """Residuals (..., R, 2 M) in units of sigma, with tilts of the expected size being one of them."""
        along = (np.swapaxes(self.basis, 1, 2) @ residuals[..., None])[..., 0] * self.shrink
        white: FloatArray = residuals - (self.basis @ along[..., None])[..., 0]
        return white


def row_tilts(camera: Camera, points: RowPoints, axes: IntArray, spread: float = TILT_SPREAD) -> RowTilts:
    """What tilts of rows off the camera's axes do to their residuals.

    Parameters
    ----------
    camera : near the true one
    points : R rows
    axes : (R,) frame axis of each row
    spread : standard deviation of a tilt, radians

    Notes
    -----
    With residuals e = J a + noise of unit variance and tilts a of variance s^2, the covariance of e is
    I + s^2 J J'; its inverse square root leaves e as it is across the columns of J and shrinks it along them
    (marginalisation of nuisance parameters, e.g. Bishop 2006, section 2.3).
    """
    direction = camera.R.T[axes]
    sideways = np.cross(direction, [0.0, 0.0, 1.0])
    sideways /= np.linalg.norm(sideways, axis=1, keepdims=True) + 1e-9
    tilted = [direction]
    for tilt in (sideways, np.cross(direction, sideways)):
        off = direction + STEP * tilt
        tilted.append(off / np.linalg.norm(off, axis=1, keepdims=True))
    straight, *others = placed_residuals([camera], points, np.stack(tilted)[None])[0]
    columns = [(other - straight) / STEP for other in others]
    J = np.stack([c.reshape(len(axes), -1) for c in columns], 2) / points.sigma[:, None, None]
    basis, size, _ = np.linalg.svd(J, full_matrices=False)
    return RowTilts(basis, 1 - 1 / np.sqrt(1 + (spread * size) ** 2))
