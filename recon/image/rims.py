"""Rims of openings: ellipses fitted where rays from a spot's middle cross its rim.

A ray crosses the rim where the colour is half way between that of the middle and that of the face.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from recon.geometry.arrays import FloatArray

CHANNELS = 3  # L, a and b of a photo
Level = NDArray[np.float32]  # (H, W, 4): these and ones

REACH = 2.1  # length of the rays in radii
MIDDLE = 0.45  # radii from the middle within which the opening's own colour is taken
FACE = (1.45, 2.05)  # radii between which the face's is
LEAST_SHARE = 0.6  # of the rays that cross a rim; this project's choice
# Of a spot worth a closer look: of the holes of 24 rendered photos 0.82 were found so, 0.79 with 0.7.
LEAST_SCORE = 0.5
NORMAL_90 = 1.645  # 90 in 100 of a normal distribution lie within so many standard deviations
NOISE = 0.02  # in L, where the noise of sensors meets contrast; measured on photos
MOST_LEVELS = 5  # of the pyramid: openings of 60 px are the largest that are sought
SPACING = 1.25  # px between samples from which they are taken a level higher; this project's choice
AT_ONCE = 2000  # spots worked on in one go: their samples stay in the processor's cache


@dataclass(frozen=True)
class Rays:
    """How many rays are sent out from each spot, and how many samples are taken along each.

    Attributes
    ----------
    count, steps : int
    rho : (steps,) array
        Radii of the samples.
    offsets : (3, steps * count) float32 array
        1 and the samples' places on the unit circle's rays, step after step.
    middle, face : slice
        Samples of the middle and of the face.
    """

    count: int
    steps: int
    rho: FloatArray
    offsets: NDArray[np.float32]
    middle: slice
    face: slice


def make_rays(count: int, steps: int) -> Rays:
    """Rays of `count` directions with `steps` samples each, out to REACH."""
    rho = np.linspace(0, REACH, steps)
    at = np.arange(count) * 2 * np.pi / count
    u, v = np.outer(rho, np.cos(at)).ravel(), np.outer(rho, np.sin(at)).ravel()
    face = np.nonzero((rho > FACE[0]) & (rho < FACE[1]))[0]
    return Rays(
        count,
        steps,
        rho,
        np.array([np.ones(len(u)), u, v], np.float32),
        slice(0, int((rho < MIDDLE).sum()) * count),
        slice(int(face[0]) * count, int(face[-1] + 1) * count),
    )


# 12 rays of 9 samples find as many holes of rendered photos as more do; all are for a rim as it is.
QUICK, FULL = make_rays(12, 9), make_rays(24, 15)


def make_pyramid(lab: NDArray[np.float32]) -> list[Level]:
    """A photo (H, W, 3) with a channel of ones, and halved, quartered and so on: (H, W, 4) each.

    Large openings are looked at as coarsely as small ones.  Four channels are sampled in half the time that
    three planes take.
    """
    out = [np.asarray(cv2.cvtColor(lab, cv2.COLOR_BGR2BGRA), np.float32)]
    while len(out) < MOST_LEVELS and min(out[-1].shape[:2]) > 32:
        half = cv2.resize(out[-1], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        out.append(np.asarray(half, np.float32))
    return out


def fit_rims(
    pyramid: Sequence[Level], spots: NDArray[np.void], rays: Rays, table: np.dtype
) -> NDArray[np.void]:
    """Ellipses fitted to the rims near the given ones.

    Parameters
    ----------
    pyramid : of (H, W, 4) float32 arrays
        L*, a* and b* over 100, from `make_pyramid`.
    spots : (N,) structured array
        With `x`, `y`, semi-axes `a`, `b` (px) and `angle`.
    rays : Rays
    table : dtype
        Of what is given back, with x, y, major, minor, angle, contrast and score.

    Returns
    -------
    (M,) array
        Of those that have a rim.
    """
    parts = [np.zeros(0, table)]
    for k, own in _by_level(spots, rays, len(pyramid)):
        here = _at_level(spots[own], k)
        found = np.concatenate(
            [_fit(pyramid[k], here[lo : lo + AT_ONCE], rays, table) for lo in range(0, len(here), AT_ONCE)]
        )
        for name in ("x", "y"):
            found[name] = (found[name] + 0.5) * 2**k - 0.5
        for name in ("major", "minor"):
            found[name] *= 2**k
        parts.append(found)
    out = np.concatenate(parts)
    H, W = pyramid[0].shape[:2]
    inside: NDArray[np.bool_] = (out["x"] > 0) & (out["y"] > 0) & (out["x"] < W - 1) & (out["y"] < H - 1)
    return out[inside]


def _by_level(spots: NDArray[np.void], rays: Rays, levels: int) -> list[tuple[int, NDArray[np.intp]]]:
    """Each level of the pyramid and the spots that are looked at there, by number.

    Samples lie at most SPACING apart, twice that on the coarsest level: further apart they would miss rims.
    """
    spacing = rays.rho[1] * spots["b"] / SPACING
    level = np.clip(np.floor(np.log2(np.maximum(spacing, 1e-3))), 0, levels - 1).astype(int)
    own = [(k, np.nonzero(level == k)[0]) for k in range(levels)]
    return [(k, numbers) for k, numbers in own if len(numbers)]


def _at_level(spots: NDArray[np.void], level: int) -> NDArray[np.void]:
    """The spots in the px of a level."""
    out = spots.copy()
    for name in ("x", "y"):
        out[name] = (out[name] + 0.5) / 2**level - 0.5
    for name in ("a", "b"):
        out[name] = out[name] / 2**level
    return out


def _sampled(level: Level, spots: NDArray[np.void], rays: Rays) -> list[NDArray[np.float32]]:
    """(N, steps * count) colours along the rays, of each channel."""
    a, b = np.maximum(spots["a"], 1.5), np.maximum(spots["b"], 1.2)
    c, s = np.cos(spots["angle"]), np.sin(spots["angle"])
    px = np.stack([spots["x"], c * a, -s * b], 1).astype(np.float32) @ rays.offsets
    py = np.stack([spots["y"], s * a, c * b], 1).astype(np.float32) @ rays.offsets
    found = cv2.remap(level, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return [np.asarray(cv2.extractChannel(found, c), np.float32) for c in range(CHANNELS)]


def _fit(level: Level, spots: NDArray[np.void], rays: Rays, table: np.dtype) -> NDArray[np.void]:
    values = _sampled(level, spots, rays)
    face = np.stack([_median(v[:, rays.face]) for v in values])
    step = np.stack([v[:, rays.middle].mean(1) for v in values]) - face
    length = np.sqrt((step**2).sum(0)) + 1e-6
    # Along the way from the face's colour (0) to the middle's (1).
    t = np.zeros_like(values[0])
    for v, f, w in zip(values, face, step / length**2):
        t += (v - f[:, None]) * w[:, None]
    crossed, rim = _crossings(t, rays)
    share, doubt = crossed.mean(1), _doubt(t, length, rays)
    kept = np.nonzero((share > LEAST_SHARE) & (share**2 > LEAST_SCORE * doubt))[0]
    spots, crossed, rim, share, doubt = spots[kept], crossed[kept], rim[kept], share[kept], doubt[kept]
    a, b = np.maximum(spots["a"], 1.5), np.maximum(spots["b"], 1.2)
    at = np.arange(rays.count) * 2 * np.pi / rays.count
    c, s = np.cos(spots["angle"])[:, None], np.sin(spots["angle"])[:, None]
    ua = rim * np.cos(at).astype(np.float32) * a[:, None]
    vb = rim * np.sin(at).astype(np.float32) * b[:, None]
    ok, cx, cy, na, nb, angle, misfit = _fit_ellipses(c * ua - s * vb, s * ua + c * vb, crossed, (a + b) / 2)
    out = np.zeros(len(spots), table)
    out["x"], out["y"], out["major"], out["minor"] = spots["x"] + cx, spots["y"] + cy, 2 * na, 2 * nb
    out["angle"], out["contrast"] = angle, step[0][kept]
    out["score"] = share**2 / (doubt + 2 * misfit)
    ok &= (np.hypot(cx, cy) < 0.9 * np.maximum(a, b)) & (nb > 0.13 * na)
    ok &= (na < 2 * a) & (na > 0.4 * b) & (out["score"] > LEAST_SCORE)
    return out[ok]


def _median(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """(N,) medians of rows (N, M); a sort of short rows is quicker than a selection."""
    ordered = np.sort(values, axis=1)
    half = (values.shape[1] - 1) // 2
    middle: NDArray[np.float32] = (ordered[:, half] + ordered[:, values.shape[1] // 2]) * np.float32(0.5)
    return middle


def _doubt(t: NDArray[np.float32], length: FloatArray, rays: Rays) -> FloatArray:
    """How uneven each spot's face is, in units of its contrast, (N,): what its score is divided by.

    All of the ring lies on the face (holes are less than half a width wide), so its worst tenth counts: a
    joint between tiles that runs through the spot shows there.
    """
    ring = np.sort(np.abs(t[:, rays.face]), axis=1)
    spread = ring[:, round(0.9 * (ring.shape[1] - 1))] / NORMAL_90
    # A rim is as good as its round is closed and even.
    doubt: FloatArray = spread + NOISE / length
    return doubt


def _crossings(t: NDArray[np.float32], rays: Rays) -> tuple[NDArray[np.bool_], NDArray[np.float32]]:
    """Which rays (N, count) cross a rim, and where, in radii: where t has first gone below a half."""
    n, count = len(t), rays.count
    first = np.zeros((n, count), np.int32)
    for k in range(rays.steps - 1, 0, -1):
        first[t[:, k * count : (k + 1) * count] < 0.5] = k
    crossed = first > 0
    flat = np.maximum(first, 1) * count + np.arange(count, dtype=np.int32)
    flat += (np.arange(n, dtype=np.int32) * t.shape[1])[:, None]
    hi, lo = t.ravel().take(flat), t.ravel().take(flat - count)
    part = np.clip((lo - 0.5) / np.maximum(lo - hi, 1e-3), 0, 1)
    rim = (first - 1 + part) * np.float32(rays.rho[1])
    # A ray that runs on (into a shadow or over an edge) is no rim: far off the median ray.
    ordered = np.sort(np.where(crossed, rim, np.float32(np.inf)), axis=1)
    middle = ordered[np.arange(n), np.maximum(crossed.sum(1) - 1, 0) // 2][:, None]
    crossed &= (rim < 1.7 * middle) & (rim > 0.3 * middle) & (rim > 0.15)
    return crossed, rim


def _fit_ellipses(
    px: FloatArray, py: FloatArray, good: NDArray[np.bool_], size: FloatArray
) -> tuple[NDArray[np.bool_], FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Conics A x^2 + B xy + C y^2 + D x + E y = 1 through (N, R) points, two re-weighted rounds.

    Returns ok, centre x, y, semi-axes, angle and the relative misfit of the points' radii.
    """
    x, y = (px / size[:, None]).astype(float), (py / size[:, None]).astype(float)
    x2, xy, y2 = x * x, x * y, y * y
    w = good.astype(float)
    for _ in range(3):
        p = _solved(*_moments(x, y, x2, xy, y2, w))
        res = p[0][:, None] * x2
        for q, term in zip(p[1:], (xy, y2, x, y)):
            res += q[:, None] * term
        res = np.abs(res - 1) / 2  # about the relative error of the radius
        w = good / (1 + (res / 0.1) ** 2)
    A, B, C, D, E = p
    det = 4 * A * C - B * B
    ok = (det > 1e-9) & (A > 0)
    safe = np.where(ok, det, 1.0)
    cx, cy = (B * E - 2 * C * D) / safe, (B * D - 2 * A * E) / safe
    level = 1 + A * cx * cx + B * cx * cy + C * cy * cy
    half, diff = (A + C) / 2, np.hypot((A - C) / 2, B / 2)
    small, large = half - diff, half + diff
    ok &= (small > 1e-9) & (level > 0)
    na = np.sqrt(np.where(ok, level / np.where(ok, small, 1), 1))
    nb = np.sqrt(np.where(ok, level / np.where(ok, large, 1), 1))
    angle = 0.5 * np.arctan2(-B, C - A)  # the major axis lies along the small eigenvalue
    misfit = (res * w).sum(1) / np.maximum(w.sum(1), 1e-9)
    return ok, cx * size, cy * size, na * size, nb * size, angle, misfit


def _moments(
    x: FloatArray, y: FloatArray, x2: FloatArray, xy: FloatArray, y2: FloatArray, w: FloatArray
) -> tuple[list[list[FloatArray]], list[FloatArray]]:
    """Normal equations of the conics: their lower triangle, row after row, and right side, (N,) each."""

    def s(a: FloatArray, b: FloatArray) -> FloatArray:
        total: FloatArray = np.einsum("nr,nr->n", a, b)
        return total

    wx2, wxy, wy2 = w * x2, w * xy, w * y2
    xxxx, xxxy, xxyy, xyyy, yyyy = s(wx2, x2), s(wx2, xy), s(wx2, y2), s(wxy, y2), s(wy2, y2)
    xxx, xxy, xyy, yyy = s(wx2, x), s(wx2, y), s(wy2, x), s(wy2, y)
    sxx, sxy, syy, sx, sy = wx2.sum(1), wxy.sum(1), wy2.sum(1), s(w, x), s(w, y)
    tiny = 1e-9
    return [
        [xxxx + tiny],
        [xxxy, xxyy + tiny],
        [xxyy, xyyy, yyyy + tiny],
        [xxx, xxy, xyy, sxx + tiny],
        [xxy, xyy, yyy, sxy, syy + tiny],
    ], [sxx, sxy, syy, sx, sy]


def _solved(lower: list[list[FloatArray]], right: list[FloatArray]) -> list[FloatArray]:
    """Solutions of many symmetric positive definite systems, by Cholesky's method, all at once."""
    n = len(right)
    L: list[list[FloatArray]] = [[] for _ in range(n)]
    for i in range(n):
        for j in range(i + 1):
            left = lower[i][j] - sum(L[i][k] * L[j][k] for k in range(j))
            L[i].append(np.sqrt(np.maximum(left, 1e-12)) if i == j else left / L[j][j])
    z: list[FloatArray] = []
    for i in range(n):
        z.append((right[i] - sum(L[i][k] * z[k] for k in range(i))) / L[i][i])
    out = [right[0]] * n
    for i in range(n - 1, -1, -1):
        out[i] = (z[i] - sum(L[k][i] * out[k] for k in range(i + 1, n))) / L[i][i]
    return out
