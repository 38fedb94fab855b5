"""The choice of a video's pictures in a process of its own: `python -m recon.image.video.worker`.

Arguments are the video, the folder for the pictures, the beginning of their names, and how many there should
be at least and at most.  Prints JSON lines: {"stage", "share"} as it goes on, and at the end {"pictures",
"note"} or {"problem"}.  What a codec does with a damaged or hostile file can at worst end this process.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from recon.errors import ReconError
from recon.geometry.arrays import FloatArray
from recon.image.timecode import MADE_BY, Timecode
from recon.image.video.choice import LEAST_WAY, choose, way_length
from recon.image.video.decoding import Picture, open_video, undecodable
from recon.image.video.movement import LONG_SIDE, CameraPath, PathFinder, half_view, off_axis
from recon.image.video.sharpness import edge_contrasts, reduced_grey, sharpness

MEMORY = 4 * 2**30  # bytes: a decoder keeps some 16 pictures, of 8K 50 MB each, in each of its threads' hands
CPU_S = 1800  # s; five minutes of the largest pictures, from memory
LOOKED_AT = 15.0  # pictures a second that are looked at: points move little enough to be followed
LOOKING = 0.75  # of the time; the rest goes into the pictures that were chosen
QUALITY = 95  # of JPEG; the video lost more than that
SOFTWARE, DESCRIPTION = 0x0131, 0x010E  # Exif tags (CIPA DC-008)

STILL = (
    "{name}: the camera hardly moves in it, so all of it shows the frame from one place; walk round the "
    "frame while you film, or take photos from three corners."
)


def _print(**line: object) -> None:
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


@dataclass(frozen=True)
class Looked:
    """What was seen of a video in its first pass.

    Attributes
    ----------
    number : (N,) int array
        Numbers of the pictures that were looked at.
    path : CameraPath
    sharp : (N,) array
        How sharp they are, 0..1.
    away : (N,) bool array
        Whether the camera looked away from what it looked at else.
    note : str
        What could not be used, in a sentence; else empty.
    """

    number: np.ndarray
    path: CameraPath
    sharp: FloatArray
    away: np.ndarray
    note: str


def look_through(path: Path) -> Looked:
    """Look at a video's pictures one after another: movement and sharpness."""
    contrasts: list[FloatArray] = []
    seen: list[tuple[int, float]] = []
    finder: PathFinder | None = None
    size = (1, 1)
    with open_video(path) as video:
        every = max(1, round(video.info.rate / LOOKED_AT))
        for picture in video.pictures(every):
            grey = reduced_grey(picture.bgr, LONG_SIDE)
            size = (grey.shape[1], grey.shape[0])
            finder = finder or PathFinder(size)
            finder.add(grey)
            contrasts.append(edge_contrasts(picture.bgr))
            seen.append((picture.number, picture.at_s))
            if video.info.count:
                share = min(1.0, video.decoded / video.info.count)
                _print(stage=f"looking through {video.name}", share=LOOKING * share)
        if finder is None:
            raise ReconError(undecodable(video.name, video.info))
        note, rate = "", video.info.rate
        if video.decoded < 0.95 * video.info.count - every:  # headers count a few too many
            note = (
                f"{video.name}: only the first {video.decoded / rate:.1f} of {video.info.count / rate:.1f} s "
                "can be decoded; the rest is damaged."
            )
    path_of_camera = finder.path()
    times = np.maximum.accumulate([at for _, at in seen])
    away = off_axis(path_of_camera) > half_view(size)
    return Looked(
        np.array([n for n, _ in seen]), path_of_camera, sharpness(np.array(contrasts), times), away, note
    )


def save(picture: Picture, video: str, path: Path) -> None:
    """Write a picture as a JPEG that says from which video it is, and from when in it."""
    exif = Image.Exif()
    exif[SOFTWARE] = MADE_BY
    exif[DESCRIPTION] = Timecode(video, picture.number, picture.at_s).text()
    image = Image.fromarray(cv2.cvtColor(picture.bgr, cv2.COLOR_BGR2RGB))
    image.save(path, "JPEG", quality=QUALITY, subsampling=0, exif=exif)


def keep_pictures(path: Path, folder: Path, stem: str, least: int, most: int) -> tuple[list[str], str]:
    """Choose a video's pictures and write them into a folder.

    Returns
    -------
    names : list of str
        In the order of the video.
    note : str
        What could not be used, in a sentence; else empty.

    Raises
    ------
    ReconError
        Where it gives none: it is no video, damaged, without movement ...
    """
    looked = look_through(path)
    if way_length(looked.path) < LEAST_WAY:
        raise ReconError(STILL.format(name=path.name))
    chosen = choose(looked.path, looked.sharp, min(least, most), most, np.flatnonzero(looked.away).tolist())
    wanted = [int(looked.number[k]) for k in chosen]
    names: list[str] = []
    with open_video(path) as video:
        for picture in video.pictures(only=set(wanted)):
            name = f"{stem}_{len(names) + 1:02d}.jpg"
            save(picture, path.name, folder / name)
            names.append(name)
            _print(
                stage=f"keeping pictures of {path.name}",
                share=LOOKING + (1 - LOOKING) * len(names) / len(wanted),
            )
    return names, looked.note


def main(argv: Sequence[str]) -> int:
    """Choose; whatever happens is said in a line of JSON."""
    from recon.limits import limit

    limit(memory=MEMORY, cpu_s=CPU_S)
    video, folder, stem, least, most = argv
    try:
        names, note = keep_pictures(Path(video), Path(folder), stem, int(least), int(most))
    except ReconError as error:
        _print(problem=str(error))
    except MemoryError:
        _print(problem=f"{Path(video).name}: there is not enough memory to decode it; save it smaller.")
    except OSError as error:
        _print(problem=f"{folder}: pictures cannot be written ({error.strerror}).")
    else:
        _print(pictures=names, note=note)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
