"""What is round the things of a scene: floors and walls, sky, lights."""

import numpy as np

from . import textures as tx
from .shapes import xp_of
from .trace import Light


def floor_texture(kind, rng, seed):
    """Albedo function of a floor or wall."""
    grey = np.clip(rng.uniform(0.15, 0.6) * rng.normal(1, 0.06, 3), 0.05, 0.8)
    colour = np.clip(rng.uniform(0.05, 0.55, 3) * 0.6 + grey * 0.4, 0.03, 0.8)
    dark = grey * rng.uniform(0.1, 0.4)
    u = rng.uniform
    return {
        "tiles": lambda: tx.bricks(
            grey, dark if u() < 0.7 else grey * 1.3, seed, [u(6, 14)] * 2, u(0.15, 0.4), u(0.05, 0.3), 0.0
        ),
        "paving": lambda: tx.bricks(grey, dark, seed, (u(5, 12), u(2.5, 5)), u(0.15, 0.45), u(0.1, 0.4)),
        "brick": lambda: tx.bricks(
            (u(0.25, 0.45), u(0.1, 0.2), u(0.06, 0.12)), grey, seed, (u(5, 6.5), u(1.7, 2.2)), 0.28, 0.6
        ),
        "gravel": lambda: tx.gravel(grey, seed, u(0.35, 1.3)),
        "planks": lambda: tx.planks(tx.WOODS[rng.integers(len(tx.WOODS))], seed, u(2, 6)),
        "carpet": lambda: tx.spots(colour, np.clip(u(0.02, 0.6, 3), 0, 1), seed, u(0.7, 2.6), u(0.3, 0.9)),
        "checker": lambda: tx.checker(grey * 1.2, dark, seed, u(2.5, 9)),
        "plain": lambda: tx.plain(colour, seed, u(2, 12), u(0.03, 0.25)),
        "grass": lambda: (
            lambda p: tx.mix((0.03, 0.07, 0.015), (0.16, 0.24, 0.06), tx.fractal(p[:2], seed, 1.2, 5))
        ),
        "dots": lambda: tx.dots(colour, dark, u(0.8, 2), u(0.15, 0.3), bool(rng.integers(2))),
    }[kind]()


def sky_of(zenith, horizon, ground, boxes=()):
    """Sky radiance: a gradient above, `ground` below, and bright soft boxes ((direction, cosine, colour)
    each)."""

    def sky(d):
        xp = xp_of(d)
        up = xp.clip(d[2], 0, 1) ** 0.5
        out = tx.mix(horizon, zenith, up)
        out = xp.where(d[2] < 0, tx.mix(horizon, ground, xp.clip(-d[2] * 8, 0, 1)), out)
        for at, cosine, colour in boxes:
            c = d[0] * float(at[0]) + d[1] * float(at[1]) + d[2] * float(at[2])
            out = out + tx.mix((0, 0, 0), colour, xp.clip((c - cosine) * 12, 0, 1))
        return out.astype(xp.float32)

    return sky


def light_of(kind, rng, mid, size, floor_z):
    """Lights, sky and ambient of a scene lit as `kind`."""
    az = rng.uniform(0, 2 * np.pi)
    warm = np.array([1.0, rng.uniform(0.86, 0.97), rng.uniform(0.65, 0.9)])

    def at(el):
        return np.array([np.cos(az) * np.cos(el), np.sin(az) * np.cos(el), np.sin(el)])

    if kind == "sun":
        sky = sky_of(
            np.array((0.16, 0.27, 0.5)) * rng.uniform(0.6, 1.4), np.array((0.5, 0.55, 0.6)), (0.2, 0.19, 0.17)
        )
        return (
            [
                Light(
                    at(np.deg2rad(rng.uniform(18, 65))),
                    rng.uniform(0.005, 0.02),
                    warm * rng.uniform(1.2, 2.2),
                )
            ],
            sky,
            (0.2, 0.22, 0.25),
        )
    if kind == "overcast":
        sky = sky_of(np.full(3, 0.9), np.full(3, 0.6), (0.2, 0.2, 0.2))
        return [Light(at(1.0), 0.5, np.full(3, rng.uniform(0, 0.3)))], sky, (0.4, 0.4, 0.42)
    dim = 0.25 if kind == "dim" else 1.0
    room = np.full(3, rng.uniform(0.08, 0.25)) * warm
    boxes = (
        [(at(rng.uniform(0.2, 0.9)) * (1, 1, 1), 0.93, np.array((1.6, 1.7, 1.9)))] if kind == "window" else []
    )
    sky = sky_of(room * 1.4, room, room * 0.4, boxes)
    if kind == "window":
        return [Light(at(rng.uniform(0.3, 0.8)), 0.22, np.array((0.95, 1, 1.05)) * 0.9)], sky, room
    lamps = []
    for _ in range(int(rng.integers(1, 3))):
        high = floor_z + rng.uniform(1.2, 2.2) * size + 15
        place = np.array([mid[0] + rng.normal(0, 0.7) * size, mid[1] + rng.normal(0, 0.7) * size, high])
        lamps.append(Light(place, rng.uniform(0.5, 4), warm * rng.uniform(0.7, 1.3), False, high - mid[2]))
    return lamps, sky, room * 0.8 * dim
