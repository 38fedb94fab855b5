"""A photo's camera by hand in a known frame's world: laid on it, and made better by each stroke."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recon.frame.boxes import faces_seen, openings
from recon.frame.lattice import alignments, transform
from recon.frame.model import Frame, Member
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.solve.by_hand.row_strokes import CountedStroke
from recon.solve.by_hand.stroke_members import StrokeMembers
from recon.solve.by_hand.stroke_places import PLAY
from recon.solve.photo.resection import resect

LEAST_SHARED = 0.5  # of an answer's holes that must fall on holes of the frame; this project's choice
MOST_PLACES = 8  # of one answer on the frame: a symmetric frame fits itself in several turns
ENDS_OFF = 1.5  # pitches on the photo that a stroke's ends may be off its member's row before it is refined
LEAST_STROKES = 3  # from which a camera is refined


def laid_on_frame(answers: Sequence[StrokeMembers], members: Sequence[Member]) -> list[StrokeMembers]:
    """Answers of strokes on a further photo, in the world of the frame that is known; best first.

    Parameters
    ----------
    answers : sequence of StrokeMembers
        From `members_of_strokes`, in worlds of their own.
    members : sequence of Member
        Of the known frame.

    Returns
    -------
    list of StrokeMembers
        Empty where no answer lies on the frame with half of its holes.

    Examples
    --------
    >>> rail = Member("A", (3.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> post = Member("B", (3.0, 1.0, 0.0), (0.0, 0.0, 1.0), 6)
    >>> own = tuple(transform(Frame((rail, post)), np.eye(3), (-3, 0, 0)).members)
    >>> none = np.zeros(0)
    >>> answer = StrokeMembers(own, Camera(1000.0, 0.0, 0.0), none.astype(int), none.reshape(0, 3), 1.0, 0.0)
    >>> [m.first for m in laid_on_frame([answer], [rail, post])[0].members]
    [(3.0, 0.0, 0.0), (3.0, 1.0, 0.0)]
    """
    found = []
    for answer in answers:
        own = Frame(answer.members)
        holes = sum(m.holes for m in answer.members)
        for place in alignments(own, Frame(tuple(members)), limit=MOST_PLACES):
            if place.shared < LEAST_SHARED * holes:
                continue
            moved = replace(
                answer,
                members=transform(own, place.turn, place.shift).members,
                camera=answer.camera.moved(place.turn, place.shift),
                normals=answer.normals @ np.asarray(place.turn, float).T,
            )
            found.append((place.shared / holes, answer.chance, moved))
    found.sort(key=lambda entry: (-round(entry[0], 3), -entry[1]))
    total = sum(chance for _, chance, _ in found) or 1.0
    return [replace(answer, chance=chance / total) for _, chance, answer in found]


def refined_camera(
    camera: Camera, members: Sequence[Member], strokes: Sequence[CountedStroke], focal_px: float | None = None
) -> Camera:
    """The camera that sees best all strokes along rows of known members.

    A stroke whose row is not found near a member, with its count of holes, takes no part.

    Parameters
    ----------
    camera : Camera
        As it is known so far, in the members' world.
    members : sequence of Member
    strokes : sequence of CountedStroke
    focal_px : float, optional
        From EXIF, px.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.by_hand.row_strokes import RowStroke, count_holes
    >>> true = Camera(1300.0, 799.5, 599.5, t=np.array([-4.0, -3.0, 30.0]))
    >>> ways = np.eye(3)[[0, 1, 0, 1]]
    >>> firsts = [(0.0, 0.0, 0.0), (8.0, 0.0, 1.0), (0.0, 6.0, 0.0), (0.0, 0.0, -1.0)]
    >>> known = [Member("ABCD"[k], firsts[k], tuple(ways[k]), 9) for k in range(4)]
    >>> rows = [true.project(m.hole_centres()[[0, -1]] - [0, 0, 0.5]) for m in known]
    >>> strokes = [count_holes(RowStroke(*map(tuple, r), holes=9), np.zeros(0, OPENING)) for r in rows]
    >>> off = true.posed(true.R, true.t + [0.1, 0.1, 0.3])
    >>> (refined_camera(off, known, strokes, 1300.0).t.round(1) + 0.0).tolist()
    [-4.0, -3.0, 30.0]
    """
    world, image, sigma = [], [], []
    for stroke in strokes:
        row = _row_under(camera, members, stroke)
        if row is None:
            continue
        world.append(row[np.asarray(stroke.step, int)])
        image.append(stroke.px)
        pitch = np.linalg.norm(stroke.px[-1] - stroke.px[0]) / max(1.0, stroke.step[-1] - stroke.step[0])
        sigma.append(np.full(len(stroke.step), np.hypot(stroke.sigma, PLAY * pitch)))
    if len(world) < LEAST_STROKES:
        return camera
    return resect(
        camera, np.concatenate(world), np.concatenate(image), np.concatenate(sigma), focal_prior=focal_px
    )


def _row_under(camera: Camera, members: Sequence[Member], stroke: CountedStroke) -> FloatArray | None:
    """(holes, 3): the openings of a member that lie under a stroke, in its order; None where none do."""
    best, found = ENDS_OFF, None
    drawn = stroke.px[[0, -1]]
    at = np.asarray(stroke.step, int)[[0, -1]]
    pitch = float(np.linalg.norm(drawn[1] - drawn[0])) / max(1, int(at[1] - at[0]))
    for m in members:
        if m.holes < stroke.holes:
            continue
        for row in openings(m)[faces_seen(m, camera.centre)[2:]]:
            for way in (row, row[::-1]):
                seen = camera.project(way)
                starts = np.arange(len(way) - stroke.holes + 1)
                off = np.maximum(*(np.linalg.norm(seen[starts + k] - p, axis=1) for k, p in zip(at, drawn)))
                off = np.where(np.isfinite(off), off, np.inf) / pitch
                k = int(off.argmin())
                if off[k] < best:
                    best, found = float(off[k]), way[k : k + stroke.holes]
    return found
