"""Pictures of steps with the side up that is up in the step: lying what lies, and before and after a turn."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.lattice import transform
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.assembly.build_step import BuildStep
from recon.workshop.assembly.picture import SIZE, step_sheet
from recon.workshop.assembly.shots import CornerScenes, Size
from recon.workshop.drawing.vector import Area, Pen, Sheet, moved
from recon.workshop.hardware.bolts import Bolt, Hole, find_bolts
from recon.workshop.hardware.fitting_bolts import fitting_bolts
from recon.workshop.sides import named_sides

GAP = 14.0  # mm between the pictures before and after a turn, for the arrow
_UP: Vector = (0.0, 0.0, 1.0)
_Key = tuple[tuple[Hole, ...], str]


class Stage:
    """A frame ready for pictures of its steps.

    Parameters
    ----------
    frame : Frame
        The frame.
    hole : float
        Diameter of the holes, pitches.
    z_up : bool
        Whether +z is up once the frame is done, so that its sides have names.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> from recon.workshop.assembly.steps import build_steps
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 5), (1, 0, 0), 6)
    >>> frame = Frame(members, find_joints(members))
    >>> sheet = Stage(frame, hole=0.25).picture(build_steps(frame).steps[0])
    >>> sheet.width, sheet.height, len(sheet.items) > 20
    (118.0, 82.0, True)
    """

    def __init__(self, frame: Frame, hole: float, z_up: bool = True):
        self._frame, self._hole = frame, hole
        sides = named_sides(frame.members)
        named = [(name, sides[name]) for name in ("front", "right", "top")]
        self._marks = named if z_up else [(f"+{name}", axis) for name, axis in zip("xyz", np.eye(3))]
        self._scenes: dict[Vector, tuple[CornerScenes, dict[_Key, Bolt]]] = {}

    def picture(self, step: BuildStep, size: Size = SIZE) -> Sheet:
        """The picture of a step, with what is up in it up."""
        if step.kind == "turn":
            return self._turn_sheet(step, size)
        scenes, bolts = self._scene(step.up)
        direction = None if step.direction is None else _turn_of(step.up) @ np.asarray(step.direction)
        own = [bolts[_key(bolt)] for bolt in step.bolts]
        new = [id for id in step.new if id not in step.laid]
        fitted = [id for id in step.there_fittings if id in scenes.index]
        if step.laid:
            return step_sheet(scenes, fitted, step.new, own, direction, size, step.title, incoming=new)
        there = [*(step.there or step.laid), *fitted]
        return step_sheet(scenes, there, self._shaded(step, scenes), own, direction, size, step.title)

    def _shaded(self, step: BuildStep, scenes: CornerScenes) -> Sequence[str]:
        """What a step brings in; where a fitting has no size, what it is bolted to."""
        if step.kind != "fit":
            return step.new
        drawn = [id for id in step.fittings if id in scenes.index]
        held = (id for f in self._frame.fittings if f.id in step.fittings for id in f.members)
        return drawn or list(dict.fromkeys(held))

    def _scene(self, up: Vector) -> tuple[CornerScenes, dict[_Key, Bolt]]:
        """The frame turned so that `up` is up, and its bolts by the holes that they go through."""
        if up not in self._scenes:
            turn = _turn_of(up)
            turned = transform(_bare(self._frame), turn)
            bolts = {_key(bolt): bolt for bolt in (*find_bolts(turned), *fitting_bolts(turned))}
            bolts |= {(through[::-1], id): bolt for (through, id), bolt in bolts.items()}
            marks = [(name, turn @ vector) for name, vector in self._marks]
            self._scenes[up] = CornerScenes(turned, self._hole, marks), bolts
        return self._scenes[up]

    def _turn_sheet(self, step: BuildStep, size: Size) -> Sheet:
        """Before and after a turn, with an arrow between."""
        half = ((size[0] - GAP) / 2, size[1])
        scenes = [self._scene(up)[0] for up in (step.up_before or step.up, step.up)]
        whole = [*step.there, *(id for id in step.there_fittings if id in scenes[0].index)]
        before, after = (step_sheet(scene, [], whole, [], None, half) for scene in scenes)
        arrow = _arrow(size[0] / 2, size[1] / 2)
        items = [*before.items, *moved(after.items, half[0] + GAP, 0.0), arrow]
        return Sheet(*size, tuple(items), step.title)


def _bare(frame: Frame) -> Frame:
    """The frame without photos, whose cameras need not be turned."""
    return Frame(frame.members, frame.joints, frame.pitch_mm, frame.stock, fittings=frame.fittings)


def _key(bolt: Bolt) -> _Key:
    """What names a bolt: the holes that it goes through, and the fitting that it holds."""
    return bolt.through, bolt.fitting.id if bolt.fitting else ""


def _turn_of(up: ArrayLike) -> FloatArray:
    """The turn, (3, 3), that brings `up` to +z by the shortest way; over x where that is half a turn."""
    up = np.asarray(up, float)
    cosine, axis = float(up @ _UP), np.cross(up, _UP)
    if cosine < -0.5:
        return np.diag([1.0, -1.0, -1.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + cross + cross @ cross / (1 + cosine)


def _arrow(x: float, y: float) -> Area:
    """A broad arrow to the right round a place, mm."""
    outline = [(-5, 1.2), (1, 1.2), (1, 3), (5, 0), (1, -3), (1, -1.2), (-5, -1.2)]
    return Area(tuple((x + dx, y + dy) for dx, dy in outline), 1.0, Pen(0.35))
