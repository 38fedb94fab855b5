"""Blobs of one channel: extrema over place and scale of differences of Gaussians.

Lindeberg 1998 (doi:10.1023/A:1008045108935), on an image pyramid; lighter and darker ones alike.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from recon.geometry.arrays import BoolArray, FloatArray, IntArray

# One table row a blob.  x, y: centre, px.  response: absolute, normalised over scales.  a, b: semi-axes of
# the ellipse that its curvature suggests, px.  angle: of the major axis, radians from +x towards +y.
BLOB = np.dtype(
    [
        ("x", "f4"),
        ("y", "f4"),
        ("response", "f4"),
        ("a", "f4"),
        ("b", "f4"),
        ("angle", "f4"),
        ("channel", "i4"),
    ]
)

SCALES_PER_OCTAVE = 3  # Lowe 2004 (doi:10.1023/B:VISI.0000029664.99615.94), section 3.2
SMALLEST_SIGMA_PX = 1.2  # a disc of 4 px peaks at sigma = radius / sqrt 2 = 1.4 px
LARGEST_SIGMA_PX = 22.0  # a disc of 60 px
SQUARE = np.ones((3, 3), np.uint8)
MOST_CURVED = 30.0  # curvatures of an ellipse foreshortened 1 : 5 stand 25 : 1


def find_blobs(channel: NDArray[Any], floor: float) -> NDArray[np.void]:
    """Scale-space extrema of one channel.

    Parameters
    ----------
    channel : (H, W) float32 array
    floor : float
        Weakest difference of Gaussians worth a look.

    Returns
    -------
    (N,) array of dtype `BLOB`
        In no order; `channel` is 0.

    Examples
    --------
    >>> disc = cv2.circle(np.zeros((80, 80), np.float32), (40, 30), 6, 1.0, -1)
    >>> found = find_blobs(disc, 0.05)
    >>> best = found[found["response"].argmax()]
    >>> round(float(best["x"])), round(float(best["y"])), 4 < best["b"] <= best["a"] < 9
    (40, 30, np.True_)
    """
    k = 2 ** (1 / SCALES_PER_OCTAVE)
    sigmas = SMALLEST_SIGMA_PX * k ** np.arange(-1, SCALES_PER_OCTAVE + 2)
    out = [np.zeros(0, BLOB)]
    level, factor = channel, 1.0
    while SMALLEST_SIGMA_PX * factor <= LARGEST_SIGMA_PX and min(level.shape) > 16:
        blurred = [cv2.GaussianBlur(level, (0, 0), sigmas[0])]
        for narrow, wide in pairwise(sigmas):  # a blur of a blur: with narrower kernels to the same
            blurred.append(cv2.GaussianBlur(blurred[-1], (0, 0), np.sqrt(wide**2 - narrow**2)))
        bands = [cv2.subtract(b, a) for a, b in pairwise(blurred)]
        for i in range(1, SCALES_PER_OCTAVE + 1):
            for sign in (1, -1):
                at = _extrema(bands[i - 1 : i + 2], sign, floor * (k - 1))
                out.append(_blobs(bands[i], at, sigmas[i] * np.sqrt(k), factor, 1 / (k - 1)))
        level = np.asarray(cv2.resize(level, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.float32)
        factor *= 2
    return np.concatenate(out)


def _extrema(bands: list[NDArray[Any]], sign: int, floor: float) -> IntArray:
    """Flat places in the middle one of three bands where it is extreme among its neighbours in all three."""
    below, here, above = bands
    if sign > 0:
        top, strong = cv2.compare(here, cv2.dilate(here, SQUARE), cv2.CMP_GE), here > floor
    else:
        top, strong = cv2.compare(here, cv2.erode(here, SQUARE), cv2.CMP_LE), here < -floor
    top = np.asarray(top, np.uint8) & strong.view(np.uint8)
    top[0] = top[-1] = top[:, 0] = top[:, -1] = 0
    at: IntArray = np.flatnonzero(top.view(np.bool_))
    value, low, high = (b.ravel().take(at) for b in (here, below, above))
    return at[(value * sign >= low * sign) & (value * sign >= high * sign)]


def _blobs(band: NDArray[Any], at: IntArray, sigma: float, factor: float, scale: float) -> NDArray[np.void]:
    """The blobs at flat places of a band, those along edges left out."""
    blob, ratio, angle = _curvature(band, at)
    at, ratio, angle = at[blob], ratio[blob], angle[blob]
    y, x = np.divmod(at, band.shape[1])
    out = np.zeros(len(at), BLOB)
    out["x"], out["y"] = x * factor + (factor - 1) / 2, y * factor + (factor - 1) / 2
    out["response"] = np.abs(band.ravel().take(at)) * scale
    out["b"] = sigma * factor * np.sqrt(2) * ratio**0.4  # the scale of a long blob lies nearer to its width
    out["a"] = out["b"] / ratio
    out["angle"] = angle
    return out


def _curvature(band: NDArray[Any], at: IntArray) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Whether the band is curved both ways (Lowe 2004, section 4.1), and the ellipse that this suggests."""
    flat, row = band.ravel(), band.shape[1]
    middle = 2 * flat.take(at)
    hxx = flat.take(at + 1) + flat.take(at - 1) - middle
    hyy = flat.take(at + row) + flat.take(at - row) - middle
    hxy = (
        flat.take(at + row + 1) + flat.take(at - row - 1) - flat.take(at - row + 1) - flat.take(at + row - 1)
    )
    hxy = hxy / 4
    det, trace = hxx * hyy - hxy**2, hxx + hyy
    blob = (det > 0) & (trace**2 * MOST_CURVED < (MOST_CURVED + 1) ** 2 * det)
    half, diff = np.abs(trace) / 2, np.hypot((hxx - hyy) / 2, hxy)
    ratio = np.sqrt(np.clip((half - diff) / np.maximum(half + diff, 1e-9), 1 / MOST_CURVED, 1))
    up = np.sign(trace)
    # The major axis lies along the weaker curvature.
    return blob, np.maximum(ratio, 0.3), 0.5 * np.arctan2(-2 * up * hxy, up * (hyy - hxx))
