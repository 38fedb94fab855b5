"""Openings picked on a photo, to measure between."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from recon.corrections import validation
from recon.corrections.codec import Json
from recon.corrections.measuring import LONGEST_TEXT, spot, tape_measure
from recon.corrections.model import Point
from recon.corrections.on_photos import ROUND, cameras, known_camera
from recon.errors import ReconError
from recon.frame.boxes import faces_seen, hidden, openings
from recon.frame.model import Frame, Member
from recon.frame.tape import Spot, place
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera

NEAR = 0.6  # pitches on the photo: a pick nearer than that to an opening is meant for it
# Pitches that a pick must be nearer to an opening out of sight than to one in sight to be meant for it.
BEHIND = 1.0
MOST_WITHIN_PX = 400  # the largest reach that a finger or mouse may claim

Candidate = tuple[
    float, Spot, FloatArray
]  # how far from the pick (pitches on the photo), which, and its centre (3,)


def picked(frame: Frame, photo: str, xy: Point, within_px: float) -> Spot:
    """The opening that a pick on a photo is meant for.

    That is the nearest of those on faces turned to the camera, one in sight before one behind another member.

    Parameters
    ----------
    frame : Frame
    photo : str
    xy : Point
        The pick, px.
    within_px : float
        How far off an opening may be, px, where `NEAR` is less.

    Raises
    ------
    ReconError
        Where there is none near, or the photo has no camera.
    """
    camera = known_camera(frame, photo, to_do="measured")
    found = [c for m in frame.members for c in _near(m, camera, np.asarray(xy, float), within_px)]
    if not found:
        raise ReconError("There is no hole of a member there; pick nearer to one, or draw the member first.")
    behind = hidden(np.array([p for _, _, p in found]), camera.centre, frame.members)
    best, _ = min(zip(found, behind), key=lambda x: (x[0][0] + BEHIND * x[1], x[0][1].member, x[0][1].hole))
    return best[1]


def _near(m: Member, camera: Camera, xy: FloatArray, within_px: float) -> list[Candidate]:
    """The member's openings near a pick."""
    centres, seen = openings(m), faces_seen(m, camera.centre)[2:]
    px = camera.project(centres.reshape(-1, 3)).reshape(4, m.holes, 2)
    depth = (centres @ camera.R.T + camera.t)[..., 2]
    far = np.linalg.norm(px - xy, axis=-1)
    pitch_px = camera.f / np.maximum(depth, 1e-6)
    near = seen[:, None] & (depth > 0) & np.isfinite(far) & (far < np.maximum(NEAR * pitch_px, within_px))
    return [
        (far[f, k] / pitch_px[f, k], Spot(m.id, int(k), int(f)), centres[f, k]) for f, k in np.argwhere(near)
    ]


def measurement(frame: Frame, request: Json) -> Json:
    """What the page shows of a measurement under way.

    Parameters
    ----------
    frame : Frame
    request : dict
        `points`, one or two, each a pick {photo, xy, within} or {member, hole, face}; `text`, the length so
        far.

    Returns
    -------
    dict
        `points`; `places`, photo -> a place [x, y] in px for each point; and the fields of `TapeMeasure`, or
        `problem`, a sentence, where that says no.
    """
    points = request.get("points")
    if not isinstance(points, list) or not 1 <= len(points) <= 2:
        raise ReconError("Pick one hole or two.")
    ends = [
        pick_on_photo(frame, p) if isinstance(p, dict) and "photo" in p else spot(frame, p) for p in points
    ]
    where = np.array([place(frame.member(s.member), s) for s in ends])
    answer: dict[str, Any] = {
        "points": [asdict(s) | {"holes": frame.member(s.member).holes} for s in ends],
        "places": {file: _finite(camera.project(where)) for file, camera in cameras(frame).items()},
    }
    try:
        if len(ends) == 2:
            answer |= tape_measure(frame, (ends[0], ends[1])).to_json()
            if request.get("text"):
                text = validation.text(request, "text", LONGEST_TEXT)
                answer |= tape_measure(frame, (ends[0], ends[1]), text or None).to_json()
    except ReconError as error:
        answer["problem"] = str(error)
    return answer


def _finite(px: FloatArray) -> list[list[float] | None]:
    """Places as lists, None for those that the photo cannot show."""
    return [xy.tolist() if np.isfinite(xy).all() else None for xy in np.round(px, ROUND)]


def pick_on_photo(frame: Frame, point: Json) -> Spot:
    """The opening that a request picks on a photo: {photo, xy, within}."""
    within = validation.numbers({"within": [point.get("within", 0)]}, "within", 1, MOST_WITHIN_PX)[0]
    return picked(frame, validation.text(point, "photo", 300), validation.pixel(point, "xy"), within)
