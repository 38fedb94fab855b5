"""Parallel views of a frame, and what of it is seen in them.

Drawings show the frame from six sides, named as people stand before it: the front is one of its longer sides.  Positions
on a view are in pitches, x to the right and y up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from recon.frame.model import Frame, Member, bounds
from recon.frame.stock import Stock
from recon.workshop.drawing.hidden_lines import Shadows, front_edges, hidden_stretches, points_hidden, shadows
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.solids import HOLE, Boxes, member_boxes

FACING = 0.999  # cosine from which a face is seen square on
SLANT = 0.25  # cosine below which a face is seen so flat that a hole is no more than a line


def drawn_hole(frame: Frame, stocks: Mapping[str, Stock]) -> float:
    """Diameter of the holes in drawings, pitches: of the stock that most members have, `HOLE` where it is not known."""
    holes = [stocks[m.stock].hole for m in frame.members if m.stock in stocks]
    return max(sorted(set(holes)), key=holes.count, default=HOLE)


@dataclass(frozen=True)
class Projection:
    """name : 'Front'.   seen_from : '-y'.   right, up, towards : unit vectors, the last to the viewer."""

    name: str
    seen_from: str
    right: np.ndarray
    up: np.ndarray

    @cached_property
    def towards(self) -> np.ndarray:
        return np.cross(self.right, self.up)

    def flat(self, points) -> np.ndarray:
        """(..., 3) pitches -> (..., 2) pitches on the view."""
        points = np.asarray(points, float)
        return np.stack([points @ self.right, points @ self.up], axis=-1)


def six_views(members: Sequence[Member]) -> dict[str, Projection]:
    """'Front', 'Top', 'Right', 'Left', 'Rear', 'Bottom', as on a drawing board; the front shows the longer level side."""
    low, high = (
        np.min([bounds(m)[0] for m in members], axis=0),
        np.max([bounds(m)[1] for m in members], axis=0),
    )
    across = np.array([1.0, 0, 0]) if high[0] - low[0] >= high[1] - low[1] else np.array([0, 1.0, 0])
    up = np.array([0, 0, 1.0])
    away = np.cross(up, across)  # from the viewer into the front
    axes = {
        "Front": (across, up),
        "Rear": (-across, up),
        "Right": (away, up),
        "Left": (-away, up),
        "Top": (across, away),
        "Bottom": (across, -away),
    }
    return {name: Projection(name, _axis_name(np.cross(*a)), *a) for name, a in axes.items()}


def _axis_name(axis) -> str:
    k = int(np.abs(axis).argmax())
    return ("+" if axis[k] > 0 else "\u2212") + "xyz"[k]


def corner_projection(turn_deg: float, height_deg: float) -> Projection:
    """From a corner: `turn_deg` from +x towards +y, `height_deg` above the level."""
    turn, height = np.radians([turn_deg, height_deg])
    right = np.array([-np.sin(turn), np.cos(turn), 0.0])
    towards = np.array([np.cos(turn) * np.cos(height), np.sin(turn) * np.cos(height), np.sin(height)])
    return Projection("Corner", "", right, np.cross(towards, right))


@dataclass(frozen=True)
class Hole:
    """An opening on a face turned to the viewer.  at : its centre on the view.   number : from 1."""

    member: int
    number: int
    at: np.ndarray
    normal: np.ndarray
    visible: bool


class Scene:
    """Members in a view: what is seen of their edges and openings.

    hole : diameter of the holes, pitches.
    """

    def __init__(self, members: Sequence[Member], view: Projection, hole: float):
        self.members, self.view, self.hole = tuple(members), view, hole

    def part(self, which: Sequence[int]) -> Scene:
        """The scene of some of the members alone, with what is known of each taken over."""
        scene = Scene([self.members[k] for k in which], self.view, self.hole)
        scene.boxes, scene.shadows = self.boxes.take(list(which)), self.shadows.take(list(which))
        scene.fronts = [self.fronts[k] for k in which]
        return scene

    @cached_property
    def boxes(self) -> Boxes:
        return member_boxes(self.members)

    @cached_property
    def shadows(self) -> Shadows:
        return shadows(self.boxes, self.view.towards)

    @cached_property
    def fronts(self) -> list[np.ndarray]:
        """For each member its edges turned to the viewer, (n, 2, 3) pitches."""
        return front_edges(self.boxes, self.view.towards)

    def covered(self, points, owner: Sequence[int]) -> np.ndarray:
        """(n, members) bool: which member covers which point; `owner` (n,) members do not cover their own."""
        hit = points_hidden(points, self.shadows)
        hit[np.arange(len(hit)), list(owner)] = False
        return hit

    @cached_property
    def edges(self) -> tuple[np.ndarray, np.ndarray, list[list[tuple[float, float]]]]:
        """Lines on the view (n, 2, 2), their member (n,), and the shares of each that others hide."""
        owner = np.repeat(np.arange(len(self.fronts)), [len(x) for x in self.fronts])
        ends = np.concatenate(self.fronts)
        return self.view.flat(ends), owner, hidden_stretches(ends, self.shadows, owner)

    @cached_property
    def holes(self) -> list[Hole]:
        """All openings on faces turned to the viewer, member by member."""
        return self.holes_of(range(len(self.members)))

    def holes_of(self, which: Sequence[int]) -> list[Hole]:
        """The openings of these members on faces turned to the viewer."""
        towards = self.view.towards
        found, points, rims = [], [], []
        for k in which:
            m, axes, half = self.members[k], self.boxes.axes[k], self.boxes.half[k]
            for face, other in ((1, 2), (2, 1)):
                slope = axes[face] @ towards
                if abs(slope) < SLANT:
                    continue
                normal = np.sign(slope) * axes[face]
                found += [(k, n + 1, normal) for n in range(m.holes)]
                points.append(m.hole_centres() + normal * half[face])
                rims.append(axes[other])
        if not found:
            return []
        centres, owner = np.concatenate(points), [k for k, _, _ in found]
        reach = 0.8 * self.hole / 2
        away = np.repeat(rims, [len(p) for p in points], axis=0) * reach
        along = np.array([self.members[k].direction for k in owner], float) * reach
        hidden = np.zeros(len(centres), bool)
        for offset in (away, -away, along, -along):
            hidden |= self.covered(centres + offset, owner).any(axis=1)
        flat = self.view.flat(centres)
        return [Hole(k, number, at, normal, not h) for (k, number, normal), at, h in zip(found, flat, hidden)]

    @cached_property
    def open_holes(self) -> dict[tuple[int, int], Hole]:
        """(member, hole number) -> the opening on the face square to the viewer, where it is seen."""
        return {
            (h.member, h.number): h for h in self.holes if h.visible and h.normal @ self.view.towards > FACING
        }


Tag = tuple[Bolt | None, Hole, tuple[tuple[str, int], ...]]


class ViewBoard:
    """A frame on the drawing board: its six views, each worked out once and when it is wanted.

    hole : diameter of the holes, pitches.
    """

    def __init__(self, frame: Frame, hole: float):
        self.frame, self.hole = frame, hole
        self.views = six_views(frame.members)
        self.bolts = find_bolts(frame)
        self._scenes: dict[str, Scene] = {}

    def scene(self, name: str) -> Scene:
        if name not in self._scenes:
            self._scenes[name] = Scene(self.frame.members, self.views[name], self.hole)
        return self._scenes[name]

    def span(self, name: str) -> np.ndarray:
        """What the view takes across and up, (2,) pitches."""
        return np.ptp(self.scene(name).edges[0].reshape(-1, 2), axis=0)

    def tags(self, name: str) -> list[Tag]:
        """The laps whose nearer hole is turned to the viewer and in sight: the bolt, or None for a lap without; that hole;
        and what the bolt goes through, nearest first (member id, hole number from 1)."""
        scene = self.scene(name)
        index = {m.id: k for k, m in enumerate(scene.members)}
        laps = [(bolt, bolt.axis, bolt.through) for bolt in self.bolts]
        laps += [
            (None, j.axis, ((j.a, j.a_hole), (j.b, j.b_hole))) for j in self.frame.joints if j.bolt == "none"
        ]
        found = []
        for bolt, axis, through in laps:
            along = float(np.dot(axis, scene.view.towards))
            if abs(along) > FACING:
                through = tuple((id, hole + 1) for id, hole in through[:: -1 if along > 0 else 1])
                hole = scene.open_holes.get((index[through[0][0]], through[0][1]))
                found += [(bolt, hole, through)] if hole is not None else []
        return found


def views_needed(board: ViewBoard, side: str) -> list[str]:
    """Front, top and the side view, then of the views from the other sides those that show a bolt which no view before
    them shows.  side : 'Right' or 'Left'."""
    main = ["Front", "Top", side]
    shown: set[Bolt] = set()
    needed = []
    for name in [*main, *(n for n in ("Rear", "Left", "Right", "Bottom") if n not in main)]:
        new = {bolt for bolt, _, _ in board.tags(name) if bolt} - shown
        if name in main or new:
            needed.append(name)
            shown |= new
    return needed
