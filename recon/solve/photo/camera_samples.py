"""Cameras drawn from what the vanishing points leave open.

Rows of members bolted by hand, in a picture that may be cropped, leave the principal point open by a twelfth
of the picture and the focal length by a tenth: too much for the lattice.  Of many cameras drawn from that
distribution, the few under which all rows lie on one lattice are near the true one.
"""

from __future__ import annotations

import numpy as np

from recon.geometry.camera import Camera
from recon.solve.photo.photo_lattice import upright_axes
from recon.solve.photo.vanishing_points import FREE, AxesCamera, after_step

DRAWN = 127  # cameras; 80 were enough on nine photos of nine
SEED = 0  # results are repeatable


def drawn_cameras(axes: AxesCamera, count: int = DRAWN) -> list[Camera]:
    """The camera itself and others drawn from its covariance, upright, all with the same names of the axes.

    Parameters
    ----------
    axes : with its covariance; without one the camera alone is given
    count : how many are drawn

    Examples
    --------
    >>> import numpy as np
    >>> camera = Camera(1000.0, 799.5, 599.5)
    >>> sure = AxesCamera(camera, np.zeros(0, int), np.zeros(0), 1.0, np.zeros((10, 10)))
    >>> [round(c.f) for c in drawn_cameras(sure, 3)]
    [1000, 1000, 1000, 1000]
    """
    upright = upright_axes(axes.camera)
    if axes.covariance is None:
        return [upright]
    names = np.rint(axes.camera.R.T @ upright.R)  # columns of upright.R are these of R, some turned about
    value, vector = np.linalg.eigh(axes.covariance)
    normal = np.random.default_rng(SEED).standard_normal((count, len(FREE)))
    steps = normal * np.sqrt(np.maximum(value, 0.0)) @ vector.T
    drawn = [after_step(axes.camera, step, FREE) for step in steps]
    return [upright, *(c.posed(c.R @ names, c.t) for c in drawn)]
