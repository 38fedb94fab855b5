"""How well frames are read: a folder of frames with truth in, a table out.

    python -m recon.bench reading FOLDER [FOLDER ...] [--photos 3 2 1] [--json FILE]

A FOLDER is one frame (photo_1.jpg ..., truth.json as sample_images has it) or holds several.  Members are
compared with the truth under any of the 24 turns and any shift; a member is exact when both its end holes
are.  Speed is a multiple of one cv2.SimpleBlobDetector pass over the same photos, in the same run.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import cv2
import numpy as np
from scipy.spatial import cKDTree

from recon.bench.score import frame_ends, same, score, truth_ends
from recon.errors import ReconError
from recon.frame.confidence import SURE
from recon.frame.files import frame_to_dict
from recon.frame.stock import Stock, load_stocks
from recon.geometry.arrays import FloatArray
from recon.geometry.lattice import rotations
from recon.image.openings import detect_openings, lab_image
from recon.image.photos import PhotoImage, load_photo

if TYPE_CHECKING:
    from recon.solve.reading import Reading

Result = TypeVar("Result")

IN_SIGHT = 3  # openings that must be in sight for a member to count as seen
MOST_SHIFTS = 5  # for each turn, the shifts with most votes that are looked at


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench reading", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument(
        "--photos", nargs="+", type=int, default=[3, 2, 1], help="how many of each frame's photos to use"
    )
    parser.add_argument("--json", type=Path, help="write all figures to this file, too")
    opts = parser.parse_args(args)
    frames = frames_in(opts.folders)
    stocks = load_stocks()
    rows: list[dict[str, Any]] = []
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


def measure(folder: Path, n: int, stocks: Mapping[str, Stock]) -> dict[str, Any]:
    """All figures of one frame read from its first n photos."""
    from recon import solve

    truth = json.loads((folder / "truth.json").read_text())
    names = [p["file"] for p in truth["photos"]][:n]
    photos = [load_photo(folder / name) for name in names]
    _, blob_s = _timed(lambda: _detect_blobs(photos))
    row: dict[str, Any] = {"frame": folder.name, "photos": n}
    try:
        reading, seconds = _timed(lambda: solve.read(photos, stocks=stocks))
    except ReconError as error:
        return (
            row
            | {"failed": str(error)}
            | score({"members": []}, truth, IN_SIGHT, names)
            | {"visible_exact": 0, "seconds": 0.0, "blob_s": blob_s}
            | {"members_sure": [], "set_aside": names, "openings": {}}
        )
    frame = frame_to_dict(reading.frame)
    return (
        row
        | score(frame, truth, IN_SIGHT, names)
        | {"seconds": seconds, "blob_s": blob_s, "members_sure": confidence_hits(frame, truth)}
        | {"set_aside": [name for name, _ in reading.set_aside]}
        | {"openings": _openings(photos, reading, truth)}
    )


def _detect_blobs(photos: Sequence[PhotoImage]) -> None:
    """One pass of OpenCV's blob detector over the photos, which times are compared with."""
    for photo in photos:
        cv2.SimpleBlobDetector.create().detect(cv2.cvtColor(photo.colour, cv2.COLOR_RGB2GRAY))


def _timed(work: Callable[[], Result]) -> tuple[Result, float]:
    """What a function returns, and the seconds that it takes."""
    start = time.perf_counter()
    value = work()
    return value, time.perf_counter() - start


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
    best: list[bool] = []
    true = truth_ends(truth)
    for turn in rotations():
        turned = [(turn @ a, turn @ b) for a, b in frame_ends(frame)]
        tally: dict[tuple[float, ...], int] = {}
        for a, _ in turned:
            for ends in true:
                for u in ends:
                    shift = tuple(np.round(u - a, 2).tolist())
                    tally[shift] = tally.get(shift, 0) + 1
        for shift in sorted(tally, key=tally.__getitem__, reverse=True)[:MOST_SHIFTS]:
            hits = [any(same((a + shift, b + shift), t) for t in true) for a, b in turned]
            if not best or sum(hits) > sum(best):
                best = hits
    return [(m["confidence"], hit) for m, hit in zip(frame["members"], best)]


COUNTS = ("in_sight", "detected", "kept", "kept_true", "found", "squares")


def _openings(photos: Sequence[PhotoImage], reading: Reading, truth: Mapping[str, Any]) -> dict[str, float]:
    """Sums of openings over the photos, of the detector and of the finished reading.

    `in_sight`: true ones; `detected`, `found`: of these, by the detector and by the members; `squares`:
    squared errors of those found, px^2; `kept`: openings of members; `kept_true`: of these, true ones.
    """
    by_file = {p["file"]: p for p in truth["photos"]}
    width = truth["width_mm"] / truth["pitch_mm"]
    sums: dict[str, float] = dict.fromkeys(COUNTS, 0) | {"squares": 0.0}
    for photo in photos:
        placed = by_file[photo.name]
        seen = [h for h in placed["holes"] if h["seen"] >= 6 and _facing(h, placed, truth, width) > 0.2]
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
            every, size = _places(placed["holes"])
            d, j = cKDTree(every).query(kept[:, :2])
            sums["kept"] += len(kept)
            sums["kept_true"] += int((d < size[j]).sum())
    return sums


def _places(holes: Sequence[Mapping[str, Any]]) -> tuple[FloatArray, FloatArray]:
    """Where openings are (n, 2), and how far from there one counts as found (n,), px."""
    return np.array([h["xy"] for h in holes]), np.maximum(2.0, 0.35 * np.array([h["px"] for h in holes]))


def _facing(
    hole: Mapping[str, Any], photo: Mapping[str, Any], truth: Mapping[str, Any], width: float
) -> float:
    """Cosine between the line of sight and the face's normal: how much the opening is foreshortened."""
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


def _line(row: Mapping[str, Any]) -> str:
    """One frame's figures."""
    text = (
        f"{row['frame']:12s} {row['photos']} photos: {row['exact']:2d} exact {row['wrong']:2d} wrong "
        f"{row['missing']:2d} missing {row['extra']:2d} extra; "
        f"in sight {row.get('visible_exact', 0)}/{row.get('visible', 0)}"
    )
    if sums := row["openings"]:
        text += (
            f"; openings {sums['found']}/{sums['in_sight']}, "
            f"rms {np.sqrt(sums['squares'] / max(sums['found'], 1)):.2f} px"
            f"; {row['seconds']:.1f} s = {row['seconds'] / row['blob_s']:.0f} x blobs"
        )
    if row.get("failed"):
        text += "; " + row["failed"][:80]
    if row["set_aside"]:
        text += "; aside " + ", ".join(row["set_aside"])
    return text


def _print_totals(rows: Sequence[Mapping[str, Any]], n: int) -> None:
    """Print the sums over all frames."""

    def total(key: str) -> float:
        return sum(row.get(key, 0) for row in rows)

    print(f"\n{n} photos, {len(rows)} frames")
    print(
        f"  members: {total('members')}, exact {total('exact')}, wrong {total('wrong')}, "
        f"missing {total('missing')}, extra {total('extra')}"
    )
    print(
        f"  in sight: {total('visible_exact')} of {total('visible')} exact "
        f"({100 * total('visible_exact') / max(1, total('visible')):.1f} %)"
    )
    print(f"  frames that need no edit: {sum(row['edits'] == 0 for row in rows)} of {len(rows)}")
    _print_openings({key: sum(row["openings"].get(key, 0) for row in rows) for key in COUNTS})
    sure = [pair for row in rows for pair in row["members_sure"]]
    for low, high in ((SURE, 1.01), (0.5, SURE), (0.0, 0.5)):
        part = [exact for confidence, exact in sure if low <= confidence < high]
        if part:
            print(
                f"  confidence {low:.1f} to {min(high, 1):.1f}: {len(part)} members, "
                f"{100 * np.mean(part):.1f} % exact"
            )
    seconds, blob_s = total("seconds"), total("blob_s")
    print(
        f"  {seconds / max(1, n * len(rows)):.1f} s a photo, "
        f"{seconds / max(blob_s, 1e-9):.0f} x one blob-detector pass\n",
        flush=True,
    )


def _print_openings(sums: Mapping[str, float]) -> None:
    """Print shares of openings; nothing where none was in sight."""
    if not sums["in_sight"]:
        return
    print(
        f"  openings in sight: detected {sums['detected'] / sums['in_sight']:.3f}; "
        f"kept by members {sums['found'] / sums['in_sight']:.3f}, "
        f"precision {sums['kept_true'] / max(1, sums['kept']):.3f}, "
        f"rms {np.sqrt(sums['squares'] / max(1, sums['found'])):.2f} px"
    )


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
