"""Parallel projections of a frame, and what of it is seen in them.

Drawings show the frame from six sides, named as people stand before it: the front is one of its longer sides.
Positions on a view are in pitches, x to the right and y up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.model import Frame, Member
from recon.frame.stock import Stock
from recon.geometry.arrays import BoolArray, FloatArray, IntArray, Vector
from recon.workshop.drawing.hidden_lines import (
    DarkStretches,
    Shadows,
    Stretch,
    dark_stretches,
    front_edges,
    hidden_stretches,
    light_stretches,
    points_hidden,
    shadows,
    stretches_of,
)
from recon.workshop.frame_size import hole_diameters
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.side_axes import side_axes, to_the_right
from recon.workshop.solids import HOLE, Boxes, fitting_solids, joined, member_boxes

FACING = 0.999  # cosine from which a face is seen square on
SLANT = 0.25  # cosine below which a face is seen so flat that a hole is no more than a line


def drawn_hole(frame: Frame, stocks: Mapping[str, Stock]) -> float:
    """Diameter of the holes in drawings, pitches.

    That of the stock that most members have; `HOLE` where it is not known.
    """
    holes = hole_diameters(frame, stocks)
    return max(sorted(set(holes)), key=holes.count, default=HOLE)


@dataclass(frozen=True)
class Projection:
    """A direction to draw from (ISO 128-3, ISO 5456-2).

    Attributes
    ----------
    name : str
        Of the view: 'Front'.
    seen_from : str
        The axis that points to the viewer: '-y'.
    right, up : array, (3,)
        Unit vectors.
    """

    name: str
    seen_from: str
    right: FloatArray
    up: FloatArray

    @cached_property
    def towards(self) -> FloatArray:
        """Unit vector to the viewer, (3,)."""
        return np.cross(self.right, self.up)

    def flat(self, points: ArrayLike) -> FloatArray:
        """Points in space, (..., 3) pitches, on the view, (..., 2) pitches."""
        points = np.asarray(points, float)
        return np.stack([points @ self.right, points @ self.up], axis=-1)


def six_views(members: Sequence[Member]) -> dict[str, Projection]:
    """The six views of a drawing by name; the front shows the longer level side.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (0.0, 1.0, 0.0), 12)
    >>> {name: view.seen_from for name, view in six_views([rail]).items() if name in ("Front", "Top", "Left")}
    {'Front': '+x', 'Left': '−y', 'Top': '+z'}
    """
    sides = side_axes(to_the_right(members))
    across, up, away = sides["right"], sides["up"], sides["back"]
    axes = {
        "Front": (across, up),
        "Rear": (-across, up),
        "Right": (away, up),
        "Left": (-away, up),
        "Top": (across, away),
        "Bottom": (across, -away),
    }
    return {name: Projection(name, _axis_name(np.cross(*a)), *a) for name, a in axes.items()}


def _axis_name(axis: FloatArray) -> str:
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
    """An opening on a face turned to the viewer.

    Attributes
    ----------
    member : int
        Place of its member in the scene.
    number : int
        From 1.
    at : array, (2,)
        Its centre on the view, pitches.
    normal : array, (3,)
        Of its face, towards the viewer.
    visible : bool
        Whether nothing is in front of it.
    """

    member: int
    number: int
    at: FloatArray
    normal: FloatArray
    visible: bool


def _rim(centres: FloatArray, across: FloatArray, along: Vector, radius: float) -> Callable[[], FloatArray]:
    """Gives four places on the rim of each of n openings, (4 n, 3)."""
    ways = np.array([across, along]) * radius
    return lambda: np.concatenate([centres + sign * way for way in ways for sign in (1, -1)])


Fitted = tuple[tuple[str, ...], Boxes]  # labels of fittings and their boxes


class ProjectedFrame:
    """Members in a projection: what is seen of their edges and openings.

    Parameters
    ----------
    members : sequence of Member
    view : Projection
    hole : float
        Diameter of the holes, pitches.
    fittings : (tuple of str, Boxes), optional
        Labels and boxes of what is drawn beside the members, plain; in `boxes` they come after these.
    """

    def __init__(
        self, members: Sequence[Member], view: Projection, hole: float, fittings: Fitted | None = None
    ) -> None:
        self.members, self.view, self.hole = tuple(members), view, hole
        self.fittings: tuple[str, ...] = fittings[0] if fittings else ()
        self._plain = fittings[1] if fittings else None
        self._whole: tuple[ProjectedFrame, IntArray] | None = None
        self._hiding: dict[tuple[str, int], tuple[int, IntArray, IntArray]] = {}

    @property
    def ids(self) -> tuple[str, ...]:
        """The labels of members and fittings, in the order of `boxes`."""
        return (*(m.id for m in self.members), *self.fittings)

    def part(self, which: Sequence[int]) -> ProjectedFrame:
        """The scene of some of the members and fittings alone, with what is known of each taken over.

        What hides what is worked out once for all parts of a scene.

        Parameters
        ----------
        which : sequence of int
            Their places in `boxes`, ascending.
        """
        count = len(self.members)
        members, plain = [k for k in which if k < count], [k for k in which if k >= count]
        fitted = (tuple(self.ids[k] for k in plain), self.boxes.take(plain)) if plain else None
        scene = ProjectedFrame([self.members[k] for k in members], self.view, self.hole, fitted)
        scene.boxes, scene.shadows = self.boxes.take(list(which)), self.shadows.take(list(which))
        scene.fronts = [self.fronts[k] for k in which]
        whole, places = self._in_whole
        scene._whole = whole, places[list(which)]
        return scene

    def plain_spots(self, k: int) -> FloatArray:
        """Places along the middle of the face of box `k` that looks largest to the viewer, (n, 3), pitches.

        Only those in sight.
        """
        axes, half = self.boxes.axes[k], self.boxes.half[k]
        slope = axes @ self.view.towards
        face = int(np.argmax(np.abs(slope) / half))
        long = int(np.argmax(np.where(np.arange(3) == face, -1, half)))
        middle = self.boxes.centre[k] + np.sign(slope[face]) * half[face] * axes[face]
        spots: FloatArray = middle + np.outer(np.linspace(-0.8, 0.8, 9), half[long] * axes[long])
        return spots[~self.covered(spots, [k] * len(spots)).any(axis=1)]

    @cached_property
    def boxes(self) -> Boxes:
        """The members as boxes, then those without holes."""
        boxes = member_boxes(self.members)
        return joined([boxes, self._plain]) if self._plain is not None else boxes

    @cached_property
    def shadows(self) -> Shadows:
        """What lies behind each member."""
        return shadows(self.boxes, self.view.towards)

    @cached_property
    def fronts(self) -> list[FloatArray]:
        """For each member its edges turned to the viewer, (n, 2, 3) pitches."""
        return front_edges(self.boxes, self.view.towards)

    def covered(self, points: ArrayLike, owner: Sequence[int] | IntArray) -> BoolArray:
        """Which member covers which point, (n, members).

        Parameters
        ----------
        points : array, (n, 3)
            Pitches.
        owner : array, (n,)
            Place of the member that each point belongs to, which does not cover it.
        """
        hit = points_hidden(points, self.shadows)
        hit[np.arange(len(hit)), list(owner)] = False
        return hit

    @property
    def _in_whole(self) -> tuple[ProjectedFrame, IntArray]:
        """The scene that this is part of, or itself, and the places that its boxes have there."""
        return self._whole or (self, np.arange(len(self.boxes)))

    @cached_property
    def _place_here(self) -> IntArray:
        """The place in this scene of each box of the whole; -1 for those that are not in it."""
        whole, which = self._in_whole
        here = np.full(len(whole.boxes), -1)
        here[which] = np.arange(len(which))
        return here

    def hidden_spots(self, kind: str, k: int, spots: Callable[[], FloatArray]) -> BoolArray:
        """Which of a box's own spots other boxes of this scene hide, (n,).

        Parameters
        ----------
        kind : str
            What the spots are; a box has the same of each kind in all parts of a scene.
        k : int
            The box.
        spots : callable
            Gives them, (n, 3) pitches.
        """
        whole, which = self._in_whole
        key = kind, int(which[k])
        if key not in whole._hiding:
            hit = points_hidden(spots(), whole.shadows)
            hit[:, key[1]] = False
            spot, by = np.nonzero(hit)
            whole._hiding[key] = len(hit), spot, by
        count, spot, by = whole._hiding[key]
        return np.bincount(spot[self._place_here[by] >= 0], minlength=count) > 0

    @cached_property
    def _edge_owners(self) -> IntArray:
        return np.repeat(np.arange(len(self.fronts)), [len(x) for x in self.fronts])

    @cached_property
    def _dark_edges(self) -> DarkStretches:
        return dark_stretches(np.concatenate(self.fronts), self.shadows, self._edge_owners)

    @cached_property
    def seen_edges(self) -> tuple[FloatArray, IntArray]:
        """What is in sight of the edges: lines on the view (n, 2, 2), pitches, and their member (n,)."""
        whole, _ = self._in_whole
        dark, here = whole._dark_edges, self._place_here
        kept = here[whole._edge_owners] >= 0
        among = kept[dark.line] & (here[dark.shadow] >= 0)
        number = np.cumsum(kept) - 1
        ends, owner = np.concatenate(self.fronts), self._edge_owners
        inside = DarkStretches(
            number[dark.line[among]], here[dark.shadow[among]], dark.start[among], dark.end[among]
        )
        line, start, end = light_stretches(len(ends), inside)
        return stretches_of(self.view.flat(ends)[line], start, end), owner[line]

    @cached_property
    def edges(self) -> tuple[FloatArray, IntArray, list[list[Stretch]]]:
        """Lines on the view (n, 2, 2) pitches, their box (n,), and the shares of each that others hide."""
        owner = np.repeat(np.arange(len(self.fronts)), [len(x) for x in self.fronts])
        ends = np.concatenate(self.fronts)
        return self.view.flat(ends), owner, hidden_stretches(ends, self.shadows, owner)

    @cached_property
    def holes(self) -> list[Hole]:
        """All openings on faces turned to the viewer, member by member."""
        return self.holes_of(range(len(self.members)))

    def holes_of(self, which: Sequence[int]) -> list[Hole]:
        """The openings of these members on faces turned to the viewer."""
        found: list[Hole] = []
        for k in which:
            m, axes, half = self.members[k], self.boxes.axes[k], self.boxes.half[k]
            for face, other in ((1, 2), (2, 1)):
                slope = axes[face] @ self.view.towards
                if abs(slope) < SLANT:
                    continue
                normal = np.sign(slope) * axes[face]
                centres = m.hole_centres() + normal * half[face]
                rim = _rim(centres, axes[other], m.direction, 0.8 * self.hole / 2)
                hidden = np.any(self.hidden_spots(f"openings {face}", k, rim).reshape(4, -1), axis=0)
                places = zip(self.view.flat(centres), hidden.tolist())
                found += [Hole(k, n, at, normal, not h) for n, (at, h) in enumerate(places, 1)]
        return found

    @cached_property
    def open_holes(self) -> dict[tuple[int, int], Hole]:
        """(member, hole number) -> the opening on the face square to the viewer, where it is seen."""
        return {
            (h.member, h.number): h for h in self.holes if h.visible and h.normal @ self.view.towards > FACING
        }


Through = tuple[tuple[str, int], ...]  # member ids and hole numbers along a bolt


class Tag(NamedTuple):
    """A lap that a view shows, to be tagged with the holes that lie on one another.

    Attributes
    ----------
    bolt : Bolt or None
        None for a lap without.
    hole : Hole
        The one nearest to the viewer.
    through : tuple of (str, int)
        Member ids and hole numbers from 1, nearest first.
    """

    bolt: Bolt | None
    hole: Hole
    through: Through


class ViewBoard:
    """A frame on the drawing board: its six views, each worked out once and when it is wanted.

    Parameters
    ----------
    frame : Frame
    hole : float
        Diameter of the holes, pitches.

    Examples
    --------
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> ViewBoard(Frame((post,)), HOLE).span("Front").tolist()
    [1.0, 12.0]
    """

    def __init__(self, frame: Frame, hole: float) -> None:
        self.frame, self.hole = frame, hole
        self.views = six_views(frame.members)
        self.bolts = find_bolts(frame)
        self.fitted = fitting_solids(frame)
        self._scenes: dict[str, ProjectedFrame] = {}

    def scene(self, name: str) -> ProjectedFrame:
        """The members and fittings in the view of that name."""
        if name not in self._scenes:
            self._scenes[name] = ProjectedFrame(self.frame.members, self.views[name], self.hole, self.fitted)
        return self._scenes[name]

    def span(self, name: str) -> FloatArray:
        """What the view takes across and up, (2,) pitches."""
        return np.ptp(self.scene(name).edges[0].reshape(-1, 2), axis=0)

    def tags(self, name: str) -> list[Tag]:
        """The laps whose nearer hole is turned to the viewer and in sight."""
        scene = self.scene(name)
        index = {m.id: k for k, m in enumerate(scene.members)}
        laps: list[tuple[Bolt | None, Vector, Through]] = [(b, b.axis, b.through) for b in self.bolts]
        laps += [
            (None, j.axis, ((j.a, j.a_hole), (j.b, j.b_hole))) for j in self.frame.joints if j.bolt == "none"
        ]
        found = []
        for bolt, axis, through in laps:
            along = float(np.dot(axis, scene.view.towards))
            if abs(along) > FACING:
                nearest_first = tuple((id, hole + 1) for id, hole in through[:: -1 if along > 0 else 1])
                id, number = nearest_first[0]
                hole = scene.open_holes.get((index[id], number))
                found += [Tag(bolt, hole, nearest_first)] if hole is not None else []
        return found


def views_needed(board: ViewBoard, side: str) -> list[str]:
    """Names of the views that show every bolt which any view shows.

    Front, top and the side view `side`, 'Right' or 'Left', come first; of the others, those that show a bolt
    which no view before them shows.
    """
    main = ["Front", "Top", side]
    shown: set[Bolt] = set()
    needed = []
    for name in [*main, *(n for n in ("Rear", "Left", "Right", "Bottom") if n not in main)]:
        new = {tag.bolt for tag in board.tags(name) if tag.bolt} - shown
        if name in main or new:
            needed.append(name)
            shown |= new
    return needed
