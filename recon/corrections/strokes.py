"""Which member a stroke from opening to opening on one photo may mean.  Places in px of the upright photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from recon.corrections import on_photos
from recon.corrections.laps import clashes, relapped
from recon.corrections.members import free_label, vector_of
from recon.corrections.model import Point
from recon.errors import ReconError
from recon.frame.model import Frame, Member, bounds
from recon.geometry.arrays import FloatArray, IntArray, Vector
from recon.geometry.camera import Camera, image2sensor
from recon.geometry.lattice import lattice_classes, places_between

REACH, REACH_ALONG = 8, 32  # pitches beyond the frame that a new member may lie, and that it may stick out
STROKE_TOL = 0.6  # pitches on the photo: nearer than that to an opening is meant for it
MOST_JUDGED = 60  # lines under a stroke, the nearest first, of which laps and collisions are sought
SHORTEST_PITCH_PX = (
    3.0  # a pitch on the photo counts as no shorter: else rows seen end-on would always be near
)


@dataclass(frozen=True)
class Stroke:
    """A member that a stroke may mean.

    Attributes
    ----------
    first, direction : Vector
        Centre of its hole 0, pitches, and unit vector to its last hole.
    holes : int
    off : float
        How far its openings are from the stroke's ends, pitches on the photo.
    laps : int
        Laps that it would have with other members.
    clash : bool
        Whether it would take another member's room.
    """

    first: Vector
    direction: Vector
    holes: int
    off: float
    laps: int
    clash: bool


def strokes(frame: Frame, photo: str, start: Point, end: Point, most: int = 8) -> list[Stroke]:
    """The members whose openings lie under the two ends of a stroke, the likeliest first.

    Parameters
    ----------
    frame : Frame
    photo : str
    start, end : Point
        Ends of the stroke, px.
    most : int
        How many to give.

    Raises
    ------
    ReconError
        Where the photo has no camera or nothing fits.

    Notes
    -----
    The members are those that the frame's lattice allows.  One stroke on one photo has a line for every depth
    that fits; those that touch other members and clash with none come first.
    """
    camera = on_photos.known_camera(frame if frame.members else Frame(()), photo, to_do="drawn")
    found = []
    for axis in range(3):
        found += _strokes_along(frame, camera, axis, np.asarray(start, float), np.asarray(end, float))
    if not found:
        raise ReconError(
            "No member of this frame's lattice has holes at both ends of that stroke; begin and end on holes."
        )
    best = sorted(judged(frame, found), key=lambda s: (s.clash, s.laps == 0, round(s.off, 1), -s.laps))
    return best[:most]


def stroke_outlines(frame: Frame, stroke: Stroke) -> dict[str, on_photos.Outline]:
    """Where the member that a stroke may mean would lie: photo -> outline, as in `on_photos.outlines`."""
    new = Member("?", stroke.first, stroke.direction, stroke.holes, frame.members[0].width)
    found = on_photos.outlines(replace(frame, members=(new,)))
    return {photo: there["?"] for photo, there in found.items() if there}


def _lattice(frame: Frame, width: float, axis: int) -> list[FloatArray]:
    """For x, y and z: where hole centres of a member along `axis` can lie, in and round the frame,
    pitches."""
    reach = np.where(np.arange(3) == axis, REACH_ALONG, REACH)
    low, high = (np.array(x) for x in zip(*map(bounds, frame.members)))
    low, high = low.min(axis=0) - reach, high.max(axis=0) + reach
    origin = np.array(next((m.first for m in frame.members if m.on_lattice), frame.members[0].first))
    classes = lattice_classes([m.width for m in frame.members if m.on_lattice] or [width])
    return [places_between(a, b, o, classes) for a, b, o in zip(low, high, origin)]


def _strokes_along(
    frame: Frame, camera: Camera, axis: int, start: FloatArray, end: FloatArray
) -> list[Stroke]:
    width = frame.members[0].width
    grid = _lattice(frame, width, axis)
    along = np.unique(np.round(grid[axis], 6))
    others = [i for i in range(3) if i != axis]
    u, v = (a.ravel() for a in np.meshgrid(grid[others[0]], grid[others[1]], indexing="ij"))
    lines = np.zeros((len(u), 3))
    lines[:, others[0]], lines[:, others[1]] = u, v
    found = []
    for normal in others:
        side = np.sign(camera.centre[normal] - lines[:, normal])
        rows = lines.copy()
        rows[:, normal] += side * width / 2  # the openings on the face that is turned to the camera
        (i, off_i), (j, off_j) = (_nearest(camera, rows, axis, along, p) for p in (start, end))
        off = np.maximum(off_i, off_j)
        for k in np.nonzero((off < STROKE_TOL) & (i != j) & (side != 0))[0]:
            low, high = sorted((along[i[k]], along[j[k]]))
            holes = round(float(high - low)) + 1
            if abs(high - low + 1 - holes) < 1e-6:
                first = lines[k].copy()
                first[axis] = low
                direction = vector_of(np.eye(3)[axis])
                found.append(Stroke(vector_of(first), direction, holes, float(off[k]), 0, False))
    return sorted(found, key=lambda s: s.off)


def _nearest(
    camera: Camera, rows: FloatArray, axis: int, along: FloatArray, px: FloatArray
) -> tuple[IntArray, FloatArray]:
    """For each row of openings along an axis, the place nearest to a pixel and how far off it is.

    rows : (n, 3), a point of each.  The places are indices into `along`; how far in pitches of the row on the
    photo. The nearest point of a line to a ray is that of two skew lines (e.g. Eberly, "Distance between
    lines", in closed form).
    """
    ray = np.linalg.solve(camera.R, np.append(image2sensor(camera, np.asarray(px, float)), 1.0))
    w, b, c = rows - camera.centre, ray[axis], ray @ ray
    with np.errstate(divide="ignore", invalid="ignore"):
        s = rows[:, axis] + (b * (w @ ray) - c * w[:, axis]) / (c - b * b)
    index = np.clip(np.searchsorted(along, s), 1, len(along) - 1)
    index -= np.abs(along[index - 1] - s) < np.abs(along[index] - s)
    points = np.repeat(rows[:, None], 2, axis=1)
    points[:, :, axis] = along[index][:, None] + [0.0, 1.0]
    there = camera.project(points.reshape(-1, 3)).reshape(-1, 2, 2)
    pitch_px = np.maximum(np.linalg.norm(there[:, 1] - there[:, 0], axis=1), SHORTEST_PITCH_PX)
    off = np.linalg.norm(there[:, 0] - px, axis=1) / pitch_px
    return index, np.where(np.isfinite(off), off, np.inf)


def judged(frame: Frame, found: Sequence[Stroke], most: int = MOST_JUDGED) -> list[Stroke]:
    """The strokes with their laps and clashes, the nearest `most` of them, each once."""
    id, like, judged = free_label(frame), frame.members[0], []
    unique: dict[Any, Stroke] = {(s.first, s.direction, s.holes): s for s in reversed(found)}
    for s in sorted(unique.values(), key=lambda s: s.off)[:most]:
        new = Member(id, s.first, s.direction, s.holes, like.width)
        trial = replace(frame, members=(*frame.members, new), joints=())
        laps = relapped(trial, {id}).joints
        judged.append(replace(s, laps=len(laps), clash=bool(clashes(trial, {id}))))
    return judged
