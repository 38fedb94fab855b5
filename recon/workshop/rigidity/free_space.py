"""Whether a new member and its bolts have room in a frame, for many members one after another."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from recon.frame.joints import BOLT_TOL, BRACE_TOL, CLASH_TOL, NORMAL_TOL, mark_three_way
from recon.frame.model import Frame, Joint, Member, as_tuple, section_axes
from recon.geometry.arrays import BoolArray, FloatArray, IntArray, Vector
from recon.workshop.hardware.bolts import Hole, bolt_axes_by_hole, find_bolts, holes_crossed
from recon.workshop.solids import (
    Boxes,
    bolt_ends,
    joined,
    member_boxes,
    overlapping,
    overlaps,
    section_frames,
)

_NEAREST = 4  # holes looked at for each spot, as in `recon.frame.joints.find_joints`


@dataclass(frozen=True)
class FreeSpace:
    """A frame as a new member meets it, worked out once for all that are tried.

    Attributes
    ----------
    frame : Frame
        The frame.
    hole : float
        Diameter of the holes, pitches.
    bolt_axes : dict of (str, int) to (3,)
        The axis of the bolt in each hole that has one.
    members : Boxes
        The members.
    solids : Boxes
        The same and the ends of all bolts.
    holes : cKDTree
        Over the centres of all holes.
    member_of, hole_of : (holes,)
        Of each of these the member's index, and the hole's number from 0.
    normals : (members, 2, 3)
        Of two neighbouring faces.
    ground : float or None
        Height below which nothing new may lie, pitches.
    """

    frame: Frame
    hole: float
    bolt_axes: dict[Hole, Vector]
    members: Boxes
    solids: Boxes
    holes: cKDTree
    member_of: IntArray
    hole_of: IntArray
    normals: FloatArray
    ground: float | None


def free_space(frame: Frame, hole: float, ground: float | None = None) -> FreeSpace:
    """The space that a frame leaves to new members.

    Parameters
    ----------
    frame : Frame
        The frame.
    hole : float
        Diameter of the holes, pitches.
    ground : float, optional
        Height below which nothing new may lie, pitches.
    """
    bolts = find_bolts(frame)
    members = member_boxes(frame.members)
    count = [m.holes for m in frame.members]
    return FreeSpace(
        frame,
        hole,
        bolt_axes_by_hole(bolts),
        members,
        joined([members, bolt_ends(bolts, hole)]),
        cKDTree(np.concatenate([m.hole_centres() for m in frame.members])),
        np.repeat(np.arange(len(count)), count),
        np.concatenate([np.arange(n) for n in count]),
        members.axes[:, 1:],
        ground,
    )


def lowest_point(frame: Frame) -> float:
    """Height of the lowest point of a frame's members, pitches."""
    return lowest(member_boxes(frame.members))


def lowest(boxes: Boxes) -> float:
    """Height of the lowest point of some boxes, pitches."""
    return float((boxes.centre[:, 2] - boxes.reach[:, 2]).min())


def below(boxes: Boxes, ground: float) -> BoolArray:
    """Which of n boxes reach below a height, (n,)."""
    return boxes.centre[:, 2] - boxes.reach[:, 2] < ground - boxes.play


def fits(space: FreeSpace, boxes: Boxes) -> BoolArray:
    """Which of n new members overlap no member and no bolt's end, and lie above the ground, (n,)."""
    free = np.ones(len(boxes), bool) if space.ground is None else ~below(boxes, space.ground)
    free[overlapping(boxes, space.solids)[0]] = False
    return free


def new_member_boxes(middles: FloatArray, directions: FloatArray, holes: IntArray, width: float) -> Boxes:
    """Members as boxes, as `member_boxes` makes them.

    Parameters
    ----------
    middles, directions : (n, 3)
        Middles, pitches, and unit vectors along the members.
    holes : (n,)
        Their lengths in holes.
    width : float
        Of the section, pitches.
    """
    half = np.stack([holes / 2, np.full(len(holes), width / 2), np.full(len(holes), width / 2)], axis=1)
    along_axis = np.abs(directions).max(axis=1) > 1 - 1e-9
    return Boxes(middles, section_frames(directions), half, np.where(along_axis, CLASH_TOL, BRACE_TOL))


def with_member(space: FreeSpace, new: Member) -> Frame | None:
    """The frame with a new member that fits, bolted wherever it laps on free holes.

    None where the ends of its bolts have no room, or would lie below the ground.
    """
    frame, laps = space.frame, []
    own_axes: dict[Hole, Vector] = {}
    for j in laps_of_new(space, new):
        if (j.b, j.b_hole) in space.bolt_axes:
            continue
        own_axes.setdefault((j.a, j.a_hole), j.axis)
        if not holes_crossed(j, own_axes):
            laps.append(j)
    hosts = {j.b for j in laps}
    bolts = find_bolts(Frame((new, *(m for m in frame.members if m.id in hosts)), tuple(laps)))
    ends = bolt_ends(bolts, space.hole)
    if overlaps(ends, space.members).any():
        return None
    if space.ground is not None and below(ends, space.ground).any():
        return None
    members, joints = (*frame.members, new), (*frame.joints, *laps)
    added = mark_three_way(joints, members)[len(frame.joints) :]
    return replace(frame, members=members, joints=frame.joints + added)


def laps_of_new(space: FreeSpace, new: Member) -> list[Joint]:
    """The laps of a new member on those of the frame, as `find_joints` finds them."""
    normals = np.array(section_axes(new))
    rows: dict[tuple[int, int, float], list[tuple[int, int]]] = defaultdict(list)
    for width in np.unique([m.width for m in space.frame.members]):
        for face in (0, 1):
            for side in (1.0, -1.0):
                for b, hole, other in _facing_holes(space, new, side * normals[face], float(width)):
                    rows[b, face, side].append((hole, other))
    joints = []
    for b, face, side in sorted(rows):
        pairs = sorted(rows[b, face, side])
        axis = as_tuple(np.round(side * normals[face], 9))
        joints += [
            Joint(new.id, hole, space.frame.members[b].id, other, axis)
            for hole, other in dict.fromkeys((pairs[0], pairs[-1]))
        ]
    return joints


def _facing_holes(
    space: FreeSpace, new: Member, normal: FloatArray, width: float
) -> list[tuple[int, int, int]]:
    """Laps beyond one face of a new member with members of one width: (member, new one's hole, its hole)."""
    spots = new.hole_centres() + (new.width + width) / 2 * normal
    distance, index = space.holes.query(spots, k=min(_NEAREST, space.holes.n), distance_upper_bound=BOLT_TOL)
    distance, index = distance.reshape(len(spots), -1), index.reshape(len(spots), -1)
    found = []
    for spot, column in np.argwhere(np.isfinite(distance)):
        at = index[spot, column]
        b = int(space.member_of[at])
        if space.frame.members[b].width == width and np.abs(space.normals[b] @ normal).max() > NORMAL_TOL:
            found.append((b, int(spot), int(space.hole_of[at])))
    return found
