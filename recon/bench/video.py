"""How well frames are read from videos walked round them, beside photos of the same frames.

    python -m recon.bench video FOLDER [FOLDER ...] [--pictures own 6 12] [--photos 3]

A FOLDER is one frame with its video, photo_1.jpg ... and truth.json, as `python -m tests.render --kind clip`
makes them, or holds several.  Of each video the table tells how many pictures were chosen, the median blur of
those and of all, the widest gap round the frame, how many members are exact, how far the cameras lie off
their places, and the processor time of the choice and of the reading.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from recon.bench.reading import IN_SIGHT, confidence_hits, frames_in, measure
from recon.bench.reading_table import line, totals
from recon.bench.score import score
from recon.errors import ReconError
from recon.frame.confidence import SURE
from recon.frame.files import frame_to_dict
from recon.frame.stock import Stock, load_stocks
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.image.photos import PhotoImage, load_photos
from recon.image.video.choice import LEAST, MOST
from recon.image.video.chosen import choose_pictures

Truth = Mapping[str, Any]


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench video", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument(
        "--pictures", nargs="+", default=["own"], help="how many to choose; own: as many as it says"
    )
    parser.add_argument("--photos", type=int, default=3, help="photos to compare with; 0 for none")
    opts = parser.parse_args(args)
    stocks = load_stocks()
    frames = [f for f in frames_in(opts.folders) if "clip" in _truth(f)]
    for number in opts.pictures:
        rows = []
        for folder in frames:
            rows.append(measure_video(folder, None if number == "own" else int(number), stocks))
            print(video_line(rows[-1]), flush=True)
        print(video_sums(rows), flush=True)
    if opts.photos:
        rows = []
        for folder in frames:
            rows.append(measure(folder, opts.photos, stocks))
            print(line(rows[-1]), flush=True)
        print(totals(rows, opts.photos), flush=True)
    return 0


def _truth(folder: Path) -> Truth:
    truth: Truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return truth


def measure_video(folder: Path, number: int | None, stocks: Mapping[str, Stock]) -> dict[str, Any]:
    """All figures of one frame read from its video, by so many pictures; None: as many as are chosen."""
    from recon import solve

    truth = _truth(folder)
    row: dict[str, Any] = {"frame": folder.name, "failed": "", "off": np.nan, "sure": (0, 0), "aside": 0}
    with tempfile.TemporaryDirectory() as place:
        cpu = _cpu_s()
        kept = choose_pictures(
            folder / truth["clip"]["file"], place, least=number or LEAST, most=number or MOST
        )
        row["choice_s"] = _cpu_s() - cpu
        photos, _ = load_photos(kept.paths)
    row |= _of_choice(photos, truth) | {"pictures": len(photos)}
    names = [p["file"] for p in truth["photos"]]
    cpu = _cpu_s()
    try:
        reading = solve.read(photos, stocks=stocks)
    except ReconError as error:
        return (
            row
            | score({"members": []}, truth, IN_SIGHT, names)
            | {"failed": str(error), "cpu_s": _cpu_s() - cpu}
        )
    frame = frame_to_dict(reading.frame)
    sure = [hit for confidence, hit in confidence_hits(frame, truth) if confidence >= SURE]
    row |= {"off": camera_error(reading.cameras, photos, truth), "sure": (sum(sure), len(sure))}
    row |= {"aside": len(reading.set_aside), "cpu_s": _cpu_s() - cpu}
    return row | score(frame, truth, IN_SIGHT, names)


def _cpu_s() -> float:
    """Processor time of this process and those that it began and that have ended, s."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def _of_choice(photos: Sequence[PhotoImage], truth: Truth) -> dict[str, float]:
    """Median blur of the pictures chosen and of all, px, and the widest gap of the way, degrees."""
    frames = truth["clip"]["frames"]
    numbers = [p.timecode.number for p in photos if p.timecode]
    blur = np.array([f["blur_px"] for f in frames])
    way = np.array([f["way"] for f in frames])
    places = np.array([_place(f) for f in frames])
    whole = float(np.ptp(_turns(places)))
    gaps = np.diff(np.concatenate([[0.0], np.sort(way[numbers]), [1.0]]))
    return {
        "blur": float(np.median(blur[numbers])),
        "blur_all": float(np.median(blur)),
        "gap": float(gaps.max()) * whole,
        "way": whole,
    }


def _turns(places: FloatArray) -> FloatArray:
    """How far round their own circle's upright axis places are, degrees."""
    middle = _middle_of_circle(places[:, :2])
    way = places[:, :2] - middle
    return np.asarray(np.degrees(np.unwrap(np.arctan2(way[:, 1], way[:, 0]))))


def _middle_of_circle(points: FloatArray) -> FloatArray:
    """The middle of the circle through points (N, 2), by least squares (Kasa 1976)."""
    system = np.column_stack([2 * points, np.ones(len(points))])
    return np.asarray(np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)[0][:2])


def _place(record: Mapping[str, Any]) -> FloatArray:
    """Where the camera of a truth file's record stood, pitches."""
    return np.asarray(-np.array(record["R"]).T @ np.array(record["t"]))


def camera_error(cameras: Mapping[str, Camera], photos: Sequence[PhotoImage], truth: Truth) -> float:
    """How far the cameras of a reading lie off their true places, root mean square, pitches.

    The reading's world is laid on the true one as well as it can be (Kabsch's method); nan for fewer than
    four cameras.
    """
    frames = truth["clip"]["frames"]
    used = [p for p in photos if p.name in cameras and p.timecode]
    if len(used) < 4:
        return float("nan")
    read = np.array([cameras[p.name].centre for p in used])
    true = np.array([_place(frames[p.timecode.number]) for p in used if p.timecode])
    a, b = read - read.mean(axis=0), true - true.mean(axis=0)
    u, _, vt = np.linalg.svd(b.T @ a)
    turn = u @ np.diag([1, 1, np.sign(np.linalg.det(u @ vt))]) @ vt
    return float(np.sqrt(((b - a @ turn.T) ** 2).sum(axis=1).mean()))


def video_line(row: Mapping[str, Any]) -> str:
    """One frame's figures, as `measure_video` gives them."""
    text = (
        f"{row['frame']:10s} {row['pictures']:2d} pictures: {row['exact']:2d} exact {row['wrong']:2d} wrong "
        f"{row['missing']:2d} missing {row['extra']:2d} extra; sure {row['sure'][0]}/{row['sure'][1]}; "
        f"blur {row['blur']:.1f} px of {row['blur_all']:.1f}; gap {row['gap']:.0f} of "
        f"{row['way']:.0f} degrees; aside {row['aside']}; cameras off {row['off']:.2f}; "
        f"CPU {row['choice_s']:.0f} + {row['cpu_s']:.0f} s"
    )
    return text + (f"; {row['failed'][:90]}" if row["failed"] else "")


def video_sums(rows: Sequence[Mapping[str, Any]]) -> str:
    """The sums over all frames."""

    def total(key: str) -> float:
        return sum(row[key] for row in rows)

    return (
        f"\n{len(rows)} videos, {total('pictures')} pictures: {total('exact')} of {total('members')} exact, "
        f"wrong {total('wrong')}, missing {total('missing')}, extra {total('extra')}; no edit "
        f"{sum(row['edits'] == 0 for row in rows)}; sure and right {sum(row['sure'][0] for row in rows)} of "
        f"{sum(row['sure'][1] for row in rows)}; set aside {total('aside')}; CPU {total('choice_s'):.0f} + "
        f"{total('cpu_s'):.0f} s\n"
    )
