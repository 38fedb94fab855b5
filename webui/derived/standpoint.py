"""Where to stand for the next photo, as a sketch: the frame as it would look from there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from recon.corrections.on_photos import outline
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera

SKETCH_PX = 1000.0  # its focal length, which scales it
ROUND = 1


@dataclass(frozen=True)
class _Taken:
    """A photo that was used, with its camera."""

    name: str
    camera: Camera


def next_photo(frame: Frame) -> dict[str, Any]:
    """From where one more photo would show most of what is not sure.

    Returns
    -------
    dict
        {} where all is sure or nothing was read.  Else `words`, `members`, `eye` and `middle` [x, y, z] in
        pitches, `taken`, the places of the photos that there are; and `sketch`: the frame from there, {lines:
        polylines [x, y, ...], rings: places [x, y] that were not seen}, px.

    Examples
    --------
    >>> next_photo(Frame(()))
    {}
    """
    taken = [_Taken(p.file, p.camera) for p in frame.photos if p.used and p.camera is not None]
    if not frame.members or not taken:
        return {}
    # With it comes the whole solver, without which the page is there 0.3 s of processor earlier.
    from recon.solve.result.viewpoints import next_viewpoint

    width = float(np.median([m.width for m in frame.members]))
    place = next_viewpoint(taken, frame.members, width)
    if place is None or place.eye is None or place.middle is None:
        return {}
    camera = looking(place.eye, place.middle)
    shapes = [shape for m in frame.members if (shape := outline(m, camera))]
    rings = camera.project(place.targets)
    return {
        "words": place.words.removesuffix(","),
        "members": list(place.members),
        "eye": _rounded(place.eye),
        "middle": _rounded(place.middle),
        "taken": [_rounded(p.camera.centre) for p in taken],
        "sketch": {
            "lines": [line for shape in shapes for line in shape["edges"]],
            "rings": [_rounded(xy) for xy in rings if np.isfinite(xy).all()],
        },
    }


def looking(eye: FloatArray, at: FloatArray) -> Camera:
    """A camera at `eye` that looks at `at`, (3,) each, pitches, held upright; z points up."""
    ahead = (at - eye) / np.linalg.norm(at - eye)
    right = np.cross(ahead, (0.0, 0.0, 1.0))
    if np.linalg.norm(right) < 1e-6:
        right = np.array([1.0, 0.0, 0.0])
    right = right / np.linalg.norm(right)
    R = np.array([right, np.cross(ahead, right), ahead])
    return Camera(f=SKETCH_PX, cx=0.0, cy=0.0, k1=0.0, k2=0.0, R=R, t=-R @ eye)


def _rounded(values: FloatArray) -> list[float]:
    return np.round(values, ROUND).tolist()
