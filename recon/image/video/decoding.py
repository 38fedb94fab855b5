"""A video's pictures one after another, upright; never more than one of them in memory."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from recon.errors import ReconError
from recon.image.photos import MIN_LONG_SIDE, MIN_SIDE
from recon.image.video.files import check_file

# A walk round a frame takes half a minute.  This project's choice.
MOST_SECONDS = 300.0
MOST_PIXELS = 36_000_000  # of one picture: 8192 x 4320, the largest that cameras take (8K, from memory)
MOST_RATE = 1000.0  # pictures a second that a header may say
USUAL_RATE = 30.0  # where it says none


@dataclass(frozen=True)
class VideoInfo:
    """What a video's header says.

    Attributes
    ----------
    size : tuple of int
        Width and height of its pictures as they are stored, px.
    rate : float
        Pictures a second.
    count : int
        Pictures in all; 0 where the header does not say.
    codec : str
        Its four letters, as far as they can be shown.
    """

    size: tuple[int, int]
    rate: float
    count: int
    codec: str


@dataclass(frozen=True, eq=False)
class Picture:
    """One picture of a video.

    Attributes
    ----------
    number : int
        From 0.
    at_s : float
        Since the video's beginning, s.
    bgr : (H, W, 3) uint8 array
    """

    number: int
    at_s: float
    bgr: np.ndarray


class Video:
    """An open video; `open_video` opens it."""

    def __init__(self, name: str, capture: cv2.VideoCapture, info: VideoInfo) -> None:
        self.name, self.info, self._capture = name, info, capture
        self.decoded = 0  # pictures passed so far

    def pictures(self, every: int = 1, only: Collection[int] | None = None) -> Iterator[Picture]:
        """Its pictures from the first on, as far as they can be decoded.

        Parameters
        ----------
        every : int
            Pictures from one that is given to the next.
        only : collection of int, optional
            Numbers of those that are given, in place of `every`.

        Raises
        ------
        ReconError
            Where there are more than the header says and than are read.
        """
        most = int(MOST_SECONDS * self.info.rate) + 1
        last = max(only, default=-1) if only is not None else most
        while self.decoded <= last and self._capture.grab():
            number, self.decoded = self.decoded, self.decoded + 1
            if number >= most:
                raise ReconError(_too_long(self.name, number / self.info.rate))
            if number % every if only is None else number not in only:
                continue
            whole, bgr = self._capture.retrieve()
            if not whole or bgr is None:
                return
            at_s = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000
            yield Picture(number, at_s if at_s > 0 else number / self.info.rate, bgr)


@contextmanager
def open_video(path: str | Path) -> Iterator[Video]:
    """Open a video; its size and length are checked before any picture is decoded.

    Phones store pictures as their sensor lies and say how to turn them: they come out upright.

    Raises
    ------
    ReconError
        Naming the file and the remedy, where it is no video, damaged, in a codec that is not known, too long,
        too large or too small.
    """
    path = Path(path).absolute()
    check_file(path)
    capture = cv2.VideoCapture()
    try:
        if not _opened(capture, path):
            raise ReconError(
                f"{path.name}: the video cannot be opened: it is damaged, or in a codec that is not known "
                "here; save it as MP4 (H.264), or copy it again."
            )
        capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, 1)
        info = _info(capture)
        _check_info(path.name, info)
        yield Video(path.name, capture, info)
    finally:
        capture.release()


def _opened(capture: cv2.VideoCapture, path: Path) -> bool:
    """Whether OpenCV opens it: with FFmpeg, or with what else this OpenCV has in place of that."""
    for way in (cv2.CAP_FFMPEG, cv2.CAP_GSTREAMER, cv2.CAP_AVFOUNDATION, cv2.CAP_MSMF):
        try:
            if capture.open(str(path), way):
                return True
        except cv2.error:
            continue
    return False


def _info(capture: cv2.VideoCapture) -> VideoInfo:
    def number(what: int) -> float:
        value = float(capture.get(what))
        return value if np.isfinite(value) and value > 0 else 0.0

    rate = number(cv2.CAP_PROP_FPS)
    letters = int(number(cv2.CAP_PROP_FOURCC)).to_bytes(8, "little")[:4].decode("latin-1")
    return VideoInfo(
        (int(number(cv2.CAP_PROP_FRAME_WIDTH)), int(number(cv2.CAP_PROP_FRAME_HEIGHT))),
        rate if 0.5 <= rate <= MOST_RATE else USUAL_RATE,
        int(min(number(cv2.CAP_PROP_FRAME_COUNT), 1e9)),
        "".join(c for c in letters if c.isalnum()),
    )


def _check_info(name: str, info: VideoInfo) -> None:
    width, height = info.size
    if width * height > MOST_PIXELS:
        raise ReconError(
            f"{name}: its pictures are {width} x {height} px, more than the {MOST_PIXELS // 10**6} MP that "
            "are read; save it smaller."
        )
    if max(info.size) < MIN_LONG_SIDE or min(info.size) < MIN_SIDE:
        raise ReconError(
            f"{name}: pictures of {width} x {height} px are too small to see holes in; they must be at least "
            f"{MIN_LONG_SIDE} px long and {MIN_SIDE} px wide."
        )
    if info.count > MOST_SECONDS * info.rate + 1:
        raise ReconError(_too_long(name, info.count / info.rate))


def _too_long(name: str, seconds: float) -> str:
    return (
        f"{name}: the video is {seconds / 60:.1f} minutes long or longer, and {MOST_SECONDS / 60:.0f} are "
        "read; a walk round the frame takes half a minute: cut it to that."
    )


def undecodable(name: str, info: VideoInfo) -> str:
    """What is said of a video none of whose pictures can be decoded."""
    codec = f" '{info.codec}'" if info.codec else ""
    return (
        f"{name}: none of its pictures can be decoded: it is damaged, or its codec{codec} is not known here; "
        "save it as MP4 (H.264), or copy it again."
    )
