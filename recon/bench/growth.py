"""How the time of a reading grows with a frame's members: made-up openings, no photograph.

    python -m recon.bench growth [--members 10 20 40 80 160] [--photos 3]

Scaffolds are seen from all round, in photos of 4 megapixels, of frames of more than MEMBERS members up to 12:
else holes would be too small to be read.  A member counts as in sight where openings of three of its holes or
more were given; the time is that of the processor, first for the photos by themselves, then for all together;
memory is the peak of the reading, not of drawing the photos.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from recon.bench.made_photos import Shot, camera_round, draw, shoot
from recon.bench.memory import forget_peak, peak_mb
from recon.bench.scaffold import scaffold
from recon.bench.score import score
from recon.errors import ReconError
from recon.frame.files import frame_to_dict
from recon.frame.model import Frame
from recon.frame.stock import load_stocks
from recon.image.photos import PhotoImage

# Members -> bays along x and y, and levels.
SCAFFOLDS = {
    10: (1, 1, 1),
    20: (2, 1, 2),
    40: (3, 1, 4),
    80: (4, 1, 7),
    160: (6, 1, 10),
    300: (9, 1, 13),
}
SIZE = (2400, 1800)  # px: 4 megapixels, worked on as they are, of a frame of at most MEMBERS members
MOST_SIZE = (4000, 3000)  # px: 12 megapixels, the largest photos that are not reduced
MEMBERS = 60  # from which a maker takes more pixels, as many more as there are members; this project's choice
IN_SIGHT = 3  # holes from which a member counts as in sight
ELEVATIONS = (18.0, 28.0, 38.0)  # degrees, photo after photo


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m recon.bench growth", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("--members", nargs="+", type=int, choices=SCAFFOLDS, default=[10, 20, 40, 80, 160])
    parser.add_argument("--photos", type=int, default=3)
    opts = parser.parse_args(args)
    first = 0.0
    for n in opts.members:
        figures = measure(n, opts.photos)
        first = first or figures["alone"] + figures["together"]
        print(
            "{members:4.0f} members, {exact:4.0f} exact, {wrong:.0f} wrong, {extra:.0f} extra; "
            "{sight:4.0f} in sight, {sight_exact:4.0f} of them exact; CPU s: photos alone {alone:.2f}, "
            "together {together:.2f}; {ratio:.1f} times the first; {mb:.0f} MB".format(
                ratio=(figures["alone"] + figures["together"]) / first, **figures
            ),
            flush=True,
        )
    return 0


def measure(members: int, photos: int) -> dict[str, float]:
    """Figures of one reading of a scaffold of about so many members."""
    from recon import solve

    frame = scaffold(*SCAFFOLDS[members])
    shots, images = made_photos(frame, photos)
    forget_peak()  # that of drawing
    times = [time.process_time()]

    def progress(stage: str, _: float) -> None:
        if stage == "putting the photos together":
            times.append(time.process_time())

    reading = None
    try:
        detected = {image.name: shot.openings for image, shot in zip(images, shots)}
        reading = solve.read(images, stocks=load_stocks(), progress=progress, detected=detected)
    except ReconError as error:
        print(error)
    times.append(time.process_time())
    mb = peak_mb()
    found = frame_to_dict(reading.frame) if reading else {"members": []}
    figures = score(found, truth_of(frame, shots), IN_SIGHT)
    return {
        "members": len(frame.members),
        "sight": figures["visible"],
        "exact": figures["exact"],
        "sight_exact": figures["visible_exact"],
        "wrong": figures["wrong"],
        "extra": figures["extra"],
        "alone": times[1] - times[0],
        "together": times[-1] - times[1],
        "mb": mb,
    }


def size_for(frame: Frame) -> tuple[int, int]:
    """Width and height, px, of the photos of a frame: from SIZE to MOST_SIZE, as it has more members.

    Examples
    --------
    >>> from recon.bench.scaffold import scaffold
    >>> [size_for(scaffold(*SCAFFOLDS[n])) for n in (10, 80, 160)]
    [(2400, 1800), (3113, 2335), (4000, 3000)]
    """
    grown = np.sqrt(max(1.0, len(frame.members) / MEMBERS)) * np.array(SIZE)
    width, height = np.minimum(grown, MOST_SIZE).astype(int).tolist()
    return width, height


def made_photos(frame: Frame, count: int) -> tuple[list[Shot], list[PhotoImage]]:
    """Openings and pictures of a frame from `count` places round it."""
    shots, images = [], []
    size = size_for(frame)
    for k in range(count):
        azimuth = 25.0 + 360.0 / max(count, 8) * k * (3 if count <= 3 else 1)
        camera = camera_round(frame, azimuth, ELEVATIONS[k % len(ELEVATIONS)], f=1.1 * size[0], size=size)
        shots.append(shoot(frame, camera, seed=k, clutter=300, size=size))
        colour = np.asarray(cv2.cvtColor(draw(frame, camera, size, seed=k), cv2.COLOR_BGR2RGB), np.uint8)
        name = f"photo_{k + 1}.png"
        images.append(PhotoImage(Path(name), name, colour, size, None, None, ""))
    return shots, images


def truth_of(frame: Frame, shots: Sequence[Shot]) -> dict[str, object]:
    """A frame along the axes, and the openings of its photos, as `truth.json` has them."""
    sticks = [
        {"at": list(m.first), "axis": int(np.abs(m.direction).argmax()), "holes": m.holes}
        for m in frame.members
    ]
    photos = [{"holes": [{"stick": i, "hole": k} for i, _, k in s.source.tolist() if i >= 0]} for s in shots]
    return {"sticks": sticks, "photos": photos, "pitch_mm": frame.pitch_mm}
