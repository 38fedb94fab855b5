"""How far one plane of openings says the focal length.

A plane alone gives two equations for the camera (Zhang 2000, doi:10.1109/34.888718): enough for the focal
length where the plane is tilted and its lattice is known (here: square, or at 60 degrees), nothing where it
is seen straight on.  How much it says is the width of the posterior over the focal length, under priors of
all that the plane cannot tell, which are integrated over: principal point and lens.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import OptimizeResult, least_squares
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
# Steps of least squares: with these, four starts from half to twice the focal length end in one place on the
# published dots, and the costs within 10 nats of the least are those of four times as many steps.
FIT_STEPS, TRIAL_STEPS = 60, 15
SCALES = (0.02, 0.02, 0.05, 0.03, 0.03, 0.03, 0.03, 0.03, 0.03, 0.1)  # a usual change of each parameter
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
    fits = [plane.fitted(step) for step in LATTICES]
    cost = np.array([fit.cost for fit in fits]) + LATTICE_COST
    none = FocalEstimate(focal_px or FOCAL_PRIOR[0] * max(size), EXIF_SPREAD if focal_px else FOCAL_PRIOR[1])
    few_lines = min(len(np.unique(plane.node[:, j])) for j in (0, 1)) < LEAST_LINES
    if few_lines or cost.min() > MOST_COST * len(some):
        return none
    # Other lattices that fit as well, at another focal length, make it uncertain.
    tried = np.log(FOCAL_TRIALS * max(size))
    likely = sorted(np.nonzero(cost < cost.min() + AS_WELL)[0].tolist(), key=lambda i: cost[i])
    posteriors = [plane.posterior(fits[i], tried) for i in likely]
    if posteriors[0].argmin() in (0, len(tried) - 1):
        return none
    peaks = [posterior_peak(tried, nats) for nats in posteriors]
    at, spread = peaks[0]
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
class _Fit:
    """A camera before a plane at z = 0: ``space`` (M, 3) are the openings on it, ``cost`` is in nats."""

    camera: Camera
    space: FloatArray
    cost: float

    def moved(self, p: FloatArray, long: int) -> Camera:
        """The camera moved by ten parameters: principal point, lens, turn, place, and ln f.

        With another focal length it stands so much nearer or farther, so that the plane keeps its size.
        """
        c, zoom = self.camera, float(np.exp(p[9]))
        turned = Rotation.from_rotvec(p[3:6]).as_matrix() @ c.R
        with_lens = replace(
            c, f=c.f * zoom, cx=c.cx + p[0] * long, cy=c.cy + p[1] * long, k1=c.k1 + float(p[2])
        )
        return with_lens.posed(turned, c.t * [1, 1, zoom] + p[6:9] * c.t[2])


@dataclass(frozen=True)
class _Plane:
    """Openings of a plane, with the priors; parameters as of :func:`focal_of_plane`."""

    node: FloatArray
    px: FloatArray
    size: tuple[int, int]
    focal_px: float | None

    def fitted(self, step: tuple[float, float]) -> _Fit:
        """The likeliest camera with all priors; the second step of the lattice is given."""
        space = np.c_[self.node[:, :1] + step[0] * self.node[:, 1:], step[1] * self.node[:, 1:]]
        space = np.c_[space - space.mean(0), np.zeros(len(space))]
        H, _ = fit_homography(space[:, :2], self.px)
        f = self.focal_px or FOCAL_PRIOR[0] * max(self.size)
        fit = _Fit(_posed(H, Camera(f, (self.size[0] - 1) / 2, (self.size[1] - 1) / 2)), space, np.inf)
        solved = self._solved(fit, np.zeros(10), FIT_STEPS)
        return _Fit(fit.moved(solved.x, max(self.size)), space, float(solved.cost))

    def posterior(self, fit: _Fit, tried: FloatArray) -> FloatArray:
        """Cost in nats of each ln f, all other parameters integrated over.

        Each begins where its neighbour ended, outwards from the likeliest.

        Notes
        -----
        Laplace's approximation (MacKay 2003, Information Theory, Inference, and Learning Algorithms, chapter
        27): the cost at the best place plus half the logarithm of the determinant of its curvature.
        """
        at = tried - np.log(fit.camera.f)
        middle = int(np.abs(at).argmin())
        out = np.zeros(len(tried))
        for way in (range(middle, len(tried)), range(middle - 1, -1, -1)):
            p = np.zeros(10)
            for k in way:
                p[9] = at[k]
                solved = self._solved(fit, p, TRIAL_STEPS, fixed=True)
                p[:9] = solved.x
                out[k] = solved.cost + 0.5 * np.linalg.slogdet(solved.jac.T @ solved.jac)[1]
        return out

    def _solved(self, fit: _Fit, start: FloatArray, steps: int, fixed: bool = False) -> OptimizeResult:
        """Least squares from some parameters on, ln f among them or ``fixed``."""
        long = max(self.size)
        known = (self.focal_px, EXIF_SPREAD) if self.focal_px else (FOCAL_PRIOR[0] * long, FOCAL_PRIOR[1])

        def residual(p: FloatArray) -> FloatArray:
            camera = fit.moved(np.r_[p, start[9]] if fixed else p, long)
            off = np.nan_to_num(camera.project(fit.space) - self.px, nan=1e3) / SPREAD_PX
            # Soft as a Cauchy loss at 3 sigma, so that priors stay outside it.
            soft = np.sign(off) * 3 * np.sqrt(np.log1p((off / 3) ** 2))
            principal = (np.array([camera.cx, camera.cy]) - (np.array(self.size) - 1) / 2) / long
            prior = [camera.k1 / K1_SPREAD, np.log(camera.f / known[0]) / known[1]]
            return np.r_[soft.ravel(), principal / PRINCIPAL_SPREAD, prior]

        scale = SCALES[:9] if fixed else SCALES
        return least_squares(residual, start[: len(scale)], max_nfev=steps, x_scale=scale)


def _posed(H: FloatArray, camera: Camera) -> Camera:
    """The camera before a plane z = 0, from its homography."""
    K = np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1]])
    a, b, c = (np.linalg.inv(K) @ H).T
    if c[2] < 0:
        a, b, c = -a, -b, -c
    scale = np.sqrt(np.linalg.norm(a) * np.linalg.norm(b))
    U, _, V = np.linalg.svd(np.c_[a, b, np.cross(a, b) / scale] / scale)
    return camera.posed(U @ np.diag([1, 1, np.linalg.det(U @ V)]) @ V, c / scale)
