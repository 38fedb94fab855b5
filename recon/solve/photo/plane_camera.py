"""How far one plane of openings says the focal length.

A plane alone gives two equations for the camera (Zhang 2000, doi:10.1109/34.888718): enough for the focal
length where the plane is tilted and its lattice is known (here: square, or at 60 degrees), nothing where it
is seen straight on.  How much it says is the width of the posterior over the focal length, under priors of
all that the plane cannot tell: principal point, lens, and the focal length itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera
from recon.solve.photo.plane_pattern import fit_homography

FOCAL_PRIOR = (1.0, 0.45)  # median over the long side, and spread of ln f: 24 to 70 mm equivalent
EXIF_SPREAD = 0.04  # of ln f: EXIF rounds to whole mm
PRINCIPAL_SPREAD = 0.03  # of the long side: principal point of an uncropped photo; this project's choice
K1_SPREAD = (
    0.12  # of the radial lens term, webcams too (OpenCV's sample camera: -0.27); this project's choice
)
FOCAL_TRIALS = np.geomspace(0.35, 4.0, 24)  # over the long side
# The second step of a plane's lattice, the first being (1, 0): square, square counted along a diagonal, and
# sheet perforated at 60 degrees.
LATTICES = ((0.0, 1.0), (1.0, 1.0), (-1.0, 1.0), (0.5, 0.75**0.5), (-0.5, 0.75**0.5))
KNOWN_SPREAD = 0.15  # of ln f, up to which it is said: a third of the prior's; this project's choice
SPREAD_PX = 0.3  # of an opening's centre: a sharp opening's standard error
# Of ln f: what lens terms beyond the first leave (OpenCV's sample chessboard, 13 views: -5 to +4 %).
LENS_SPREAD = 0.04
LATTICE_COST = np.array([0.0, 0.7, 0.7, 1.4, 1.4])  # nats: square ones are commoner; this project's choice
# Nats to both sides of the best trial from which the peak lies between its neighbours and is narrower than
# the steps: with less a flat posterior with one steep side would pass for a peak.
SHARP = 2.0
AS_WELL = 3.0  # nats by which another lattice may fit worse and still be the true one: odds of 20
MOST_POINTS = 150  # of a plane, evenly of all: its focal length is known no better from more; bounds the time
LEAST_LINES = 4  # either way: a lens bends three lines as a tilt does
MOST_COST = 2.5  # nats an opening, at most: 1 where the plane is a lattice of the ones tried


@dataclass(frozen=True)
class FocalEstimate:
    """A focal length and how well it is known.

    Attributes
    ----------
    focal_px : float
        Median.
    spread : float
        Standard deviation of its natural logarithm: 0.05 is 5 %.
    """

    focal_px: float
    spread: float

    @property
    def known(self) -> bool:
        """Does the plane say much more than the prior does?"""
        return self.spread < KNOWN_SPREAD


def focal_of_plane(
    node: IntArray | FloatArray, px: FloatArray, size: tuple[int, int], focal_px: float | None = None
) -> FocalEstimate:
    """Focal length from openings at whole numbers of two steps on one plane.

    Parameters
    ----------
    node : (M, 2) whole numbers of steps, at least 3 by 3 of them
    px : (M, 2) the openings, px
    size : width, height of the photo, px
    focal_px : from EXIF, px, or None

    Examples
    --------
    >>> turn = Rotation.from_euler("xyz", [40, 20, 10], degrees=True).as_matrix()
    >>> camera = Camera(700.0, 319.5, 239.5, R=turn, t=np.array([-2.0, -3, 14]))
    >>> node = np.stack(np.meshgrid(np.arange(8), np.arange(8)), 2).reshape(-1, 2)
    >>> found = focal_of_plane(node, camera.project(np.c_[node, np.zeros(64)]), (640, 480))
    >>> bool(abs(np.log(found.focal_px / 700)) < 0.05), found.known
    (True, True)
    """
    node = np.asarray(node, float)
    some = np.linspace(0, len(node) - 1, min(len(node), MOST_POINTS)).astype(int)
    plane = _Plane(node[some], px[some], size, focal_px)
    tried = np.log(FOCAL_TRIALS * max(size))
    cost = np.array([plane.costs(np.exp(tried), s) for s in LATTICES])
    cost += LATTICE_COST[:, None]
    best, k = np.unravel_index(cost.argmin(), cost.shape)
    none = FocalEstimate(focal_px or FOCAL_PRIOR[0] * max(size), EXIF_SPREAD if focal_px else FOCAL_PRIOR[1])
    few_lines = min(len(np.unique(plane.node[:, j])) for j in (0, 1)) < LEAST_LINES
    if few_lines or k in (0, len(tried) - 1) or cost.min() > MOST_COST * len(some):
        return none
    # Other lattices that fit as well, at another focal length, make it uncertain.
    peaks = [posterior_peak(tried, c) for c in cost if c.min() < cost.min() + AS_WELL]
    at, spread = posterior_peak(tried, cost[best])
    apart = max(abs(f - at) for f, _ in peaks)
    return FocalEstimate(float(np.exp(at)), float(np.hypot(np.hypot(spread, LENS_SPREAD), apart)))


def posterior_peak(at: FloatArray, cost: FloatArray) -> tuple[float, float]:
    """Mean and standard deviation of a posterior from its costs at even places.

    Parameters
    ----------
    at : (N,) even places, N > 2
    cost : (N,) nats

    Examples
    --------
    >>> at = np.arange(9.0)
    >>> [round(x, 1) for x in posterior_peak(at, 0.5 * ((at - 3.2) / 0.4) ** 2)]
    [3.2, 0.4]
    """
    step = at[1] - at[0]
    k = int(np.clip(cost.argmin(), 1, len(cost) - 2))
    if min(cost[k - 1], cost[k + 1]) > cost[k] + SHARP:  # sharper than the steps: a parabola
        bend = (cost[k - 1] - 2 * cost[k] + cost[k + 1]) / step**2
        return float(at[k] - (cost[k + 1] - cost[k - 1]) / (2 * step * bend)), float(1 / np.sqrt(bend))
    fine = np.linspace(at[0], at[-1], 600)
    p = np.exp(cost.min() - np.interp(fine, at, cost))
    mean = float((p * fine).sum() / p.sum())
    return mean, float(np.sqrt((p * (fine - mean) ** 2).sum() / p.sum()))


@dataclass(frozen=True)
class _Plane:
    """Openings of a plane, with the priors; parameters as of :func:`focal_of_plane`."""

    node: FloatArray
    px: FloatArray
    size: tuple[int, int]
    focal_px: float | None

    def costs(self, focals: FloatArray, step: tuple[float, float]) -> FloatArray:
        """Cost in nats with each focal length; the second step of the lattice is given."""
        space = np.c_[self.node[:, :1] + step[0] * self.node[:, 1:], step[1] * self.node[:, 1:]]
        space = np.c_[space - space.mean(0), np.zeros(len(space))]
        H, _ = fit_homography(space[:, :2], self.px)
        return np.array([self._cost(float(f), space, H) for f in focals])

    def _cost(self, f: float, space: FloatArray, H: FloatArray) -> float:
        """Cost in nats with one focal length, of a plane at z = 0 in space that a homography takes to px."""
        long = max(self.size)
        start = _posed(H, Camera(f, (self.size[0] - 1) / 2, (self.size[1] - 1) / 2))

        def camera(p: FloatArray) -> Camera:
            turned = Rotation.from_rotvec(p[3:6]).as_matrix() @ start.R
            moved = replace(start, cx=start.cx + p[0] * long, cy=start.cy + p[1] * long, k1=p[2])
            return moved.posed(turned, start.t + p[6:9] * start.t[2])

        def residual(p: FloatArray) -> FloatArray:
            off = np.nan_to_num(camera(p).project(space) - self.px, nan=1e3) / SPREAD_PX
            # Soft as a Cauchy loss at 3 sigma, so that priors stay outside it.
            soft = np.sign(off) * 3 * np.sqrt(np.log1p((off / 3) ** 2))
            return np.r_[soft.ravel(), p[:2] / PRINCIPAL_SPREAD, p[2] / K1_SPREAD]

        solved = least_squares(residual, np.zeros(9), max_nfev=10, x_scale=[0.02, 0.02, 0.05] + [0.03] * 6)
        at, spread = (
            (self.focal_px, EXIF_SPREAD) if self.focal_px else (FOCAL_PRIOR[0] * long, FOCAL_PRIOR[1])
        )
        return float(solved.cost + 0.5 * (np.log(f / at) / spread) ** 2)


def _posed(H: FloatArray, camera: Camera) -> Camera:
    """The camera before a plane z = 0, from its homography."""
    K = np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1]])
    a, b, c = (np.linalg.inv(K) @ H).T
    if c[2] < 0:
        a, b, c = -a, -b, -c
    scale = np.sqrt(np.linalg.norm(a) * np.linalg.norm(b))
    U, _, V = np.linalg.svd(np.c_[a, b, np.cross(a, b) / scale] / scale)
    return camera.posed(U @ np.diag([1, 1, np.linalg.det(U @ V)]) @ V, c / scale)
