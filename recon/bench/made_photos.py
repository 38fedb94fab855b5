"""Made-up photos of frames: openings as a detector would give them, and small drawn pictures.

Frames are projected by known cameras, with noise, misses and clutter: readings of any size can be measured
without a photograph.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from recon.frame.boxes import corners, face_normals, hidden, openings
from recon.frame.model import Frame
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.camera import Camera, image2sensor, project_jacobian
from recon.image.openings import OPENING

SIZE = (1600, 1200)
HOLE = 0.29  # diameter in pitches: 11.1 mm of 38.1 mm; common practice, no source


@dataclass(frozen=True)
class Shot:
    """A made-up photo: openings, the camera that saw them, and (member, face, hole) or -1 for each."""

    openings: np.ndarray
    camera: Camera
    source: IntArray


def camera_round(
    frame: Frame,
    azimuth: float,
    elevation: float,
    f: float = 1300.0,
    roll: float = 2.0,
    k1: float = 0.0,
    fill: float = 0.8,
    size: tuple[int, int] = SIZE,
) -> Camera:
    """A camera that looks at the frame from azimuth and elevation (degrees); the frame fills the photo."""
    points = np.concatenate([corners(m) for m in frame.members])
    middle = (points.min(0) + points.max(0)) / 2
    a, e = np.radians([azimuth, elevation])
    away = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
    right = np.cross(-away, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    level = np.array([right, np.cross(-away, right), -away])
    R = Rotation.from_euler("z", roll, degrees=True).as_matrix() @ level
    near, far = 3.0, 500.0
    for _ in range(40):
        distance = np.sqrt(near * far)
        c = Camera(f, (size[0] - 1) / 2, (size[1] - 1) / 2, k1, 0.0, R, -R @ (middle + distance * away))
        px = c.project(points)
        fits = np.isfinite(px).all() and (np.abs(px - [c.cx, c.cy]) < fill * np.array(size) / 2).all()
        near, far = (near, distance) if fits else (distance, far)
    return c


def shoot(
    frame: Frame,
    camera: Camera,
    seed: int = 0,
    noise_px: float = 0.3,
    found: float = 0.95,
    clutter: int = 60,
    size: tuple[int, int] = SIZE,
    hole: float = HOLE,
    least_px: float = 2.5,
) -> Shot:
    """The openings that a detector would give: those in sight, a few missed, and clutter of their sizes."""
    rng = np.random.default_rng(seed)
    rows, source = [], []
    for (i, face), (ok, px, axes, angle) in _openings_in_sight(frame, camera, size, hole, least_px):
        ok &= rng.random(len(ok)) < found
        for k in np.nonzero(ok)[0]:
            rows.append((*px[k], *(2 * axes[k]), angle[k], -0.3, rng.uniform(3, 9)))
            source.append((i, face, k))
    true = np.array(rows, dtype=OPENING)
    for name in ("x", "y"):
        true[name] += rng.normal(0, noise_px, len(true))
    for name in ("major", "minor"):
        true[name] *= np.exp(rng.normal(0, 0.04, len(true)))
    spots = np.zeros(clutter, OPENING)
    spots["x"], spots["y"] = rng.uniform(3, size[0] - 4, clutter), rng.uniform(3, size[1] - 4, clutter)
    spots["major"] = rng.choice(true["major"], clutter) * rng.uniform(0.6, 1.6, clutter)
    spots["minor"] = spots["major"] * rng.uniform(0.3, 1, clutter)
    spots["angle"], spots["contrast"] = rng.uniform(0, np.pi, clutter), -0.2
    spots["score"] = rng.uniform(1, 4, clutter)
    both, sources = np.concatenate([true, spots]), np.array(source + [(-1, -1, -1)] * clutter)
    order = np.argsort(-both["score"], kind="stable")
    return Shot(both[order], camera, sources[order])


_Ellipses = tuple[BoolArray, FloatArray, FloatArray, FloatArray]


def _openings_in_sight(
    frame: Frame, camera: Camera, size: tuple[int, int], hole: float, least_px: float
) -> Iterator[tuple[tuple[int, int], _Ellipses]]:
    """Member and face of each row of K openings: which are in sight, px, semi-axes (K, 2), angles (K,).

    All of a photo are looked at in one go: one by one each would take as long as the frame has members.
    """
    faces = [(i, face) for i in range(len(frame.members)) for face in range(4)]
    centres = [c for member in frame.members for c in openings(member)]
    normals = [n for member in frame.members for n in face_normals(member)[2:]]
    counts = [len(c) for c in centres]
    at, normal = np.concatenate(centres), np.repeat(normals, counts, 0)
    along = np.repeat([m.direction for m in frame.members for _ in range(4)], counts, 0).astype(float)
    to_eye = camera.centre - at
    px, _, by_point = project_jacobian(camera, at)
    shape = by_point @ (hole / 2 * np.stack([along, np.cross(normal, along)], 2))  # (N, 2, 2)
    turn, axes, _ = np.linalg.svd(shape)
    ok = (to_eye * normal).sum(1) / np.linalg.norm(to_eye, axis=1) > 0.17
    ok &= (2 * axes[:, 1] > least_px) & (px > 3).all(1) & (px < np.array(size) - 4).all(1)
    seen = np.nonzero(ok)[0]
    ok[seen] = ~hidden((at + 0.02 * normal)[seen], camera.centre, frame.members)
    angle = np.arctan2(turn[:, 1, 0], turn[:, 0, 0])
    parts = [np.split(a, np.cumsum(counts)[:-1]) for a in (ok, px, axes, angle)]
    return zip(faces, zip(*parts))


LIGHT = np.array([0.75, 0.55, 0.95])  # how bright faces normal to x, y, z are


def draw(
    frame: Frame,
    camera: Camera,
    size: tuple[int, int],
    seed: int = 0,
    face: tuple[int, int, int] = (150, 175, 190),
    floor: tuple[int, int, int] = (110, 120, 105),
    noise: float = 3.0,
) -> np.ndarray:
    """(H, W, 3) uint8 BGR picture of axis-aligned members over an uneven floor."""
    rng = np.random.default_rng(seed)
    W, H = size
    grid = np.stack(np.meshgrid(np.arange(W), np.arange(H)), 2).reshape(-1, 2)
    rays = np.c_[image2sensor(camera, grid), np.ones(len(grid))] @ camera.R
    eye = camera.centre
    nearest = np.full(len(grid), np.inf)
    blotches = cv2.GaussianBlur(rng.normal(0, 1, (H, W)), (0, 0), 9)
    picture = (np.array(floor, float) + 12 * (blotches / blotches.std())[..., None]).reshape(-1, 3)
    for m in frame.members:
        axis = int(np.abs(m.direction).argmax())
        lo, hi = np.minimum(m.first, m.last) - m.width / 2, np.maximum(m.first, m.last) + m.width / 2
        lo[axis], hi[axis] = np.minimum(m.first, m.last)[axis] - 0.5, np.maximum(m.first, m.last)[axis] + 0.5
        near_by = _pixels_round(camera.project(corners(m)), size)
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (lo - eye) / rays[near_by], (hi - eye) / rays[near_by]
        near, far = np.minimum(a, b), np.maximum(a, b)
        t = near.max(1)
        first = (t < far.min(1)) & (t > 0) & (t < nearest[near_by])
        hit = near_by[first]
        nearest[hit] = t[first]
        normal = near[first].argmax(1)
        at = eye + t[first, None] * rays[hit] - m.first
        along = at[:, axis] - np.rint(at[:, axis])
        other = 3 - axis - normal  # the third axis, where the face is a long one
        across = at[np.arange(len(at)), np.clip(other, 0, 2)]
        hole = (np.hypot(along, across) < HOLE / 2) & (normal != axis)
        shade = np.where(hole, 0.15, LIGHT[normal])
        picture[hit] = shade[:, None] * np.array(face, float)
    picture = cv2.GaussianBlur(picture.reshape(H, W, 3), (0, 0), 0.6) + rng.normal(0, noise, (H, W, 3))
    return np.clip(picture + 0.5, 0, 255).astype(np.uint8)


def _pixels_round(px: FloatArray, size: tuple[int, int]) -> IntArray:
    """Flat numbers of the pixels in the rectangle round some places; all where one is behind the camera."""
    W, H = size
    if not np.isfinite(px).all():
        return np.arange(W * H)
    low = np.clip(np.floor(px.min(0)).astype(int) - 1, 0, size)
    high = np.clip(np.ceil(px.max(0)).astype(int) + 2, 0, size)
    rows, columns = np.arange(low[1], high[1]), np.arange(low[0], high[0])
    numbers: IntArray = (rows[:, None] * W + columns).ravel()
    return numbers
