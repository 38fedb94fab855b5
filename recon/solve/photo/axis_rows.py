"""Rows once the camera is known: equal steps along a known direction.

For rows along direction d, let each opening's line of sight be given by the angle ``theta`` round d and
the cotangent ``tau`` of its angle with d.  All openings of a row share theta, and their tau are *equally*
spaced, 1 / rho apart, where rho is the row's distance from the camera's centre in pitches.  So a row
is an arithmetic progression on a line, which needs no projective fit and bears gaps well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.camera import Camera, image2sensor
from recon.geometry.ellipses import face_shapes, score_llr, shape_distance, shape_llr, unit_shapes
from recon.image.rows import PITCH_OVER_HOLE, chord_px
from recon.solve.photo.vanishing_points import centre_sigma_px


@dataclass(frozen=True)
class GuidedRow:
    """A row along frame axis ``axis``: openings ``index`` at steps ``step``; evidence in nats."""

    axis: int
    index: np.ndarray
    step: np.ndarray
    evidence: float


@dataclass(frozen=True)
class Sights:
    """Lines of sight of all openings round one direction; gradients are per px of sideways / lengthways motion."""

    theta: np.ndarray
    tau: np.ndarray
    theta_px: np.ndarray
    tau_px: np.ndarray
    along: np.ndarray  # (N, 2) unit, image direction of the axis at each opening


def sights(camera: Camera, px: np.ndarray, direction: np.ndarray) -> Sights:
    """Lines of sight of image points (N, 2) round a unit direction (3,) given in camera coordinates."""
    e1 = np.cross(direction, [1.0, 0, 0] if abs(direction[0]) < 0.8 else [0, 1.0, 0])
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(direction, e1)

    def angles(p):
        xy = image2sensor(camera, p)
        r = np.c_[xy, np.ones(len(xy))]
        a, b, c = r @ e1, r @ e2, r @ direction
        return np.arctan2(b, a), c / np.hypot(a, b), np.hypot(a, b)

    th, ta, side = angles(px)
    gx, gy = angles(px + [1.0, 0]), angles(px + [0, 1.0])
    wrap = lambda v: (v + np.pi) % (2 * np.pi) - np.pi
    grad = np.c_[wrap(gx[0] - th), wrap(gy[0] - th)]
    size = np.linalg.norm(grad, axis=1)
    along = np.c_[-grad[:, 1], grad[:, 0]] / np.maximum(size, 1e-12)[:, None]  # theta stays, tau moves
    tau_px = np.abs((gx[1] - ta) * along[:, 0] + (gy[1] - ta) * along[:, 1])
    return Sights(th, ta, size, tau_px, along)


def find_guided_rows(
    camera: Camera, openings: np.ndarray, hole: float | None, density: np.ndarray, least: int = 3
) -> list[GuidedRow]:
    """All rows along the camera's three axes, strongest evidence first; an opening may be in several.

    Parameters
    ----------
    camera : with R from frame to camera; t is not used.
    openings : (N,) dtype ``OPENING``.   hole : diameter in pitches if known, else None.
    density : (N,) openings per px^2 round each (clutter).
    least : fewest openings of a row.
    """
    px = np.c_[openings["x"], openings["y"]]
    rows: list[GuidedRow] = []
    seen = unit_shapes(openings)
    shape = np.stack([shape_llr(shape_distance(seen, face_shapes(camera, px, j))) for j in range(3)], 1)
    mark = score_llr(openings["score"])
    for axis in range(3):
        found = _rows_of_axis(camera, openings, px, axis, hole, density, least)
        others = [j for j in range(3) if j != axis]
        for r in found:
            # One face bears the whole row, so the better of the two sums.
            looks = mark[r.index].sum() + shape[r.index][:, others].sum(0).max()
            if r.evidence + looks > 0:
                rows.append(GuidedRow(axis, r.index, r.step, r.evidence + float(looks)))
    rows.sort(key=lambda r: -r.evidence)
    return rows


def _rows_of_axis(camera, openings, px, axis, hole, density, least):
    s = sights(camera, px, camera.R[:, axis])
    order = np.argsort(s.theta)
    theta, tau = s.theta[order], s.tau[order]
    th_px, ta_px = s.theta_px[order], s.tau_px[order]
    o = openings[order]
    dens = density[order]
    chord = chord_px(o, s.along[order]) * ta_px  # in tau
    sigma = centre_sigma_px(o["minor"])
    side = 2.5 * np.hypot(sigma, 0.6) * th_px  # 0.6 px: lens and rotation left over
    near_vanishing = ta_px > 0.25 * np.abs(tau) + 0.02  # one px there is many pitches
    # Seeds: pairs on one line of sight round the axis, one step apart.
    seeds = []
    n = len(o)
    for q in range(1, 40):
        if q >= n:
            break
        i, j = np.arange(n - q), np.arange(q, n)
        tight = np.abs(theta[j] - theta[i]) < np.minimum(side[i], side[j])
        if not tight.any():
            break
        i, j = i[tight], j[tight]
        gap = np.abs(tau[j] - tau[i])
        mean_chord = (chord[i] + chord[j]) / 2
        if hole:
            # The diameter in pitches is known: size tells the distance, so the step.
            # Depth and distance from the axis' line differ by the slant, so this gate is wide.
            depth = hole * camera.f / np.sqrt(o["major"][i] * o["major"][j])
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
    seeds = np.concatenate(seeds)
    seeds = seeds[np.argsort(-seeds[:, 0])][:6000]
    used = set()
    out = []
    for _, i, j in seeds:
        i, j = int(i), int(j)
        if (i, j) in used:
            continue
        row = _grow(i, j, theta, tau, th_px, ta_px, side, sigma, chord, o, dens, hole)
        if row is None:
            continue
        idx, step, evidence = row
        srt = np.sort(idx)
        for a in range(len(srt)):
            for b in srt[a + 1 :]:
                used.add((int(srt[a]), int(b)))
        if len(idx) >= least and evidence > 0:
            out.append(GuidedRow(axis, order[idx], step, float(evidence)))
    return out


def _grow(i, j, theta, tau, th_px, ta_px, side, sigma, chord, o, dens, hole):
    """Arithmetic progression through i and j; the best stretch of hits against misses."""
    th0 = (theta[i] + theta[j]) / 2
    tau0, delta = min(tau[i], tau[j]), abs(tau[j] - tau[i])
    lo = np.searchsorted(theta, th0 - 0.02)
    hi = np.searchsorted(theta, th0 + 0.02)
    near = np.arange(lo, hi)
    near = near[np.abs(theta[near] - th0) < 1.3 * side[near]]
    if len(near) < 3:
        return None
    size = np.sqrt(o["major"][i] * o["major"][j])
    # The same hole at another distance: size follows the step, so compare chord to step.
    ratio = (chord[i] + chord[j]) / 2 / delta
    fit = np.abs(np.log(chord[near] / delta / ratio)) < 0.5
    fit &= np.abs(np.log(o["major"][near] / size)) < 0.6
    near = near[fit]
    hits = None
    for _ in range(3):
        k = np.rint((tau[near] - tau0) / delta)
        # Uncertainty of a step far from the fitted ones grows with distance in the first rounds.
        reach = 0.09 if hits is None else 0.0
        span = (0, 1) if hits is None else (hits[0].min(), hits[0].max())
        beyond = np.maximum(0, np.maximum(span[0] - k, k - span[1]))
        tol = (2.8 * np.hypot(sigma[near], 0.4) * ta_px[near]) + reach * delta * beyond * (beyond < 4)
        err = np.abs(tau[near] - tau0 - k * delta)
        good = err < np.minimum(tol, 0.3 * delta)
        side_ok = np.abs(theta[near] - th0) < side[near]
        good &= side_ok
        if good.sum() < 3:
            return None
        kk, nn, ee = k[good].astype(int), near[good], err[good] / ta_px[near][good]
        # One opening a step: the nearest.
        first = np.lexsort((ee, kk))
        kk, nn = kk[first], nn[first]
        keep = np.r_[True, kk[1:] != kk[:-1]]
        kk, nn = kk[keep], nn[keep]
        part, evidence = _best_stretch(kk, nn, ta_px, th_px, sigma, dens)
        kk, nn = kk[part], nn[part]
        if len(kk) < 3:
            return None
        w = 1 / ta_px[nn]
        A = np.c_[np.ones(len(kk)), kk] * w[:, None]
        (tau0, delta), *_ = np.linalg.lstsq(A, tau[nn] * w, rcond=None)
        if delta <= 0:
            return None
        th0 = np.average(theta[nn], weights=1 / th_px[nn])
        if hits is not None and np.array_equal(hits[1], nn):
            break
        hits = (kk, nn)
        near_lo, near_hi = np.searchsorted(theta, [th0 - 0.02, th0 + 0.02])
        near = np.arange(near_lo, near_hi)
        near = near[np.abs(theta[near] - th0) < side[near]]
        fit = np.abs(np.log(chord[near] / delta / ratio)) < 0.5
        fit &= np.abs(np.log(o["major"][near] / size)) < 0.6
        near = near[fit]
    return nn, kk - kk[0], evidence


HIT, MISS = (
    np.log(0.9),
    np.log(0.1),
)  # a hole in sight is among the openings 9 times of 10 (worst rendered photos)


def _best_stretch(k, idx, ta_px, th_px, sigma, dens):
    """The stretch of steps with the largest log-likelihood ratio of hits and misses against clutter."""
    s = np.hypot(sigma[idx], 0.4)
    chance = np.clip(dens[idx] * np.pi * (2.5 * s) ** 2, 1e-4, 0.9)
    gain = HIT - np.log(chance)
    gap = np.diff(k) - 1
    # A miss costs; but a bolt or a member in front hides several holes at a stroke, so long gaps cost less each.
    cost = np.where(gap > 0, -MISS * np.minimum(gap, 2 + 0.25 * gap) * 0.6, 0.0)
    best, best_range = -np.inf, slice(0, 0)
    total, start = 0.0, 0
    for i in range(len(k)):
        if i and total - cost[i - 1] > 0:
            total += gain[i] - cost[i - 1]
        else:
            total, start = gain[i], i
        if total > best:
            best, best_range = total, slice(start, i + 1)
    free = min(2, len(k))  # the first two fix step and phase: no evidence
    return best_range, best - gain[best_range][:free].sum() + np.log(0.3)
