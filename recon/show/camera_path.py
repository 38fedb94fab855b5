"""The way of a video's camera round the frame, in words."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from recon.frame.model import Frame, Photo, bounds
from recon.geometry.arrays import FloatArray
from recon.image.timecode import Timecode
from recon.workshop.wording import plural


def camera_path(photos: list[Photo], timecodes: Mapping[str, Timecode]) -> FloatArray:
    """Where the camera was at each photo that has a camera, in the order of the video, (N, 3) pitches."""
    posed = [p for p in photos if p.used and p.camera is not None]
    posed.sort(key=lambda p: timecodes[p.file].at_s)
    return np.array([p.camera.centre for p in posed if p.camera is not None]).reshape(-1, 3)


def path_sentences(frame: Frame, timecodes: Mapping[str, Timecode]) -> list[str]:
    """Of each video: which photos are its pictures, and how far round the frame its camera went.

    Parameters
    ----------
    frame : Frame
    timecodes : mapping of str to Timecode
        Photo -> its timecode, for those that are pictures of videos.

    Examples
    --------
    >>> path_sentences(Frame((), pitch_mm=None), {})
    []
    """
    sentences = []
    for video in dict.fromkeys(timecode.video for timecode in timecodes.values()):
        photos = [p for p in frame.photos if p.file in timecodes and timecodes[p.file].video == video]
        if not photos:
            continue
        photos.sort(key=lambda p: timecodes[p.file].at_s)
        names = photos[0].file if len(photos) == 1 else f"{photos[0].file} to {photos[-1].file}"
        text = f"{names}: {plural(len(photos), 'picture')} of {video}, at {_seconds(photos, timecodes)} s"
        places = camera_path(photos, timecodes)
        if len(places) > 1 and frame.members:
            text += f"; the camera went {_way_round(frame, places)}"
        sentences.append(text + ".")
    return sentences


def _seconds(photos: list[Photo], timecodes: Mapping[str, Timecode]) -> str:
    times = [timecodes[p.file].at_s for p in photos]
    return f"{times[0]:.1f}" if len(times) == 1 else f"{times[0]:.1f} to {times[-1]:.1f}"


def _way_round(frame: Frame, places: FloatArray) -> str:
    """How far round the frame's middle places lie, and how high above it."""
    corners = np.array([bounds(m) for m in frame.members])
    way = places - (corners[:, 0].min(axis=0) + corners[:, 1].max(axis=0)) / 2
    azimuth = np.degrees(np.unwrap(np.arctan2(way[:, 1], way[:, 0])))
    height = np.degrees(np.arctan2(way[:, 2], np.hypot(way[:, 0], way[:, 1])))
    low, high = round(height.min()), round(height.max())
    heights = f"{low}" if low == high else f"{low} to {high}"
    return f"{np.ptp(azimuth):.0f} degrees round the frame, {heights} degrees above its middle"
