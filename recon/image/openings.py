"""Openings of one photo: small ellipses that stand out from their face.

Recall first.  A hole may be dark, lit or see-through, on a face of any colour, so an opening is
sought as an extremum over place and scale of the *length* of the colour-contrast vector, not as a
dark spot.  What is no opening is thrown out later, by the rows.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from recon.geometry.arrays import BoolArray, FloatArray, IntArray

# One table row an opening.  x, y: centre, px.  major, minor: full axes of the ellipse, px.
# angle: of the major axis, radians from +x towards +y.  contrast: signed difference of lightness,
# inside minus face (0..1).  score: contrast over the spread of the face round it (a t-like ratio).
OPENING = np.dtype(
    [
        ("x", "f8"),
        ("y", "f8"),
        ("major", "f8"),
        ("minor", "f8"),
        ("angle", "f8"),
        ("contrast", "f8"),
        ("score", "f8"),
    ]
)

SCALES_PER_OCTAVE = 3  # Lowe 2004 (doi:10.1023/B:VISI.0000029664.99615.94), section 3.2
SMALLEST_SIGMA_PX = 1.2  # a disc of 4 px peaks at sigma = radius / sqrt 2 = 1.4 px
LARGEST_SIGMA_PX = 22.0  # a disc of 60 px
NEIGHBOURS = (
    12  # that a density is taken from: enough to be steady, few enough to be local; this project's choice
)
LEAST_DISTANCE_PX = 2.0  # detections nearer than this are not told apart
RAYS, STEPS, REACH = 24, 15, 2.1  # rays round an opening, samples on each, their length in radii
CHANNEL_NOISE = (0.008, 0.006, 0.006)  # weakest difference of Gaussians worth a look, in L, a, b / 100:
# about one grey level of 8 bits after the blur


def lab_image(bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(H, W, 3) uint8 BGR to float32 CIE L*a*b* divided by 100, so that L runs 0..1."""
    lab: NDArray[np.float32] = cv2.cvtColor(bgr.astype(np.float32) / 255, cv2.COLOR_BGR2LAB) / np.float32(100)
    return lab


def detect_openings(
    lab: NDArray[np.float32], most: int = 9000, seen: Callable[[NDArray[Any]], object] | None = None
) -> NDArray[Any]:
    """Everything in a photo that may be an opening.

    Parameters
    ----------
    lab : (H, W, 3) float32 array
        The photo as `lab_image` gives it.
    most : int
        At most this many, best scores first (keeps gravel from costing minutes).
    seen : callable, optional
        Called, about half-way, with the openings as they are known then: for whoever watches.

    Returns
    -------
    (N,) array of dtype `OPENING`
        Best score first.

    Notes
    -----
    Blobs are the scale-space extrema of Lindeberg 1998 (doi:10.1023/A:1008045108935), computed with
    differences of Gaussians on an image pyramid, in each of the three channels and both signs.  Each
    is then refined on its rim: rays from the middle cross the rim where the colour is half way
    between the middle and the face, and an ellipse is fitted to the crossings.

    Examples
    --------
    >>> photo = np.full((120, 120, 3), 180, np.uint8)
    >>> photo = cv2.circle(photo, (60, 50), 8, (40, 40, 40), -1)
    >>> best = detect_openings(lab_image(photo))[0]
    >>> round(best["x"]), round(best["y"]), round(best["major"])
    (60, 50, 16)
    """
    spots = np.concatenate([_extrema(np.ascontiguousarray(lab[..., c]), CHANNEL_NOISE[c]) for c in range(3)])
    spots = spots[np.argsort(-spots[:, 3])][: 8 * most]
    rough = _refine(lab, spots[:, 0], spots[:, 1], *spots[:, 4:7].T)
    rough = _drop_doubles(rough[rough["score"] > 0.7])[: 2 * most]
    if seen:
        seen(rough[rough["score"] > 1.0][:most])
    fine = _refine(lab, rough["x"], rough["y"], rough["major"] / 2, rough["minor"] / 2, rough["angle"])
    return _drop_doubles(fine[fine["score"] > 1.0])[:most]


def _extrema(channel: NDArray[np.float32], floor: float) -> FloatArray:
    """(N, 7): x, y, radius, response, semi-axes and angle (px) of one channel's scale-space extrema."""
    k = 2 ** (1 / SCALES_PER_OCTAVE)
    out = [np.zeros((0, 7))]
    level, factor = channel, 1.0
    square = np.ones((3, 3), np.uint8)
    while SMALLEST_SIGMA_PX * factor <= LARGEST_SIGMA_PX and min(level.shape) > 16:
        sigmas = SMALLEST_SIGMA_PX * k ** np.arange(-1, SCALES_PER_OCTAVE + 2)
        blurred = [cv2.GaussianBlur(level, (0, 0), s) for s in sigmas]
        bands = [(b - a) / (k - 1) for a, b in pairwise(blurred)]
        for i in range(1, SCALES_PER_OCTAVE + 1):
            here = bands[i]
            for top in (here >= cv2.dilate(here, square), here <= cv2.erode(here, square)):
                ys, xs = np.nonzero(top & (np.abs(here) > floor))
                inside = (xs > 0) & (ys > 0) & (xs < level.shape[1] - 1) & (ys < level.shape[0] - 1)
                ys, xs = ys[inside], xs[inside]
                r = here[ys, xs]
                up = np.sign(r)
                ok = (r * up >= bands[i - 1][ys, xs] * up) & (r * up >= bands[i + 1][ys, xs] * up)
                blob, ratio, angle = _curvature(here, ys, xs)
                radius = np.full(len(xs), sigmas[i] * np.sqrt(k) * factor * np.sqrt(2))
                minor = radius * ratio**0.4  # the scale of a long blob lies nearer to its width
                out.append(
                    np.c_[
                        xs * factor + (factor - 1) / 2,
                        ys * factor + (factor - 1) / 2,
                        radius,
                        np.abs(r),
                        minor / ratio,
                        minor,
                        angle,
                    ][ok & blob]
                )
        level = np.asarray(cv2.resize(level, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
        factor *= 2
    return np.concatenate(out)


def _curvature(
    band: NDArray[np.float32], ys: IntArray, xs: IntArray
) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Whether the band is curved both ways (Lowe 2004, section 4.1), and the ellipse that this suggests."""
    hxx = band[ys, xs + 1] + band[ys, xs - 1] - 2 * band[ys, xs]
    hyy = band[ys + 1, xs] + band[ys - 1, xs] - 2 * band[ys, xs]
    hxy = (band[ys + 1, xs + 1] + band[ys - 1, xs - 1] - band[ys + 1, xs - 1] - band[ys - 1, xs + 1]) / 4
    det, trace = hxx * hyy - hxy**2, hxx + hyy
    most = 30.0  # curvatures of an ellipse foreshortened 1 : 5 stand 25 : 1
    blob = (det > 0) & (trace**2 * most < (most + 1) ** 2 * det)
    half, diff = np.abs(trace) / 2, np.hypot((hxx - hyy) / 2, hxy)
    ratio = np.sqrt(np.clip((half - diff) / np.maximum(half + diff, 1e-9), 1 / most, 1))
    up = np.sign(trace)
    # The major axis lies along the weaker curvature.
    return blob, np.maximum(ratio, 0.3), 0.5 * np.arctan2(-2 * up * hxy, up * (hyy - hxx))


def _rays(lab, x, y, a, b, angle):
    """(N, RAYS, STEPS, 3) colours along rays of an ellipse, out to REACH radii; and their unit offsets."""
    th = np.arange(RAYS) * 2 * np.pi / RAYS
    rho = np.linspace(0, REACH, STEPS)
    u, v = np.cos(th)[:, None] * rho, np.sin(th)[:, None] * rho
    c, s = np.cos(angle)[:, None, None], np.sin(angle)[:, None, None]
    ua, vb = u * a[:, None, None], v * b[:, None, None]
    px = (x[:, None, None] + c * ua - s * vb).astype(np.float32).reshape(-1, STEPS)
    py = (y[:, None, None] + s * ua + c * vb).astype(np.float32).reshape(-1, STEPS)
    out = np.empty((len(px), STEPS, 3), np.float32)
    for i in range(0, len(px), 32000):  # cv2.remap takes at most 32767 rows
        out[i : i + 32000] = cv2.remap(
            lab, px[i : i + 32000], py[i : i + 32000], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    return out.reshape(len(x), RAYS, STEPS, 3), rho


def _refine(lab, x, y, a, b, angle) -> np.ndarray:
    """Ellipses fitted to the rims near the given ones (semi-axes a, b), best score first."""
    parts = [np.zeros(0, OPENING)]
    for lo in range(0, len(x), 4000):  # bounds memory: 4000 are 20 MB
        p = slice(lo, lo + 4000)
        parts.append(_rim_ellipses(lab, x[p], y[p], a[p], b[p], angle[p]))
    out = np.concatenate(parts)
    H, W = lab.shape[:2]
    out = out[(out["x"] > 0) & (out["y"] > 0) & (out["x"] < W - 1) & (out["y"] < H - 1)]
    return out[np.argsort(-out["score"], kind="stable")]


def _rim_ellipses(lab, x, y, a, b, angle) -> np.ndarray:
    a, b = np.maximum(a, 1.5), np.maximum(b, 1.2)
    v, rho = _rays(lab, x, y, a, b, angle)
    mid = v[:, :, rho < 0.45].mean((1, 2))
    outside = v[:, :, (rho > 1.4) & (rho < 2.1)]
    face = np.median(outside.reshape(len(x), -1, 3), axis=1)
    step = mid - face
    length = np.linalg.norm(step, axis=1) + 1e-6
    t = np.einsum("nrsc,nc->nrs", v - face[:, None, None], step / length[:, None] ** 2)
    # Rim of a ray: the first place where it has gone half way to the face.
    below = t < 0.5
    below[:, :, 0] = False
    first = below.argmax(2)
    crossed = below.any(2)
    n, r = np.indices(first.shape)
    lo, hi = t[n, r, np.maximum(first - 1, 0)], t[n, r, first]
    frac = np.clip((lo - 0.5) / np.maximum(lo - hi, 1e-3), 0, 1)
    rim = (first - 1 + frac) * (rho[1] - rho[0])
    # A ray that runs on (into a shadow or over an edge) is no rim: far off the median ray.
    ordered = np.sort(np.where(crossed, rim, np.inf), axis=1)
    middle = ordered[np.arange(len(x)), np.maximum(crossed.sum(1) - 1, 0) // 2][:, None]
    crossed &= (rim < 1.7 * middle) & (rim > 0.3 * middle) & (rim > 0.15)
    th = np.arange(RAYS) * 2 * np.pi / RAYS
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    ua, vb = rim * np.cos(th) * a[:, None], rim * np.sin(th) * b[:, None]
    ok, cx, cy, na, nb, nang, misfit = _fit_ellipses(c * ua - s * vb, s * ua + c * vb, crossed, (a + b) / 2)
    out = np.zeros(len(x), OPENING)
    out["x"], out["y"], out["major"], out["minor"], out["angle"] = x + cx, y + cy, 2 * na, 2 * nb, nang
    out["contrast"] = step[:, 0]
    ring = t[:, :, (rho > 1.4) & (rho < 2.1)].reshape(len(x), -1)
    # All of the ring lies on the face (holes are less than half a width wide), so its worst tenth counts:
    # a joint between tiles that runs through the spot shows there.  1.645: of a normal distribution.
    spread = np.percentile(np.abs(ring), 90, axis=1) / 1.645
    # 0.02 in L is where sensor noise meets contrast; a rim is as good as its round is closed and even.
    out["score"] = crossed.mean(1) ** 2 / (spread + 0.02 / length + 2 * misfit)
    ok &= (crossed.mean(1) > 0.6) & (np.hypot(cx, cy) < 0.9 * np.maximum(a, b)) & (nb > 0.13 * na)
    ok &= (na < 2 * a) & (na > 0.4 * b) & np.isfinite(out["score"])
    return out[ok]


def _fit_ellipses(px, py, good, size):
    """Conics A x^2 + B xy + C y^2 + D x + E y = 1 through (N, R) points, two re-weighted rounds.

    Returns ok, centre x, y, semi-axes, angle and the relative misfit of the points' radii.
    """
    qx, qy = px / size[:, None], py / size[:, None]
    w = good.astype(float)
    for _ in range(3):
        M = np.stack([qx * qx, qx * qy, qy * qy, qx, qy], 2)
        N = np.einsum("nri,nrj,nr->nij", M, M, w) + 1e-9 * np.eye(5)
        p = np.linalg.solve(N, np.einsum("nri,nr->ni", M, w)[..., None])[..., 0]
        res = np.abs(np.einsum("nri,ni->nr", M, p) - 1) / 2  # about the relative error of the radius
        w = good / (1 + (res / 0.1) ** 2)
    A, B, C, D, E = p.T
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
    nang = 0.5 * np.arctan2(-B, C - A)  # the major axis lies along the small eigenvalue
    misfit = (res * w).sum(1) / np.maximum(w.sum(1), 1e-9)
    return ok, cx * size, cy * size, na * size, nb * size, nang, misfit


def local_density(openings: NDArray[Any], tree: cKDTree | None = None) -> FloatArray:
    """How densely detections lie round each of them, from the distance to the 12th neighbour.

    Parameters
    ----------
    openings : (N,) array of dtype `OPENING`
    tree : cKDTree, optional
        Of their centres, where there is one already.

    Returns
    -------
    (N,) array
        Detections per square px.
    """
    xy = np.c_[openings["x"], openings["y"]]
    tree = tree or cKDTree(xy)
    n = min(NEIGHBOURS + 1, len(xy))
    d = tree.query(xy, k=n)[0].reshape(len(xy), -1)[:, -1]
    density: FloatArray = (n - 1) / (np.pi * np.maximum(d, LEAST_DISTANCE_PX) ** 2)
    return density


def _drop_doubles(found: np.ndarray) -> np.ndarray:
    """Of openings that lie in one another, the best-scored stays (input is sorted best first)."""
    if len(found) < 2:
        return found
    xy = np.c_[found["x"], found["y"]]
    tree = cKDTree(xy)
    pairs = tree.query_pairs(float(np.percentile(found["minor"], 95)) / 2, output_type="ndarray")
    d = np.linalg.norm(xy[pairs[:, 0]] - xy[pairs[:, 1]], axis=1)
    close = d < 0.5 * np.minimum(found["minor"][pairs[:, 0]], found["minor"][pairs[:, 1]])
    close &= d < 0.35 * np.maximum(found["minor"][pairs[:, 0]], found["minor"][pairs[:, 1]])
    keep = np.ones(len(found), bool)
    for i, j in sorted(map(tuple, np.sort(pairs[close], axis=1))):
        if keep[i]:
            keep[j] = False
    return found[keep]
