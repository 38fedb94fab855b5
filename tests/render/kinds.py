"""The kinds of photographs that can be made, each with imperfections of its own.

plain      ideal lattices in plain photos
handbuilt  racked, with play and bowed members, in plain photos
web        built by hand and found on the web: cropped, scaled, sharpened, compressed; some mirrored, in black
           and white or a screenshot
telephone  ideal or well built, in use: boards on it, things before it, shadows across it; tones lifted, noise
           taken out, shaken
closeup    six photos all round, none of which shows the whole
decoy      no frame: perforated sheet, printed dots, gratings, tiles, channel, breadboards, fences

Frame number N is the same lattice in every kind, but for some hand-built ones, which are cubes of beams.
"""

from dataclasses import dataclass

import numpy as np

from .build import built
from .cameras import cameras_round, shot
from .decoys import STYLES as DECOYS
from .decoys import decoy_of
from .frames import MORE_STOCK, STOCK, frame_of
from .obstacles import obstacles
from .retouch import Shot, telephone, web
from .viewpoints import cameras_close, cameras_cropped


@dataclass(frozen=True)
class Kind:
    """How a kind is made: `folder` before the number, photos, long side in px (None: the recipe's own).

    `exif`, `obstacles`: the share of photos with EXIF, of frames with things in use about them; `rough`,
    `every`: how much of a hand-built frame's errors every so many-th frame has; `finer`: times as many rays a
    pixel, where a larger photo was scaled down.
    """

    folder: str
    photos: int
    long_side: int | None = None
    exif: float = 0.5
    obstacles: float = 0.0
    rough: float = 0.0
    every: int = 1
    finer: int = 1


KINDS = {
    "plain": Kind("r", 4),
    "handbuilt": Kind("handbuilt", 3, obstacles=0.3, rough=1.0),
    "web": Kind("web", 3, exif=0.0, obstacles=0.3, rough=1.0, finer=3),
    "telephone": Kind("telephone", 3, 2000, exif=0.8, obstacles=1.0, rough=0.3, every=3),
    "closeup": Kind("closeup", 6, 1600, obstacles=0.2, rough=0.3, every=3),
    "decoy": Kind("decoy", 3, exif=0.3, finer=2),
}


def by_hand(kind, number, what):
    """The recipe of a frame, where every fourth hand-built one is a cube of small beams or tube."""
    if KINDS[kind].rough == 1.0 and number % 4 == 1:
        stocks = list(MORE_STOCK)
        return what | {"style": "cube", "stock": stocks[number // 4 % len(stocks)], "braces": 0}
    return what


def subject(kind, number, style, stock, members=None, braces=0):
    """What is photographed: a frame as it is built, or a decoy (`style` names one of these, or none)."""
    spec = KINDS[kind]
    if kind == "decoy":
        return decoy_of(number, style if style in DECOYS else None)
    frame = frame_of(style, (STOCK | MORE_STOCK)[stock], number, members, braces)
    rough = spec.rough if number % spec.every == spec.every - 1 else 0
    return built(frame, number, rough) if rough else frame


def faces_of(frame):
    """Centres and normals (N, 3) of all openings of an ideal frame."""
    w, rows = frame.stock.width, []
    for s in frame.sticks:
        for a in (a for a in range(3) if a != s.axis):
            rows += [
                (s.hole(k) + n * w / 2, n) for k in range(s.holes) for n in (np.eye(3)[a], -np.eye(3)[a])
            ]
    return np.array([p for p, _ in rows]), np.array([n for _, n in rows])


def cameras(kind, frame, points, rng, floor_z, count, long_side):
    """The cameras of a kind; also the 35 mm-equivalent focal length, None where it means nothing."""
    if kind == "web":
        return cameras_cropped(rng, points, floor_z, count, long_side), None
    if kind == "closeup":
        return cameras_close(rng, points, floor_z, count, long_side, faces_of(frame), frame.stock.radius)
    cams = cameras_round(rng, points, floor_z, count, long_side)
    for _ in range(60 if kind == "decoy" else 0):
        if all(frame.faces(cam.place) for cam in cams[0]):
            break
        cams = cameras_round(rng, points, floor_z, count, long_side)
    return cams


def things(kind, number, frame, cams):
    """What puts things in use into the scene; None where nothing does."""
    rng = np.random.default_rng([number, 7])
    return obstacles(frame, cams, rng) if rng.random() < KINDS[kind].obstacles else None


def develop(kind, linear, cam, rng, exposure):
    """The picture (a `Shot`) that a kind makes of linear radiance (H, W, 3)."""
    if kind == "telephone":
        return Shot(telephone(linear, rng, exposure), cam)
    one = Shot(shot(linear, rng, exposure), cam)
    return web(one, rng) if kind == "web" or (kind == "decoy" and rng.random() < 0.4) else one
