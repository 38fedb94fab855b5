"""Evidence for a member: what each photo says at every opening that the member would show.

A predicted opening that is found among the detections speaks for the member by the log of (chance of
finding a true one there / chance of clutter there); one that should be in sight and is not speaks
against it; one that is hidden, edge-on or out of the picture says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.camera import world2camera
from recon.solve.evidence.posed_photo import PosedPhoto

FOUND = 0.88  # chance that an opening in plain sight is detected (rendered photos: 0.83 to 0.98)
LEAST_FACING = 0.16  # cosine to the face's normal: below 1 : 6 an opening is a line
LEAST_MINOR_PX = 1.6  # thinner ellipses are not expected to be found


@dataclass(frozen=True)
class Matches:
    """What one photo says of N predicted openings."""

    llr: np.ndarray  # (N,) nats; 0 where nothing can be said
    hit: np.ndarray  # (N,) index of the detection, -1 none
    visible: np.ndarray  # (N,) bool: should be in sight
    px: np.ndarray  # (N, 2) predicted place


def match_predictions(
    photo: PosedPhoto,
    points: np.ndarray,
    normals: np.ndarray,
    hidden: np.ndarray | None = None,
    only_free: bool = False,
) -> Matches:
    """Compare predicted openings with a photo's detections.

    Parameters
    ----------
    points : (N, 3) opening centres, pitches.   normals : (N, 3) outward.
    hidden : (N,) bool, known to be behind something.
    only_free : detections that another member explains are not hits (and say nothing).
    """
    cam = photo.camera
    n = len(points)
    to_eye = cam.centre - points
    dist = np.linalg.norm(to_eye, axis=1)
    facing = (to_eye * normals).sum(1) / np.maximum(dist, 1e-9)
    depth = world2camera(cam, points)[:, 2]
    px = cam.project(points)
    W, H = photo.size
    ok = (depth > 0.5) & (facing > LEAST_FACING) & np.isfinite(px).all(1)
    px = np.where(ok[:, None], px, -1e6)
    scale = cam.f / np.maximum(depth, 0.5)  # px per pitch
    minor = scale * photo.hole * facing
    margin = 0.3 * scale
    ok &= (
        (px[:, 0] > margin) & (px[:, 1] > margin) & (px[:, 0] < W - 1 - margin) & (px[:, 1] < H - 1 - margin)
    )
    ok &= minor > LEAST_MINOR_PX
    if hidden is not None:
        ok &= ~hidden
    llr, hit = np.zeros(n), np.full(n, -1)
    if not ok.any() or not len(photo.openings):
        return Matches(llr, hit, ok, px)
    q = np.nonzero(ok)[0]
    sigma = np.hypot(0.5, 0.045 * scale[q])  # shading in the mouth moves the spot by up to 0.05 pitch
    reach = 2.6 * sigma
    k = min(5, len(photo.openings))
    d, j = photo.tree.query(px[q], k=k, distance_upper_bound=float(reach.max()))
    d, j = d.reshape(len(q), -1), j.reshape(len(q), -1)
    there = (j < len(photo.openings)) & (d < reach[:, None])
    jj = np.where(there, j, 0)
    o = photo.openings
    major = (scale[q] * photo.hole)[:, None]
    size_err = np.log(o["major"][jj] / major)
    thin_err = np.log(np.maximum(o["minor"][jj], 0.5) / np.maximum(minor[q][:, None], 0.5))
    there &= (np.abs(size_err) < 0.75) & (np.abs(thin_err) < 1.0)
    taken = there & ~photo.free[jj]
    if only_free:
        there &= ~taken
    gain = (
        np.log(FOUND)
        - 0.5 * (d / sigma[:, None]) ** 2
        - np.log(2 * np.pi * sigma[:, None] ** 2)
        - np.log(np.maximum(photo.density[jj], 1e-6))
        - 0.5 * (size_err / 0.4) ** 2
        + photo.mark[jj]
        + photo.shape[jj, np.abs(normals[q]).argmax(1)[:, None]]
    )
    gain = np.where(there, gain, -np.inf)
    best = gain.argmax(1)
    top = gain[np.arange(len(q)), best]
    # Small, slanted openings are missed more often: a miss there says less.
    sure = FOUND / (1 + np.exp(-(minor[q] - 3.0) / 0.7))
    miss = np.log(1 - sure)
    if only_free:
        miss = np.where(taken.any(1), 0.0, miss)
    found = np.isfinite(top)
    llr[q] = np.where(found, np.clip(top, miss, 6.0), miss)
    hit[q] = np.where(found, jj[np.arange(len(q)), best], -1)
    return Matches(llr, hit, ok, px)


def hidden_by_boxes(eye: np.ndarray, points: np.ndarray, lo: np.ndarray, hi: np.ndarray) -> np.ndarray:
    """(N,) bool: is the straight way from the eye to each point blocked by an axis-aligned box (B, 3)?

    The slab method (Kay and Kajiya 1986, doi:10.1145/15922.15916).  Boxes that only touch the point are
    no bar.
    """
    n = len(points)
    if not len(lo):
        return np.zeros(n, bool)
    d = points - eye
    with np.errstate(divide="ignore", invalid="ignore"):
        inv = 1 / np.where(np.abs(d) < 1e-9, 1e-9, d)
    out = np.zeros(n, bool)
    for a, b in zip(lo, hi):
        t0, t1 = (a - eye) * inv, (b - eye) * inv
        near = np.minimum(t0, t1).max(1)
        far = np.maximum(t0, t1).min(1)
        out |= (near < far) & (far > 0) & (near < 1 - 1e-3 / np.maximum(np.linalg.norm(d, axis=1), 1e-9) * 50)
    return out


def member_openings(axis: int, first: np.ndarray, count: int, width: float):
    """Opening centres (4, count, 3) and normals (4, 3) of an axis-aligned member."""
    others = [j for j in range(3) if j != axis]
    normals = np.zeros((4, 3))
    for f, (j, s) in enumerate([(others[0], 1), (others[0], -1), (others[1], 1), (others[1], -1)]):
        normals[f, j] = s
    k = np.arange(count)
    base = np.repeat(np.asarray(first, float)[None], count, 0)
    base[:, axis] += k
    return base[None] + 0.5 * width * normals[:, None], normals
