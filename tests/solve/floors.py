"""Made-up pictures of a floor with marks on it, and a box that fits itself after a half turn."""

import cv2
import numpy as np

from recon.frame.model import Frame, Member, label
from recon.geometry.camera import image2sensor
from recon.solve.evidence.candidate import Candidate

LEVEL = -0.5  # of the floor, pitches: half a pitch below the first holes of the posts
MARK = 0.5  # pitches, the grain of the marks
EXTENT = 80  # pitches, the side of the floor that bears marks


def box(length=16, width=10, height=12):
    """Four posts, and rails one width outside them: the same after half a turn, not after a quarter."""
    posts = [Candidate.bare(2, [x, y, 0], height) for x in (0, length) for y in (0, width)]
    rails = [Candidate.bare(0, [-1, y, z], length + 3) for y, z in ((-1, 2), (width + 1, 2))]
    return posts + rails + [Candidate.bare(1, [x, -1, 9], width + 3) for x in (-1, length + 1)]


def frame_of(candidates):
    """Members at the candidates, as a frame."""
    return Frame(
        tuple(
            Member(label(i), tuple(c.first), tuple(np.eye(3)[c.axis]), c.holes, 1.0)
            for i, c in enumerate(candidates)
        )
    )


def box_frame():
    """The box as a frame."""
    return frame_of(box())


def marks(seed):
    """(N, N) grey levels of a floor, ``MARK`` pitches a cell."""
    rng = np.random.default_rng(seed)
    n = int(EXTENT / MARK)
    grain = cv2.GaussianBlur(rng.normal(size=(n, n)), (0, 0), 1.5)
    return np.clip(128 + 40 * grain / grain.std(), 0, 255).astype(np.float32)


def floor_photo(camera, size, floor, level=LEVEL, noise=4.0, seed=0):
    """(H, W, 3) uint8: the floor at a height, z = level pitches, seen by a camera; black past it."""
    w, h = size
    px = np.stack(np.meshgrid(np.arange(w), np.arange(h)), 2).reshape(-1, 2).astype(float)
    way = np.linalg.solve(camera.R, np.c_[image2sensor(camera, px), np.ones(len(px))].T).T
    eye = camera.centre
    depth = (level - eye[2]) / np.where(way[:, 2] < -1e-6, way[:, 2], np.nan)
    at = (eye + depth[:, None] * way)[:, :2]
    cell = np.nan_to_num((at + EXTENT / 2) / MARK, nan=-1.0).astype(np.float32).reshape(h, w, 2)
    grey = cv2.remap(floor, cell[..., 0], cell[..., 1], cv2.INTER_LINEAR, borderValue=0)
    grey += np.random.default_rng(seed).normal(0, noise, grey.shape).astype(np.float32)
    return cv2.cvtColor(np.clip(grey, 0, 255).astype(np.uint8), cv2.COLOR_GRAY2BGR)
