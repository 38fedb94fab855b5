"""Evidence for a member: what each photo says at every opening that the member would show.

A predicted opening that is found among the detections speaks for the member by the log of (chance of
finding a true one there / chance of clutter there); one that should be in sight and is not speaks
against it; one that is hidden, edge-on or out of the picture says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.camera import Camera, world2camera
from recon.geometry.ellipses import face_shapes, score_llr, shape_distance, shape_llr, unit_shapes
from recon.image.openings import local_density

FOUND = 0.88  # chance that an opening in plain sight is detected (rendered photos: 0.83 to 0.98)
LEAST_FACING = 0.16  # cosine to the face's normal: below 1 : 6 an opening is a line
LEAST_MINOR_PX = 1.6  # thinner ellipses are not expected to be found


@dataclass(frozen=True)
class View:
    """One photo with its camera on the lattice."""

    name: str
    camera: Camera
    size: tuple  # width, height px
    openings: np.ndarray  # OPENING
    tree: cKDTree
    density: np.ndarray  # (N,) detections per px^2 round each
    hole: float  # apparent hole diameter in pitches, as measured in this photo
    free: np.ndarray  # (N,) bool: not yet explained
    mark: np.ndarray  # (N,) nats: how much each detection looks like an opening at all
    shape: np.ndarray  # (N, 3) nats: how well its ellipse fits a face normal to each axis


def make_view(name, camera, size, openings, hole) -> View:
    px = np.c_[openings["x"], openings["y"]]
    tree = cKDTree(px)
    return View(
        name,
        camera,
        size,
        openings,
        tree,
        local_density(openings, tree),
        hole,
        np.ones(len(openings), bool),
        score_llr(openings["score"]),
        _shape_marks(camera, openings, px),
    )


def _shape_marks(camera, openings, px):
    seen = unit_shapes(openings)
    return np.stack([shape_llr(shape_distance(seen, face_shapes(camera, px, j))) for j in range(3)], 1)


def with_camera(view: View, camera: Camera) -> View:
    """The view with another camera on the lattice."""
    px = np.c_[view.openings["x"], view.openings["y"]]
    return replace(view, camera=camera, shape=_shape_marks(camera, view.openings, px))


@dataclass(frozen=True)
class Sighting:
    """What one photo says of N predicted openings."""

    llr: np.ndarray  # (N,) nats; 0 where nothing can be said
    hit: np.ndarray  # (N,) index of the detection, -1 none
    visible: np.ndarray  # (N,) bool: should be in sight
    px: np.ndarray  # (N, 2) predicted place


def look(
    view: View,
    points: np.ndarray,
    normals: np.ndarray,
    hidden: np.ndarray | None = None,
    only_free: bool = False,
) -> Sighting:
    """Compare predicted openings with a photo's detections.

    Parameters
    ----------
    points : (N, 3) opening centres, pitches.   normals : (N, 3) outward.
    hidden : (N,) bool, known to be behind something.
    only_free : detections that another member explains are not hits (and say nothing).
    """
    cam = view.camera
    n = len(points)
    to_eye = cam.centre - points
    dist = np.linalg.norm(to_eye, axis=1)
    facing = (to_eye * normals).sum(1) / np.maximum(dist, 1e-9)
    depth = world2camera(cam, points)[:, 2]
    px = cam.project(points)
    W, H = view.size
    ok = (depth > 0.5) & (facing > LEAST_FACING) & np.isfinite(px).all(1)
    px = np.where(ok[:, None], px, -1e6)
    scale = cam.f / np.maximum(depth, 0.5)  # px per pitch
    minor = scale * view.hole * facing
    margin = 0.3 * scale
    ok &= (
        (px[:, 0] > margin) & (px[:, 1] > margin) & (px[:, 0] < W - 1 - margin) & (px[:, 1] < H - 1 - margin)
    )
    ok &= minor > LEAST_MINOR_PX
    if hidden is not None:
        ok &= ~hidden
    llr, hit = np.zeros(n), np.full(n, -1)
    if not ok.any() or not len(view.openings):
        return Sighting(llr, hit, ok, px)
    q = np.nonzero(ok)[0]
    sigma = np.hypot(0.5, 0.045 * scale[q])  # shading in the mouth moves the spot by up to 0.05 pitch
    reach = 2.6 * sigma
    k = min(5, len(view.openings))
    d, j = view.tree.query(px[q], k=k, distance_upper_bound=float(reach.max()))
    d, j = d.reshape(len(q), -1), j.reshape(len(q), -1)
    there = (j < len(view.openings)) & (d < reach[:, None])
    jj = np.where(there, j, 0)
    o = view.openings
    major = (scale[q] * view.hole)[:, None]
    size_err = np.log(o["major"][jj] / major)
    thin_err = np.log(np.maximum(o["minor"][jj], 0.5) / np.maximum(minor[q][:, None], 0.5))
    there &= (np.abs(size_err) < 0.75) & (np.abs(thin_err) < 1.0)
    taken = there & ~view.free[jj]
    if only_free:
        there &= ~taken
    gain = (
        np.log(FOUND)
        - 0.5 * (d / sigma[:, None]) ** 2
        - np.log(2 * np.pi * sigma[:, None] ** 2)
        - np.log(np.maximum(view.density[jj], 1e-6))
        - 0.5 * (size_err / 0.4) ** 2
        + view.mark[jj]
        + view.shape[jj, np.abs(normals[q]).argmax(1)[:, None]]
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
    return Sighting(llr, hit, ok, px)


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
