"""Small pictures of members as plain boxes with dark holes, drawn by casting a ray through every pixel."""

import cv2
import numpy as np

from recon.geometry.camera import Camera, image2sensor
from tests.solve.scenes import HOLE

LIGHT = np.array([0.75, 0.55, 0.95])  # how bright faces normal to x, y, z are


def draw(
    frame, camera: Camera, size, seed=0, face=(150, 175, 190), floor=(110, 120, 105), noise=3.0
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
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (lo - eye) / rays, (hi - eye) / rays
        near, far = np.minimum(a, b), np.maximum(a, b)
        t = near.max(1)
        hit = (t < far.min(1)) & (t > 0) & (t < nearest)
        nearest[hit] = t[hit]
        normal = near[hit].argmax(1)
        at = eye + t[hit, None] * rays[hit] - m.first
        along = at[:, axis] - np.rint(at[:, axis])
        other = 3 - axis - normal  # the third axis, where the face is a long one
        across = at[np.arange(len(at)), np.clip(other, 0, 2)]
        hole = (np.hypot(along, across) < HOLE / 2) & (normal != axis)
        shade = np.where(hole, 0.15, LIGHT[normal])
        picture[hit] = shade[:, None] * np.array(face, float)
    picture = cv2.GaussianBlur(picture.reshape(H, W, 3), (0, 0), 0.6) + rng.normal(0, noise, (H, W, 3))
    return np.clip(picture + 0.5, 0, 255).astype(np.uint8)
