"""The pictures chosen from a video, as files; the choice runs in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path

import recon
from recon.errors import ReconError
from recon.image.video.choice import LEAST, MOST
from recon.image.video.files import check_file

# A process that says nothing for so long hangs in a codec, s: a picture takes a second at the most, and a
# machine under load some times that.  This project's choice.
PATIENCE_S = 120.0
LONGEST_STEM = 60  # characters of the video's name that its pictures' names begin with


@dataclass(frozen=True)
class ChosenPictures:
    """What was kept of a video.

    Attributes
    ----------
    paths : list of Path
        Its pictures, in the order of the video.
    note : str
        What could not be used, in a sentence; else empty.
    """

    paths: list[Path]
    note: str = ""


def choose_pictures(
    video: str | Path,
    folder: str | Path,
    *,
    least: int = LEAST,
    most: int = MOST,
    taken: Collection[str] = (),
    progress: Callable[[str, float], object] | None = None,
    started: Callable[[subprocess.Popen[str]], object] | None = None,
) -> ChosenPictures:
    """Keep the sharpest pictures of a video, from places well spread over its way, as photos.

    Parameters
    ----------
    video : str or Path
    folder : str or Path
        That the pictures are written into, as `NAME_01.jpg` and so on; made where it is not there.
    least, most : int
        Pictures that are kept: fewer than `least` only where the way shows no more.
    taken : collection of str
        Names that they must not have, beside those of the folder.
    progress : callable, optional
        Called with words and the share that is done, 0..1.
    started : callable, optional
        Called with the process that works: to end it stops the work.

    Raises
    ------
    ReconError
        Naming the video and the remedy, where it gives none: it is no video, damaged, too long or too large,
        in a codec that is not known, or the camera does not move in it.  Nothing is left of its pictures.
    """
    video, folder = Path(video).absolute(), Path(folder).absolute()
    check_file(video)
    folder.mkdir(parents=True, exist_ok=True)
    names = {*taken, *(path.name for path in folder.iterdir())}
    stem = _free_stem(names, video.stem[:LONGEST_STEM].strip(" .") or "video")
    answer = _ask(video, [str(video), str(folder), stem, str(least), str(most)], progress, started)
    if "pictures" in answer:
        return ChosenPictures([folder / name for name in answer["pictures"]], answer["note"])
    for path in folder.glob("*.jpg"):
        if path.name.startswith(f"{stem}_"):
            path.unlink(missing_ok=True)
    raise ReconError(
        answer.get("problem")
        or f"{video.name}: its codec failed on it: it is damaged. Save it as MP4 (H.264), or copy it again."
    )


def _free_stem(taken: Collection[str], stem: str) -> str:
    """A beginning of names that none of the names has."""
    free, again = stem, 2
    while any(name.casefold().startswith(f"{free}_".casefold()) for name in taken):
        free, again = f"{stem} ({again})", again + 1
    return free


def _ask(
    video: Path,
    arguments: list[str],
    progress: Callable[[str, float], object] | None,
    started: Callable[[subprocess.Popen[str]], object] | None,
) -> dict:
    """The last line of the process; empty where it ended without an answer."""
    here = str(Path(recon.__file__).parents[1])
    path = os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH")])])
    process = subprocess.Popen(
        [sys.executable, "-m", "recon.image.video.worker", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=os.environ | {"PYTHONPATH": path},
    )
    answer: dict = {}
    try:
        if started:
            started(process)
        assert process.stdout is not None
        while line := _line(process):
            try:
                answer = json.loads(line)
            except ValueError:  # it was ended within a line
                break
            if progress and "share" in answer:
                progress(answer["stage"], answer["share"])
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()
    return answer if "share" not in answer else {}


def _line(process: subprocess.Popen[str]) -> str:
    """The process's next line; it is ended where none comes for PATIENCE_S."""
    killer = threading.Timer(PATIENCE_S, process.kill)
    killer.start()
    try:
        assert process.stdout is not None
        return process.stdout.readline()
    finally:
        killer.cancel()
