"""Frames drawn without light: a ray through every pixel, faces with dark holes, ground and a far wall.

Seconds where the path tracer takes minutes; for films made on a machine without a CUDA device, and for tests.
"""

import numpy as np

from .textures import WOODS

TEXELS = 1024
SIDES = np.array([0.7, 0.5, 0.95])  # how bright faces across x, y and z are
DEPTH = 0.12  # how bright the inside of a hole is, of its face
FAR = 1e9


def noise(seed, cells=(8, 32, 128, 512)):
    """(TEXELS, TEXELS) float32 about 1, with detail from coarse to fine; it repeats."""
    rng, out = np.random.default_rng(seed), np.zeros((TEXELS, TEXELS), np.float32)
    for n in cells:
        coarse = rng.standard_normal((n, n)).astype(np.float32)
        out += np.kron(coarse, np.ones((TEXELS // n, TEXELS // n), np.float32))
    return np.clip(1 + 0.12 * out, 0.3, 1.7)


def looked_up(texture, u, v, scale):
    """Values of a texture that repeats, `scale` texels a pitch."""
    return texture[(v * scale).astype(int) % TEXELS, (u * scale).astype(int) % TEXELS]


class Drawing:
    """A frame of sticks along the axes, ready to be drawn by any camera that has `size` and `rays`."""

    def __init__(self, frame, seed):
        rng = np.random.default_rng([seed, 11])
        self.frame, self.ground, self.grain = frame, noise(seed), noise(seed + 1, (16, 64, 256))
        self.low = min(float(s.at[2]) for s in frame.sticks) - frame.stock.width / 2
        self.floor = rng.uniform(0.15, 0.5, 3) * rng.uniform(0.7, 1.2)
        self.woods = [
            np.clip(np.array(WOODS[rng.integers(len(WOODS))]) * rng.normal(1, 0.08), 0.05, 0.9)
            for _ in frame.sticks
        ]

    def picture(self, camera, samples, seed):
        """Linear picture (H, W, 3) float32, the mean over `samples` rays a pixel."""
        width, height = camera.size
        rng = np.random.default_rng(seed)
        y, x = (a.ravel().astype(np.float32) for a in np.mgrid[:height, :width])
        total = np.zeros((len(x), 3), np.float32)
        for _ in range(samples):
            jitter = rng.random((2, len(x)), dtype=np.float32) - 0.5
            total += self._seen(*camera.rays(x + jitter[0], y + jitter[1]))
        return total.reshape(height, width, 3) / samples

    def _seen(self, o, d):
        """Colours (N, 3) along rays."""
        down = (self.low - o[2]) / np.where(np.abs(d[2]) < 1e-6, -1e-6, d[2])
        nearest = np.where(down > 0, down, FAR).astype(np.float32)
        at = o + np.minimum(nearest, 400) * d
        away = np.exp(-np.minimum(nearest, 400) / 150)[:, None]
        ground = self.floor * looked_up(self.ground, at[0], at[1], 24)[:, None]
        far = looked_up(self.ground, np.arctan2(d[1], d[0]) * 12, d[2] * 12, 24)[:, None] * 0.5
        out = (ground * away + far * (1 - away)).astype(np.float32)
        for stick, wood in zip(self.frame.sticks, self.woods):
            self._put(out, nearest, o, d, stick, wood)
        return out

    def _put(self, out, nearest, o, d, stick, wood):
        """Draws a stick over what is farther away."""
        w, r, axis = self.frame.stock.width, self.frame.stock.radius, stick.axis
        lo, hi = np.array(stick.at, float) - w / 2, np.array(stick.at, float) + w / 2
        lo[axis], hi[axis] = stick.at[axis] - 0.5, stick.at[axis] + stick.holes - 0.5
        near, far = np.full(len(nearest), -FAR, np.float32), nearest.copy()
        for k in range(3):
            a, b = (lo[k] - o[k]) / d[k], (hi[k] - o[k]) / d[k]
            near, far = np.maximum(near, np.minimum(a, b)), np.minimum(far, np.maximum(a, b))
        hit = np.flatnonzero((near < far) & (near > 0))
        at = (o[:, hit] + near[hit] * d[:, hit]).T - np.asarray(stick.at, float)
        normal = np.argmin(np.minimum(np.abs(at - lo + stick.at), np.abs(at - hi + stick.at)), axis=1)
        other = np.clip(3 - axis - normal, 0, 2)
        along, across = at[:, axis], at[np.arange(len(at)), other]
        shade = SIDES[normal] * looked_up(self.grain, along, across * 4 + 7 * normal, 20)
        off = along - np.rint(along)
        hole = (np.hypot(off, across) < r) & (normal != axis)
        # Light falls in from above: the lower rim of a hole's inside shows.
        inside = np.hypot(off, across + 0.4 * r) > r
        out[hit] = wood * np.where(hole, np.where(inside, 0.35, DEPTH), shade)[:, None]
        nearest[hit] = near[hit]
