"""Openings of one photo: small ellipses that stand out from their face.

Recall first.  A hole may be dark, lit or see-through, on a face of any colour, so an opening is
sought as an extremum over place and scale of the *length* of the colour-contrast vector, not as a
dark spot.  What is no opening is thrown out later, by the rows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from recon.geometry.arrays import FloatArray, lengths
from recon.image.blobs import BLOB, find_blobs
from recon.image.rims import FULL, LEAST_SCORE, QUICK, Level, fit_rims, make_pyramid

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

MOST_OPENINGS = 9000  # that rows, cameras and members are sought from; bounds the time on gravel
# Blobs looked at, strongest first: of 30 rendered photos' holes the weakest came 54,000th.
MOST_SPOTS = 72000
MOST_CLOSE = 1.3  # as many of them as openings are looked at closely; this project's choice
LEAST_OPENING_SCORE = 1.1  # in the noise of a high sensitivity 1 in 1,000 px has so much
NEIGHBOURS = (
    12  # that a density is taken from: enough to be steady, few enough to be local; this project's choice
)
ALIKE = 0.45  # of the logarithms of two openings' axes in one row; this project's choice
LEAST_DISTANCE_PX = 2.0  # detections nearer than this are not told apart
STRIP = 256  # rows of a picture converted at a time: what is in between stays small
CHANNEL_NOISE = (0.008, 0.006, 0.006)  # weakest difference of Gaussians worth a look, in L, a, b / 100:
# about one grey level of 8 bits after the blur


def lab_image(bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(H, W, 3) uint8 BGR to float32 CIE L*a*b* divided by 100, so that L runs 0..1."""
    lab = np.empty(bgr.shape, np.float32)
    for top in range(0, len(bgr), STRIP):  # no copy of the whole picture besides
        strip = bgr[top : top + STRIP].astype(np.float32) / 255
        lab[top : top + STRIP] = cv2.cvtColor(strip, cv2.COLOR_BGR2LAB)
    lab /= np.float32(100)
    return lab


def detect_openings(
    lab: NDArray[np.float32],
    most: int = MOST_OPENINGS,
    seen: Callable[[NDArray[Any]], object] | None = None,
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
    Spots are the extrema over place and scale in each channel (`recon.image.blobs`).  Their rims are looked
    at three times, each time more closely and only where the time before left hope (`recon.image.rims`).

    Examples
    --------
    >>> photo = np.full((120, 120, 3), 180, np.uint8)
    >>> photo = cv2.circle(photo, (60, 50), 8, (40, 40, 40), -1)
    >>> best = detect_openings(lab_image(photo))[0]
    >>> round(best["x"]), round(best["y"]), round(best["major"])
    (60, 50, 16)
    """
    pyramid = make_pyramid(lab)
    del lab  # the pyramid holds it
    rough = _rough(pyramid)
    if seen:
        seen(_likely(rough, most))
    # Measured again from its own middle, an opening scores what it is worth.
    rough = _best_of(fit_rims(pyramid, _as_spots(rough), QUICK, OPENING), LEAST_SCORE)
    close = _as_spots(rough[: int(MOST_CLOSE * most)])
    return _best_of(fit_rims(pyramid, close, FULL, OPENING), LEAST_OPENING_SCORE)[:most]


def rough_openings(lab: NDArray[np.float32], most: int = MOST_OPENINGS) -> NDArray[Any]:
    """Openings as they are known half-way, for whoever watches; parameters as of `detect_openings`.

    Examples
    --------
    >>> photo = np.full((120, 120, 3), 180, np.uint8)
    >>> photo = cv2.circle(photo, (60, 50), 8, (40, 40, 40), -1)
    >>> round(rough_openings(lab_image(photo))[0]["x"])
    60
    """
    return _likely(_rough(make_pyramid(lab)), most)


def _likely(rough: NDArray[Any], most: int) -> NDArray[Any]:
    """Of what may be an opening that which would be one, were it not looked at more closely."""
    return rough[rough["score"] > LEAST_OPENING_SCORE][:most]


def _rough(pyramid: Sequence[Level]) -> NDArray[Any]:
    """What may be an opening after a quick look at all spots."""
    return _best_of(fit_rims(pyramid, _spots(pyramid), QUICK, OPENING), LEAST_SCORE)


def _as_spots(openings: NDArray[Any]) -> NDArray[np.void]:
    """Openings as places to look at again, from top to bottom: neighbours share the processor's cache."""
    openings = openings[np.argsort(openings["y"], kind="stable")]
    spots = np.zeros(len(openings), BLOB)
    for name in ("x", "y", "angle"):
        spots[name] = openings[name]
    spots["a"], spots["b"] = openings["major"] / 2, openings["minor"] / 2
    return spots


def _spots(pyramid: Sequence[Level]) -> NDArray[np.void]:
    """The blobs of all channels that stand out most."""
    parts = []
    for c, floor in enumerate(CHANNEL_NOISE):
        found = find_blobs(cv2.extractChannel(pyramid[0], c), floor)
        found["channel"] = c
        parts.append(found)
    spots = np.concatenate(parts)
    if len(spots) > MOST_SPOTS:
        spots = spots[np.sort(np.argpartition(-spots["response"], MOST_SPOTS)[:MOST_SPOTS])]
    return spots


def _best_of(found: NDArray[Any], least: float) -> NDArray[Any]:
    """Openings of at least a score, best first, each once."""
    found = found[found["score"] > least]
    return _drop_doubles(found[np.argsort(-found["score"], kind="stable")])


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


def alike_density(openings: NDArray[Any]) -> FloatArray:
    """How densely detections of like size lie round each of them: those that could stand in for it by chance.

    Large openings among specks of grain have few like them.

    Parameters
    ----------
    openings : (N,) array of dtype `OPENING`

    Returns
    -------
    (N,) array
        Detections per square px with a major axis at most ALIKE apart in its logarithm.

    Examples
    --------
    >>> rng, openings = np.random.default_rng(1), np.zeros(400, OPENING)
    >>> openings["x"], openings["y"] = rng.random((2, 400)) * 500
    >>> openings["major"] = openings["minor"] = np.where(np.arange(400) < 40, 20, 5)
    >>> all, alike = local_density(openings), alike_density(openings)
    >>> bool(np.median(alike[:40] / all[:40]) < 0.1)
    True

    Of openings of one size, nine in ten of all, two thirds count, as where sizes are mixed.

    >>> round(float(np.median(alike[40:] / all[40:])), 1)
    0.6
    """
    size = np.log(openings["major"])
    density: FloatArray = np.zeros(len(size))
    band = np.floor(size / ALIKE).astype(int)
    xy = np.c_[openings["x"], openings["y"]]
    for b in np.unique(band):
        own = np.nonzero(band == b)[0]
        near = np.nonzero(np.abs(band - b) <= 1)[0]  # of two thirds of these the size is alike
        n = min(NEIGHBOURS * 3 // 2 + 1, len(near))
        d = cKDTree(xy[near]).query(xy[own], k=n)[0].reshape(len(own), -1)[:, -1]
        density[own] = (n - 1) * 2 / 3 / (np.pi * np.maximum(d, LEAST_DISTANCE_PX) ** 2)
    return density


def _drop_doubles(found: np.ndarray) -> np.ndarray:
    """Of openings that lie in one another, the best-scored stays (input is sorted best first)."""
    if len(found) < 2:
        return found
    xy = np.c_[found["x"], found["y"]]
    tree = cKDTree(xy)
    pairs = tree.query_pairs(float(np.percentile(found["minor"], 95)) / 2, output_type="ndarray")
    d = lengths(xy[pairs[:, 0]] - xy[pairs[:, 1]])
    close = d < 0.5 * np.minimum(found["minor"][pairs[:, 0]], found["minor"][pairs[:, 1]])
    close &= d < 0.35 * np.maximum(found["minor"][pairs[:, 0]], found["minor"][pairs[:, 1]])
    pairs = np.sort(pairs[close], axis=1)
    stays = [True] * len(found)
    for i, j in pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))].tolist():
        if stays[i]:
            stays[j] = False
    return found[np.array(stays)]
