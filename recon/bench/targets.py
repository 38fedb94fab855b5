"""What a reading takes against its targets, as ratios within one run; and how it grows.

    python -m recon.bench targets [FOLDER] [--pixels 0.75 ... 48] [--photos 1 2 3 6 20] [--members 10 160]

FOLDER is one frame: photo_1.jpg ... and truth.json (default: sample_images/oddment).  Its photos are read as
they are, against one cv2.SimpleBlobDetector pass over them; made smaller and larger, to so many megapixels;
and so many of them, more than there are being the same ones with their borders cut off a little.  Members are
those of made-up scaffolds (`growth`).  Each reading has a process of its own, with worker processes as `recon
read` has them, and once without: seconds of the processor of all of these and by the clock, and the sum of
their peak memory.  The clock, and what a target says of it, means something on a quiet machine.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
from PIL import Image

from recon.bench.growth import SCAFFOLDS
from recon.bench.growth import measure as measure_members
from recon.bench.memory import peak_mb
from recon.bench.score import exact_members
from recon.errors import ReconError
from recon.frame.files import frame_to_dict
from recon.frame.stock import load_stocks
from recon.image.photos import load_photos
from recon.limits import one_thread_of_algebra

T = TypeVar("T")

THREE = 3  # photos that the targets speak of
CUT = 0.01  # of a side, cut off each border of the first copies of a photo, twice that of the next ...
QUALITY = 92  # of the JPEGs of copies
MOST_MB = 1200.0
HELP_S, FIRST_ROWS_S, WHOLE_S = 0.15, 1.0, 6.0


@dataclass(frozen=True)
class Figures:
    """What one reading took.

    Attributes
    ----------
    cpu, wall, first : float
        Seconds of the processor in all processes, by the clock, and by the clock until the first rows of a
        photo are known.
    mb : float
        Sum of the processes' peak memory.
    exact, members : int
        Exact members, of how many.
    """

    cpu: float
    wall: float
    first: float
    mb: float
    exact: int
    members: int

    def __str__(self) -> str:
        return (
            f"CPU {self.cpu:6.1f} s, clock {self.wall:5.1f} s, first rows {self.first:4.1f} s, "
            f"{self.mb:5.0f} MB, {self.exact} of {self.members} exact"
        )


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench targets", description=(__doc__ or "").splitlines()[0]
    )
    add = parser.add_argument
    add("folder", nargs="?", type=Path, default=Path("sample_images/oddment"))
    add(
        "--pixels",
        nargs="*",
        type=float,
        default=[0.75, 1.5, 3, 6, 12, 24, 48],
        help="megapixels of three photos",
    )
    add("--photos", nargs="*", type=int, default=[1, 2, 3, 6, 20])
    add("--members", nargs="*", type=int, choices=SCAFFOLDS, default=[10, 160])
    opts = parser.parse_args(args)
    photos = sorted(opts.folder.glob("photo_*.jpg"))
    if len(photos) < THREE:
        raise ReconError(f"{opts.folder} has {len(photos)} photos; give a frame with {THREE} or more")
    one_thread_of_algebra()  # as `recon read`: the processes that are measured load NumPy after this
    _print_help_time()
    three = _in_own_process(read_photos, photos[:THREE], opts.folder / "truth.json")
    blobs = blob_pass_s(photos[:THREE])
    print(f"three photos as they are: {three}")
    _print_target("  passes of a blob detector", three.cpu / blobs, 15)
    _print_target("  clock, s", three.wall, WHOLE_S)
    _print_target("  clock to the first rows, s", three.first, FIRST_ROWS_S)
    print(f"in one process: {_in_own_process(read_photos, photos[:THREE], opts.folder / 'truth.json', 1)}")
    with tempfile.TemporaryDirectory() as folder:
        _print_pixels(photos[:THREE], opts.folder / "truth.json", opts.pixels, Path(folder))
        _print_photos(photos, opts.folder / "truth.json", opts.photos, Path(folder))
    _print_members(opts.members)
    return 0


def _print_target(what: str, value: float, most: float) -> None:
    print(f"{what}: {value:.2f}; target {most:g}: {'met' if value <= most else 'missed'}", flush=True)


def _print_help_time() -> None:
    """The time of `recon --help`, the best of five."""
    times = []
    for _ in range(5):
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-m", "recon", "--help"], check=True, capture_output=True)
        times.append(time.perf_counter() - begun)
    _print_target("recon --help, clock, s", min(times), HELP_S)


def _print_pixels(photos: Sequence[Path], truth: Path, megapixels: Sequence[float], folder: Path) -> None:
    found: dict[float, Figures] = {}
    for size in megapixels:
        copies = [resized(photo, size, folder / f"{size:g}_{photo.name}") for photo in photos]
        found[size] = _in_own_process(read_photos, copies, truth)
        print(f"three photos of {size:g} megapixels: {found[size]}", flush=True)
    if {3, 12} <= found.keys():
        _print_target("  12 over 3 megapixels, CPU", found[12].cpu / found[3].cpu, 2)
        _print_target("  12 over 3 megapixels, clock", found[12].wall / found[3].wall, 2)
        _print_target("  memory of 12 megapixels, MB", found[12].mb, MOST_MB)


def _print_photos(photos: Sequence[Path], truth: Path, counts: Sequence[int], folder: Path) -> None:
    found: dict[int, Figures] = {}
    for count in counts:
        some = [
            cut(photos[k % THREE], k // THREE, folder / f"{count}_photo_{k + 1}.jpg") for k in range(count)
        ]
        found[count] = _in_own_process(read_photos, some, truth)
        print(f"{count} photos: {found[count]}", flush=True)
    if {THREE, 20} <= found.keys():
        _print_target("  20 over three photos, CPU", found[20].cpu / found[THREE].cpu, 8)
        _print_target("  20 over three photos, clock", found[20].wall / found[THREE].wall, 8)


def _print_members(members: Sequence[int]) -> None:
    found = {n: _in_own_process(measure_members, n, THREE) for n in members}
    for n, row in found.items():
        cpu = row["alone"] + row["together"]
        print(
            f"{n} members ({row['members']:.0f} made up, {row['sight']:.0f} in sight): CPU {cpu:.1f} s, "
            f"{row['mb']:.0f} MB, {row['exact']:.0f} exact, {row['sight_exact']:.0f} of those in sight, "
            f"{row['wrong']:.0f} wrong, {row['extra']:.0f} extra",
            flush=True,
        )
    if {10, 160} <= found.keys():
        few, many = (found[n]["alone"] + found[n]["together"] for n in (10, 160))
        _print_target("  160 over 10 members, CPU", many / few, 12)
        share = 1 - found[160]["sight_exact"] / found[160]["sight"]
        _print_target("  share not exact of those in sight, of 160", share, 0.05)


def _in_own_process(function: Callable[..., T], *args: object) -> T:
    """What a function gives, called in a new process."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(function, *args).result()


def read_photos(paths: Sequence[Path], truth: Path, processes: int | None = None) -> Figures:
    """Read photos and say what that took; meant for a process of its own.

    processes : in which they are read together; None: as many as `recon read` has
    """
    from recon import solve
    from recon.solve.each_photo import workers_for

    begun, cpu, first = time.perf_counter(), _cpu_s(), []
    workers = workers_for(len(paths), processes)

    def seen(_: str, __: object, rows: Sequence[object]) -> None:
        if rows:
            first.append(time.perf_counter() - begun)

    exact: list[bool] = []
    photos, _ = load_photos(paths)
    sticks = json.loads(truth.read_text())
    try:
        reading = solve.read(photos, stocks=load_stocks(), seen=seen, workers=workers)
    except ReconError as error:
        print(error)
        reading = None
    mb = peak_mb() + sum(peak_mb(pid) for pid in workers.pids)
    workers.close()
    cpu, wall = _cpu_s() - cpu, time.perf_counter() - begun
    if reading is not None:
        exact = exact_members(frame_to_dict(reading.frame), sticks)
    return Figures(cpu, wall, first[0] if first else np.nan, mb, sum(exact), len(sticks["sticks"]))


def _cpu_s() -> float:
    """Seconds of the processor of this process and those that it began and that have ended."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def blob_pass_s(paths: Sequence[Path]) -> float:
    """Seconds of the processor for one default pass of cv2.SimpleBlobDetector over photos, best of three."""
    pictures = [np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)) for path in paths]
    detector = cv2.SimpleBlobDetector.create()
    times = []
    for _ in range(3):
        begun = time.process_time()
        for picture in pictures:
            detector.detect(picture)
        times.append(time.process_time() - begun)
    return min(times)


def resized(photo: Path, megapixels: float, to: Path) -> Path:
    """A copy of a photo with about so many megapixels, with its EXIF."""
    with Image.open(photo) as image:
        scale = np.sqrt(megapixels * 1e6 / (image.width * image.height))
        size = round(image.width * scale), round(image.height * scale)
        image.resize(size, Image.Resampling.LANCZOS).save(to, quality=QUALITY, exif=exif_of(image))
    return to


def cut(photo: Path, times: int, to: Path) -> Path:
    """A copy of a photo with a little cut off all round, so that its middle stays; with EXIF if whole."""
    with Image.open(photo) as image:
        x, y = round(image.width * CUT * times), round(image.height * CUT * times)
        part = image.crop((x, y, image.width - x, image.height - y))
        part.save(to, quality=QUALITY, exif=b"" if times else exif_of(image))
    return to


def exif_of(image: Image.Image) -> bytes:
    """The EXIF of a picture as it stands in its file."""
    return bytes(image.info.get("exif", b""))
