"""A small path tracer over `shapes`: light from sun or lamps with soft shadows, sky, one bounce, glossy
metals.

Method: Monte Carlo integration of the rendering equation (Kajiya 1986, doi:10.1145/15886.15902), cut after
one bounce; what the second surface receives from elsewhere is `Scene.ambient`.  The gloss lobe is Blinn's
(1977, doi:10.1145/563858.563893).
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from .shapes import EPS, FAR, Cluster, blocked, nearest, xp_of

NEAR = 12.0  # pitches: what is nearer than this keeps ambient light off


@dataclass
class Light:
    """`at` a direction towards the sun (`far`) or a lamp's place; `size` its angular radius or its radius in
    pitches; `power` colour of a white surface facing it (a lamp: at `reach` pitches from it)."""

    at: np.ndarray
    size: float
    power: np.ndarray
    far: bool = True
    reach: float = 1.0


@dataclass
class Scene:
    """Everything a ray can meet.  `sky` maps directions (3, N) to radiance (3, N); `haze` is the distance, in
    pitches, over which things fade into the sky (inf for none)."""

    clusters: list[Cluster]
    materials: list
    lights: list[Light]
    sky: Callable
    ambient: np.ndarray
    haze: float = np.inf
    note: dict = field(default_factory=dict)


def unit(v):
    """Vectors (3, N) at length one."""
    xp = xp_of(v)
    return v / xp.sqrt(xp.maximum((v * v).sum(axis=0), 1e-20))


def gauss(rng, xp, n):
    """(3, n) normal numbers, float32."""
    return rng.standard_normal((3, n), dtype=xp.float32)


def lit(scene, p, n, d, albedo, gloss, tint, rough, rng):
    """Light that surface points send back along `d` straight from the lights, with shadows."""
    xp = xp_of(p)
    total = xp.zeros_like(p)
    for light in scene.lights:
        at = [float(v) for v in light.at]
        away = gauss(rng, xp, p.shape[1]) * xp.float32(light.size * 0.6)
        if light.far:
            way = unit(xp.stack([away[i] + at[i] for i in range(3)]))
            limit, fall = xp.full(p.shape[1], FAR, xp.float32), 1.0
        else:
            gap = xp.stack([away[i] + at[i] - p[i] for i in range(3)])
            limit = xp.sqrt((gap * gap).sum(axis=0))
            way, fall = gap / limit, (light.reach / limit) ** 2
            limit = limit - EPS
        cos = (n * way).sum(axis=0)
        up = xp.nonzero(cos > 0)[0]
        if not len(up):
            continue
        seen = up[~blocked(scene.clusters, p[:, up] + n[:, up] * (4 * EPS), way[:, up], limit[up])]
        strength = (cos * fall)[seen] if not np.isscalar(fall) else cos[seen]
        half = unit(way[:, seen] - d[:, seen])
        m = 2 / rough[seen] ** 2 - 2
        shine = gloss[seen] * (m + 8) / 8 * xp.maximum((n[:, seen] * half).sum(axis=0), 0) ** m
        back = albedo[:, seen] * (1 - gloss[seen]) + tint[:, seen] * xp.minimum(shine, 12)
        power = xp.asarray(np.asarray(light.power, np.float32))[:, None]
        total[:, seen] += back * strength * power
    return total


def surface(scene, material, p):
    """Albedo (3, N), gloss, roughness, and tint (3, N) of the reflection, of points on materials
    `material`."""
    xp = xp_of(p)
    albedo = xp.zeros_like(p)
    for k, m in enumerate(scene.materials):
        index = xp.nonzero(material == k)[0]
        if len(index):
            albedo[:, index] = m.colour(p[:, index]).astype(xp.float32)

    def pick(name):
        return xp.asarray(np.array([getattr(m, name) for m in scene.materials], np.float32))[material]

    metal = pick("metal")
    return albedo, pick("gloss"), pick("rough"), 1 + metal * (albedo - 1)


def radiance(scene, o, d, rng, bounce=True):
    """Radiance (3, N) that comes in along rays `o`, `d`."""
    xp = xp_of(o)
    out = scene.sky(d)
    t, material, normal = nearest(scene.clusters, o, d)
    hit = xp.nonzero(material >= 0)[0]
    if not len(hit):
        return out
    t, d, n = t[hit], d[:, hit], normal[:, hit]
    p = o[:, hit] + t * d
    n = xp.where((n * d).sum(axis=0) > 0, -n, n)
    albedo, gloss, rough, tint = surface(scene, material[hit].astype(xp.int32), p)
    grazing = xp.clip(1 + (n * d).sum(axis=0), 0, 1) ** 5
    gloss = gloss + (1 - gloss) * 0.5 * (1 - rough) * grazing
    got = lit(scene, p, n, d, albedo, gloss, tint, rough, rng)
    ambient = xp.asarray(np.asarray(scene.ambient, np.float32))[:, None]
    if bounce:
        mirror = rng.random(len(t), dtype=xp.float32) < gloss
        spread = gauss(rng, xp, len(t))
        bent = unit(n + spread * rough**2 * 0.7)
        new = xp.where(mirror, d - 2 * (d * bent).sum(axis=0) * bent, unit(n + unit(spread) * 0.999))
        low = (new * n).sum(axis=0)
        new = unit(xp.where(low < 0.01, new + n * (0.02 - low), new))
        more = radiance(scene, p + n * (4 * EPS), new, rng, bounce=False)
        got += xp.where(mirror, tint, albedo) * xp.minimum(more, 2.5)
    else:
        # One probe for what hides the rest of the room: without it holes and tubes would glow.
        probe = unit(n + unit(gauss(rng, xp, len(t))) * 0.999)
        shut = blocked(scene.clusters, p + n * (4 * EPS), probe, xp.full(len(t), NEAR, xp.float32))
        got += albedo * ambient * xp.where(shut, xp.float32(0.2), xp.float32(1))
    if np.isfinite(scene.haze):
        fade = xp.exp(-t / scene.haze)
        got = got * fade + out[:, hit] * (1 - fade)
    out[:, hit] = got
    return out


def render(scene, camera, spp, seed, xp=np, chunk=None):
    """Linear picture (height, width, 3) float32 of a scene through `camera`, `spp` rays a pixel, `chunk` rays
    at once."""
    width, height = camera.size
    chunk = chunk or (1 << 18 if xp is np else 1 << 24)
    rng = xp.random.default_rng(seed)
    picture = xp.zeros((height * width, 3), xp.float32)
    side = int(np.ceil(np.sqrt(spp)))
    rows = max(1, min(height, chunk // width))
    batch = max(1, chunk // (rows * width))
    for top in range(0, height, rows):
        y, x = xp.meshgrid(
            xp.arange(top, min(top + rows, height), dtype=xp.float32),
            xp.arange(width, dtype=xp.float32),
            indexing="ij",
        )
        count = x.size
        for first in range(0, spp, batch):
            s = xp.arange(first, min(first + batch, spp), dtype=xp.float32)[:, None]
            shape = (len(s), count)
            jx = (
                s % side + rng.random(shape, dtype=xp.float32)
            ) / side - 0.5  # one ray in each cell of the pixel
            jy = (xp.floor(s / side) % side + rng.random(shape, dtype=xp.float32)) / side - 0.5
            o, d = camera.rays((x.ravel() + jx).ravel(), (y.ravel() + jy).ravel())
            got = xp.minimum(radiance(scene, o, d, rng), 4.0)
            picture[top * width : top * width + count] += got.reshape(3, len(s), count).sum(axis=1).T
    return picture.reshape(height, width, 3) / spp
