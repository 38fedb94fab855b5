"""Camera from rows: focal length, rotation and lens from three perpendicular pencils of rows.

Rows along one direction of space meet in one vanishing point.  Three perpendicular directions fix
the focal length and the rotation (Caprile and Torre 1990, doi:10.1007/BF00127813).  Beyond the lines,
the *steps* of a row are used: with camera and direction known, a row of unit pitch has only its place
(3 numbers) left, so its residual is a test of the whole hypothesis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from recon.geometry.camera import Camera, image2sensor, sensor2image

FOCAL_SPREAD_UNKNOWN = 0.45  # of ln f about 1.0 x the long side: phones and zooms, 24 to 70 mm equivalent
FOCAL_SPREAD_EXIF = 0.04  # EXIF rounds to whole mm, crops and stabilisation add a few per cent
MOST_ROWS = 90  # rows that the camera is sought from, likeliest first: bounds time on clutter
K1_SPREAD = 0.06  # of phone lenses after the maker's own correction; common practice, no source


@dataclass(frozen=True)
class RowPoints:
    """Rows as padded arrays: px (R, M, 2), step (R, M), weight (R, M; 0 = padding), sigma (R,) px."""

    px: np.ndarray
    step: np.ndarray
    weight: np.ndarray
    sigma: np.ndarray


@dataclass(frozen=True)
class Pencils:
    """Camera (t = 0; R takes frame directions to the camera) with each row's axis 0, 1, 2 or -1."""

    camera: Camera
    axis: np.ndarray
    rms: np.ndarray
    score: float


def row_points(openings: np.ndarray, rows) -> RowPoints:
    """Padded arrays of a list of ``recon.image.rows.Row``."""
    m = max(len(r.index) for r in rows)
    n = len(rows)
    px, step, w = np.zeros((n, m, 2)), np.zeros((n, m)), np.zeros((n, m))
    sigma = np.zeros(n)
    for i, r in enumerate(rows):
        k = len(r.index)
        px[i, :k] = np.c_[openings["x"][r.index], openings["y"][r.index]]
        px[i, k:] = px[i, 0]
        step[i, :k], w[i, :k] = r.step, 1
        sigma[i] = centre_sigma_px(np.median(openings["minor"][r.index]))
    return RowPoints(px, step, w, sigma)


def centre_sigma_px(minor_px):
    """Standard error of an opening's centre along its row, px, from the width of its ellipse.

    A quarter of a pixel of sensor noise and sampling, plus light and shade in the hole's mouth that
    move the visible spot by a part of the hole (measured on rendered frames with truth: 0.06).
    """
    return np.hypot(0.25, 0.06 * np.asarray(minor_px, float))


def place_rows(sensor: np.ndarray, points: RowPoints, directions: np.ndarray):
    """Place of each row's step 0 in camera coordinates, unit pitch, by linear least squares.

    Parameters
    ----------
    sensor : (R, M, 2).   directions : (R, 3) unit, camera coordinates.

    Returns
    -------
    place : (R, 3) pitches.   direction : (R, 3), turned so that the row lies before the camera.
    inverse : (R, 3, 3), of the normal matrix in sensor units (times the noise variance it is a covariance).
    """
    k = points.step
    w = points.weight.copy()
    x, y = sensor[..., 0], sensor[..., 1]
    d = directions
    for _ in range(2):
        A = np.zeros((len(k), 3, 3))
        sw = w.sum(1)
        A[:, 0, 0] = A[:, 1, 1] = sw
        A[:, 0, 2] = A[:, 2, 0] = -(w * x).sum(1)
        A[:, 1, 2] = A[:, 2, 1] = -(w * y).sum(1)
        A[:, 2, 2] = (w * (x * x + y * y)).sum(1)
        ex = k * (d[:, None, 0] - x * d[:, None, 2])
        ey = k * (d[:, None, 1] - y * d[:, None, 2])
        rhs = np.stack([-(w * ex).sum(1), -(w * ey).sum(1), (w * (x * ex + y * ey)).sum(1)], 1)
        A += 1e-12 * np.eye(3)
        P = np.linalg.solve(A, rhs[..., None])[..., 0]
        depth = P[:, None, 2] + k * d[:, None, 2]
        w = (
            points.weight / np.maximum(depth, 1e-3) ** 2
            if _
            else points.weight / np.maximum(np.abs(depth), 1e-3) ** 2
        )
    flip = np.where(P[:, 2] < 0, -1.0, 1.0)[:, None]
    return P * flip, d * flip, np.linalg.inv(A)


def row_residuals(camera: Camera, points: RowPoints, axes: np.ndarray, sensor=None):
    """Reprojection residuals (R, M, 2) px of rows placed along the camera's axes (R,)."""
    if sensor is None:
        sensor = image2sensor(camera, points.px)
    P, d, _ = place_rows(sensor, points, camera.R.T[axes])
    X = P[:, None] + points.step[..., None] * d[:, None]
    z = X[..., 2:]
    xy = X[..., :2] / np.where(z > 1e-3, z, 1e-3)
    return (sensor2image(camera, np.clip(xy, -3, 3)) - points.px) * points.weight[..., None]


def _row_rms(camera, points):
    """(R, 3) rms residual of each row along each axis, in units of its sigma."""
    out = np.empty((len(points.px), 3))
    dof = np.maximum(2 * points.weight.sum(1) - 3, 1)
    sensor = image2sensor(camera, points.px)
    for j in range(3):
        e = row_residuals(camera, points, np.full(len(points.px), j), sensor)
        out[:, j] = np.sqrt((e**2).sum((1, 2)) / dof) / points.sigma
    return out


def row_shares(openings_in_rows: list[np.ndarray]) -> np.ndarray:
    """Weight 0..1 of each row: openings in several rows at once speak of a pattern in a plane, not of a member.

    A floor of tiles gives every spot to many rows; an opening of a member belongs to one.
    """
    count: dict[int, int] = {}
    for idx in openings_in_rows:
        for i in idx:
            count[int(i)] = count.get(int(i), 0) + 1
    return np.array([np.mean([1.0 / count[int(i)] ** 2 for i in idx]) for idx in openings_in_rows])


def find_pencils(
    points: RowPoints,
    share: np.ndarray,
    size: tuple[int, int],
    focal_px: float | None,
    seed: int = 0,
    most: int = 3,
) -> list[Pencils]:
    """Cameras that explain the rows, best first (several where the picture holds several frames or patterns).

    Parameters
    ----------
    points, share : rows and their weights (:func:`row_points`, :func:`row_shares`).
    size : width, height, px.   focal_px : from EXIF, or None.
    seed : of the sampling; results are repeatable.
    """
    n = len(points.px)
    if n < 3:
        return []
    rng = np.random.default_rng(seed)
    long_side = max(size)
    count = points.weight.sum(1)
    value = share * np.minimum(count, 12)
    top = np.argsort(-value)[:MOST_ROWS]
    points_all, value_all = points, value
    points, value = _some(points, top), value[top]
    n = len(top)
    cx, cy = (size[0] - 1) / 2, (size[1] - 1) / 2
    lines, mids, spread = _lines(points)
    focals = (
        [0.96 * focal_px, focal_px, 1.04 * focal_px]
        if focal_px
        else list(long_side * np.geomspace(0.5, 2.6, 12))
    )
    trials = 1500 if focal_px else 600
    found = []
    for f in focals:
        found += _sample(lines, mids, spread, value, f, cx, cy, trials, rng)
    # Lines alone cannot tell the axes from the diagonals between them: the steps can.
    found = [(_step_score(Camera(f, cx, cy, R=R), points, value, 4.0), f, R) for _, f, R in found]
    found.sort(key=lambda h: -h[0])
    pencils: list[Pencils] = []
    tried = 0
    for _, f, R in found:
        if tried >= 6:
            break
        if any(_same(R, p.camera.R) and abs(np.log(f / p.camera.f)) < 0.3 for p in pencils):
            continue
        tried += 1
        pencils.append(refine_pencils(Camera(f, cx, cy, R=R), points, value, focal_px, long_side))
    pencils = [_graded(p.camera, points_all, value_all) for p in pencils]
    pencils.sort(key=lambda p: -p.score)
    out: list[Pencils] = []
    for p in pencils:
        if not any(_same(p.camera.R, q.camera.R) for q in out):
            out.append(p)
    return out[:most]


def _same(R, S, most_degrees=4.0):
    """Do two rotations name the same three axes (in any order and sign)?"""
    m = np.abs(R.T @ S)
    return bool((m.max(0) > np.cos(np.radians(most_degrees))).all())


def _lines(points):
    """Total-least-squares line of each row: unit homogeneous-ish (a, b, c), midpoint, angle's std. error."""
    w = points.weight[..., None]
    mid = (points.px * w).sum(1) / w.sum(1)
    q = (points.px - mid[:, None]) * w
    C = np.einsum("rmi,rmj->rij", q, q)
    val, vec = np.linalg.eigh(C)
    normal = vec[:, :, 0]
    c = -(normal * mid).sum(1)
    err = points.sigma / np.sqrt(np.maximum(val[:, 1], 1e-6))
    return np.c_[normal, c], mid, err


def _sample(lines, mids, spread, value, f, cx, cy, trials, rng):
    """Rotation hypotheses from three rows each, scored by how many rows point at a vanishing point."""
    n = len(lines)
    K_T = np.array([[f, 0, 0], [0, f, 0], [cx, cy, 1]])
    N = lines @ K_T.T
    N /= np.linalg.norm(N, axis=1, keepdims=True)
    p = value**1.5 / (value**1.5).sum()  # longer, likelier rows first, as in PROSAC
    pick = np.stack([rng.choice(n, trials, p=p) for _ in range(3)], 1)
    d1 = np.cross(N[pick[:, 0]], N[pick[:, 1]])
    norm = np.linalg.norm(d1, axis=1)
    d2 = np.cross(d1, N[pick[:, 2]])
    ok = (norm > 1e-3) & (np.linalg.norm(d2, axis=1) > 0.05 * norm)
    d1, d2 = d1[ok], d2[ok]
    d1 /= np.linalg.norm(d1, axis=1, keepdims=True)
    d2 /= np.linalg.norm(d2, axis=1, keepdims=True)
    D = np.stack([d1, d2, np.cross(d1, d2)], 2)  # (T, 3, 3) columns: axes
    # Angle between each row's line and the way from its midpoint to the vanishing point.
    v = np.einsum("ij,tjk->tik", np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]]), D)
    way = v[:, None, :2, :] - mids[None, :, :, None] * v[:, None, 2:3, :]
    way /= np.linalg.norm(way, axis=2, keepdims=True) + 1e-12
    sine = np.abs(np.einsum("tnik,ni->tnk", way, lines[:, :2]))
    tol = np.hypot(spread, np.radians(0.6))  # 0.6 deg: what an unmodelled lens bends a row
    fit = np.exp(-0.5 * (sine / tol[None, :, None]) ** 2)
    best = fit.max(2)
    axis = fit.argmax(2)
    score = (best * value).sum(1)
    # Two axes must carry rows, else the hypothesis is a single pencil and fixes nothing.
    by_axis = np.stack([(best * value * (axis == j)).sum(1) for j in range(3)], 1)
    score = score - by_axis.max(1) + 2 * np.minimum(by_axis.max(1), np.sort(by_axis, 1)[:, :2].sum(1))
    out: list = []
    for i in np.argsort(-score)[:300]:
        if len(out) >= 12:
            break
        if not any(_same(D[i], R, 2.0) for _, _, R in out):
            out.append((float(score[i]), f, D[i]))
    return out


def refine_pencils(
    camera: Camera,
    points: RowPoints,
    value: np.ndarray,
    focal_px: float | None,
    long_side: float,
    rounds: int = 3,
) -> Pencils:
    """Least squares of f, k1 and rotation over the steps of all rows that agree; axis of each row.

    The rows' places are eliminated in closed form (variable projection, Golub and Pereyra 1973,
    doi:10.1137/0710036).
    """
    f0 = focal_px or 1.0 * long_side
    spread = FOCAL_SPREAD_EXIF if focal_px else FOCAL_SPREAD_UNKNOWN
    gate = 8.0
    rms = _row_rms(camera, points)
    for i in range(rounds):
        axis, best = rms.argmin(1), rms.min(1)
        use = (best < gate) & (value > 0.02)
        if use.sum() < 3:
            break
        sub = _some(points, use)
        sub_axis, weight = (
            axis[use],
            np.sqrt(np.clip(value[use] / np.minimum(points.weight.sum(1)[use], 12), 0, 1)),
        )

        def residual(p):
            c = _moved(camera, p)
            e = row_residuals(c, sub, sub_axis) / sub.sigma[:, None, None] * weight[:, None, None]
            return np.r_[e.ravel(), (np.log(c.f / f0)) / spread, c.k1 / K1_SPREAD]

        try:
            sol = least_squares(
                residual,
                np.zeros(5),
                loss="cauchy",
                f_scale=1.5,
                max_nfev=12,
                x_scale=[0.05, 0.02, 0.02, 0.02, 0.02],
            )
        except (ValueError, np.linalg.LinAlgError):
            break
        camera = _moved(camera, sol.x)
        rms = _row_rms(camera, points)
        gate = max(3.0, gate / 1.6)
    return _graded(camera, points, value)


def _some(points, which):
    return RowPoints(points.px[which], points.step[which], points.weight[which], points.sigma[which])


def _graded(camera, points, value):
    """A camera with the axis of each row and its score."""
    rms = _row_rms(camera, points)
    axis, best = rms.argmin(1), rms.min(1)
    return Pencils(camera, np.where(best < 3.0, axis, -1), best, _step_score(camera, points, value, 1.5))


def _step_score(camera, points, value, sigmas):
    """Weight of the rows that the camera explains; a second and third axis count like the first."""
    rms = _row_rms(camera, points)
    good = value * np.exp(-0.5 * np.minimum(rms.min(1) / sigmas, 6) ** 2)
    by_axis = np.bincount(rms.argmin(1), good, minlength=3)
    first, rest = by_axis.max(), by_axis.sum() - by_axis.max()
    return float(rest + min(first, 2 * rest))


def _moved(camera, p):
    f = camera.f * np.exp(np.clip(p[0], -1, 1))
    R = Rotation.from_rotvec(p[2:5]).as_matrix() @ camera.R
    return Camera(f, camera.cx, camera.cy, float(np.clip(camera.k1 + p[1], -0.5, 0.5)), 0.0, R)
