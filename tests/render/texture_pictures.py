"""Pictures of nothing but a surface: floors and walls at a slant, which are not to be read as a frame."""

import numpy as np

from .cameras import Camera, look, shot
from .scenes import FLOORS
from .surroundings import floor_texture

SIZE = (640, 480)
FINER = 2  # rays a pixel, along each side


def slanted(rng):
    """A camera over the plane z = 0, which fills its picture."""
    f = SIZE[0] * rng.uniform(0.7, 1.6)
    place = np.array([*rng.uniform(-40, 40, 2), rng.uniform(12, 40)])
    away = rng.uniform(0, 1.1) * place[2] * np.array([np.cos(a := rng.uniform(0, 6)), np.sin(a), 0])
    R = look(place, place * (1, 1, 0) + away + (1e-3, 0, 0), rng.normal(0, 0.1))
    middle = np.array(SIZE) / 2
    return Camera(SIZE, float(f), float(middle[0]), float(middle[1]), 0.0, 0.0, R, -R @ place)


def texture_picture(number):
    """Name and 8-bit RGB picture (H, W, 3) of texture `number` of an endless set."""
    kind = FLOORS[number % len(FLOORS)]
    rng = np.random.default_rng([number, 8])
    albedo = floor_texture(kind, rng, int(rng.integers(1 << 20)))
    cam = slanted(rng)
    step = (np.arange(FINER) + 0.5) / FINER - 0.5
    y, x = np.mgrid[: SIZE[1], : SIZE[0]].astype(np.float32)
    light = np.zeros((SIZE[1], SIZE[0], 3), np.float32)
    for dx in step:
        for dy in step:
            o, d = cam.rays((x + dx).ravel(), (y + dy).ravel())
            down = np.minimum(d[2], -0.05)
            p = o - d * (o[2] / down)
            light += albedo(p).T.reshape(light.shape) / FINER**2
    # Light falls off to one side, as from a window.
    shade = 1 + rng.uniform(0, 0.5) * (x / SIZE[0] - 0.5) + rng.uniform(0, 0.5) * (y / SIZE[1] - 0.5)
    light = np.clip(light, 0.004, 1) * shade[..., None].astype(np.float32)
    return f"{kind}{number:03d}", shot(light, rng, 0.25 / float(light.mean()))
