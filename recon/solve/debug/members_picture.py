"""Picture of stage 5: the members, and what one photo shows of each of their openings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from recon.frame.model import label
from recon.geometry.arrays import FloatArray, IntArray
from recon.solve.debug.palette import AXIS_COLOUR, GREEN, GREY, INK, ORANGE, RED
from recon.solve.debug.sheet import StageCanvas, sheet_of
from recon.solve.evidence.along_line import lattice_openings, match_openings
from recon.solve.evidence.candidate import across
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene
from recon.solve.members.laps import lap_faces

# What one photo says of an opening that a member should have.
UNSEEN, HIT, MISSED, LAP, HIDDEN = range(5)
STATE_WORDS = ("out of sight", "hit", "missed", "at a lap", "hidden")
EDGE_PIECES = 12  # points along an edge of a box: the lens bends it


@dataclass(frozen=True)
class OpeningStates:
    """What one photo says of a member's openings, face after face.

    Attributes
    ----------
    px : (4 holes, 2) where they are predicted.
    state : (4 holes,) UNSEEN, HIT, MISSED, LAP or HIDDEN.
    hit : (4 holes,) number of the detection, -1 none.
    nats : (4 holes,) for the member.
    """

    px: FloatArray
    state: IntArray
    hit: IntArray
    nats: FloatArray


def opening_states(scene: Scene, photo: PosedPhoto) -> list[OpeningStates]:
    """Each candidate's openings in one photo.

    Faces are in the order of :func:`recon.solve.evidence.predictions.member_openings`.
    """
    out = []
    for i, c in enumerate(scene.candidates):
        openings = lattice_openings(c.axis, c.first, c.holes, scene.width)
        seen = match_openings(photo, openings, scene.occluders)
        unobstructed = match_openings(photo, openings).visible
        lap = lap_faces(c.axis, c.first, c.holes, scene.others(i), scene.width).ravel()
        state = np.full(len(lap), UNSEEN)
        state[unobstructed & ~seen.visible] = HIDDEN
        state[seen.visible] = np.where(seen.hit >= 0, HIT, np.where(lap, LAP, MISSED))[seen.visible]
        px = photo.camera.project(openings.centre.reshape(-1, 3))
        out.append(OpeningStates(px, state, seen.hit, seen.llr))
    return out


def members_picture(image: np.ndarray, scene: Scene, photo: PosedPhoto) -> np.ndarray:
    """The members' boxes, labels and lengths; their openings hit, missed, at a lap, hidden."""
    sheet = sheet_of(image)
    found = opening_states(scene, photo)
    for c in scene.candidates:
        low, high = c.box(scene.width)
        for edge in _box_edges(low, high, photo.camera.centre):
            sheet.line(photo.camera.project(edge), AXIS_COLOUR[c.axis])
    for openings in found:
        _draw_openings(sheet, photo, openings)
    for i, c in enumerate(scene.candidates):
        middle = c.first + 0.5 * (c.holes - 1) * np.eye(3)[c.axis]
        sheet.text(photo.camera.project(middle[None])[0], f"{label(i)} {c.holes}", INK)
    states = np.concatenate([np.zeros(0, int), *(s.state for s in found)])
    total = np.bincount(states, minlength=5)
    return sheet.finished(
        "5 members: openings predicted (ring hit, cross missed, square at a lap, dot hidden); "
        "label and length in holes",
        [
            (f"{STATE_WORDS[k]}: {total[k]}", c)
            for k, c in ((HIT, GREEN), (MISSED, RED), (LAP, ORANGE), (HIDDEN, GREY))
        ],
    )


def _draw_openings(sheet: StageCanvas, photo: PosedPhoto, openings: OpeningStates) -> None:
    for p, state, hit in zip(openings.px, openings.state, openings.hit):
        if state == HIT:
            detection = photo.openings[hit]
            sheet.ellipse(detection, GREEN)
            sheet.line(np.array([[detection["x"], detection["y"]], p]), INK)
        elif state == MISSED:
            sheet.cross(p, RED)
        elif state == LAP:
            sheet.square(p, ORANGE)
        elif state == HIDDEN:
            sheet.dot(p, GREY)


def _box_edges(
    low: FloatArray, high: FloatArray, eye: FloatArray, pieces: int = EDGE_PIECES
) -> Iterator[FloatArray]:
    """(pieces, 3) points along each edge of a box that borders a face turned to the eye."""
    turned = np.array([eye < low, eye > high])  # (2, 3): low and high face of each axis
    for j in range(3):
        a, b = across(j)
        for s, t in np.ndindex(2, 2):
            if not (turned[s, a] or turned[t, b]):
                continue
            edge = np.empty((pieces, 3))
            edge[:, a], edge[:, b] = (low, high)[s][a], (low, high)[t][b]
            edge[:, j] = np.linspace(low[j], high[j], pieces)
            yield edge
