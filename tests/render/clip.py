"""Films walked round a frame: a hand that sways, motion blur, a rolling shutter, and the camera of every
frame.

A ray leaves at a moment of its own, between the opening and the closing of the shutter for its row; the
camera is where it is at that moment (distributed ray tracing: Cook, Porter and Carpenter 1984,
doi:10.1145/800031.808590).  So blur and rolling shutter are those of one movement.
"""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from .cameras import Camera, cameras_round, grained, jpeg, shot, stand_off, toned
from .drawn import Drawing
from .frames import STOCK, frame_of
from .make import BRIGHT, corners_of, recipe
from .scenes import extent, scene_of
from .shapes import xp_of
from .trace import render
from .truth import photo_record, truth_of

FILM = "walk.mp4"
FPS = 8.0  # a phone takes 30 in a second; fewer are made, each as a phone would take it
STILLS, STILL_PX = 3, 2000  # photos of the same frame, to compare a film with, and their long side
HOLES_EVERY = 6  # frames from one whose openings are in the truth to the next
# s that the shutter is open, by the light; what a telephone's film mode does; this project's choice
EXPOSURE_S = {"sun": 1 / 500, "overcast": 1 / 120, "window": 1 / 60, "lamp": 1 / 50, "dim": 1 / 30}
READOUT_S = (0.01, 0.03)  # from the first row's moment to the last one's; phones, from memory
F35_MM = (26, 28, 30, 35)  # 35 mm-equivalent of telephones filming, over the diagonal
SWAY_DEG_S = 2.0  # turning of each of the hand's SWAYS, at its fastest; this project's choice
SWAYS = 6
STEP_S = 0.5  # a step of someone who walks with care


@dataclass(frozen=True)
class MovingCamera:
    """A camera that moves while it takes one picture.

    `at` is the camera in the middle of it; `speed` (3,) pitches/s and `turning` (3,) rad/s are of the world;
    `exposure_s` and `readout_s` as above; `upright` where the phone is held upright: its sensor's rows are
    columns then.
    """

    at: Camera
    speed: np.ndarray
    turning: np.ndarray
    exposure_s: float
    readout_s: float
    upright: bool
    rng: object

    @property
    def size(self):
        return self.at.size

    def rays(self, x, y):
        """As :meth:`Camera.rays`, each at a moment of its own."""
        xp = xp_of(x)
        o, d = self.at.rays(x, y)
        row = x / self.size[0] if self.upright else y / self.size[1]
        moment = self.readout_s * (row - 0.5)
        moment = moment + self.exposure_s * (self.rng.random(len(x), dtype=xp.float32) - 0.5)

        def turned(v):
            w = [float(c) for c in self.turning]
            return moment * xp.stack(
                [w[1] * v[2] - w[2] * v[1], w[2] * v[0] - w[0] * v[2], w[0] * v[1] - w[1] * v[0]]
            )

        once = turned(d)
        d = d + once + turned(once) / 2
        d = d / xp.sqrt((d * d).sum(axis=0))
        o = o + xp.stack([float(v) * moment for v in self.speed])
        return o.astype(xp.float32), d.astype(xp.float32)


class Walk:
    """Where a telephone is at any moment of a walk round points (N, 3), standing still for a while."""

    def __init__(self, rng, points, floor_z, seconds, long_side):
        self.points, self.floor_z, self.seconds = points, floor_z, seconds
        self.upright = rng.random() < 0.35
        short = round(long_side * 9 / 16 / 2) * 2
        size = (short, long_side) if self.upright else (long_side, short)
        self.f35 = float(rng.choice(F35_MM))
        f = self.f35 * float(np.hypot(*size)) / 43.27
        cx, cy = np.array(size) / 2 + rng.normal(0, 0.003 * long_side, 2)
        k1, k2 = np.clip(rng.normal(0, [0.03, 0.01]), -0.06, 0.06)
        self.seen = Camera(size, f, float(cx), float(cy), float(k1), float(k2), np.eye(3), np.zeros(3))
        self.start, self.sweep = rng.uniform(0, 2 * np.pi), np.deg2rad(rng.uniform(110, 200))
        self.sweep *= rng.choice([-1, 1])
        self.height = np.deg2rad(rng.uniform(14, 32)), np.deg2rad(rng.uniform(3, 12)), rng.uniform(0, 6)
        self.fill = rng.uniform(0.72, 0.85)
        self.pause = rng.uniform(0.25, 0.6), rng.uniform(0.1, 0.2)  # begins, lasts: of the whole time
        rates = rng.uniform(0.4, 5.0, SWAYS)
        self.sways = rates, rng.uniform(0, 6, SWAYS), rng.normal(0, 1, (SWAYS, 3))
        self.bob = rng.uniform(0.2, 0.5)  # pitches

    def share(self, t):
        """How much of the way is gone at t seconds, 0 to 1."""
        begins, lasts = self.pause
        s = t / self.seconds
        return float((min(s, begins) + max(0.0, s - begins - lasts)) / (1 - lasts))

    def camera(self, t):
        """The camera at t seconds."""
        s = self.share(t)
        middle, swing, phase = self.height
        elevation = middle + swing * np.sin(phase + 4 * s)
        azimuth = self.start + self.sweep * s
        R, place, _ = stand_off(self.seen, self.points, azimuth, elevation, self.floor_z, self.fill)
        place = place + [0, 0, self.bob * np.sin(2 * np.pi * t / STEP_S) * (s < 1)]
        rates, phases, ways = self.sways
        angles = np.deg2rad(SWAY_DEG_S) / (2 * np.pi * rates) * np.sin(2 * np.pi * rates * t + phases)
        R = cv2.Rodrigues(angles @ ways)[0] @ R
        return replace(self.seen, R=R, t=-R @ place)

    def moving(self, t, exposure_s, readout_s, rng):
        """The camera that takes a picture round t seconds."""
        h = 0.01
        before, at, after = (self.camera(s) for s in (t - h, t, t + h))
        turning = -cv2.Rodrigues(at.R.T @ after.R @ (at.R.T @ before.R).T)[0].ravel() / (2 * h)
        speed = (after.place - before.place) / (2 * h)
        return MovingCamera(at, speed, turning, exposure_s, readout_s, self.upright, rng)


def blur_px(walk, t, exposure_s):
    """How far the middle of what is filmed moves in the picture while the shutter is open, px."""
    middle = walk.points.mean(axis=0, keepdims=True)
    ends = [walk.camera(t + side * exposure_s / 2).project(middle)[0] for side in (-1, 1)]
    return float(np.linalg.norm(ends[1] - ends[0]))


def developed(linear, exposure, rng, look):
    """A film's frame from linear radiance (H, W, 3); `look` is the film's own vignette, blur, noise, tint."""
    vignette, blur, noise, tint = look
    h, w = linear.shape[:2]
    y, x = np.ogrid[:h, :w]
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w + h * h) * 4
    picture = linear * exposure * (1 - vignette * r2)[..., None].astype(np.float32)
    picture = cv2.GaussianBlur(picture, (0, 0), blur)
    return toned(grained(picture, rng, noise) * tint)


def write_film(path, pictures, fps=FPS, codec="mp4v"):
    """A film of 8-bit RGB pictures (an iterable); returns how many there were."""
    writer, count = None, 0
    for picture in pictures:
        if writer is None:
            size = picture.shape[1::-1]
            writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*codec), fps, size)
            assert writer.isOpened(), f"no writer for {codec}"
        writer.write(cv2.cvtColor(picture, cv2.COLOR_RGB2BGR))
        count += 1
    if writer is not None:
        writer.release()
    return count


@dataclass(frozen=True)
class Means:
    """What pictures are made with: `picture(camera, rays, seed)` gives a linear one, `rays` a pixel."""

    rng: np.random.Generator
    picture: Callable
    rays: int
    light: str
    xp: object = np


def make_clip(number, folder, xp=np, spp=16, frames=None, long_side=None, say=print, drawn=False):
    """Film frame `number` into a folder of its own: `walk.mp4`, three photos of the same frame, truth.json.

    `frames`: how many the film has (72); `long_side` of the film, px (1280); `drawn`: without light and
    braces, in a small part of the time.
    """
    what, start = recipe(number), time.perf_counter()
    frame = frame_of(what["style"], STOCK[what["stock"]], number, None, 0 if drawn else what["braces"])
    rng = np.random.default_rng([number, 9])
    points, floor_z = corners_of(frame), extent(frame)[0][2]
    count = frames or 72
    walk = Walk(rng, points, floor_z, count / FPS, long_side or 1280)
    stills, _ = cameras_round(rng, points, floor_z, STILLS, STILL_PX)
    around = [walk.camera(t) for t in np.linspace(0, walk.seconds, 8)]
    scene = scene_of(frame, [*stills, *around], number, what["floor"], what["light"])

    def traced(camera, rays, seed):
        linear = render(scene, camera, rays, seed, xp)
        return linear.get() if hasattr(linear, "get") else linear

    means = Means(rng, Drawing(frame, number).picture if drawn else traced, spp, what["light"], xp)
    out = Path(folder) / f"clip{number:03d}"
    out.mkdir(parents=True, exist_ok=True)
    photos = [
        _still(frame, scene, cam, f"photo_{k}.jpg", number * 10 + k, means) for k, cam in enumerate(stills, 1)
    ]
    for data, record in photos:
        (out / record["file"]).write_bytes(data)
    records = []
    write_film(out / FILM, _frames(frame, scene, walk, means, (number, count), records))
    truth = truth_of(frame, [record for _, record in photos], "clip")
    truth["clip"] = {"file": FILM, "fps": FPS, "f35": walk.f35, "frames": records}
    truth["scene"] = scene.note
    (out / "truth.json").write_text(json.dumps(truth))
    blurs = np.percentile([r["blur_px"] for r in records], [10, 50, 90]).round(1)
    say(
        f"{out.name} {frame.style} {what['stock']} {len(frame.sticks)} sticks {scene.note} {walk.seen.size} "
        f"{count} frames, blur px (10, 50, 90 %) {blurs}, {time.perf_counter() - start:.0f} s",
        flush=True,
    )


def _exposure(linear, wished):
    return wished / max(1e-4, float(np.exp(np.log(linear.mean(axis=2) + 1e-3).mean())))


def _still(frame, scene, cam, name, seed, means):
    """File and record of a photo."""
    linear = means.picture(cam, means.rays, seed)
    picture = shot(linear, means.rng, _exposure(linear, means.rng.uniform(*BRIGHT[means.light])))
    record = photo_record(frame, cam, scene.clusters, name, None, 0.0, means.xp)
    return jpeg(picture, means.rng.integers(80, 96)), record


def _frames(frame, scene, walk, means, numbers, records):
    """The film's pictures one by one; their records are put into `records`."""
    rng, light, (number, count) = means.rng, means.light, numbers
    look = rng.uniform(0.05, 0.3), rng.uniform(0.4, 0.7), rng.uniform(0.004, 0.012), rng.normal(1, 0.03, 3)
    wished, readout_s, exposure = rng.uniform(*BRIGHT[light]), rng.uniform(*READOUT_S), None
    for k in range(count):
        moments = means.xp.random.default_rng(number * 1000 + k + 500_000_000)
        camera = walk.moving(k / FPS, EXPOSURE_S[light], readout_s, moments)
        linear = means.picture(camera, means.rays, number * 1000 + k)
        exposure = exposure or _exposure(linear, wished)
        record = photo_record(frame, camera.at, scene.clusters, f"{FILM} {k}", None, 0.0, means.xp)
        if k % HOLES_EVERY:
            del record["holes"]
        blur = blur_px(walk, k / FPS, EXPOSURE_S[light])
        records.append(record | {"blur_px": round(blur, 2), "way": round(walk.share(k / FPS), 4)})
        yield developed(linear, exposure, rng, look)
