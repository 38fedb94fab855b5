"""Resection: the camera that best sees points whose places are known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import NEAREST, PARAMETERS, PLANES, Camera, image_derivatives, stepped
from recon.geometry.trust_region import TOLERANCE, Cauchy, least_cost
from recon.solve.evidence.camera_prior import COUNT, CameraPrior

UNKNOWN = 1e6  # spread of ln f where nothing is expected of it
FOCAL_SPREAD = 0.03  # of ln f about a focal length that is expected; this project's choice
BEHIND = 1e3  # residual, in sigmas, of a point that falls behind the camera
ROBUST = 2.0  # sigmas from which a point counts less; this project's choice
POSE = [0, 3, 4, 5, 6, 7, 8]  # f, rotation, t in the parameters of `stepped`
LENS = [1, 2]
POINT_AND_RACK = [9, 10, 11, 12, 13]
MOST_LOOKS = 50  # at cameras; bounds the time


def resect(
    camera: Camera,
    world: FloatArray,
    image: FloatArray,
    sigma: FloatArray,
    focal_prior: float | None = None,
    lens_terms: int = 1,
    prior: CameraPrior | None = None,
    tolerance: float = TOLERANCE,
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
    tolerance : relative, of the cost, to which it is found

    Notes
    -----
    Trust-region least squares with a Cauchy loss and the analytic Jacobian.  Priors lie outside the robust
    loss where the principal point and the frame's squareness are free.

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
    points = _KnownPoints(np.array(world.T), np.array(image.T), sigma)
    known = prior or CameraPrior(
        focal_prior or f, FOCAL_SPREAD if focal_prior else UNKNOWN, (camera.cx, camera.cy), f
    )
    # Inside the robust loss a prior missed by far costs almost nothing: with more that is free it must not.
    task = _Resection(points, known, free, Cauchy(ROBUST, COUNT if prior else 0))
    return least_cost(camera, task.look, task.normal, task.moved, scale, MOST_LOOKS, tolerance)


@dataclass(frozen=True)
class _KnownPoints:
    """N points: world (3, N) pitches, image (2, N) px, standard error (N,) px."""

    world: FloatArray
    image: FloatArray
    sigma: FloatArray


@dataclass(frozen=True)
class _Resection:
    """What is asked of a camera that sees known points.

    Attributes
    ----------
    points : _KnownPoints
    prior : CameraPrior
    free : (P,) numbers of the parameters of :func:`recon.geometry.camera.stepped` that are set free.
    loss : Cauchy
    """

    points: _KnownPoints
    prior: CameraPrior
    free: IntArray
    loss: Cauchy

    def look(self, camera: Camera) -> tuple[float, tuple[FloatArray, FloatArray]]:
        """The cost of a camera, and the points as it sees them, with the residuals."""
        placed = camera.R @ self.points.world + camera.t[:, None]
        ahead = np.maximum(placed[2], NEAREST)
        sensor = placed[:2] / ahead
        r2 = (sensor * sensor).sum(0)
        px = camera.f * (1 + r2 * (camera.k1 + camera.k2 * r2)) * sensor
        e = (px + np.array([[camera.cx], [camera.cy]]) - self.points.image) / self.points.sigma
        e[:, placed[2] <= NEAREST] = BEHIND
        residuals = np.concatenate([e.ravel(), self.prior.residuals(camera)])
        return self.loss.cost(residuals), (placed, residuals)

    def normal(self, camera: Camera, seen: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, FloatArray]:
        """The normal equations where a camera stands; points behind it say nothing of the way."""
        placed, residuals = seen
        weight = np.where(placed[2] > NEAREST, 1 / self.points.sigma, 0.0)
        placed = np.concatenate([placed[:2], np.maximum(placed[2:], NEAREST)])
        shears = bool(self.free[-1] >= PARAMETERS - len(PLANES))
        _, by_camera, _ = image_derivatives(camera, placed, self.points.world, shears)
        J = (by_camera[self.free] * weight).reshape(len(self.free), -1)
        return self.loss.normal(residuals, np.hstack([J, self.prior.jacobian(camera)[:, self.free].T]))

    def moved(self, camera: Camera, step: FloatArray) -> Camera:
        """A camera after a step in the free parameters."""
        d = np.zeros(PARAMETERS)
        d[self.free] = step
        return stepped(camera, d)
