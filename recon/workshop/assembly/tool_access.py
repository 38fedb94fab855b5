"""Whether a bolt can be put in and turned where other members and bolts are already in place.

A bolt goes in along its axis from one side, its head last; the nut comes from the other side; a ring spanner turns one of
the two while another holds the other.  The sizes assumed follow from the bolt: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.workshop.hardware.bolts import Bolt
from recon.workshop.solids import (
    BOLT_PER_HOLE,
    END_LENGTH,
    END_RADIUS,
    Boxes,
    prism_on_bolt,
    bolt_axes,
    boxes_of,
    overlaps,
)

# In diameters of the bolt; common practice, no source.  A ring is half as wide again as the 1.6 diameters across the flats
# of the nut; a spanner is about ten times as long as the flats; a nut with its washer takes the first 1.1.
RING, HANDLE, HANDLE_WIDTH, LEVEL = 1.2, 16.0, 1.0, (0.2, 1.1)
SWING_DEG = 60  # a ring of twelve points is taken up anew after 30 degrees already
STEP_DEG = 10  # the handle is tried every so many degrees, each time as wide as it sweeps until the next
ASSUMED = (
    f"Room assumed for each bolt: its own length and head along its axis on one side, its nut on the other, and for two "
    f"ring spanners {HANDLE:.0f} bolt diameters long, one of which swings {SWING_DEG} degrees (common practice, no source)."
)


@dataclass(frozen=True)
class Reach:
    """What of the frame's solids is in the way of one bolt.  `near` : indices of the solids looked at, (m,).  On each side
    (0 where the bolt starts, 1 where it ends): `way` (2, m) the bolt's way in, `end` (2, m) its end in place, `ring` (2, m)
    the spanner's ring, `handle` (2, angles, m) the spanner's handle at each angle."""

    near: np.ndarray
    way: np.ndarray
    end: np.ndarray
    ring: np.ndarray
    handle: np.ndarray


def reach_of(bolt: Bolt, solids: Boxes, own, hole: float) -> Reach:
    """What is in the bolt's way.  solids : members and ends of bolts.   own : indices of the bolt's own two ends."""
    d = BOLT_PER_HOLE * hole
    length = bolt.grip + END_LENGTH * d
    angles = np.radians(np.arange(0, 360, STEP_DEG))
    rows = []
    for side in (-1, 1):
        rows += [
            prism_on_bolt(bolt, side, 0, length + d, END_RADIUS * d),
            prism_on_bolt(bolt, side, 0, END_LENGTH * d, END_RADIUS * d),
            prism_on_bolt(bolt, side, LEVEL[0] * d, LEVEL[1] * d, RING * d),
        ]
        rows += _handles(bolt, side, angles, d)
    tools = boxes_of(rows)
    low, high = (tools.centre - tools.reach).min(axis=0), (tools.centre + tools.reach).max(axis=0)
    close = ((solids.centre - solids.reach < high) & (solids.centre + solids.reach > low)).all(axis=1)
    close[list(own)] = False
    near = np.nonzero(close)[0]
    met = overlaps(tools, solids.take(near)).reshape(2, 3 + 2 * len(angles), -1)
    return Reach(near, met[:, 0], met[:, 1], met[:, 2], met[:, 3:].reshape(2, len(angles), 2, -1).any(axis=2))


def _handles(bolt: Bolt, side: int, angles, d: float) -> list:
    """The spanner's handle at angles about the bolt's axis, as rows for `boxes_of`: its inner and its outer half at each."""
    axis, u, v = bolt_axes(bolt)
    level = np.asarray(bolt.start if side < 0 else bolt.end, float) + side * sum(LEVEL) / 2 * d * axis
    rows = []
    for angle in angles:
        out, across = np.cos(angle) * u + np.sin(angle) * v, np.cos(angle) * v - np.sin(angle) * u
        for near, far in ((0.0, HANDLE / 2), (HANDLE / 2, HANDLE)):
            wide = max(HANDLE_WIDTH / 2, far * np.tan(np.radians(STEP_DEG / 2)))
            rows.append(
                (
                    level + (near + far) / 2 * d * out,
                    (axis, out, across),
                    ((LEVEL[1] - LEVEL[0]) / 2 * d, (far - near) / 2 * d, wide * d),
                )
            )
    return rows


def reachable(reach: Reach, present) -> bool:
    """Whether the bolt can be put in and turned among the solids that are `present` (N,) bool."""
    there = present[reach.near]
    free = ~(reach.handle & there).any(axis=2)  # (2, angles)
    clear = ~(reach.ring & there).any(axis=1)
    held = clear & free.any(axis=1)
    turned = clear & _swings(free)
    if not ((held[0] and turned[1]) or (turned[0] and held[1])):
        return False
    way, end = (reach.way & there).any(axis=1), (reach.end & there).any(axis=1)
    return bool((not way[0] and not end[1]) or (not way[1] and not end[0]))


def _swings(free) -> np.ndarray:
    """(2,) bool: whether the handle is free at every angle of a whole swing."""
    count = SWING_DEG // STEP_DEG + 1
    round_about = np.concatenate([free, free[:, : count - 1]], axis=1)
    return np.lib.stride_tricks.sliding_window_view(round_about, count, axis=1).all(axis=2).any(axis=1)


def in_the_way(reach: Reach, present) -> np.ndarray:
    """Of the solids present, those that the bolt could be reached without, each alone; where there is no such one, all
    that are in the way of bolt, nut or ring."""
    there = np.nonzero(present[reach.near])[0]
    single = [k for k in there if reachable(reach, present & (np.arange(len(present)) != reach.near[k]))]
    if not single:
        met = reach.way | reach.end | reach.ring
        single = [k for k in there if met[:, k].any()] or [k for k in there if reach.handle[:, :, k].any()]
    return reach.near[single]
