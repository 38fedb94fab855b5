"""Camera from rows: focal length, rotation and lens from three perpendicular vanishing points.

Rows along one direction of space meet in one vanishing point.  Three perpendicular directions fix
the focal length and the rotation (Caprile and Torre 1990, doi:10.1007/BF00127813).  Beyond the lines,
the *steps* of a row are used: with camera and direction known, a row of unit pitch has only its place
(3 numbers) left, so its residual is a test of the whole hypothesis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import PARAMETERS, Camera, stepped
from recon.solve.evidence.camera_prior import COUNT, CameraPrior, camera_prior, robust_but_priors
from recon.solve.photo.row_points import RowPoints, placed_residuals
from recon.solve.photo.row_tilt import row_tilts

MOST_ROWS = 90  # rows that the camera is sought from, likeliest first: bounds time on clutter
MOST_REFINED = 6  # rotation hypotheses refined by least squares, best first: bounds the time
ROBUST = 1.5  # sigmas from which a row's opening counts less; this project's choice
MOST_K1 = 0.5  # beyond it no picture can be brought back
CENTRED = [0, 1, 3, 4, 5]  # of `stepped`: f, k1 and the rotation
FREE = [0, 1, 3, 4, 5, 9, 10, 11, 12, 13]  # of `stepped`: all but k2 and t
TOLERANCE = 1e-6  # relative, of the cost and of steps: a thousandth of a standard error
DIFFERENCE = 1e-6  # of a parameter's scale, for derivatives: rounding and curvature are far below
CAMERAS_AT_ONCE = 12  # their residuals stay in the processor's cache
# Standard errors of EXIF's focal length from which a camera is another than it says; this project's choice.
FOCAL_OFF = 4.0
BEND = np.radians(0.6)  # what an unmodelled lens bends a row


@dataclass(frozen=True)
class AxesCamera:
    """A camera found from rows, without a place, and the frame axis that each row runs along.

    Attributes
    ----------
    camera : t = 0; R takes frame directions to the camera.
    axis : (R,) 0, 1, 2, or -1 for a row that fits no axis.
    rms : (R,) reprojection error of each row along its best axis, in units of its sigma.
    score : weight of the rows that the camera explains; larger is better.
    covariance : (10, 10) of the camera, in the parameters FREE of :func:`recon.geometry.camera.stepped`; None
        where the principal point and the frame's squareness were not free.
    """

    camera: Camera
    axis: IntArray
    rms: FloatArray
    score: float
    covariance: FloatArray | None = None

    @property
    def focal_spread(self) -> float:
        """Standard error of ln f; infinite where it is not known.

        A pseudo-inverse gives no spread at all to what the rows say nothing of.
        """
        if self.covariance is None or not self.covariance[0, 0] > 0:
            return np.inf
        return float(np.sqrt(self.covariance[0, 0])) / self.camera.f


def find_vanishing_points(
    points: RowPoints,
    share: FloatArray,
    size: tuple[int, int],
    focal_px: float | None,
    seed: int = 0,
    most: int = 3,
    free: bool = False,
    hypotheses: Sequence[Camera] | None = None,
) -> list[AxesCamera]:
    """Cameras that explain the rows, best first (several where the picture holds several frames or patterns).

    Parameters
    ----------
    points : the rows (:func:`recon.solve.photo.row_points.row_points`)
    share : (R,) their weights 0..1 (:func:`recon.solve.photo.row_points.row_shares`)
    size : width, height, px
    focal_px : focal length from EXIF, px, or None
    seed : of the sampling; results are repeatable
    most : cameras returned at most
    free : whether the principal point may lie off the middle and the frame be racked, as their priors allow
    hypotheses : of the same rows (:func:`camera_hypotheses`), where they are known

    Returns
    -------
    Empty where there are fewer than three rows.

    Examples
    --------
    >>> import numpy as np
    >>> from scipy.spatial.transform import Rotation
    >>> turn = Rotation.from_euler("xyz", [120, 25, 35], degrees=True).as_matrix()
    >>> true = Camera(1300.0, 799.5, 599.5, R=turn, t=np.array([0.0, 0.0, 30.0]))
    >>> step = np.tile(np.arange(8.0), (9, 1))
    >>> first = np.tile([[0.0, 0, 0], [0, 5, 3], [4, 1, 7]], (3, 1))
    >>> space = first[:, None] + step[..., None] * np.repeat(np.eye(3), 3, axis=0)[:, None]
    >>> px = true.project(space.reshape(-1, 3)).reshape(9, 8, 2)
    >>> points = RowPoints(px, step, np.ones((9, 8)), np.full(9, 0.3))
    >>> best = find_vanishing_points(points, np.ones(9), (1600, 1200), 1300.0)[0]
    >>> float(round(best.camera.f, -1)), [len(set(a)) for a in np.split(best.axis, 3)]
    (1300.0, [1, 1, 1])
    """
    if len(points.px) < 3:
        return []
    value = share * points.counted
    likely, likely_value = _likely(points, value)
    if hypotheses is None:
        hypotheses = camera_hypotheses(points, share, size, focal_px, seed)
    prior = camera_prior(size, focal_px)
    refined = _refined(hypotheses, likely, likely_value, prior, free)
    graded = [with_axes(camera, points, value, covariance) for camera, covariance in refined]
    graded.sort(key=lambda a: (focal_px is not None and _misses_focal(a.camera, prior), -a.score))
    out: list[AxesCamera] = []
    for a in graded:
        if not any(alike_cameras(a.camera, b.camera, 0.1) for b in out):
            out.append(a)
    return out[:most]


def _misses_focal(camera: Camera, prior: CameraPrior) -> bool:
    """Is a camera's focal length none that its EXIF could be meant for?"""
    return bool(abs(np.log(camera.f / prior.focal)) > FOCAL_OFF * prior.focal_spread)


def _likely(points: RowPoints, value: FloatArray) -> tuple[RowPoints, FloatArray]:
    """The likeliest rows, that cameras are sought from, and their weights."""
    top = np.argsort(-value)[:MOST_ROWS]
    return points.subset(top), value[top]


def _refined(
    hypotheses: Sequence[Camera],
    points: RowPoints,
    value: FloatArray,
    prior: CameraPrior,
    free: bool,
) -> list[tuple[Camera, FloatArray | None]]:
    """The first hypotheses that are not like one refined before, refined, with their covariances."""
    out: list[tuple[Camera, FloatArray | None]] = []
    for camera in hypotheses:
        if len(out) == MOST_REFINED:
            break
        if not any(alike_cameras(camera, c, 0.3) for c, _ in out):
            axes = refine_camera(camera, points, value, prior, free)
            out.append((axes.camera, axes.covariance))
    return out


def camera_hypotheses(
    points: RowPoints, share: FloatArray, size: tuple[int, int], focal_px: float | None, seed: int = 0
) -> list[Camera]:
    """Cameras from samples of three rows each, at several focal lengths, those whose rows keep step first.

    Parameters are those of :func:`find_vanishing_points`; none with fewer than three rows.
    """
    if len(points.px) < 3:
        return []
    points, value = _likely(points, share * points.counted)
    rng = np.random.default_rng(seed)
    middle = Camera(1.0, (size[0] - 1) / 2, (size[1] - 1) / 2)
    lines = _fitted_lines(points)
    focals = (
        [0.96 * focal_px, focal_px, 1.04 * focal_px]
        if focal_px
        else list(max(size) * np.geomspace(0.5, 2.6, 12))
    )
    trials = 1500 if focal_px else 600
    cameras = []
    for f in focals:
        cameras += [
            Camera(f, middle.cx, middle.cy, R=R)
            for R in _sample_rotations(lines, value, Camera(f, middle.cx, middle.cy), trials, rng)
        ]
    # Lines alone cannot tell the axes from the diagonals between them: the steps can.
    every = _row_rms(cameras, points)
    scored = [(_step_score(rms, value, 4.0), camera) for rms, camera in zip(every, cameras)]
    scored.sort(key=lambda h: -h[0])
    return [camera for _, camera in scored]


def alike_cameras(a: Camera, b: Camera, focal: float) -> bool:
    """Do two cameras name the same axes, with focal lengths that differ by less than `focal` in ln f?"""
    return _same_axes(a.R, b.R) and abs(np.log(a.f / b.f)) < focal


def _same_axes(R: FloatArray, S: FloatArray, most_degrees: float = 4.0) -> bool:
    """Do two rotations name the same three axes (in any order and sign)?"""
    m = np.abs(R.T @ S)
    return bool((m.max(0) > np.cos(np.radians(most_degrees))).all())


@dataclass(frozen=True)
class _Lines:
    """Total-least-squares lines of rows.

    Attributes
    ----------
    abc : (R, 3) with a x + b y + c = 0 and (a, b) unit.
    middle : (R, 2) px.
    angle_error : (R,) rad.
    """

    abc: FloatArray
    middle: FloatArray
    angle_error: FloatArray


def _fitted_lines(points: RowPoints) -> _Lines:
    w = points.weight[..., None]
    mid = (points.px * w).sum(1) / w.sum(1)
    q = (points.px - mid[:, None]) * w
    C = np.einsum("rmi,rmj->rij", q, q)
    val, vec = np.linalg.eigh(C)
    normal = vec[:, :, 0]
    c = -(normal * mid).sum(1)
    err = points.sigma / np.sqrt(np.maximum(val[:, 1], 1e-6))
    return _Lines(np.c_[normal, c], mid, err)


def _sample_rotations(
    lines: _Lines, value: FloatArray, camera: Camera, trials: int, rng: np.random.Generator
) -> list[FloatArray]:
    """Up to 12 rotations from three rows each, scored by how many rows point at a vanishing point."""
    f, cx, cy = camera.f, camera.cx, camera.cy
    D = _random_axes(lines.abc @ np.array([[f, 0, 0], [0, f, 0], [cx, cy, 1]]).T, value, trials, rng)
    # Angle between each row's line and the way from its midpoint to the vanishing point.
    v = np.einsum("ij,tjk->tik", np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]]), D)
    way = v[:, None, :2, :] - lines.middle[None, :, :, None] * v[:, None, 2:3, :]
    way /= np.linalg.norm(way, axis=2, keepdims=True) + 1e-12
    sine = np.abs(np.einsum("tnik,ni->tnk", way, lines.abc[:, :2]))
    tol = np.hypot(lines.angle_error, BEND)
    fit = np.exp(-0.5 * (sine / tol[None, :, None]) ** 2)
    best = fit.max(2)
    axis = fit.argmax(2)
    score = (best * value).sum(1)
    # Two axes must carry rows, else the hypothesis is one vanishing point alone and fixes nothing.
    by_axis = np.stack([(best * value * (axis == j)).sum(1) for j in range(3)], 1)
    score = score - by_axis.max(1) + 2 * np.minimum(by_axis.max(1), np.sort(by_axis, 1)[:, :2].sum(1))
    out: list[FloatArray] = []
    for i in np.argsort(-score)[:300]:
        if len(out) >= 12:
            break
        if not any(_same_axes(D[i], R, 2.0) for R in out):
            out.append(D[i])
    return out


def _random_axes(planes: FloatArray, value: FloatArray, trials: int, rng: np.random.Generator) -> FloatArray:
    """(T, 3, 3) axes in columns: the first from the planes of two rows, the second from the third row's.

    ``planes`` (R, 3): normals of the planes through the camera's centre and the rows' lines.
    """
    N = planes / np.linalg.norm(planes, axis=1, keepdims=True)
    p = value**1.5 / (value**1.5).sum()  # longer, likelier rows first, as in PROSAC
    pick = np.stack([rng.choice(len(N), trials, p=p) for _ in range(3)], 1)
    d1 = np.cross(N[pick[:, 0]], N[pick[:, 1]])
    norm = np.linalg.norm(d1, axis=1)
    d2 = np.cross(d1, N[pick[:, 2]])
    ok = (norm > 1e-3) & (np.linalg.norm(d2, axis=1) > 0.05 * norm)
    d1, d2 = d1[ok], d2[ok]
    d1 /= np.linalg.norm(d1, axis=1, keepdims=True)
    d2 /= np.linalg.norm(d2, axis=1, keepdims=True)
    return np.stack([d1, d2, np.cross(d1, d2)], 2)


def refine_camera(
    camera: Camera,
    points: RowPoints,
    value: FloatArray,
    prior: CameraPrior,
    free: bool = False,
    rounds: int = 3,
) -> AxesCamera:
    """Least squares of f, k1, principal point and axes over the steps of all rows that agree.

    Parameters
    ----------
    camera : to start from, t = 0
    points : the rows
    value : (R,) weight of each row: its share times its openings, at most 12
    prior : of the camera
    free : as for :func:`find_vanishing_points`
    rounds : of assigning axes and adjusting

    Notes
    -----
    The rows' places are eliminated in closed form (variable projection, Golub and Pereyra 1973,
    doi:10.1137/0710036).
    """
    gate, covariance = 8.0, None
    (rms,) = _row_rms([camera], points)
    for _ in range(rounds + free):
        axis, best = rms.argmin(1), rms.min(1)
        use = (best < gate) & (value > 0.02)
        if use.sum() < 3:
            break
        adjusted = _adjusted(camera, points.subset(use), axis[use], value[use], prior, free)
        if adjusted is None:
            break
        camera, covariance = adjusted
        (rms,) = _row_rms([camera], points)
        gate = max(3.0, gate / 1.6)
    return with_axes(camera, points, value, covariance)


def _adjusted(
    camera: Camera, points: RowPoints, axis: IntArray, value: FloatArray, prior: CameraPrior, free: bool
) -> tuple[Camera, FloatArray | None] | None:
    """One round of :func:`refine_camera` over rows whose axes are settled; None where the solver fails."""
    weight = np.sqrt(np.clip(value / points.counted, 0, 1))[:, None]
    tilts = row_tilts(camera, points, axis) if free else None

    def at(cameras: Sequence[Camera]) -> FloatArray:
        """(C, N) residuals of cameras, those of their priors last."""
        e = placed_residuals(cameras, points, np.stack([c.R.T[axis] for c in cameras]))
        e = e.reshape(len(cameras), len(axis), -1) / points.sigma[:, None]
        e = (tilts.whitened(e) if tilts else e) * weight
        return np.c_[e.reshape(len(cameras), -1), [prior.residuals(c) for c in cameras]]

    last: dict[bytes, FloatArray] = {}  # derivatives are asked for where residuals were last

    def residual(p: FloatArray) -> FloatArray:
        here = at([after_step(camera, p, which)])[0]
        last.clear()
        last[p.tobytes()] = here.copy()
        return here

    def jacobian(p: FloatArray) -> FloatArray:
        steps = DIFFERENCE * np.diag(scale)
        here = last[p.tobytes()] if p.tobytes() in last else residual(p)
        near = at([after_step(camera, q, which) for q in p + steps])
        return ((near - here) / np.diag(steps)[:, None]).T

    which = FREE if free else CENTRED
    f = camera.f
    scale = np.array([0.05 * f, *[0.02] * 4, *[0.05 * f] * 2, *[0.01] * 3])[: len(which)]
    # Inside the robust loss a prior missed by far costs almost nothing: with more that is free it must not.
    loss = {"loss": robust_but_priors(COUNT, ROBUST)} if free else {"loss": "cauchy", "f_scale": ROBUST}
    try:
        sol = least_squares(
            residual,
            np.zeros(len(which)),
            jac=jacobian,
            max_nfev=15 if free else 12,
            x_scale=scale,
            ftol=TOLERANCE,
            xtol=TOLERANCE,
            gtol=TOLERANCE,
            **loss,
        )
    except (ValueError, np.linalg.LinAlgError):
        return None
    # The Jacobian is that of the robust loss: openings that it gives up do not count.
    covariance = np.linalg.pinv(sol.jac.T @ sol.jac, hermitian=True) if free else None
    return after_step(camera, sol.x, which), covariance


def _row_rms(cameras: Sequence[Camera], points: RowPoints) -> FloatArray:
    """(C, R, 3) rms residual of each row along each axis of each camera, in units of its sigma."""
    dof = np.maximum(2 * points.weight.sum(1) - 3, 1)
    out = np.empty((len(cameras), len(points.px), 3))
    for i in range(0, len(cameras), CAMERAS_AT_ONCE):
        some = cameras[i : i + CAMERAS_AT_ONCE]
        axes = np.stack([c.R.T for c in some])[:, :, None]
        e = placed_residuals(some, points, axes)
        squares = np.einsum("cjrmk,cjrmk->crj", e, e)
        out[i : i + CAMERAS_AT_ONCE] = np.sqrt(squares / dof[:, None]) / points.sigma[:, None]
    return out


def with_axes(
    camera: Camera, points: RowPoints, value: FloatArray, covariance: FloatArray | None
) -> AxesCamera:
    """A camera with the axis of each row and its score."""
    (rms,) = _row_rms([camera], points)
    axis, best = rms.argmin(1), rms.min(1)
    score = _step_score(rms, value, 1.5)
    return AxesCamera(camera, np.where(best < 3.0, axis, -1), best, score, covariance)


def _step_score(rms: FloatArray, value: FloatArray, sigmas: float) -> float:
    """Weight of the rows that a camera explains; a second and third axis count like the first.

    rms : (R, 3) of the camera, from :func:`_row_rms`
    """
    good = value * np.exp(-0.5 * np.minimum(rms.min(1) / sigmas, 6) ** 2)
    by_axis = np.bincount(rms.argmin(1), good, minlength=3)
    first, rest = by_axis.max(), by_axis.sum() - by_axis.max()
    return float(rest + min(first, 2 * rest))


def after_step(camera: Camera, p: FloatArray, which: list[int]) -> Camera:
    """The camera after a step in some parameters, kept within what a camera can be.

    Parameters
    ----------
    camera : to step from
    p : (P,) the step
    which : (P,) numbers of the parameters in :func:`recon.geometry.camera.stepped`
    """
    d = np.zeros(PARAMETERS)
    d[which] = p
    d[0] = np.clip(d[0], (np.exp(-1) - 1) * camera.f, (np.e - 1) * camera.f)
    c = stepped(camera, d)
    return replace(c, k1=float(np.clip(c.k1, -MOST_K1, MOST_K1)))
