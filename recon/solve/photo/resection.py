"""Resection: the camera that best sees points whose places are known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import (
    PARAMETERS,
    Camera,
    camera2sensor,
    project_jacobian,
    sensor2image,
    stepped,
    world2camera,
)
from recon.solve.evidence.camera_prior import COUNT, CameraPrior, robust_but_priors

UNKNOWN = 1e6  # spread of ln f where nothing is expected of it
FOCAL_SPREAD = 0.03  # of ln f about a focal length that is expected; this project's choice
BEHIND = 1e3  # residual, in sigmas, of a point that falls behind the camera
NOT_SEEN_PX = 1e4  # px where a point is put that does not project
ROBUST = 2.0  # sigmas from which a point counts less; this project's choice
POSE = [0, 3, 4, 5, 6, 7, 8]  # f, rotation, t in the parameters of `stepped`
LENS = [1, 2]
POINT_AND_RACK = [9, 10, 11, 12, 13]
CAUCHY = {"loss": "cauchy", "f_scale": ROBUST}


def resect(
    camera: Camera,
    world: FloatArray,
    image: FloatArray,
    sigma: FloatArray,
    focal_prior: float | None = None,
    lens_terms: int = 1,
    prior: CameraPrior | None = None,
) -> Camera:
    """Resection: the camera that best sees known points, robust to wrong ones.

    Parameters
    ----------
    camera : to start from
    world : (N, 3) pitches
    image : (N, 2) px
    sigma : (N,) standard error of an image point, px
    focal_prior : focal length, px, expected with a spread of 3 %, or None; not with `prior`
    lens_terms : 0, 1 (k1) or 2 (k1, k2): the terms set free
    prior : with it the principal point and the frame's squareness are free, too

    Notes
    -----
    Trust-region least squares with a Cauchy loss (SciPy) and the analytic Jacobian.  Priors lie outside the
    robust loss where the principal point and the frame's squareness are free.

    Examples
    --------
    >>> import numpy as np
    >>> true = Camera(1300.0, 799.5, 599.5, t=np.array([0.0, 0.0, 30.0]))
    >>> world = np.array([[x, y, z] for x in (-5.0, 0, 5) for y in (-4.0, 4) for z in (-4.0, 0, 5)])
    >>> start = true.posed(true.R, np.array([0.5, -0.3, 32.0]))
    >>> found = resect(start, world, true.project(world), np.full(18, 0.3), focal_prior=1300.0)
    >>> (found.t.round(3) + 0.0).tolist()
    [0.0, 0.0, 30.0]
    """
    free = np.array(POSE + LENS[:lens_terms] + (POINT_AND_RACK if prior else []))
    f = camera.f
    scale = np.array([0.01 * f, 0.02, 0.02, *[0.01] * 3, *[0.2] * 3, *[0.02 * f] * 2, *[0.01] * 3])[free]
    points = _KnownPoints(world, image, sigma)
    known = prior or CameraPrior(
        focal_prior or f, FOCAL_SPREAD if focal_prior else UNKNOWN, (camera.cx, camera.cy), f
    )
    loss = {"loss": robust_but_priors(COUNT, ROBUST)} if prior else CAUCHY
    for _ in range(2):
        camera = _adjusted(camera, points, known, free, scale, loss)
    return camera


@dataclass(frozen=True)
class _KnownPoints:
    """N points: world (N, 3) pitches, image (N, 2) px, standard error (N,) px."""

    world: FloatArray
    image: FloatArray
    sigma: FloatArray


def _adjusted(
    camera: Camera,
    points: _KnownPoints,
    prior: CameraPrior,
    free: IntArray,
    scale: FloatArray,
    loss: Mapping[str, Any],
) -> Camera:
    """The camera after one run of the solver over the free parameters of :func:`stepped`."""

    @lru_cache(1)  # the Jacobian is asked for where the residuals were
    def at_bytes(p: bytes) -> Camera:
        d = np.zeros(PARAMETERS)
        d[free] = np.frombuffer(p)
        return stepped(camera, d)

    def at(p: FloatArray) -> Camera:
        return at_bytes(p.tobytes())

    def residual(p: FloatArray) -> FloatArray:
        c = at(p)
        placed = world2camera(c, points.world)
        z, px = placed[:, 2], sensor2image(c, camera2sensor(placed))
        e = (np.where(np.isfinite(px), px, NOT_SEEN_PX) - points.image) / points.sigma[:, None]
        e[z <= 0] = BEHIND
        return np.r_[e.ravel(), prior.residuals(c)]

    def jacobian(p: FloatArray) -> FloatArray:
        c = at(p)
        _, J, _ = project_jacobian(c, points.world)
        J = J / points.sigma[:, None, None]
        # A left rotation step composed onto the current one is first-order the same at p.
        return np.concatenate([J.reshape(-1, PARAMETERS), prior.jacobian(c)])[:, free]

    start = np.zeros(len(free))
    sol = least_squares(residual, start, jac=jacobian, x_scale=scale, max_nfev=25, **loss)
    return at(sol.x)
