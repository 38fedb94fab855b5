"""From which corner a step is shown, and how much of the frame around what is new."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from recon.frame.model import Frame
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.workshop.drawing.hidden_lines import box_corners, hidden_stretches, seen_stretches, stretches_of
from recon.workshop.drawing.projections import ProjectedFrame, corner_projection
from recon.workshop.solids import fitting_solids

TURNS = (-62.0, 28.0, 118.0, 208.0)  # degrees: the four corners, the front one first
HEIGHT = 26.0  # degrees above the level
SEEN = 0.4  # share of what is new that should be in sight; below it the best of the corners is taken
MARGIN, LARGEST = 8.0, 6.0  # mm round the picture; mm per pitch at most
SMALLEST = 1.6  # mm per pitch at which holes can still be told apart; larger frames are shown in part
BORDER = 0.5  # mm along the edge of a picture of a part that stay free
PITCH_ROUND = 1e-9  # a width of a pitch is no more than that
AROUND = 6.0  # pitches of neighbourhood shown round what is new in a part

Size = tuple[float, float]  # width, height, mm


class CornerScenes:
    """A frame from its four corners, ready for pictures of many steps.

    Parameters
    ----------
    frame : Frame
        The frame.
    hole : float
        Diameter of the holes, pitches.
    marks : sequence of (str, (3,)), optional
        Names of directions that pictures show in a corner; the axes by default.

    Attributes
    ----------
    scenes : list of ProjectedFrame
        From each corner, the front one first.
    index : dict of str to int
        Id of each member and fitting -> its number in the scenes.
    corners : (members and fittings, 8, 3)
        Of these, pitches.
    """

    def __init__(self, frame: Frame, hole: float, marks: Sequence[tuple[str, FloatArray]] = ()):
        self.marks = list(marks) or list(zip("xyz", np.eye(3)))
        fitted = fitting_solids(frame)
        self.scenes = [
            ProjectedFrame(frame.members, corner_projection(turn, HEIGHT), hole, fitted) for turn in TURNS
        ]
        self.index = {id: k for k, id in enumerate(self.scenes[0].ids)}
        self.corners = box_corners(self.scenes[0].boxes)


@dataclass(frozen=True)
class Shot:
    """What a picture shows.

    Attributes
    ----------
    scene : ProjectedFrame
        The members that are shown.
    new : (members,)
        Which of these are new.
    scale : float
        mm per pitch.
    low : (2,)
        Lower left corner of the picture, mm on the view.
    part : bool
        Whether it is not the whole.
    size : (width, height)
        Of the picture, mm.
    """

    scene: ProjectedFrame
    new: BoolArray
    scale: float
    low: FloatArray
    part: bool
    size: Size

    def flat(self, points: FloatArray) -> FloatArray:
        """Points (..., 3), pitches, on the sheet, (..., 2), mm."""
        return self.on_sheet(self.scene.view.flat(points))

    def on_sheet(self, flat: FloatArray) -> FloatArray:
        """Points on the view, (..., 2), pitches, on the sheet, (..., 2), mm."""
        return flat * self.scale - self.low

    def seen(self, lines: FloatArray, owner: Sequence[int] | IntArray | None) -> tuple[IntArray, FloatArray]:
        """What is in sight of lines (n, 2, 3), pitches: whose each stretch is, (m,), and it on the sheet, mm.

        Stretches are (m, 2, 2); `owner` is the member of each line.
        """
        line, start, end = seen_stretches(lines, self.scene.shadows, owner)
        return line, stretches_of(self.flat(lines)[line], start, end)

    def inside(self, points: FloatArray) -> BoolArray:
        """Which of n things, by their points (n, k, 2) on the sheet, lie wholly inside the picture, (n,)."""
        low, high = self._window
        return np.asarray(((points >= low) & (points <= high)).all(axis=(1, 2)))

    def clipped(self, lines: FloatArray) -> FloatArray:
        """Straight lines on the sheet, (n, 2, 2), cut to the picture, (m, 2, 2).

        Y.-D. Liang, B. Barsky, "A New Concept and Method for Line Clipping", ACM Trans. Graphics 3, 1984,
        doi:10.1145/357332.357333.
        """
        low, high = self._window
        a, way = lines[:, 0], lines[:, 1] - lines[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            first, second = (low - a) / way, (high - a) / way
        still, within = way == 0, (a >= low) & (a <= high)
        never = np.where(within, -np.inf, np.inf)
        start = np.where(still, never, np.minimum(first, second)).max(axis=1).clip(min=0.0)
        end = np.where(still, np.inf, np.maximum(first, second)).min(axis=1).clip(max=1.0)
        kept = start < end
        return stretches_of(lines[kept], start[kept], end[kept])

    @property
    def _window(self) -> tuple[float, FloatArray]:
        return BORDER, np.array(self.size) - BORDER


def best_shot(scenes: CornerScenes, shown: IntArray, fresh: BoolArray, size: Size) -> Shot:
    """The shot from the front corner if enough of what is new is in sight, else that which shows most of it.

    Parameters
    ----------
    scenes : CornerScenes
        The frame.
    shown : (n,)
        Numbers of the members to show.
    fresh : (n,)
        Which of these are new.
    size : (width, height)
        Of the picture, mm.
    """
    best = _shot(scenes, scenes.scenes[0], shown, fresh, size)
    most = share_seen(best)
    for scene in scenes.scenes[1:]:
        if most >= SEEN:
            break
        shot = _shot(scenes, scene, shown, fresh, size)
        share = share_seen(shot)
        if share > most + 0.05:
            best, most = shot, share
    return best


def _shot(scenes: CornerScenes, scene: ProjectedFrame, shown: IntArray, fresh: BoolArray, size: Size) -> Shot:
    flat = scene.view.flat(scenes.corners[shown])  # (n, 8, 2)
    room = np.array(size) - 2 * MARGIN
    low, high = flat.reshape(-1, 2).min(axis=0), flat.reshape(-1, 2).max(axis=0)
    scale = float(min((room / (high - low)).min(), LARGEST))
    part = scale < SMALLEST
    if part:
        focus = flat[fresh].reshape(-1, 2)
        low, high = np.maximum(low, focus.min(axis=0) - AROUND), np.minimum(high, focus.max(axis=0) + AROUND)
        scale = float(min((room / (high - low)).min(), LARGEST / 2))
        window, middle = np.array(size) / scale / 2, (low + high) / 2
        near = ((flat.min(axis=1) < middle + window) & (flat.max(axis=1) > middle - window)).all(axis=1)
        shown, fresh = shown[near], fresh[near]
    corner = (low + high) / 2 * scale - np.array(size) / 2
    return Shot(scene.part(shown.tolist()), fresh, scale, corner, part, size)


def strips(scene: ProjectedFrame, k: int, count: int) -> Iterator[tuple[FloatArray, float, FloatArray]]:
    """Lines that shade the faces of box `k` turned to the viewer, so many in a pitch and in each face.

    Yields
    ------
    normal : (3,)
        Of the face.
    width : float
        Of a strip, pitches.
    lines : (n, 2, 3)
        Along the middles of the n strips, pitches.
    """
    axes, half, middle = scene.boxes.axes[k], scene.boxes.half[k], scene.boxes.centre[k]
    slope = axes @ scene.view.towards
    for face in np.nonzero(np.abs(slope) > 1e-6)[0].tolist():
        along, across = [i for i in range(3) if i != face]
        normal = np.sign(slope[face]) * axes[face]
        n = int(np.ceil(count * max(1.0, 2 * half[across] - PITCH_ROUND)))
        offsets = ((np.arange(n) + 0.5) / n * 2 - 1)[:, None] * half[across] * axes[across]
        reach = half[along] * axes[along]
        lines = middle + normal * half[face] + np.stack([offsets - reach, offsets + reach], axis=1)
        yield normal, float(2 * half[across] / n), lines


def share_seen(shot: Shot) -> float:
    """Share of the new members' surface turned to the viewer that no other member covers."""
    found, owner = [], []
    for k in np.nonzero(shot.new)[0].tolist():
        for _, _, lines in strips(shot.scene, k, 2):
            found.append(lines)
            owner += [k] * len(lines)
    lines = np.concatenate(found)
    length = np.linalg.norm(np.diff(shot.scene.view.flat(lines), axis=1), axis=2).ravel()
    hidden = hidden_stretches(lines, shot.scene.shadows, owner)
    covered = np.array([sum(b - a for a, b in stretches) for stretches in hidden])
    return float(1 - (covered * length).sum() / max(length.sum(), 1e-9))
