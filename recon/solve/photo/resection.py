"""Resection: the camera that best sees points whose places are known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera, project_jacobian, stepped, world2camera
from recon.solve.photo.vanishing_points import K1_SPREAD

FOCAL_SPREAD = 0.03  # of f about its prior, as a part of it; this project's choice
BEHIND = 1e3  # residual, in sigmas, of a point that falls behind the camera
NOT_SEEN_PX = 1e4  # px where a point is put that does not project


def resect(
    camera: Camera,
    world: FloatArray,
    image: FloatArray,
    sigma: FloatArray,
    focal_prior: float | None = None,
    lens_terms: int = 1,
) -> Camera:
    """Resection: the camera that best sees known points, robust to wrong ones.

    Parameters
    ----------
    camera : to start from
    world : (N, 3) pitches
    image : (N, 2) px
    sigma : (N,) standard error of an image point, px
    focal_prior : focal length, px, expected with a spread of 3 %, or None
    lens_terms : 0, 1 (k1) or 2 (k1, k2): the terms set free

    Notes
    -----
    Trust-region least squares with a Cauchy loss (SciPy) and the analytic Jacobian.

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
    free = np.array([0, 3, 4, 5, 6, 7, 8] + [1, 2][:lens_terms])
    scale = np.array([0.01 * camera.f, 0.01, 0.01, 0.01, 0.2, 0.2, 0.2] + [0.02, 0.02][:lens_terms])
    points = _KnownPoints(world, image, sigma)
    prior = _Prior(focal_prior, np.array([FOCAL_SPREAD * camera.f, K1_SPREAD, K1_SPREAD]))
    for _ in range(2):
        camera = _adjusted(camera, points, prior, free, scale)
    return camera


@dataclass(frozen=True)
class _KnownPoints:
    """N points: world (N, 3) pitches, image (N, 2) px, standard error (N,) px."""

    world: FloatArray
    image: FloatArray
    sigma: FloatArray


@dataclass(frozen=True)
class _Prior:
    """Focal length expected, px, or None; standard errors of f (px), k1, k2."""

    focal: float | None
    spread: FloatArray


def _adjusted(
    camera: Camera, points: _KnownPoints, prior: _Prior, free: IntArray, scale: FloatArray
) -> Camera:
    """The camera after one run of the solver over the free parameters of :func:`stepped`."""

    def at(p: FloatArray) -> Camera:
        d = np.zeros(9)
        d[free] = p
        return stepped(camera, d)

    def residual(p: FloatArray) -> FloatArray:
        c = at(p)
        z = world2camera(c, points.world)[:, 2]
        px = c.project(points.world)
        e = (np.where(np.isfinite(px), px, NOT_SEEN_PX) - points.image) / points.sigma[:, None]
        e[z <= 0] = BEHIND
        off = [
            (c.f - (prior.focal or c.f)) / prior.spread[0],
            c.k1 / prior.spread[1],
            c.k2 / prior.spread[2],
        ]
        return np.r_[e.ravel(), off]

    def jacobian(p: FloatArray) -> FloatArray:
        _, J, _ = project_jacobian(at(p), points.world)
        J = J / points.sigma[:, None, None]
        extra = np.zeros((3, 9))
        extra[0, 0] = 1 / prior.spread[0] if prior.focal else 0.0
        extra[1, 1], extra[2, 2] = 1 / prior.spread[1], 1 / prior.spread[2]
        # A left rotation step composed onto the current one is first-order the same at p.
        return np.concatenate([J.reshape(-1, 9), extra])[:, free]

    start = np.zeros(len(free))
    sol = least_squares(residual, start, jac=jacobian, loss="cauchy", f_scale=2.0, x_scale=scale, max_nfev=25)
    return at(sol.x)
