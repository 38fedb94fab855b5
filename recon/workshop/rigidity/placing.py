"""Whether a new member and its bolts have room in a frame, for many members one after another."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from recon.frame.joints import BOLT_TOL, BRACE_TOL, CLASH_TOL, NORMAL_TOL, mark_three_way
from recon.frame.model import Frame, Joint, Member, as_tuple, section_axes
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.solids import Boxes, across, bolt_ends, joined, member_boxes, overlapping, overlaps


@dataclass(frozen=True)
class Room:
    """A frame as a new member meets it, worked out once for all that are tried.

    taken : hole -> axis of the bolt in it.   hole : diameter, pitches.   members : as boxes.   solid : the same and the
    ends of all bolts.   holes : tree over the centres of all holes, each hole `k_hole` of member `k_member`.
    normals : (members, 2, 3) of two neighbouring faces.
    """

    frame: Frame
    hole: float
    taken: dict[tuple[str, int], tuple[float, float, float]]
    members: Boxes
    solid: Boxes
    holes: cKDTree
    k_member: np.ndarray
    k_hole: np.ndarray
    normals: np.ndarray


def room_of(frame: Frame, hole: float) -> Room:
    """The room that a frame leaves.  hole : diameter, pitches."""
    bolts: tuple[Bolt, ...] = find_bolts(frame)
    members = member_boxes(frame.members)
    count = [m.holes for m in frame.members]
    return Room(
        frame,
        hole,
        {spot: bolt.axis for bolt in bolts for spot in bolt.through},
        members,
        joined([members, bolt_ends(bolts, hole)]),
        cKDTree(np.vstack([m.hole_centres() for m in frame.members])),
        np.repeat(np.arange(len(count)), count),
        np.concatenate([np.arange(n) for n in count]),
        members.axes[:, 1:],
    )


def fitting(room: Room, bodies: Boxes) -> np.ndarray:
    """(n,) bool: which of n new members take no room of a member or of a bolt's end."""
    fits = np.ones(len(bodies), bool)
    fits[overlapping(bodies, room.solid)[0]] = False
    return fits


def bodies_of(middle, way, holes, width: float) -> Boxes:
    """Members as boxes, as `member_boxes` makes them.  middle, way : (n, 3).   holes : (n,).   width : pitches."""
    half = np.stack([holes / 2, np.full(len(holes), width / 2), np.full(len(holes), width / 2)], axis=1)
    return Boxes(
        middle, across(way), half, np.where(np.abs(way).max(axis=1) > 1 - 1e-9, CLASH_TOL, BRACE_TOL)
    )


def added(room: Room, new: Member) -> Frame | None:
    """The frame with the new member, which fits, bolted wherever it laps on free holes; None where a bolt has no room."""
    frame, axis_in, laps = room.frame, {}, []
    for j in _laps(room, new):
        if (j.b, j.b_hole) not in room.taken and abs(
            np.dot(axis_in.setdefault(j.a_hole, j.axis), j.axis)
        ) > NORMAL_TOL:
            laps.append(j)
    hosts = {j.b for j in laps}
    bolts = find_bolts(Frame((new, *(m for m in frame.members if m.id in hosts)), tuple(laps)))
    if overlaps(bolt_ends(bolts, room.hole), room.members).any():
        return None
    members, joints = (*frame.members, new), (*frame.joints, *laps)
    return replace(
        frame, members=members, joints=frame.joints + mark_three_way(joints, members)[len(frame.joints) :]
    )


def _laps(room: Room, new: Member) -> list[Joint]:
    """The laps of a new member on those of the frame, as `find_joints` finds them."""
    normals, centres = np.array(section_axes(new)), new.hole_centres()
    members = room.frame.members
    width = np.array([m.width for m in members], float)
    rows = defaultdict(list)  # (member, face, side) -> [(hole of the new one, hole of the member)]
    for other in np.unique(width):
        for face in (0, 1):
            for side in (1.0, -1.0):
                spots = centres + side * ((new.width + other) / 2) * normals[face]
                distance, index = room.holes.query(
                    spots, k=min(4, room.holes.n), distance_upper_bound=BOLT_TOL
                )
                distance, index = distance.reshape(len(spots), -1), index.reshape(len(spots), -1)
                for spot, column in np.argwhere(np.isfinite(distance)):
                    at = index[spot, column]
                    b = int(room.k_member[at])
                    if width[b] == other and np.abs(room.normals[b] @ normals[face]).max() > NORMAL_TOL:
                        rows[b, face, side].append((int(spot), int(room.k_hole[at])))
    joints = []
    for b, face, side in sorted(rows):
        pairs = sorted(rows[b, face, side])
        for hole, other in dict.fromkeys((pairs[0], pairs[-1])):
            joints.append(
                Joint(new.id, hole, members[b].id, other, as_tuple(np.round(side * normals[face], 9)))
            )
    return joints
