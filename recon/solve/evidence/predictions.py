"""Evidence for a member: what each photo says at every opening that the member would show.

A predicted opening that is found among the detections speaks for the member by the log of (chance of
finding a true one there / chance of clutter there); one that should be in sight and is not speaks
against it; one that is hidden, edge-on or out of the picture says nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray, dots, lengths
from recon.geometry.camera import camera2sensor, sensor2image, world2camera
from recon.solve.evidence.posed_photo import PosedPhoto

FOUND = 0.88  # chance that an opening in plain sight is detected (rendered photos: 0.83 to 0.98)
LEAST_FACING = 0.16  # cosine to the face's normal: below 1 : 6 an opening is a line
LEAST_MINOR_PX = 1.6  # thinner ellipses are not expected to be found
LEAST_DEPTH = 0.5  # pitches before the camera; this project's choice
MARGIN = 0.3  # pitches from the picture's border; within it an opening may be cut off
PLACE_PX, PLACE = (
    0.5,
    0.045,
)  # px and pitches, spread of a detection: shading in the mouth moves it by up to 0.05
REACH = 2.6  # spreads within which a detection may be the predicted opening: 97 in 100 of true ones
MOST_NEAR = 5  # detections looked at for each opening; bounds the time
SIZE_LIMIT, SIZE_SPREAD = 0.75, 0.4  # natural logarithm of a detection's size over the predicted one
THIN_LIMIT = 1.0  # of its minor axis likewise
SOFT_MINOR_PX, SOFTNESS_PX = 3.0, 0.7  # minor axis at which half of the openings are missed, and how sharply
MOST_NATS = 6.0  # for one opening: no single detection decides


Hidden = BoolArray | Callable[[IntArray], BoolArray]  # of N openings, or asked by their numbers


@dataclass(frozen=True)
class Matches:
    """What one photo says of N predicted openings.

    Attributes
    ----------
    llr : array, (N,)
        Nats; 0 where nothing can be said.
    hit : int array, (N,)
        Index of the detection, -1 none.
    visible : bool array, (N,)
        Should be in sight.
    px : array, (N, 2)
        Predicted place.
    head : int array, (N,)
        Index of the detection of a bolt's head that covers the opening, -1 none; none at all where only
        openings were looked for.
    """

    llr: FloatArray
    hit: IntArray
    visible: BoolArray
    px: FloatArray
    head: IntArray


@dataclass(frozen=True)
class NearOpenings:
    """Detections near to those of N predicted openings that should be in sight, whoever explains them.

    Attributes
    ----------
    number : int array, (Q,)
        Of the openings in sight; none where nothing was detected in the photo.
    index : int array, (Q, k)
        Detections near to each.
    gain : array, (Q, k)
        Nats for each being the opening; -inf where it cannot be.
    miss : array, (Q,)
        Nats where none is.
    visible, px : arrays, (N,) and (N, 2)
        As in :class:`Matches`.
    """

    number: IntArray
    index: IntArray
    gain: FloatArray
    miss: FloatArray
    visible: BoolArray
    px: FloatArray


@dataclass(frozen=True)
class _Predicted:
    """How N openings would look: in sight (N,), place (N, 2) px, px a pitch (N,), minor axis (N,) px."""

    visible: BoolArray
    px: FloatArray
    scale: FloatArray
    minor: FloatArray


def match_predictions(
    photo: PosedPhoto,
    points: FloatArray,
    normals: FloatArray,
    hidden: Hidden | None = None,
    only_free: bool = False,
    play: FloatArray | None = None,
) -> Matches:
    """Compare predicted openings with a photo's detections.

    Parameters
    ----------
    photo : PosedPhoto
        With its detections.
    points : array, (N, 3)
        Opening centres, pitches.
    normals : array, (N, 3)
        Outward, along an axis.
    hidden : bool array, callable or None
        Known to be behind something, (N,); or what says so of openings by their numbers: it is asked of those
        alone that would be in sight.
    only_free : bool
        Detections that another member explains are not hits (and say nothing).
    play : array or None, (N,)
        Spread of each opening off its place, pitches, in place of the photo's.

    Examples
    --------
    A member along x, 20 pitches before a camera; of its five openings the last is not detected.

    >>> from recon.geometry.camera import Camera
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.evidence.posed_photo import make_posed_photo
    >>> camera = Camera(1000.0, 400.0, 300.0, t=np.array([0, 0, 20.0]))
    >>> centre, normal = member_openings(0, np.array([-2, 0, 0]), 5, 1.0)
    >>> front, towards = centre[3], np.repeat(normal[3:], 5, 0)
    >>> spots = np.zeros(4, OPENING)
    >>> spots["x"], spots["y"] = camera.project(front[:4]).T
    >>> spots["major"], spots["minor"], spots["score"] = 15, 15, 5
    >>> photo = make_posed_photo("made.jpg", camera, (800, 600), spots, 0.29)
    >>> matches = match_predictions(photo, front, towards)
    >>> matches.hit.tolist(), matches.visible.all(), (matches.llr > 0).tolist()
    ([0, 1, 2, 3, -1], np.True_, [True, True, True, True, False])
    """
    near = near_openings(photo, points, normals, hidden, play)
    llr, hit = np.zeros(len(points)), np.full(len(points), -1)
    llr[near.number], hit[near.number] = choose_openings(
        near.index, near.gain, near.miss, photo.free if only_free else None
    )
    return Matches(llr, hit, near.visible, near.px, np.full(len(points), -1))


def near_openings(
    photo: PosedPhoto,
    points: FloatArray,
    normals: FloatArray,
    hidden: Hidden | None = None,
    play: FloatArray | None = None,
) -> NearOpenings:
    """The detections that may be predicted openings, whoever else explains them; as `match_predictions`."""
    seen = _predict(photo, points, normals, hidden)
    q = np.nonzero(seen.visible)[0] if len(photo.openings) else np.zeros(0, int)
    if not len(q):
        return NearOpenings(q, np.zeros((0, 1), int), np.zeros((0, 1)), np.zeros(0), seen.visible, seen.px)
    faces = np.abs(normals[q]).argmax(1)
    spread = np.full(len(q), photo.play) if play is None else play[q]
    near, gain = _gains(photo, seen.px[q], seen.scale[q], seen.minor[q], faces, spread)
    # Small, slanted openings are missed more often: a miss there says less.
    sure = FOUND / (1 + np.exp(-(seen.minor[q] - SOFT_MINOR_PX) / SOFTNESS_PX))
    return NearOpenings(q, near, gain, np.log(1 - sure), seen.visible, seen.px)


def choose_openings(
    index: IntArray, gain: FloatArray, miss: FloatArray, free: BoolArray | None = None
) -> tuple[FloatArray, IntArray]:
    """Of the detections near to each of some openings the likeliest: nats and its number, -1 none.

    Parameters
    ----------
    index, gain, miss : arrays, (..., k), (..., k) and (...)
        As in :class:`NearOpenings`.
    free : bool array or None
        Of all detections; those that are not free are not hits, and an opening near to one says nothing.

    Examples
    --------
    >>> nats, hit = choose_openings(np.array([[4, 7]]), np.array([[2.0, 3.0]]), np.array([-1.0]))
    >>> nats.tolist(), hit.tolist()
    ([3.0], [7])
    """
    if free is not None:
        taken = np.isfinite(gain) & ~free[index]
        gain = np.where(taken, -np.inf, gain)
        miss = np.where(taken.any(-1), 0.0, miss)
    best = gain.argmax(-1)[..., None]
    top = np.take_along_axis(gain, best, -1)[..., 0]
    found = np.isfinite(top)
    nats = np.where(found, np.clip(top, miss, MOST_NATS), miss)
    return nats, np.where(found, np.take_along_axis(index, best, -1)[..., 0], -1)


def _predict(photo: PosedPhoto, points: FloatArray, normals: FloatArray, hidden: Hidden | None) -> _Predicted:
    """Which openings should be in sight, where, and how large."""
    camera = photo.camera
    to_eye = camera.centre - points
    facing = dots(to_eye, normals) / np.maximum(lengths(to_eye), 1e-9)
    depth, px = np.full(len(points), LEAST_DEPTH), np.full((len(points), 2), -1e6)
    # Half of a member's faces look away.
    towards = np.nonzero(facing > LEAST_FACING)[0]
    placed = world2camera(camera, points[towards])
    seen = sensor2image(camera, camera2sensor(placed))
    ahead = (placed[:, 2] > LEAST_DEPTH) & np.isfinite(seen[:, 0]) & np.isfinite(seen[:, 1])
    depth[towards], px[towards[ahead]] = placed[:, 2], seen[ahead]
    W, H = photo.size
    ok = np.zeros(len(points), bool)
    ok[towards] = ahead
    scale = camera.f / np.maximum(depth, LEAST_DEPTH)
    minor = scale * photo.hole * facing
    margin = MARGIN * scale
    ok &= (
        (px[:, 0] > margin) & (px[:, 1] > margin) & (px[:, 0] < W - 1 - margin) & (px[:, 1] < H - 1 - margin)
    )
    ok &= minor > LEAST_MINOR_PX
    if callable(hidden):
        asked = np.nonzero(ok)[0]
        ok[asked] = ~hidden(asked)
    elif hidden is not None:
        ok &= ~hidden
    return _Predicted(ok, px, scale, minor)


def _gains(
    photo: PosedPhoto,
    px: FloatArray,
    scale: FloatArray,
    minor: FloatArray,
    faces: IntArray,
    play: FloatArray,
) -> tuple[IntArray, FloatArray]:
    """The detections nearest to each of Q openings and the nats for each being it, -inf for none: (Q, k).

    faces : (Q,) axis that the opening's face is normal to.
    play : (Q,) pitches, spread off the predicted place.
    """
    sigma = np.hypot(PLACE_PX, np.hypot(PLACE, play) * scale)
    reach = REACH * sigma
    k = min(MOST_NEAR, len(photo.openings))
    d, j = photo.tree.query(px, k=k, distance_upper_bound=float(reach.max()))
    d, j = d.reshape(len(px), -1), j.reshape(len(px), -1)
    close = (j < len(photo.openings)) & (d < reach[:, None])
    index, gain = np.where(close, j, 0), np.full(j.shape, -np.inf)
    # Most openings have hardly a detection near: only these pairs are looked at.
    q, which = np.nonzero(close)
    near, d, sigma = j[q, which], d[q, which], sigma[q]
    majors, minors = photo.axes
    size_err = np.log(majors[near] / (scale * photo.hole)[q])
    thin_err = np.log(np.maximum(minors[near], 0.5) / np.maximum(minor, 0.5)[q])
    nats = (
        np.log(FOUND)
        - 0.5 * (d / sigma) ** 2
        - np.log(2 * np.pi * sigma**2)
        - photo.log_density[near]
        - 0.5 * (size_err / SIZE_SPREAD) ** 2
        + photo.mark[near]
        + photo.shape[near, faces[q]]
    )
    there = (np.abs(size_err) < SIZE_LIMIT) & (np.abs(thin_err) < THIN_LIMIT)
    gain[q, which] = np.where(there, nats, -np.inf)
    return index, gain


def member_openings(axis: int, first: FloatArray, count: int, width: float) -> tuple[FloatArray, FloatArray]:
    """Opening centres (4, count, 3) and face normals (4, 3) of a member along an axis, pitches.

    Parameters
    ----------
    axis : int
        Along which it runs.
    first : array, (3,)
        Centre of its first hole, pitches.
    count : int
        Of its holes.
    width : float
        Of the member, pitches.

    Examples
    --------
    >>> centre, normal = member_openings(2, [0, 0, 0], 3, 1.0)
    >>> normal.astype(int).tolist()
    [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]]
    >>> centre[0].tolist()
    [[0.5, 0.0, 0.0], [0.5, 0.0, 1.0], [0.5, 0.0, 2.0]]
    """
    others = [j for j in range(3) if j != axis]
    normals = np.zeros((4, 3))
    for f, (j, s) in enumerate([(others[0], 1), (others[0], -1), (others[1], 1), (others[1], -1)]):
        normals[f, j] = s
    base = np.repeat(np.asarray(first, float)[None], count, 0)
    base[:, axis] += np.arange(count)
    return base[None] + 0.5 * width * normals[:, None], normals
