"""Make frames, render them, write folders rNNN/ with photo_K.jpg and truth.json."""

import json
import time
from pathlib import Path

import numpy as np

from .build import real_corners
from .cameras import cameras_round, jpeg, shot
from .frames import STOCK, frame_of
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
    if frame.real:
        return real_corners(frame)
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


def make_frame(number, folder, xp=np, spp=16, photos=4, long_side=None, say=print):
    """Render frame `number` into `folder`/rNNN."""
    what = recipe(number)
    frame = frame_of(what["style"], STOCK[what["stock"]], number, braces=what["braces"])
    rng = np.random.default_rng([number, 4])
    lo, _ = extent(frame)
    cams, f35 = cameras_round(rng, corners_of(frame), lo[2], photos, long_side or what["long_side"])
    scene = scene_of(frame, cams, number, what["floor"], what["light"], what["other"])
    out = Path(folder) / f"r{number:03d}"
    out.mkdir(parents=True, exist_ok=True)
    records = []
    for k, cam in enumerate(cams, 1):
        start = time.perf_counter()
        linear = render(scene, cam, spp if max(cam.size) < 2500 else max(4, spp // 2), number * 10 + k, xp)
        linear = linear.get() if hasattr(linear, "get") else linear
        wished = rng.uniform(*BRIGHT[what["light"]])
        exposure = wished / max(1e-4, float(np.exp(np.log(linear.mean(axis=2) + 1e-3).mean())))
        exif = f35 if rng.random() < 0.5 else None
        (out / f"photo_{k}.jpg").write_bytes(jpeg(shot(linear, rng, exposure), rng.integers(80, 96), exif))
        spent = round(time.perf_counter() - start, 1)
        records.append(
            photo_record(frame, cam, scene.clusters, f"photo_{k}.jpg", int(exif) if exif else None, spent, xp)
        )
    truth = truth_of(frame, records)
    truth["scene"] = scene.note
    (out / "truth.json").write_text(json.dumps(truth))
    say(
        f"r{number:03d} {what['style']} {what['stock']} {len(frame.sticks)} sticks "
        f"{len(frame.braces)} braces {scene.note} "
        f"{cams[0].size} f35 {f35:.0f} {[r['render_s'] for r in records]} s",
        flush=True,
    )


def quick_frame(
    seed=0, style="grown", stock="wood8", members=5, photos=3, long_side=640, spp=2, light="overcast"
):
    """A small frame rendered in memory on the processor.

    List of 8-bit RGB pictures (H, W, 3), and its truth as a dict.
    """
    frame = frame_of(style, STOCK[stock], seed, members)
    rng = np.random.default_rng([seed, 4])
    lo, _ = extent(frame)
    cams, _ = cameras_round(rng, corners_of(frame), lo[2], photos, long_side)
    scene = scene_of(frame, cams, seed, "plain", light)
    pictures, records = [], []
    for k, cam in enumerate(cams, 1):
        linear = render(scene, cam, spp, seed * 10 + k)
        pictures.append(shot(linear, rng, 0.25 / float(linear.mean())))
        records.append(photo_record(frame, cam, scene.clusters, f"photo_{k}.jpg", None, 0.0))
    return pictures, truth_of(frame, records)
