"""Heads and nuts of bolts at predicted openings: a second kind of mark that a hole of a member may show.

A bolt takes its hole's opening and puts a head, a nut or a washer there: wider than the hole and raised off
the face.  At a predicted opening such a mark speaks for the member as an open hole does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray, dots, lengths
from recon.geometry.camera import world2camera
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import MOST_NATS, Matches

# Of 157 heads and nuts in sight on 12 rendered photos with truth, by the detections of openings:
HEAD_FOUND = 0.76  # have a detection on them
HEIGHTS = (0.0, 0.24)  # pitches off the face: their 5th and 95th percentile
HEAD_RATIO, HEAD_SPREAD = 1.6, 0.22  # size over the hole's: median, and spread of its natural logarithm
HOLE_SPREAD = 0.2  # of an open hole's size likewise (2,788 in sight on the same photos)
BLUR_PX = 2.5  # a hole smaller than this is not seen smaller: the rim of a spot is sought from 3 px on
LEAST_RATIO, MOST_RATIO = 1.1, 3.0  # below, it is a hole; above, no head of a bolt that fills the hole
PLACE_PX, PLACE = 0.5, 0.05  # px and pitches, spread of a detection round the head's middle
REACH = 2.6  # spreads within which a detection may be the head: 97 in 100 of true ones
THIN_LIMIT = (
    0.9  # natural logarithm of the minor axis over that of a flat head: heads stand up, so look rounder
)
MOST_NEAR = 5  # detections looked at for each opening; bounds the time
BOLTED = 0.85  # chance of a bolt where two members lap; this project's choice
BOLTED_ELSEWHERE = 0.05  # and at any hole, as long as it is not known what laps there; this project's choice


@dataclass(frozen=True)
class NearHeads:
    """Detections near to where the heads on some faces would be, whoever explains them.

    Attributes
    ----------
    index : int array, (..., k)
        Detections near to each face.
    gain : array, (..., k)
        Nats for each being the head; -inf where it cannot be.
    size : array, (..., k)
        Of each, in holes.
    """

    index: IntArray
    gain: FloatArray
    size: FloatArray


def with_heads(
    photo: PosedPhoto,
    points: FloatArray,
    normals: FloatArray,
    matches: Matches,
    bolted: BoolArray | None = None,
    only_free: bool = False,
) -> Matches:
    """The matches, with a bolt's head taken for the mark wherever that explains the picture better.

    Parameters
    ----------
    photo : PosedPhoto
        With its detections.
    points, normals : array, (N, 3)
        Opening centres, pitches, and outward normals.
    matches : Matches
        Of open holes, at the same openings.
    bolted : bool array or None, (N,)
        Where a lap puts a bolt's head or nut.
    only_free : bool
        Detections that another member explains are no heads.

    Examples
    --------
    A member along x, 20 pitches before a camera; a detection twice a hole's size covers its last opening.

    >>> from recon.geometry.camera import Camera
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.evidence.posed_photo import make_posed_photo
    >>> from recon.solve.evidence.predictions import match_predictions, member_openings
    >>> camera = Camera(1000.0, 400.0, 300.0, t=np.array([0, 0, 20.0]))
    >>> centre, normal = member_openings(0, np.array([-2, 0, 0]), 5, 1.0)
    >>> front, towards = centre[3], np.repeat(normal[3:], 5, 0)
    >>> spots = np.zeros(5, OPENING)
    >>> spots["x"], spots["y"] = camera.project(front).T
    >>> spots["major"] = spots["minor"] = [15, 15, 15, 15, 30]
    >>> spots["score"] = 5
    >>> photo = make_posed_photo("made.jpg", camera, (800, 600), spots, 0.29)
    >>> matches = with_heads(photo, front, towards, match_predictions(photo, front, towards))
    >>> matches.hit.tolist(), matches.head.tolist(), bool(matches.llr[4] > 0)
    ([0, 1, 2, 3, -1], [-1, -1, -1, -1, 4], True)
    """
    head = np.full(len(points), -1)
    q = np.nonzero(matches.visible)[0]
    if not len(q) or not len(photo.openings):
        return replace(matches, head=head)
    near = near_heads(photo, points[q], normals[q])
    known = np.zeros(len(q), bool) if bolted is None else bolted[q]
    llr, hit = matches.llr.copy(), matches.hit.copy()
    llr[q], hit[q], head[q] = choose_heads(
        near, np.where(known, BOLTED, BOLTED_ELSEWHERE), llr[q], hit[q], photo.free if only_free else None
    )
    return replace(matches, llr=llr, hit=hit, head=head)


def choose_heads(
    near: NearHeads, prior: FloatArray, llr: FloatArray, hit: IntArray, free: BoolArray | None = None
) -> tuple[FloatArray, IntArray, IntArray]:
    """Nats, openings and heads of some faces, where a head explains the picture better than what was there.

    Parameters
    ----------
    near : NearHeads
        The detections near to each.
    prior : array, (...)
        Chance of a bolt there.
    llr, hit : arrays, (...)
        Of open holes, as in :class:`recon.solve.evidence.predictions.Matches`.
    free : bool array or None
        Of all detections; those that are not free are no heads.
    """
    gain = near.gain if free is None else np.where(free[near.index], near.gain, -np.inf)
    best = gain.argmax(-1)[..., None]
    index, gain, size = (np.take_along_axis(a, best, -1)[..., 0] for a in (near.index, gain, near.size))
    gain = np.minimum(gain + np.log(prior), MOST_NATS)
    better = gain > np.maximum(llr, 0)
    same = np.isfinite(gain) & (hit == index)
    better = np.where(same, _wider_than_a_hole(size, prior), better)
    return np.where(better, gain, llr), np.where(better, -1, hit), np.where(better, index, -1)


def _wider_than_a_hole(size: FloatArray, prior: FloatArray) -> BoolArray:
    """Is a mark of a size, in holes, likelier a head than an open hole?  Both lie at the same place."""
    head = np.log(prior / HEAD_SPREAD) - 0.5 * (np.log(size / HEAD_RATIO) / HEAD_SPREAD) ** 2
    hole = np.log((1 - prior) / HOLE_SPREAD) - 0.5 * (np.log(size) / HOLE_SPREAD) ** 2
    return np.asarray(head > hole)


def near_heads(photo: PosedPhoto, points: FloatArray, normals: FloatArray) -> NearHeads:
    """The detections that may be heads on faces (Q, 3) in sight, whoever else explains them."""
    camera, count = photo.camera, len(photo.openings)
    k = min(MOST_NEAR, count)
    scale = camera.f / world2camera(camera, points)[:, 2]
    sigma = np.hypot(PLACE_PX, PLACE * scale)
    low, high = (np.nan_to_num(camera.project(points + h * normals), nan=-1e6) for h in HEIGHTS)
    middle, half = (low + high) / 2, (high - low) / 2
    far = REACH * sigma + lengths(half)
    _, j = photo.tree.query(middle, k=k, distance_upper_bound=float(far.max()))
    j = j.reshape(-1, k)
    out = NearHeads(np.where(j < count, j, 0), np.full(j.shape, -np.inf), np.ones(j.shape))
    # Most faces have hardly a detection near: only these pairs are looked at.
    q, which = np.nonzero(j < count)
    near, half, sigma = j[q, which], half[q], sigma[q]
    # From the middle of the mark to the nearest place that a head of any height may have.
    off = photo.tree.data[near] - middle[q]
    square = dots(half, half)
    along = dots(off, half) / np.maximum(square, 1e-9)
    d = lengths(off - np.clip(along, -1, 1)[:, None] * half)
    to_eye = camera.centre - points[q]
    facing = dots(to_eye, normals[q]) / lengths(to_eye)
    hole = np.hypot(scale[q] * photo.hole, BLUR_PX)
    majors, minors = photo.axes
    size = majors[near] / hole
    thin = np.log(np.maximum(minors[near], 0.5) / (hole * facing * HEAD_RATIO))
    there = (d < REACH * sigma) & (size > LEAST_RATIO) & (size < MOST_RATIO) & (np.abs(thin) < THIN_LIMIT)
    # The mark may lie anywhere along the way on which the head's height moves it.
    room = 2 * np.pi * sigma**2 + 2 * np.sqrt(2 * np.pi) * sigma * np.sqrt(square)
    gain = (
        np.log(HEAD_FOUND)
        - 0.5 * (d / sigma) ** 2
        - np.log(room)
        - photo.log_density[near]
        - 0.5 * (np.log(size / HEAD_RATIO) / HEAD_SPREAD) ** 2
        + photo.mark[near]
    )
    out.gain[q, which], out.size[q, which] = np.where(there, gain, -np.inf), size
    return out
