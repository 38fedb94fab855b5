"""How well frames are read: a folder of frames with truth in, a table out.

    python -m recon.bench reading FOLDER [FOLDER ...] [--photos all 3 2 1] [--json FILE]

A FOLDER is one frame (photo_1.jpg ..., truth.json as sample_images has it) or holds several.  Figures are
summed by kind (the letters that a folder's name begins with) and over all.  Members are compared with the
truth under any of the 24 turns and any shift; a member is exact when both its end holes are.  Speed is a
multiple of one cv2.SimpleBlobDetector pass over the same photos, in the same run.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from scipy.spatial import cKDTree

from recon.bench.reading_table import COUNTS, line, totals
from recon.bench.score import exact_members, openings_of, score, truth_ends
from recon.errors import ReconError
from recon.frame.files import frame_to_dict
from recon.frame.stock import Stock, load_stocks
from recon.geometry.arrays import FloatArray
from recon.image.openings import detect_openings, lab_image
from recon.image.photos import PhotoImage, load_photo

if TYPE_CHECKING:
    from recon.solve.reading import Reading

IN_SIGHT = 3  # openings that must be in sight for a member to count as seen


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench reading", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument(
        "--photos",
        nargs="+",
        type=_count,
        default=[3, 2, 1],
        help="how many of each frame's photos to use, as far as it has them; all: every one",
    )
    parser.add_argument("--json", type=Path, help="write all figures to this file, too")
    opts = parser.parse_args(args)
    frames = frames_in(opts.folders)
    stocks = load_stocks()
    rows: list[dict[str, Any]] = []
    for n in opts.photos:
        for folder in frames:
            rows.append(measure(folder, n, stocks))
            print(line(rows[-1]), flush=True)
        print(totals([r for r in rows if r["photos"] == (n or "all")], n or "all"), flush=True)
    _print_peak_memory()
    if opts.json:
        opts.json.write_text(json.dumps(rows, indent=1))
    return 0


def _count(text: str) -> int | None:
    """A number of photos; None for `all`."""
    if text == "all":
        return None
    if text.isdecimal() and int(text):
        return int(text)
    raise argparse.ArgumentTypeError(f"{text} is no number of photos; give 1, 2, 3 ... or all")


def _print_peak_memory() -> None:
    """Print the peak memory, where the system tells it."""
    try:
        import resource
    except ImportError:  # Windows
        return
    print(f"peak memory of this run: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


def frames_in(folders: list[Path]) -> list[Path]:
    """The folders that are one frame with truth each, or hold several.

    Raises ReconError where there is none.
    """
    frames: list[Path] = []
    for folder in folders:
        own = (folder / "truth.json").is_file()
        frames += [folder] if own else sorted(path.parent for path in folder.glob("*/truth.json"))
    if not frames:
        raise ReconError(f"{folders[0]}: no truth.json in it or in a folder of it.")
    return frames


def measure(folder: Path, n: int | None, stocks: Mapping[str, Stock]) -> dict[str, Any]:
    """All figures of one frame read from its first n photos, or as many as there are; None: from all."""
    from recon import solve

    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    names = [p["file"] for p in truth["photos"]][:n]
    photos = [load_photo(folder / name) for name in names]
    start = time.perf_counter()
    _detect_blobs(photos)
    blob_s = time.perf_counter() - start
    row: dict[str, Any] = {"frame": folder.name, "kind": kind_of(folder.name), "photos": n or "all"}
    row |= {"given": len(names), "blob_s": blob_s}
    failed: ReconError | None = None
    start, cpu = time.perf_counter(), time.process_time()
    try:
        reading = solve.read(photos, stocks=stocks)
    except ReconError as error:
        failed = error
    row |= {"seconds": time.perf_counter() - start, "cpu_s": time.process_time() - cpu}
    if failed is not None:
        nothing = score({"members": []}, truth, IN_SIGHT, names)
        return (
            row
            | nothing
            | {
                "failed": str(failed),
                "members_sure": [],
                "set_aside": names,
                "openings": {},
            }
        )
    frame = frame_to_dict(reading.frame)
    return (
        row
        | score(frame, truth, IN_SIGHT, names)
        | {"members_sure": confidence_hits(frame, truth)}
        | {"set_aside": [name for name, _ in reading.set_aside]}
        | {"openings": _openings(photos, reading, truth)}
    )


def kind_of(name: str) -> str:
    """The kind of photographs that a frame's folder holds: the letters that its name begins with.

    Examples
    --------
    >>> from recon.bench.reading import kind_of
    >>> kind_of("i100"), kind_of("closeup003"), kind_of("cart")
    ('i', 'closeup', 'cart')
    """
    return re.split(r"[^A-Za-z]", name)[0] or name


def _detect_blobs(photos: Sequence[PhotoImage]) -> None:
    """One pass of OpenCV's blob detector over the photos, which times are compared with."""
    for photo in photos:
        cv2.SimpleBlobDetector.create().detect(cv2.cvtColor(photo.colour, cv2.COLOR_RGB2GRAY))


def confidence_hits(frame: Mapping[str, Any], truth: Mapping[str, Any]) -> list[tuple[float, bool]]:
    """Confidence of each member and whether it is exact, under the turn and shift with most exact members.

    Parameters
    ----------
    frame, truth : dict
        As in a frame file and in `truth.json`.

    Examples
    --------
    >>> from recon.bench.reading import confidence_hits
    >>> truth = {"sticks": [{"at": [0, 0, 0], "axis": 0, "holes": 5}]}
    >>> frame = {"members": [{"first": [9, 9, 9], "direction": [0, 1, 0], "holes": 5, "confidence": 0.8}]}
    >>> confidence_hits(frame, truth)
    [(0.8, True)]
    """
    return [(m["confidence"], hit) for m, hit in zip(frame["members"], exact_members(frame, truth))]


def _openings(photos: Sequence[PhotoImage], reading: Reading, truth: Mapping[str, Any]) -> dict[str, float]:
    """Sums of openings over the photos, of the detector and of the finished reading.

    `in_sight`: true ones; `detected`, `found`: of these, by the detector and by the members; `squares`:
    squared errors of those found, px^2; `kept`: openings of members; `kept_true`: of these, true ones.
    """
    by_file = {p["file"]: p for p in truth["photos"]}
    sums: dict[str, float] = dict.fromkeys(COUNTS, 0) | {"squares": 0.0}
    for photo in photos:
        placed = by_file[photo.name]
        listed = openings_of(placed, truth)
        if not listed:  # a truth without members has no stock either
            continue
        width = truth["width_mm"] / truth["pitch_mm"]
        seen = [h for i, h in listed if h["seen"] >= 6 and _facing(i, h, placed, truth, width) > 0.2]
        if not seen:
            continue
        xy, reach = _places(seen)
        found = detect_openings(lab_image(photo.colour[..., ::-1].copy()))
        d = cKDTree(np.c_[found["x"], found["y"]]).query(xy)[0] if len(found) else np.full(len(xy), np.inf)
        sums["in_sight"] += len(xy)
        sums["detected"] += int((d < reach).sum())
        kept = reading.openings.get(photo.name, np.zeros((0, 6)))
        kept = kept[kept[:, 5] == 0]
        if len(kept):
            d = cKDTree(kept[:, :2]).query(xy)[0]
            sums["found"] += int((d < reach).sum())
            sums["squares"] += float((d[d < reach] ** 2).sum())
            every, size = _places([h for _, h in listed])
            d, j = cKDTree(every).query(kept[:, :2])
            sums["kept"] += len(kept)
            sums["kept_true"] += int((d < size[j]).sum())
    return sums


def _places(holes: Sequence[Mapping[str, Any]]) -> tuple[FloatArray, FloatArray]:
    """Where openings are (n, 2), and how far from there one counts as found (n,), px."""
    return np.array([h["xy"] for h in holes]), np.maximum(2.0, 0.35 * np.array([h["px"] for h in holes]))


def _facing(
    number: int, hole: Mapping[str, Any], photo: Mapping[str, Any], truth: Mapping[str, Any], width: float
) -> float:
    """Cosine between the line of sight and the face's normal: how much the opening is foreshortened."""
    first, last = truth_ends(truth)[number]
    member = [*truth["sticks"], *truth.get("braces", [])][number]
    u = (last - first) / max(1, member["holes"] - 1)
    if real := member.get("real"):
        first, u = np.array(real["first"], float), np.array(real["dir"], float)
    n = np.array(hole["normal"], float)
    R, t = np.array(photo["R"]), np.array(photo["t"])
    v = R @ (first + hole["hole"] * u + 0.5 * width * n) + t
    return float(abs((R @ n) @ v) / np.linalg.norm(v))


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
