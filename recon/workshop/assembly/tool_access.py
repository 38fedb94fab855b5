"""Whether a bolt can be put in and turned where other members and bolts are already in place.

A bolt goes in along its axis from one side, its head last; the nut comes from the other side; a ring
spanner turns one of the two while another holds the other.  The sizes assumed follow from the bolt: common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from recon.frame.joints import CLASH_TOL
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.workshop.hardware.bolts import Bolt
from recon.workshop.hardware.fasteners import system_of_pitch
from recon.workshop.solids import (
    BOLT_PER_HOLE,
    END_LENGTH,
    END_RADIUS,
    Boxes,
    bolt_axes,
    boxes_of,
    joined,
    overlaps,
    prism_on_bolt,
)

# In diameters of the bolt; common practice, no source.  A ring is half as wide again as the 1.6 diameters
# across the flats of the nut; a spanner is about ten times as long as the flats; a nut with its washer
# takes the first 1.1.
RING, HANDLE, HANDLE_WIDTH, LEVEL = 1.2, 16.0, 1.0, (0.2, 1.1)
SWING_DEG = 60  # a ring of twelve points is taken up again after 30 degrees already
STEP_DEG = 10  # the handle is tried every so many degrees, each time as wide as it sweeps until the next
ANGLES = 360 // STEP_DEG


def room_words(pitch_mm: float | None) -> str:
    """What room is assumed for each bolt; a sentence, in the words of those who use a pitch's units.

    >>> "two box-end wrenches 16" in room_words(38.1), "two ring spanners 16" in room_words(40.0)
    (True, True)
    """
    tools = {"inch": "box-end wrenches", "metric": "ring spanners"}[system_of_pitch(pitch_mm)]
    return (
        "Room assumed for each bolt: its own length and head along its axis on one side, its nut on the "
        f"other, and for two {tools} {HANDLE:.0f} bolt diameters long, one of which swings {SWING_DEG} "
        "degrees (common practice, no source)."
    )


@dataclass(frozen=True)
class ToolAccess:
    """Which of the frame's solids are in the way of one bolt.

    The first index of all but `near` is the side: 0 where the bolt starts, 1 where it ends.

    Attributes
    ----------
    near : (m,)
        Indices of the solids looked at.
    way : (2, m)
        Whether each is in the bolt's way in.
    end : (2, m)
        In the place of its end.
    ring : (2, m)
        In the place of the spanner's ring.
    handle : (2, angles, m)
        In the place of the spanner's handle at each angle.
    """

    near: IntArray
    way: BoolArray
    end: BoolArray
    ring: BoolArray
    handle: BoolArray


def tool_access(bolt: Bolt, solids: Boxes, own: Sequence[int], hole: float) -> ToolAccess:
    """What is in the way of a bolt and of the spanners on it.

    Parameters
    ----------
    bolt : Bolt
        The bolt.
    solids : Boxes
        Members and ends of bolts.
    own : sequence of int
        Indices of the bolt's own two ends among them.
    hole : float
        Diameter of the holes, pitches.
    """
    tools = _tools(bolt, BOLT_PER_HOLE * hole)
    low, high = (tools.centre - tools.reach).min(axis=0), (tools.centre + tools.reach).max(axis=0)
    close = ((solids.centre - solids.reach < high) & (solids.centre + solids.reach > low)).all(axis=1)
    close[list(own)] = False
    near = np.nonzero(close)[0]
    met = overlaps(tools, solids.take(near)).reshape(2, 3 + 2 * ANGLES, -1)
    halves = met[:, 3:].reshape(2, ANGLES, 2, -1)
    return ToolAccess(near, met[:, 0], met[:, 1], met[:, 2], halves[:, :, 0] | halves[:, :, 1])


def _tools(bolt: Bolt, d: float) -> Boxes:
    """What needs room on each side of a bolt: its way in, its end, the ring, and the handle at each angle."""
    length = bolt.grip + END_LENGTH * d
    axes = bolt_axes(bolt)
    parts = []
    for side in (-1, 1):
        prisms = [
            prism_on_bolt(bolt, side, 0, length + d, END_RADIUS * d),
            prism_on_bolt(bolt, side, 0, END_LENGTH * d, END_RADIUS * d),
            prism_on_bolt(bolt, side, LEVEL[0] * d, LEVEL[1] * d, RING * d),
        ]
        middle, turns, half = _handles(d)
        face = np.asarray(bolt.start if side < 0 else bolt.end, float)
        level = face + side * sum(LEVEL) / 2 * d * axes[0]
        handles = Boxes(level + middle @ axes, turns @ axes, half, np.full(len(half), CLASH_TOL))
        parts += [boxes_of(prisms), handles]
    return joined(parts)


@lru_cache(maxsize=4)
def _handles(d: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The spanner's handle at each angle about a bolt along x, its inner and its outer half.

    Returns
    -------
    centre (2 ANGLES, 3), axes (2 ANGLES, 3, 3), half sizes (2 ANGLES, 3)
    """
    middles, turns, halves = [], [], []
    for angle in np.radians(np.arange(ANGLES) * STEP_DEG):
        out, across = (
            np.array([0, np.cos(angle), np.sin(angle)]),
            np.array([0, -np.sin(angle), np.cos(angle)]),
        )
        for near, far in ((0.0, HANDLE / 2), (HANDLE / 2, HANDLE)):
            wide = max(HANDLE_WIDTH / 2, far * np.tan(np.radians(STEP_DEG / 2)))
            middles.append((near + far) / 2 * d * out)
            turns.append([[1.0, 0.0, 0.0], out, across])
            halves.append(((LEVEL[1] - LEVEL[0]) / 2 * d, (far - near) / 2 * d, wide * d))
    return np.array(middles), np.array(turns), np.array(halves)


def reachable(access: ToolAccess, present: BoolArray) -> bool:
    """Whether the bolt can be put in and turned among the solids that are present, of N in all.

    >>> none = np.zeros((2, 0), bool)
    >>> access = ToolAccess(np.zeros(0, int), none, none, none, np.zeros((2, 36, 0), bool))
    >>> reachable(access, np.zeros(4, bool))
    True
    """
    return any(head_sides(access, present))


def head_sides(access: ToolAccess, present: BoolArray) -> tuple[bool, bool]:
    """Whether the bolt can be put in and turned with its head where it starts, and where it ends.

    Its nut is at the other end then.

    Parameters
    ----------
    access : ToolAccess
        Of the bolt.
    present : (N,)
        Which solids are there.
    """
    there = present[access.near]
    free = np.logical_not(np.any(access.handle & there, axis=2))  # (2, angles)
    clear = np.logical_not(np.any(access.ring & there, axis=1))
    can_hold = clear & np.any(free, axis=1)
    can_turn = clear & _can_swing(free)
    if not ((can_hold[0] and can_turn[1]) or (can_turn[0] and can_hold[1])):
        return False, False
    way, end = np.any(access.way & there, axis=1), np.any(access.end & there, axis=1)
    return bool(not way[0] and not end[1]), bool(not way[1] and not end[0])


def _can_swing(free: BoolArray) -> BoolArray:
    """Whether the handle is free at every angle of a whole swing, (2,); free : (2, angles)."""
    count = SWING_DEG // STEP_DEG + 1
    round_about = np.concatenate([free, free[:, : count - 1]], axis=1)
    swings = np.lib.stride_tricks.sliding_window_view(round_about, count, axis=1)
    return np.any(np.all(swings, axis=2), axis=1)


def in_the_way(access: ToolAccess, present: BoolArray) -> IntArray:
    """Of the solids present, each that alone keeps the bolt out of reach.

    Where there is no such one, all that are in the way of bolt, nut or ring.
    """
    there = np.nonzero(present[access.near])[0]
    numbers = np.arange(len(present))
    single = [k for k in there if reachable(access, present & (numbers != access.near[k]))]
    if not single:
        met = access.way | access.end | access.ring
        single = [k for k in there if met[:, k].any()] or [k for k in there if access.handle[:, :, k].any()]
    return access.near[single]
