"""Procedural surfaces.  A material's `albedo` maps points (3, N) in its own frame, pitches, to colours (3,
N), linear 0..1.

Noise is value noise on a hashed integer lattice; cells are those of Worley (1996, doi:10.1145/237170.237267).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .shapes import lin, xp_of

WOODS = [
    (0.62, 0.42, 0.22),
    (0.7, 0.52, 0.32),
    (0.45, 0.27, 0.13),
    (0.2, 0.11, 0.06),
    (0.36, 0.34, 0.31),
    (0.5, 0.3, 0.17),
]


@dataclass
class Material:
    """A surface: `albedo`, share of mirror-like reflection `gloss`, its `rough`ness, whether the reflection
    is tinted (`metal`), the placed frame (`rot` rows, `mid`) that `albedo` is given points in; for a member
    `core`: (half width, holes, colour or None) of what lies inside its faces, raw or merely darker."""

    albedo: Callable
    gloss: float = 0.04
    rough: float = 0.3
    metal: bool = False
    rot: np.ndarray | None = None
    mid: np.ndarray | None = None
    core: tuple | None = None

    def colour(self, p):
        xp = xp_of(p)
        if self.rot is not None:
            shifted = [p[i] - float(self.mid[i]) for i in range(3)]
            p = xp.stack([lin(r, shifted) for r in self.rot])
        out = self.albedo(p)
        if self.core:
            half, holes, raw = self.core
            inside = (xp.maximum(xp.abs(p[1]), xp.abs(p[2])) < half - 0.01) & (
                xp.abs(p[0] - (holes - 1) / 2) < holes / 2 - 0.01
            )
            out = xp.where(inside, out * 0.55 if raw is None else mix(raw, raw, p[0]), out)
        return xp.clip(out, 0.004, 0.95)


def hash01(seed, *ints):
    """Pseudo-random numbers in [0, 1) from integer coordinates."""
    xp = xp_of(ints[0])
    u = xp.uint32
    h = xp.full(ints[0].shape, (seed * 2654435761 + 12345) & 0xFFFFFFFF, u)
    for i, k in zip(ints, (374761393, 668265263, 2246822519)):
        h = (h ^ (i.astype(xp.int32).view(u) * u(k))) * u(2654435769)
        h ^= h >> u(15)
    h *= u(2246822519)
    h ^= h >> u(13)
    return h.astype(xp.float32) * xp.float32(2.0**-32)


def noise(p, seed, scale=1.0):
    """Smooth value noise in 0..1 of points (2 or 3, N).

    `scale` (number or one per axis) is the grain size in pitches.
    """
    xp = xp_of(p)
    scale = np.broadcast_to(np.asarray(scale, float), (len(p),))
    q = [p[i] / float(scale[i]) for i in range(len(p))]
    cell = [xp.floor(v) for v in q]
    f = [v - c for v, c in zip(q, cell)]
    f = [v * v * (3 - 2 * v) for v in f]
    total = 0
    for corner in range(2 ** len(p)):
        weight, at = 1, []
        for i in range(len(p)):
            bit = corner >> i & 1
            weight = weight * (f[i] if bit else 1 - f[i])
            at.append(cell[i] + bit)
        total = total + weight * hash01(seed, *at)
    return total


def fractal(p, seed, scale=1.0, octaves=3):
    """Sum of noises of halving grain, 0..1."""
    scale = np.asarray(scale, float)
    parts = [noise(p, seed + k, scale / 2**k) * 0.5**k for k in range(octaves)]
    return sum(parts[1:], parts[0]) / sum(0.5**k for k in range(octaves))


def cells(p, seed, scale):
    """Distance to the nearest of scattered points, to the second nearest, and a number 0..1 of the nearest's
    cell."""
    xp = xp_of(p)
    x, y = p[0] / scale, p[1] / scale
    cx, cy = xp.floor(x), xp.floor(y)
    first = xp.full(x.shape, 9.0, xp.float32)
    second, tag = first.copy(), xp.zeros(x.shape, xp.float32)
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            a, b = cx + i, cy + j
            dist = xp.hypot(a + hash01(seed, a, b) - x, b + hash01(seed + 1, a, b) - y).astype(xp.float32)
            nearer = dist < first
            second = xp.where(nearer, first, xp.minimum(second, dist))
            tag = xp.where(nearer, hash01(seed + 2, a, b), tag)
            first = xp.where(nearer, dist, first)
    return first, second, tag


def mix(a, b, share):
    """Colours between `a` and `b` (plain triples or (3, N))."""
    xp = xp_of(share)

    def pick(c):
        plain = isinstance(c, (tuple, list, np.ndarray)) and np.ndim(c) == 1
        return [xp.float32(v) for v in c] if plain else c

    a, b = pick(a), pick(b)
    return xp.stack([a[i] + (b[i] - a[i]) * share for i in range(3)])


def plain(colour, seed, grain=3.0, amount=0.15):
    """One colour, slightly mottled."""
    return lambda p: mix(
        np.multiply(colour, 1 - amount), np.multiply(colour, 1 + amount), fractal(p, seed, grain)
    )


def wood(colour, seed, contrast=0.35, knots=0.0):
    """Sawn wood: year rings round a pith beside the member, fibres along the first axis, knots."""
    rng = np.random.default_rng(seed)
    py, pz = (float(v) for v in rng.uniform(-3, 3, 2))
    ring = rng.uniform(0.12, 0.22)

    def albedo(p):
        xp = xp_of(p)
        wave = noise(p, seed, (6.0, 0.8, 0.8)) - 0.5
        r = xp.hypot(p[1] - py + 0.25 * wave, p[2] - pz + 0.02 * p[0])
        if knots:
            d, _, tag = cells(xp.stack([p[0] / 4, (p[1] + 7 * xp.floor(p[2])) / 1.2]), seed + 5, 1.0)
            knot = xp.clip(1.6 - d / 0.09, 0, 1) * (tag < knots)
            r = r + 0.5 * xp.exp(-((d / 0.2) ** 2)) * (tag < knots)
        rings = (r / ring) % 1.0
        late = xp.clip((rings - 0.55) / 0.4, 0, 1) * (rings < 0.97)
        fibre = noise(p, seed + 9, (1.6, 0.05, 0.05))
        share = contrast * (0.75 * late + 0.35 * (fibre - 0.3))
        out = mix(colour, np.multiply(colour, (0.45, 0.33, 0.25)), xp.clip(share, 0, 1))
        if knots:
            out = mix(out, (0.10, 0.05, 0.025), 0.85 * knot)
        return out

    return albedo


def paint(colour, seed, worn=0.2):
    """Paint over wood or steel: even, a few scuffs along the first axis."""

    def albedo(p):
        xp = xp_of(p)
        scuff = xp.clip((fractal(p, seed, (3.0, 0.4, 0.4)) - 0.72) * 8, 0, 1) * worn
        return mix(np.asarray(colour) * (0.93 + 0.0), (0.45, 0.4, 0.35), scuff) * (
            0.9 + 0.2 * noise(p, seed + 3, 1.2)
        )

    return albedo


def galvanised(colour, seed):
    """Hot-dip zinc: patches of slightly different grey."""

    def albedo(p):
        xp = xp_of(p)
        d = cells(xp.stack([p[0], p[1] + 1.7 * p[2]]), seed, 0.22)[2]
        return mix(
            np.multiply(colour, 0.75), np.multiply(colour, 1.15), 0.6 * d + 0.4 * fractal(p, seed + 7, 1.5)
        )

    return albedo


def brushed(colour, seed):
    """Drawn tube: fine streaks along the first axis."""
    return lambda p: mix(
        np.multiply(colour, 0.86), np.multiply(colour, 1.08), noise(p, seed, (7.0, 0.04, 0.04))
    )


def bricks(colour, joint, seed, size=(8.0, 3.0), gap=0.25, spread=0.3, running=0.5):
    """Tiles or bricks in running bond (`running` 0: in rows) with joints `gap` wide."""

    def albedo(p):
        xp = xp_of(p)
        row = xp.floor(p[1] / size[1])
        x = p[0] / size[0] + running * (row % 2)
        col = xp.floor(x)
        dx = xp.minimum(x - col, 1 - (x - col)) * size[0]
        dy = xp.minimum(p[1] / size[1] - row, 1 - (p[1] / size[1] - row)) * size[1]
        tone = 1 + spread * (hash01(seed, row, col) - 0.5) + 0.25 * (fractal(p[:2], seed + 4, 1.5) - 0.5)
        face = mix(colour, np.multiply(colour, (1.0, 0.9, 0.85)), hash01(seed + 1, row, col)) * tone
        return xp.where(xp.minimum(dx, dy) < gap / 2, mix(joint, joint, tone), face)

    return albedo


def gravel(colour, seed, size=0.8):
    """Pebbles of mixed tones with dark gaps."""

    def albedo(p):
        xp = xp_of(p)
        a, b, tag = cells(p[:2] + 0.2 * noise(p[:2], seed + 8, 0.5), seed, size)
        edge = xp.clip((b - a) * 4, 0, 1)
        tone = (0.5 + 0.9 * tag) * (0.25 + 0.75 * edge)
        return (
            mix(colour, np.multiply(colour, (1.15, 0.95, 0.8)), hash01(seed + 6, xp.floor(tag * 4096))) * tone
        )

    return albedo


def planks(colour, seed, wide=4.0):
    """Floor boards along the first axis, with knots and dark joints."""
    grain = wood(colour, seed, 0.5, 0.35)

    def albedo(p):
        xp = xp_of(p)
        row = xp.floor(p[1] / wide)
        shift = hash01(seed, row, row) * 97
        x = p[0] + shift
        edge = xp.minimum(p[1] - row * wide, (row + 1) * wide - p[1])
        end = xp.abs((x + 20) % 40 - 20)
        tone = 0.75 + 0.45 * hash01(seed + 1, row, xp.floor((x + 20) / 40))
        local = xp.stack([x, p[1] - (row + 0.5) * wide, row * 3.3])
        return xp.where((edge < 0.06) | (end < 0.06), xp.float32(0.03), grain(local) * tone)

    return albedo


def spots(ground, colour, seed, size=1.6, share=0.6):
    """Carpet: soft round spots of one colour on another."""

    def albedo(p):
        xp = xp_of(p)
        d, _, tag = cells(p[:2], seed, size)
        spot = xp.clip((0.32 - d) * 12, 0, 1) * (tag < share)
        return mix(ground, colour, spot) * (0.8 + 0.4 * fractal(p[:2], seed + 5, 0.15, 2))

    return albedo


def dots(ground, colour, step=1.0, radius=0.22, stagger=False):
    """Rows of sharp round dots, as perforated sheet or peg board shows."""

    def albedo(p):
        xp = xp_of(p)
        row = xp.floor(p[1] / step)
        x = p[0] / step + (0.5 * (row % 2) if stagger else 0)
        d = xp.hypot(x - xp.floor(x) - 0.5, p[1] / step - row - 0.5) * step
        return mix(ground, colour, (d < radius).astype(xp.float32))

    return albedo


def checker(one, two, seed, size=5.0):
    """Two-coloured squares."""

    def albedo(p):
        xp = xp_of(p)
        odd = ((xp.floor(p[0] / size) + xp.floor(p[1] / size)) % 2).astype(xp.float32)
        return mix(one, two, odd) * (0.9 + 0.2 * fractal(p[:2], seed, 2.0))

    return albedo
