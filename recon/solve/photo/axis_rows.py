"""Rows along the camera's axes, once the camera is known: equal steps along a known direction.

For rows along direction d, describe each opening's line of sight by the angle ``theta`` round d and
the cotangent ``tau`` of its angle with d.  All openings of a row share theta, and their tau are *equally*
spaced, 1 / rho apart, where rho is the row's distance from the camera's centre in pitches.  So a row
is an arithmetic progression on a line, which needs no projective fit and bears gaps well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera, image2sensor
from recon.geometry.ellipses import face_distances, score_llr, shape_llr, unit_shapes
from recon.image.rows import PITCH_OVER_HOLE, chord_px
from recon.solve.photo.row_points import centre_sigma_px

# A hole in sight is among the openings 9 times of 10 (worst rendered photos).
HIT, MISS = np.log(0.9), np.log(0.1)
MOST_SEEDS = 6000  # pairs that rows grow from, best first: bounds the time
NEIGHBOURS = 40  # openings next to one another by theta that pairs are made of
BAND = 0.02  # rad: openings further off in theta are not of the row


@dataclass(frozen=True)
class AxisRow:
    """A row along a frame axis.

    Attributes
    ----------
    axis : 0, 1 or 2.
    index : (M,) numbers of its openings.
    step : (M,) whole pitches from the first.
    evidence : nats against clutter.
    """

    axis: int
    index: IntArray
    step: IntArray
    evidence: float


@dataclass(frozen=True)
class SightLines:
    """Lines of sight of N openings round one direction.

    Attributes
    ----------
    theta : (N,) rad, angle round the direction.
    tau : (N,) cotangent of the angle with the direction.
    theta_px, tau_px : (N,) by how much they change for a px sideways of and along the axis' image.
    along : (N, 2) unit, image direction of the axis at each opening.
    """

    theta: FloatArray
    tau: FloatArray
    theta_px: FloatArray
    tau_px: FloatArray
    along: FloatArray


def sight_lines(camera: Camera, px: FloatArray, direction: FloatArray) -> SightLines:
    """Lines of sight of image points round a direction.

    Parameters
    ----------
    camera : only its inner parameters are used
    px : (N, 2) image points
    direction : (3,) unit, camera coordinates

    Examples
    --------
    A row one pitch apart, 20 pitches off: tau steps by 1 / 20.

    >>> import numpy as np
    >>> camera = Camera(1000.0, 799.5, 599.5)
    >>> px = camera.project(np.array([[0.0, 0, 20], [1, 0, 20], [2, 0, 20]]))
    >>> np.diff(sight_lines(camera, px, np.array([1.0, 0, 0])).tau).round(6)
    array([0.05, 0.05])
    """
    e1 = np.cross(direction, [1.0, 0, 0] if abs(direction[0]) < 0.8 else [0, 1.0, 0])
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(direction, e1)

    def angles(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        xy = image2sensor(camera, p)
        r = np.c_[xy, np.ones(len(xy))]
        a, b, c = r @ e1, r @ e2, r @ direction
        return np.arctan2(b, a), c / np.hypot(a, b)

    theta, tau = angles(px)
    by_x, by_y = angles(px + [1.0, 0]), angles(px + [0, 1.0])
    grad = np.c_[_wrapped(by_x[0] - theta), _wrapped(by_y[0] - theta)]
    size = np.linalg.norm(grad, axis=1)
    along = np.c_[-grad[:, 1], grad[:, 0]] / np.maximum(size, 1e-12)[:, None]  # theta stays, tau moves
    tau_px = np.abs((by_x[1] - tau) * along[:, 0] + (by_y[1] - tau) * along[:, 1])
    return SightLines(theta, tau, size, tau_px, along)


def _wrapped(angle: FloatArray) -> FloatArray:
    """Angles in -pi .. pi."""
    return (angle + np.pi) % (2 * np.pi) - np.pi


def find_axis_rows(
    camera: Camera, openings: np.ndarray, hole: float | None, density: FloatArray, least: int = 3
) -> list[AxisRow]:
    """All rows along the camera's three axes, strongest evidence first; an opening may be in several.

    Parameters
    ----------
    camera : with R from frame to camera; t is not used
    openings : (N,), dtype OPENING
    hole : diameter in pitches if known, else None
    density : (N,) openings per px^2 round each (clutter)
    least : fewest openings of a row

    Examples
    --------
    >>> import numpy as np
    >>> from recon.image.openings import OPENING
    >>> camera = Camera(1000.0, 799.5, 599.5)
    >>> openings = np.zeros(8, OPENING)
    >>> openings["x"], openings["y"] = camera.project(np.array([[k - 3.5, 1.0, 20.0] for k in range(8)])).T
    >>> openings["major"], openings["minor"], openings["score"] = 15, 15, 5
    >>> row = find_axis_rows(camera, openings, 0.3, np.full(8, 1e-4))[0]
    >>> row.axis, row.step.tolist()
    (0, [0, 1, 2, 3, 4, 5, 6, 7])
    """
    px = np.c_[openings["x"], openings["y"]]
    rows: list[AxisRow] = []
    shape = shape_llr(face_distances(camera, px, unit_shapes(openings)))
    mark = score_llr(openings["score"])
    for axis in range(3):
        found = _rows_of_axis(camera, openings, px, axis, hole, density, least)
        others = [j for j in range(3) if j != axis]
        for r in found:
            # One face bears the whole row, so the better of the two sums.
            looks = mark[r.index].sum() + shape[r.index][:, others].sum(0).max()
            if r.evidence + looks > 0:
                rows.append(AxisRow(axis, r.index, r.step, r.evidence + float(looks)))
    rows.sort(key=lambda r: -r.evidence)
    return rows


@dataclass(frozen=True)
class _Sorted:
    """Openings sorted by theta.

    Attributes
    ----------
    lines, openings : their lines of sight and records.
    density : (N,) clutter per px^2 round each.
    chord : (N,) width of the ellipse along the row, in tau.
    sigma : (N,) standard error of the centre, px.
    side : (N,) by how much theta may be off, rad.
    """

    lines: SightLines
    openings: np.ndarray
    density: FloatArray
    chord: FloatArray
    sigma: FloatArray
    side: FloatArray

    def band(self, theta: float) -> IntArray:
        """Numbers of the openings about a theta."""
        low, high = np.searchsorted(self.lines.theta, [theta - BAND, theta + BAND])
        return np.arange(low, high)


def _sorted_openings(
    lines: SightLines, openings: np.ndarray, density: FloatArray
) -> tuple[_Sorted, IntArray]:
    """The openings by theta, and their numbers (N,) before sorting."""
    order = np.argsort(lines.theta)
    by_theta = SightLines(
        lines.theta[order], lines.tau[order], lines.theta_px[order], lines.tau_px[order], lines.along[order]
    )
    o = openings[order]
    sigma = centre_sigma_px(o["minor"])
    return _Sorted(
        by_theta,
        o,
        density[order],
        chord_px(o, by_theta.along) * by_theta.tau_px,
        sigma,
        2.5 * np.hypot(sigma, 0.6) * by_theta.theta_px,  # 0.6 px: lens and rotation left over
    ), order


def _rows_of_axis(
    camera: Camera,
    openings: np.ndarray,
    px: FloatArray,
    axis: int,
    hole: float | None,
    density: FloatArray,
    least: int,
) -> list[AxisRow]:
    """Rows along one axis; the evidence leaves out what the openings look like."""
    field, order = _sorted_openings(sight_lines(camera, px, camera.R[:, axis]), openings, density)
    used: set[tuple[int, int]] = set()
    out = []
    for i, j in _seed_pairs(field, camera.f, hole):
        if (i, j) in used:
            continue
        row = _grow(field, i, j)
        if row is None:
            continue
        idx, step, evidence = row
        srt = np.sort(idx)
        for a in range(len(srt)):
            for b in srt[a + 1 :]:
                used.add((int(srt[a]), int(b)))
        if len(idx) >= least and evidence > 0:
            out.append(AxisRow(axis, order[idx], step, float(evidence)))
    return out


def _seed_pairs(field: _Sorted, f: float, hole: float | None) -> list[tuple[int, int]]:
    """Pairs of openings at one theta that may be one step apart, likeliest first."""
    theta, tau, o, chord = field.lines.theta, field.lines.tau, field.openings, field.chord
    near_vanishing = field.lines.tau_px > 0.25 * np.abs(tau) + 0.02  # one px there is many pitches
    seeds = []
    n = len(o)
    for q in range(1, min(NEIGHBOURS, n)):
        i, j = np.arange(n - q), np.arange(q, n)
        tight = np.abs(theta[j] - theta[i]) < np.minimum(field.side[i], field.side[j])
        if not tight.any():
            break
        i, j = i[tight], j[tight]
        gap = np.abs(tau[j] - tau[i])
        mean_chord = (chord[i] + chord[j]) / 2
        if hole:
            # The diameter in pitches is known: size tells the distance, so the step.
            # Depth and distance from the axis' line differ by the slant, so this gate is wide.
            depth = hole * f / np.sqrt(o["major"][i] * o["major"][j])
            ok = (gap * depth > 0.4) & (gap * depth < 2.5)
            ok &= (gap / mean_chord > 0.5 / hole) & (gap / mean_chord < 2.0 / hole)
        else:
            ok = (gap / mean_chord > PITCH_OVER_HOLE[0]) & (gap / mean_chord < PITCH_OVER_HOLE[1])
        r = np.abs(np.log(o["major"][i] / o["major"][j])) + np.abs(np.log(o["minor"][i] / o["minor"][j]))
        ok &= (r < 0.9) & ~near_vanishing[i] & ~near_vanishing[j]
        quality = np.minimum(o["score"][i], o["score"][j]) - 2 * r
        seeds.append(np.c_[quality, i, j][ok])
    if not seeds:
        return []
    pairs = np.concatenate(seeds)
    pairs = pairs[np.argsort(-pairs[:, 0])][:MOST_SEEDS]
    return [(int(i), int(j)) for _, i, j in pairs]


@dataclass(frozen=True)
class _Progression:
    """An arithmetic progression of cotangents.

    Attributes
    ----------
    theta : of the row, rad.
    tau, delta : of step 0, and from step to step.
    step, index : (M,) the openings that it was fitted to; none before the first round.
    """

    theta: float
    tau: float
    delta: float
    step: IntArray
    index: IntArray


def _grow(field: _Sorted, i: int, j: int) -> tuple[IntArray, IntArray, float] | None:
    """The progression through i and j: numbers and steps of its openings, evidence; None for fewer than 3."""
    theta, tau, chord, o = field.lines.theta, field.lines.tau, field.chord, field.openings
    none = np.zeros(0, int)
    row = _Progression((theta[i] + theta[j]) / 2, min(tau[i], tau[j]), abs(tau[j] - tau[i]), none, none)
    # The same hole at another distance: size follows the step, so compare chord to step.
    ratio = (chord[i] + chord[j]) / 2 / row.delta
    size = np.sqrt(o["major"][i] * o["major"][j])
    width = 1.3  # of the first round's band, whose theta is that of two openings only
    evidence = 0.0
    for _ in range(3):
        near = field.band(row.theta)
        near = near[np.abs(theta[near] - row.theta) < width * field.side[near]]
        if width > 1 and len(near) < 3:
            return None
        alike = np.abs(np.log(chord[near] / row.delta / ratio)) < 0.5
        alike &= np.abs(np.log(o["major"][near] / size)) < 0.6
        taken = _at_steps(field, row, near[alike])
        if taken is None:
            return None
        step, index, evidence = taken
        settled = np.array_equal(row.index, index)
        fitted = _refitted(field, step, index)
        if fitted is None:
            return None
        row, width = fitted, 1.0
        if settled:
            break
    return row.index, row.step - row.step[0], evidence


def _at_steps(field: _Sorted, row: _Progression, near: IntArray) -> tuple[IntArray, IntArray, float] | None:
    """Steps and numbers of the openings at the progression's steps, the nearest for each; their evidence."""
    tau, tau_px = field.lines.tau[near], field.lines.tau_px[near]
    k = np.rint((tau - row.tau) / row.delta)
    # Uncertainty of a step far from the first two grows with distance in the first round.
    reach, span = (0.0, (row.step.min(), row.step.max())) if len(row.step) else (0.09, (0, 1))
    beyond = np.maximum(0, np.maximum(span[0] - k, k - span[1]))
    tol = (2.8 * np.hypot(field.sigma[near], 0.4) * tau_px) + reach * row.delta * beyond * (beyond < 4)
    err = np.abs(tau - row.tau - k * row.delta)
    good = err < np.minimum(tol, 0.3 * row.delta)
    good &= np.abs(field.lines.theta[near] - row.theta) < field.side[near]
    if good.sum() < 3:
        return None
    step, index, off = k[good].astype(int), near[good], err[good] / tau_px[good]
    first = np.lexsort((off, step))
    step, index = step[first], index[first]
    keep = np.r_[True, step[1:] != step[:-1]]
    step, index = step[keep], index[keep]
    part, evidence = _best_stretch(field, step, index)
    step, index = step[part], index[part]
    return (step, index, evidence) if len(step) >= 3 else None


def _refitted(field: _Sorted, step: IntArray, index: IntArray) -> _Progression | None:
    """The progression by weighted least squares over its openings; None where it runs backwards."""
    w = 1 / field.lines.tau_px[index]
    A = np.c_[np.ones(len(step)), step] * w[:, None]
    (tau, delta), *_ = np.linalg.lstsq(A, field.lines.tau[index] * w, rcond=None)
    if delta <= 0:
        return None
    theta = np.average(field.lines.theta[index], weights=1 / field.lines.theta_px[index])
    return _Progression(theta, tau, delta, step, index)


def _best_stretch(field: _Sorted, step: IntArray, index: IntArray) -> tuple[slice, float]:
    """The stretch of steps with the largest log-likelihood ratio of hits and misses against clutter."""
    s = np.hypot(field.sigma[index], 0.4)
    chance = np.clip(field.density[index] * np.pi * (2.5 * s) ** 2, 1e-4, 0.9)
    gain = HIT - np.log(chance)
    gap = np.diff(step) - 1
    # A miss costs; but a bolt or a member in front hides several holes at a stroke, so long gaps cost less
    # each.
    cost = np.where(gap > 0, -MISS * np.minimum(gap, 2 + 0.25 * gap) * 0.6, 0.0)
    best, best_range = -np.inf, slice(0, 0)
    total, start = 0.0, 0
    for i in range(len(step)):
        if i and total - cost[i - 1] > 0:
            total += gain[i] - cost[i - 1]
        else:
            total, start = gain[i], i
        if total > best:
            best, best_range = total, slice(start, i + 1)
    free = min(2, len(step))  # the first two fix step and phase: no evidence
    return best_range, best - gain[best_range][:free].sum() + np.log(0.3)
