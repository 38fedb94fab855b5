"""Pictures of the reading, stage by stage, and the numbers behind them: for whoever works on the solver.

One picture for each photo and stage, in the pixels of the working copy brought to a size for looking at:

    PHOTO_0_numbers.txt     all numbers of the photo
    PHOTO_1_openings.jpg    every detection, coloured by its score
    PHOTO_2_rows.jpg        the rows believed, by axis, with their evidence in nats
    PHOTO_3_axes.jpg        the three directions of the camera, and the vanishing points that are in the
    picture
    PHOTO_4_lattice.jpg     the best lattice guess of each row projected back, with its probability
    PHOTO_5_members.jpg     the members: openings predicted and hit, missed, at a lap, hidden; and their boxes

Stages 1 to 4 show the photo read by itself, stage 5 the frame read from all photos.  A photo that got no
further has the stages up to there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import cv2
import numpy as np

from recon.errors import ReconError
from recon.files import why_not_written, write_bytes_atomic, write_text_atomic
from recon.solve.debug.members_picture import members_picture
from recon.solve.debug.numbers import numbers_text
from recon.solve.debug.photo_pictures import axes_picture, lattice_picture, openings_picture, rows_picture
from recon.solve.evidence.scene import Scene
from recon.solve.photo.photo_reading import PhotoReading

STAGES = ("numbers", "openings", "rows", "axes", "lattice", "members")
JPEG_QUALITY = 88
LONGEST_BASE = 80  # letters of a photo's name in its files' names


def write_stages(folder: str | Path, readings: Sequence[PhotoReading], scene: Scene) -> list[Path]:
    """Write the pictures and the numbers of every photo; returns the files in order.

    Parameters
    ----------
    folder : made where it does not exist
    readings : of each photo by itself, with its own lattice
    scene : the photos used, with their cameras on the frame's lattice; the frame's members as candidates,
        in the order of the labels; the pictures of all photos

    Raises
    ------
    ReconError
        The folder holds such files already, or cannot be written; then nothing is left in it.
    """
    folder = Path(folder)
    refuse_used_folder(folder)
    there, written = folder.exists(), []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for reading, base in zip(readings, _bases([r.name for r in readings])):
            written.append(folder / f"{base}_0_numbers.txt")
            write_text_atomic(written[-1], numbers_text(reading, scene))
            for k, picture in enumerate(stage_pictures(reading, scene), 1):
                written.append(folder / f"{base}_{k}_{STAGES[k]}.jpg")
                _, jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
                write_bytes_atomic(written[-1], jpeg.tobytes())
    except OSError as error:
        raise why_not_written(folder, error) from error
    except ReconError:
        for path in written:
            path.unlink(missing_ok=True)
        if not there:
            folder.rmdir()
        raise
    return written


def refuse_used_folder(folder: str | Path) -> None:
    """Refuse a folder that holds files of an earlier reading's stages.

    Raises
    ------
    ReconError
        It does.
    """
    folder = Path(folder)
    ours = re.compile(r".+_[0-5]_(" + "|".join(STAGES) + r")\.(jpg|txt)")
    there = sorted(p.name for p in folder.iterdir() if ours.fullmatch(p.name)) if folder.is_dir() else []
    if there:
        raise ReconError(
            f"{folder}: already holds stages of a reading ({there[0]} and so on); "
            "give --debug another folder, or empty this one."
        )


def stage_pictures(reading: PhotoReading, scene: Scene) -> list[np.ndarray]:
    """The pictures of stages 1, 2, ... of one photo, as far as it got.

    Parameters
    ----------
    reading : the photo by itself
    scene : with its picture

    Returns
    -------
    List of (H', W', 3) uint8 BGR.
    """
    image, lattice = scene.pictures[reading.name], reading.lattice
    out = [openings_picture(image, reading)]
    if lattice is not None:
        out += [
            rows_picture(image, reading, lattice),
            axes_picture(image, lattice),
            lattice_picture(image, reading, lattice),
        ]
    out += [members_picture(image, scene, photo) for photo in scene.photos if photo.name == reading.name]
    return out


def _bases(names: Iterable[str]) -> list[str]:
    """A base of its own for each photo's files: the photo's name, with a number where two would be one."""
    taken: list[str] = []
    for name in names:
        stem, again = Path(name.replace("/", "_")).stem[:LONGEST_BASE], 1
        while (base := stem if again == 1 else f"{stem}-{again}").casefold() in (t.casefold() for t in taken):
            again += 1
        taken.append(base)
    return taken
