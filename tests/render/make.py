"""Make frames, render them, write folders rNNN/ (webNNN/ and the like) of photo_K.jpg and truth.json."""

import io
import json
import time
from pathlib import Path

import numpy as np
from PIL import Image

from .build import real_corners
from .cameras import jpeg
from .decoys import decoy_truth
from .frames import STOCK
from .kinds import KINDS, by_hand, cameras, develop, subject, things
from .scenes import FLOORS, LIGHTS, extent, scene_of
from .trace import render
from .truth import photo_record, truth_of

STYLES = (
    "grown",
    "bench",
    "grown",
    "cart",
    "table",
    "grown",
    "shelf",
    "box",
    "grown",
    "tower",
    "gate",
    "shelter",
)
# Every kind of light's wished mean brightness, linear, before the tone curve.
BRIGHT = {
    "sun": (0.15, 0.3),
    "overcast": (0.18, 0.32),
    "lamp": (0.12, 0.25),
    "dim": (0.04, 0.09),
    "window": (0.12, 0.25),
}


def corners_of(frame):
    """Corners (N, 3) of all bodies: what must fit in a photo."""
    if frame.real or not frame.sticks:
        return real_corners(frame) if frame.real else frame.corners()
    w = frame.stock.width
    points = []
    for s in [*frame.sticks, *frame.braces]:
        for end in (s.hole(-0.5), s.hole(s.holes - 0.5)):
            points += [end + w / 2 * np.array(c) for c in np.ndindex(2, 2, 2) for c in [np.array(c) * 2 - 1]]
    return np.array(points)


def recipe(number):
    """Style, stock, floor, light, size and the like of frame `number` of a data set.

    Spread over all kinds, reproducible.
    """
    rng = np.random.default_rng([number, 3])
    stocks = list(STOCK)
    style = STYLES[number % len(STYLES)]
    return {
        "style": style,
        "stock": stocks[(number * 5 + number // 12) % len(stocks)],
        "floor": FLOORS[(number * 3 + number // 10) % len(FLOORS)],
        "light": LIGHTS[(number * 2 + number // 5) % len(LIGHTS)],
        "braces": int(rng.integers(1, 3)) if style == "shelter" or number % 11 == 5 else 0,
        "other": number % 7 == 3,
        "long_side": int(
            rng.choice([2000, 2000, 2000, 2000, 1600, 3000, 4000], p=[0.2, 0.2, 0.2, 0.15, 0.1, 0.1, 0.05])
        ),
    }


def make_frame(number, folder, xp=np, spp=16, photos=None, long_side=None, say=print, kind="plain"):
    """Render frame `number` of a kind (see `kinds.py`) into a folder of its own, as `folder`/rNNN.

    Parameters that are None are the kind's own.
    """
    spec = KINDS[kind]
    what = by_hand(kind, number, recipe(number))
    frame = subject(kind, number, what["style"], what["stock"], braces=what["braces"])
    rng = np.random.default_rng([number, 4])
    lo, _ = extent(frame)
    side = long_side or spec.long_side or (what["long_side"] if kind != "web" else None)
    cams, f35 = cameras(kind, frame, corners_of(frame), rng, lo[2], photos or spec.photos, side)
    more = things(kind, number, frame, cams)
    scene = scene_of(frame, cams, number, what["floor"], what["light"], what["other"] and frame.sticks, more)
    out = Path(folder) / f"{spec.folder}{number:03d}"
    out.mkdir(parents=True, exist_ok=True)
    records = []
    for k, cam in enumerate(cams, 1):
        start = time.perf_counter()
        rays = spp * spec.finer if max(cam.size) < 2500 else max(4, spp // 2)
        linear = render(scene, cam, rays, number * 10 + k, xp)
        linear = linear.get() if hasattr(linear, "get") else linear
        wished = rng.uniform(*BRIGHT[what["light"]])
        exposure = wished / max(1e-4, float(np.exp(np.log(linear.mean(axis=2) + 1e-3).mean())))
        exif = f35 if rng.random() < spec.exif else None
        done = develop(kind, linear, cam, rng, exposure)
        name = f"photo_{k}.jpg"
        (out / name).write_bytes(jpeg(done.picture, done.quality or rng.integers(80, 96), exif))
        spent = round(time.perf_counter() - start, 1)
        records.append(
            photo_record(frame, cam, scene.clusters, name, int(exif) if exif else None, spent, xp, done)
        )
    truth = truth_of(frame, records, kind) if frame.sticks else decoy_truth(frame, records)
    truth["scene"] = scene.note
    (out / "truth.json").write_text(json.dumps(truth))
    say(
        f"{out.name} {frame.style} {what['stock'] if frame.sticks else ''} {len(frame.sticks)} sticks "
        f"{len(frame.braces)} braces {scene.note} "
        f"{cams[0].size} f35 {f35} {[r['render_s'] for r in records]} s",
        flush=True,
    )


def quick_frame(
    seed=0,
    style="grown",
    stock="wood8",
    members=5,
    photos=3,
    long_side=640,
    spp=2,
    light="overcast",
    kind="plain",
):
    """A small frame of a kind (see `kinds.py`) rendered in memory on the processor.

    List of 8-bit RGB pictures (H, W, 3), and its truth as a dict.
    """
    frame = subject(kind, seed, style, stock, members)
    rng = np.random.default_rng([seed, 4])
    lo, _ = extent(frame)
    cams, _ = cameras(kind, frame, corners_of(frame), rng, lo[2], photos, long_side)
    scene = scene_of(frame, cams, seed, "plain", light, more=things(kind, seed, frame, cams))
    pictures, records = [], []
    for k, cam in enumerate(cams, 1):
        linear = render(scene, cam, spp, seed * 10 + k)
        done = develop(kind, linear, cam, rng, 0.25 / float(linear.mean()))
        pictures.append(as_saved(done))
        records.append(photo_record(frame, cam, scene.clusters, f"photo_{k}.jpg", None, 0.0, shot=done))
    return pictures, truth_of(frame, records, kind) if frame.sticks else decoy_truth(frame, records)


def as_saved(done):
    """The picture of a `Shot` as it comes out of its file: with the marks of strong compression, if any."""
    if done.quality is None:
        return done.picture
    return np.asarray(Image.open(io.BytesIO(jpeg(done.picture, done.quality))))
