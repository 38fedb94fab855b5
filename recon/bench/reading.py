"""How well frames are read: a folder of frames with truth in, a table out.

    python -m recon.bench reading FOLDER [FOLDER ...] [--photos 3 2 1] [--json FILE]

A FOLDER is one frame (photo_1.jpg ..., truth.json as sample_images has it) or holds several.  Members are
compared with the truth under any of the 24 turns and any shift; a member is exact when both its end holes
are.  Speed is told as a multiple of one cv2.SimpleBlobDetector pass over the same photos, in the same run.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial import cKDTree

from recon.bench.score import frame_ends, rotations, same, score, truth_ends
from recon.errors import ReconError
from recon.frame.confidence import SURE
from recon.frame.files import frame_to_dict
from recon.frame.stock import load_stocks
from recon.image.openings import detect_openings, lab_image
from recon.image.photos import load_photo

IN_SIGHT = 3  # openings that must be in sight for a member to count as seen


def run(args) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench reading", description=__doc__.splitlines()[0]
    )
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument(
        "--photos", nargs="+", type=int, default=[3, 2, 1], help="how many of each frame's photos to use"
    )
    parser.add_argument("--json", type=Path, help="write all figures to this file, too")
    opts = parser.parse_args(args)
    frames = frames_in(opts.folders)
    stocks = load_stocks()
    rows = []
    for n in opts.photos:
        for folder in frames:
            rows.append(measure(folder, n, stocks))
            print(_line(rows[-1]), flush=True)
        _print_totals([r for r in rows if r["photos"] == n], n)
    _print_peak_memory()
    if opts.json:
        opts.json.write_text(json.dumps(rows, indent=1))
    return 0


def _print_peak_memory() -> None:
    try:
        import resource
    except ImportError:  # Windows
        return
    print(f"peak memory of this run: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


def frames_in(folders: list[Path]) -> list[Path]:
    """The folders that are one frame with truth each, or hold several.  Raises ReconError where there is none."""
    frames = [
        f
        for folder in folders
        for f in (
            [folder]
            if (folder / "truth.json").is_file()
            else sorted(p.parent for p in folder.glob("*/truth.json"))
        )
    ]
    if not frames:
        raise ReconError(f"{folders[0]}: no truth.json in it or in a folder of it.")
    return frames


def measure(folder: Path, n: int, stocks) -> dict:
    """All figures of one frame read from its first n photos."""
    from recon import solve

    truth = json.loads((folder / "truth.json").read_text())
    names = [p["file"] for p in truth["photos"]][:n]
    photos = [load_photo(folder / name) for name in names]
    blob_s = _timed(
        lambda: [
            cv2.SimpleBlobDetector_create().detect(cv2.cvtColor(p.colour, cv2.COLOR_RGB2GRAY)) for p in photos
        ]
    )[1]
    try:
        reading, seconds = _timed(lambda: solve.read(photos, stocks=stocks))
    except ReconError as error:
        empty = score({"members": []}, truth, IN_SIGHT, names)
        return {
            "frame": folder.name,
            "photos": n,
            "failed": str(error),
            **empty,
            "visible_exact": 0,
            "seconds": 0.0,
            "blob_s": blob_s,
            "members_sure": [],
            "set_aside": names,
            "openings": {},
        }
    frame = frame_to_dict(reading.frame)
    figures = score(frame, truth, IN_SIGHT, names)
    return {
        "frame": folder.name,
        "photos": n,
        **figures,
        "seconds": seconds,
        "blob_s": blob_s,
        "members_sure": _sureness(frame, truth),
        "set_aside": [a for a, _ in reading.set_aside],
        "openings": _openings(photos, reading, truth),
    }


def _timed(work):
    start = time.perf_counter()
    value = work()
    return value, time.perf_counter() - start


def _sureness(frame, truth):
    """[(confidence, exact)] of each member, under the turn and shift that make most members exact."""
    best: list = []
    T = truth_ends(truth)
    for turn in rotations():
        P = [(turn @ a, turn @ b) for a, b in frame_ends(frame)]
        shifts = {tuple(np.round(u - a, 2)) for a, _ in P for c, d in T for u in (c, d)}
        tally = (
            {
                s: sum(tuple(np.round(u - a, 2)) == s for a, _ in P for c, d in T for u in (c, d))
                for s in shifts
            }
            if len(P) * len(T) < 400
            else dict.fromkeys(shifts, 1)
        )
        for s in sorted(tally, key=tally.get, reverse=True)[:5]:
            hit = [any(same((a + s, b + s), t) for t in T) for a, b in P]
            if not best or sum(hit) > sum(best):
                best = hit
    return [(m["confidence"], bool(h)) for m, h in zip(frame["members"], best)]


def _openings(photos, reading, truth) -> dict:
    """Recall, precision and RMS error of openings: of the detector, and of the finished reading."""
    by_file = {p["file"]: p for p in truth["photos"]}
    width = truth["width_mm"] / truth["pitch_mm"]
    sums = {"in_sight": 0, "detected": 0, "kept": 0, "kept_true": 0, "found": 0, "squares": 0.0}
    for p in photos:
        ph = by_file[p.name]
        seen = [h for h in ph["holes"] if h["seen"] >= 6 and _facing(h, ph, truth, width) > 0.2]
        if not seen:
            continue
        xy = np.array([h["xy"] for h in seen])
        reach = np.maximum(2.0, 0.35 * np.array([h["px"] for h in seen]))
        found = detect_openings(lab_image(p.colour[..., ::-1].copy()))
        d = cKDTree(np.c_[found["x"], found["y"]]).query(xy)[0] if len(found) else np.full(len(xy), np.inf)
        sums["in_sight"] += len(xy)
        sums["detected"] += int((d < reach).sum())
        kept = reading.openings.get(p.name, np.zeros((0, 6)))
        kept = kept[kept[:, 5] == 0]
        if len(kept):
            d = cKDTree(kept[:, :2]).query(xy)[0]
            sums["found"] += int((d < reach).sum())
            sums["squares"] += float((d[d < reach] ** 2).sum())
            every = np.array([h["xy"] for h in ph["holes"]])
            size = np.maximum(2.0, 0.35 * np.array([h["px"] for h in ph["holes"]]))
            d, j = cKDTree(every).query(kept[:, :2])
            sums["kept"] += len(kept)
            sums["kept_true"] += int((d < size[j]).sum())
    return sums


def _facing(hole, photo, truth, width) -> float:
    """Cosine between the line of sight and the face's normal: the opening's foreshortening."""
    stick = truth["braces"][hole["brace"]] if "brace" in hole else truth["sticks"][hole["stick"]]
    if "at" in stick:
        c = np.array(stick["at"], float)
        c[stick["axis"]] += hole["hole"]
    else:
        c = np.array(stick["first"], float) + hole["hole"] * np.array(stick["direction"], float)
    n = np.array(hole["normal"], float)
    R, t = np.array(photo["R"]), np.array(photo["t"])
    v = R @ (c + 0.5 * width * n) + t
    return float(abs((R @ n) @ v) / np.linalg.norm(v))


def _line(r) -> str:
    o = r["openings"]
    text = (
        f"{r['frame']:12s} {r['photos']} photos: {r['exact']:2d} exact {r['wrong']:2d} wrong {r['missing']:2d} missing "
        f"{r['extra']:2d} extra; in sight {r.get('visible_exact', 0)}/{r.get('visible', 0)}"
    )
    if o:
        text += (
            f"; openings {o['found']}/{o['in_sight']}, rms {np.sqrt(o['squares'] / max(o['found'], 1)):.2f} px"
            f"; {r['seconds']:.1f} s = {r['seconds'] / r['blob_s']:.0f} x blobs"
        )
    if r.get("failed"):
        text += "; " + r["failed"][:80]
    if r["set_aside"]:
        text += "; aside " + ", ".join(r["set_aside"])
    return text


def _print_totals(rows, n) -> None:
    total = lambda k: sum(r.get(k, 0) for r in rows)
    o = {
        k: sum(r["openings"].get(k, 0) for r in rows)
        for k in ("in_sight", "detected", "kept", "kept_true", "found", "squares")
    }
    print(f"\n{n} photos, {len(rows)} frames")
    print(
        f"  members: {total('members')}, exact {total('exact')}, wrong {total('wrong')}, missing {total('missing')}, extra {total('extra')}"
    )
    print(
        f"  in sight: {total('visible_exact')} of {total('visible')} exact ({100 * total('visible_exact') / max(1, total('visible')):.1f} %)"
    )
    print(f"  frames that need no edit: {sum(r['edits'] == 0 for r in rows)} of {len(rows)}")
    if o["in_sight"]:
        print(
            f"  openings in sight: detected {o['detected'] / o['in_sight']:.3f}; kept by members {o['found'] / o['in_sight']:.3f}, "
            f"precision {o['kept_true'] / max(1, o['kept']):.3f}, rms {np.sqrt(o['squares'] / max(1, o['found'])):.2f} px"
        )
    sure = [(c, e) for r in rows for c, e in r["members_sure"]]
    for lo, hi in ((SURE, 1.01), (0.5, SURE), (0.0, 0.5)):
        part = [e for c, e in sure if lo <= c < hi]
        if part:
            print(
                f"  confidence {lo:.1f} to {min(hi, 1):.1f}: {len(part)} members, {100 * np.mean(part):.1f} % exact"
            )
    s, b = total("seconds"), total("blob_s")
    print(
        f"  {s / max(1, n * len(rows)):.1f} s a photo, {s / max(b, 1e-9):.0f} x one blob-detector pass\n",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
