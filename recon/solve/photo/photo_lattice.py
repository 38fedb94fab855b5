"""The lattice of one photo: pose and scale fall out of the demand that all rows lie on one lattice.

With unit pitch every row has a place in space and an uncertainty (long thin ellipsoids towards the
camera).  All centre lines must agree modulo one pitch along each axis; a row lies half a width off its
centre line, on one of the two faces that can be seen.  The common phase, the focal length that makes
the rows agree best, and each row's lattice line follow from that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from recon.geometry.camera import Camera, image2sensor, project_jacobian, stepped, world2camera
from recon.geometry.ellipses import affine_distance, circle_shapes, unit_shapes
from recon.geometry.lattice import lattice_classes, snap
from recon.solve.photo.axis_rows import GuidedRow
from recon.solve.photo.vanishing_points import K1_SPREAD, RowPoints, place_rows, row_points

CLASS_DECIMALS = 3  # places within a pitch are told apart to this; rows are known to a hundredth of a pitch
SYSTEMATIC = 0.05  # pitches: what shading in a hole's mouth shifts a row (measured: 0.03 to 0.08)


@dataclass(frozen=True)
class PlacedRows:
    """Rows of one photo in the frame's axes.

    rows : list of GuidedRow (R).   points : their padded arrays.
    place : (R, 3) opening of step 0, pitches, frame axes, from the camera's centre (or lattice origin once posed).
    sign : (R,) +1 or -1: steps count along +axis or -axis.
    cov : (R, 3, 3) pitches^2.
    normal : (R, 2, 3) outward normals of the two faces that may bear the row; face_log : (R, 2) log probability.
    """

    rows: list
    points: RowPoints
    place: np.ndarray
    sign: np.ndarray
    cov: np.ndarray
    normal: np.ndarray
    face_log: np.ndarray


@dataclass(frozen=True)
class LatticeGuess:
    """Where a row lies: centre of its first hole (3,) on the lattice, its face, log probability."""

    first: np.ndarray
    normal: np.ndarray
    log_p: float


@dataclass(frozen=True)
class PhotoLattice:
    """One photo solved: posed camera, placed rows, the guesses of each row (best first), fit 0..1."""

    camera: Camera
    placed: PlacedRows
    guesses: list
    agreement: float


def upright(camera: Camera) -> Camera:
    """The same axes renamed: z is the one most upright in the photo and points up; right-handed."""
    R = camera.R
    z = int(np.abs(R[1]).argmax())
    up = -np.sign(R[1, z]) * R[:, z]
    rest = [j for j in range(3) if j != z]
    x = R[:, rest[0]] * (np.sign(R[0, rest[0]]) or 1)
    return replace(camera, R=np.c_[x, np.cross(up, x), up])


def place(
    camera: Camera, openings: np.ndarray, rows: list[GuidedRow], faces: PlacedRows | None = None
) -> PlacedRows:
    """Rows placed along the axes of a camera (its t is honoured), with the likelihood of each face.

    faces : an earlier placing whose face likelihoods are kept (they hardly change with the camera).
    """
    pts = row_points(openings, rows)
    sensor = image2sensor(camera, pts.px)
    axes = np.array([r.axis for r in rows])
    d0 = camera.R.T[axes]
    P, d, inv = place_rows(sensor, pts, d0)
    sign = np.sign((d * d0).sum(1))
    cov = inv * (1.3 * pts.sigma / camera.f)[:, None, None] ** 2
    Rt = camera.R.T
    Q = (P - camera.t) @ camera.R
    cov = Rt @ cov @ Rt.T + np.eye(3) * SYSTEMATIC**2
    normals = np.zeros((len(rows), 2, 3))
    logs = np.zeros((len(rows), 2))
    eye = camera.centre
    for i, r in enumerate(rows):
        middle = Q[i] + 0.0
        middle[r.axis] += sign[i] * np.median(r.step)
        others = [j for j in range(3) if j != r.axis]
        for c, j in enumerate(others):
            s = np.sign(eye[j] - middle[j]) or 1.0
            normals[i, c, j] = s
        logs[i] = faces.face_log[i] if faces else _face_log(camera, openings[r.index], middle, r.axis, others)
    return PlacedRows(rows, pts, Q, sign, cov, normals, logs)


def _face_log(camera, openings, middle, axis, others):
    """Log probability of the two faces from the shape of the ellipses."""
    S = np.median(unit_shapes(openings), axis=0) + 1e-6 * np.eye(2)
    _, _, J = project_jacobian(camera, middle[None])
    out = []
    for j in others:  # face with normal j is spanned by the axis and the other one
        T = circle_shapes(J[0][:, [axis, 3 - axis - j]])
        out.append(-0.5 * (affine_distance(S, T) / 0.35) ** 2 * min(len(openings), 6) ** 0.5)
    out = np.maximum(np.array(out), max(out) - 6)
    return out - np.logaddexp(out[0], out[1])


def twin_width(placed: PlacedRows) -> tuple[float, float]:
    """Width in pitches, and its standard error, from rows on neighbouring faces of one member.

    Twin rows differ by half a width outward along each of the two normals and by whole pitches along the
    axis.  The median over all pairs that can be twins, weighted by how well they are known.
    """
    halves, weights = [], []
    Q = placed.place
    for i, r in enumerate(placed.rows):
        for j in range(len(placed.rows)):
            q = placed.rows[j]
            if j == i or q.axis != r.axis:
                continue
            others = [a for a in range(3) if a != r.axis]
            # i on face others[0], j on face others[1].
            delta = Q[i] - Q[j]
            na, nb = placed.normal[i, 0][others[0]], placed.normal[j, 1][others[1]]
            ha, hb = delta[others[0]] * na, -delta[others[1]] * nb
            along = delta[r.axis] - np.rint(delta[r.axis])
            cov = placed.cov[i] + placed.cov[j]
            sa = np.sqrt(cov[others[0], others[0]] + cov[others[1], others[1]])
            if sa > 0.35 or not (0.3 < ha < 1.5 and 0.3 < hb < 1.5):
                continue
            if abs(ha - hb) > 2.5 * sa + 0.05 or abs(along) > 0.2:
                continue
            log = placed.face_log[i, 0] + placed.face_log[j, 1]
            halves.append((ha + hb) / 2)
            weights.append(np.exp(log) * min(len(r.index), len(q.index)) / sa**2)
    if not halves:
        return 1.0, np.inf
    halves, weights = np.array(halves), np.array(weights)
    # Mode, not mean: false pairs spread, true ones pile up.
    grid = np.arange(0.3, 1.5, 0.01)
    pile = (weights * np.exp(-0.5 * ((grid[:, None] - halves) / 0.04) ** 2)).sum(1)
    best = grid[pile.argmax()]
    near = np.abs(halves - best) < 0.1
    w = weights[near]
    mean = float((halves[near] * w).sum() / w.sum())
    return 2 * mean, float(
        2 * max(0.02, np.sqrt(((halves[near] - mean) ** 2 * w).sum() / w.sum() / near.sum()))
    )


def _phase_vote(placed, width, classes, grid):
    """(3,) phases and their score: where whole pitches and half widths agree best, axis by axis."""
    phase, score = np.zeros(3), 0.0
    Q, cov = placed.place, placed.cov
    p_face = np.exp(placed.face_log)
    # A row is worth its evidence, up to a limit: its errors are common to all its openings.
    worth = np.clip(np.array([r.evidence for r in placed.rows]) / 15, 0.0, 5.0)
    for c in range(3):
        like = np.zeros(len(grid))
        for i, r in enumerate(placed.rows):
            s = np.sqrt(cov[i, c, c])
            if s > 0.5:
                continue
            terms = np.full(len(grid), 0.15)
            if r.axis == c:
                terms += np.mean([_wrapped(Q[i, c] - grid - k, s) for k in classes], axis=0)
            else:
                for f in range(2):
                    centre = Q[i, c] - 0.5 * width * placed.normal[i, f, c]
                    spread = np.mean([_wrapped(centre - grid - k, s) for k in classes], axis=0)
                    terms += p_face[i, f] * spread
            like += worth[i] * np.log(terms)
        phase[c] = grid[like.argmax()]
        score += like.max()
    return phase, score


def _wrapped(x, s):
    """Density of a wrapped normal of period 1, good to 1e-6 for s < 0.5."""
    y = x - np.rint(x)
    return sum(np.exp(-0.5 * ((y + k) / s) ** 2) for k in (-1, 0, 1)) / (s * np.sqrt(2 * np.pi))


def guess_rows(placed: PlacedRows, width: float, classes: np.ndarray, most: int = 12) -> list:
    """Lattice lines near each row, best first, with probabilities that sum to one."""
    out = []
    for i, r in enumerate(placed.rows):
        val, vec = np.linalg.eigh(placed.cov[i])
        info = np.linalg.inv(placed.cov[i])
        reach = 3.2 * np.sqrt(val[2])
        t = np.arange(-reach, reach + 0.2, 0.2)
        cands: dict[tuple, tuple] = {}
        for f in range(2):
            n = placed.normal[i, f]
            centre = placed.place[i] - 0.5 * width * n
            line = centre + t[:, None] * vec[:, 2]
            # Covers the two short axes, too: all lattice points within a cell of the line.
            lattice, _ = snap(line, classes)  # along as across: laps round a corner shift members both ways
            for p in np.unique(np.round(lattice, 3), axis=0):
                e = p - centre
                m = float(e @ info @ e)
                key = tuple(np.round(p, 3))
                log = -0.5 * m + placed.face_log[i, f]
                if m < 16 and (key not in cands or cands[key][0] < log):
                    cands[key] = (log, p, n)
        ranked = sorted(cands.values(), key=lambda c: -c[0])[:most]
        if ranked:
            total = np.logaddexp.reduce([c[0] for c in ranked] + [-8.0])
            out.append([LatticeGuess(p, n, float(log - total)) for log, p, n in ranked])
        else:
            out.append([])
    return out


def solve_lattice(
    camera: Camera, openings: np.ndarray, rows: list[GuidedRow], width: float, focal_sigma: float = 0.01
) -> list[PhotoLattice]:
    """Pose a photo on the lattice of its own rows: up to three solutions, best first.

    Parameters
    ----------
    camera : from the pencils, upright, t = 0.
    rows : found along its axes, those believed.
    width : in pitches.   focal_sigma : standard error of ln f.

    Returns
    -------
    Empty if there are too few rows.
    """
    if len(rows) < 3:
        return []
    classes = lattice_classes([width], decimals=CLASS_DECIMALS)
    grid = np.arange(0, 1, 0.02)
    faces = place(camera, openings, rows)
    trials = []
    for df in np.linspace(-2.5, 2.5, 21) * focal_sigma:
        trial = replace(camera, f=camera.f * np.exp(df))
        phase, score = _phase_vote(place(trial, openings, rows, faces), width, classes, grid)
        trials.append((score - 0.5 * (df / focal_sigma) ** 2, df, trial, phase))
    trials.sort(key=lambda t: -t[0])
    # The vote looks at each axis by itself; the best few are settled by solving them.
    chosen: list = []
    for t in trials:
        if len(chosen) < 3 and all(abs(t[1] - c[1]) > 0.6 * focal_sigma for c in chosen):
            chosen.append(t)
    solved = [_settle(trial, phase, openings, rows, faces, width, classes) for _, _, trial, phase in chosen]
    return sorted(solved, key=lambda s: -s.agreement)


def _settle(camera, phase, openings, rows, faces, width, classes) -> PhotoLattice:
    camera = replace(camera, t=camera.R @ phase)
    for limit in (0.75, 0.6, 0.5, 0.5):
        placed = place(camera, openings, rows, faces)
        guesses = guess_rows(placed, width, classes)
        sure = [i for i, g in enumerate(guesses) if g and np.exp(g[0].log_p) > limit]
        if len(sure) < 3:
            break
        camera = resect(
            camera, *_correspondences(placed, guesses, sure, openings, width), focal_prior=camera.f
        )
    placed = place(camera, openings, rows, faces)
    guesses = guess_rows(placed, width, classes)
    weight = np.array([r.evidence for r in rows], float)
    sure = np.array([np.exp(g[0].log_p) if g else 0.0 for g in guesses])
    return PhotoLattice(camera, placed, guesses, float((weight * sure).sum() / weight.sum()))


def _correspondences(placed, guesses, which, openings, width):
    """World points (N, 3), image points (N, 2) and sigma (N,) px of the rows' best guesses."""
    world, image, sigma = [], [], []
    for i in which:
        r, g = placed.rows[i], guesses[i][0]
        X = np.repeat((g.first + 0.5 * width * g.normal)[None], len(r.index), 0)
        X[:, r.axis] += placed.sign[i] * r.step
        world.append(X)
        image.append(np.c_[openings["x"][r.index], openings["y"][r.index]])
        sigma.append(np.full(len(r.index), placed.points.sigma[i]))
    return np.concatenate(world), np.concatenate(image), np.concatenate(sigma)


def resect(
    camera: Camera,
    world: np.ndarray,
    image: np.ndarray,
    sigma: np.ndarray,
    focal_prior: float | None = None,
    lens_terms: int = 1,
) -> Camera:
    """Resection: the camera that best sees known points, robust to wrong ones.

    Parameters
    ----------
    world : (N, 3) pitches.   image : (N, 2) px.   sigma : (N,) px.
    focal_prior : px, held with a spread of 3 %, or None.
    lens_terms : 0, 1 (k1) or 2 (k1, k2).

    Notes
    -----
    Levenberg-Marquardt-like trust region with a Cauchy loss (SciPy); analytic Jacobian.
    """
    free = np.array([0, 3, 4, 5, 6, 7, 8] + [1, 2][:lens_terms])
    spread = np.array([0.03 * camera.f, K1_SPREAD, K1_SPREAD])

    def full(p):
        d = np.zeros(9)
        d[free] = p
        return d

    def residual(p):
        c = stepped(camera, full(p))
        z = world2camera(c, world)[:, 2]
        px = c.project(world)
        e = (np.where(np.isfinite(px), px, 1e4) - image) / sigma[:, None]
        e[z <= 0] = 1e3
        prior = [(c.f - (focal_prior or c.f)) / spread[0], c.k1 / spread[1], c.k2 / spread[2]]
        return np.r_[e.ravel(), prior]

    def jacobian(p):
        c = stepped(camera, full(p))
        _, J, _ = project_jacobian(c, world)
        J = J / sigma[:, None, None]
        extra = np.zeros((3, 9))
        extra[0, 0] = 1 / spread[0] if focal_prior else 0.0
        extra[1, 1], extra[2, 2] = 1 / spread[1], 1 / spread[2]
        # A left rotation step composed onto the current one is first-order the same at p.
        return np.concatenate([J.reshape(-1, 9), extra])[:, free]

    scale = np.array([0.01 * camera.f, 0.01, 0.01, 0.01, 0.2, 0.2, 0.2] + [0.02, 0.02][:lens_terms])
    for _ in range(2):
        sol = least_squares(
            residual,
            np.zeros(len(free)),
            jac=jacobian,
            loss="cauchy",
            f_scale=2.0,
            x_scale=scale,
            max_nfev=25,
        )
        camera = stepped(camera, full(sol.x))
    return camera
