"""Members that could be added to a frame: between free holes, along an axis or as a brace at an angle.

A brace at an angle fits where two holes lie a whole number of pitches apart: legs of 3 and 4, 5 and 12 or 8
and 15 holes make 5, 13 and 17, and so do their multiples; it lies one width out of the plane of the members
that it is bolted to.
"""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np
from scipy.spatial import cKDTree

from recon.frame.joints import NORMAL_TOL
from recon.frame.model import Frame, Member, as_tuple, label, section_axes
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.workshop.hardware.bolts import Hole
from recon.workshop.rigidity.added_constraints import Attachments
from recon.workshop.rigidity.free_space import new_member_boxes
from recon.workshop.solids import Boxes

# A bolt's clearance in an ISO 273 medium hole, M8 to M12, from memory; a brace may be off by this in all.
PLAY_MM = 1.0
USUAL_PITCH_MM = 38.1
# Pitches between its bolts: shorter ones are not counted when it is decided how far to look, as they have
# little leverage; common practice, no source.
SHORT = 4
# Within each step of how far the frame gives, a factor of 1.19, shorter members come first: this project's
# choice.
STEPS_PER_OCTAVE = 4
# Of a brace's legs the shorter is at least this share of its length: 7-24-25 is; common practice, no source.
FLATTEST = 0.25
LONGEST = 32  # holes: longer members are not proposed
# Pitches between its bolts; where there are enough within the first, farther holes are not looked at.
REACHES = (8, 16, LONGEST - 1)
TRIED = 6000  # members looked at for one proposal, those with most leverage first

# Of n possible members: pairs of spots (n, 2), lengths in holes (n,), and legs (n, 2), pitches.
_Proposals = tuple[IntArray, IntArray, FloatArray]


@dataclass(frozen=True)
class FreeSpots:
    """Where a hole of a new member could lie: n places on free holes of the frame.

    Attributes
    ----------
    centre : (n, 3)
        Of the new member's hole, pitches.
    axis : (n, 3)
        Of the bolt, outwards from the host; one of the lattice's.
    host : (n,)
        Index of the member there.
    along : (n, 3)
        The way that the host runs.
    turn : (n, 6)
        Of a turn about the bolt, as a twist.
    """

    centre: FloatArray
    axis: FloatArray
    host: IntArray
    along: FloatArray
    turn: FloatArray


@dataclass(frozen=True)
class PossibleMembers:
    """New members, n of them, each between two spots.

    Attributes
    ----------
    spots : FreeSpots
        All places of the frame.
    pins : (n, 2)
        The spots that each is bolted to.
    holes : (n,)
        Lengths in holes.
    legs : (n, 2)
        Of a brace at an angle, pitches; 0 for members along an axis.
    width : float
        Of their sections, pitches.
    stock : str or None
        What they are cut from.
    closing : (n,)
        How much nearer their two bolts come to one another, pitches, or how much their hosts lean against
        one another over the member's width, where that is more, while the frame turns on a bolt by 1 radian:
        the lever at which a member works.
    motion : (n,)
        The index of the motion that each works against at that lever.
    """

    spots: FreeSpots
    pins: IntArray
    holes: IntArray
    legs: FloatArray
    width: float
    stock: str | None
    closing: FloatArray
    motion: IntArray

    def take(self, index: IntArray | BoolArray) -> PossibleMembers:
        """Some of the members, by index or mask."""
        return PossibleMembers(
            self.spots,
            self.pins[index],
            self.holes[index],
            self.legs[index],
            self.width,
            self.stock,
            self.closing[index],
            self.motion[index],
        )

    @property
    def attachments(self) -> Attachments:
        """What each of them joins."""
        return Attachments(self.spots.host[self.pins], self.spots.turn[self.pins])

    def boxes(self) -> Boxes:
        """The members as boxes."""
        one, other = self.spots.centre[self.pins[:, 0]], self.spots.centre[self.pins[:, 1]]
        way = (other - one) / np.linalg.norm(other - one, axis=1, keepdims=True)
        return new_member_boxes((one + other) / 2, way, self.holes, self.width)

    def member(self, row: int, frame: Frame) -> Member:
        """One of the members, with the next label that is free in the frame."""
        holes = int(self.holes[row])
        known = {m.id for m in frame.members}
        ends = self.spots.centre[self.pins[row]]
        first, last = sorted(ends, key=lambda c: tuple(np.round(c[::-1], 6)))
        way = (last - first) / np.linalg.norm(last - first)
        first = (first + last) / 2 - way * (holes - 1) / 2  # what is left over is shared between both ends
        return Member(
            next(name for name in map(label, count()) if name not in known),
            as_tuple(np.round(first, 9)),
            as_tuple(way),
            holes,
            self.width,
            self.stock,
            on_lattice=bool(np.abs(way).max() > 1 - 1e-9),
        )


def possible_members(frame: Frame, taken: Container[Hole], twists: FloatArray) -> PossibleMembers:
    """Members between free holes whose hosts move against one another, those with most leverage first.

    Parameters
    ----------
    frame : Frame
        The frame.
    taken : container of (member id, hole)
        Holes with a bolt in them.
    twists : (d, members, 6)
        Of the members in each of the frame's motions, the bolt that turns most by 1 radian.
    """
    width, stock = usual_section(frame)
    spots = free_spots(frame, width, taken)
    # Members that move alike in all motions are of one group.
    alike = np.round(np.moveaxis(twists, 0, 1).reshape(len(frame.members), -1), 6)
    group = np.unique(alike, axis=0, return_inverse=True)[1].ravel()[spots.host]
    play = PLAY_MM / (frame.pitch_mm or USUAL_PITCH_MM)
    for reach in REACHES:
        found = [*_braces(spots, group, play, reach), *_straight(spots, group, reach)]
        pairs = np.concatenate([p for p, _, _ in found])
        holes = np.concatenate([h for _, h, _ in found])
        legs = np.concatenate([x for _, _, x in found])
        if (
            (holes > SHORT) & (holes <= reach)
        ).sum() >= TRIED:  # what reaches farther comes after all of these
            break
    closing, motion = _closing(spots, pairs, twists, width)
    order = np.lexsort((pairs[:, 1], pairs[:, 0], holes, -leverage_step(closing)))[:TRIED]
    return PossibleMembers(
        spots, pairs[order], holes[order], legs[order], width, stock, closing[order], motion[order]
    )


def leverage_step(closing: FloatArray) -> FloatArray:
    """Levers (n,), pitches, in steps within which one is as good as another."""
    return np.round(STEPS_PER_OCTAVE * np.log2(np.maximum(closing, 1e-6)) - 1e-6)


def _closing(
    spots: FreeSpots, pairs: IntArray, twists: FloatArray, width: float
) -> tuple[FloatArray, IntArray]:
    """Lever and motion of members between these pairs of spots (n, 2), as `PossibleMembers` has them."""
    one, other = pairs.T
    way = spots.centre[other] - spots.centre[one]
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    best, which = np.zeros(len(pairs)), np.zeros(len(pairs), int)
    for k, motion in enumerate(twists):
        turn, travel = motion[spots.host, :3], motion[spots.host, 3:]
        speed = travel + np.cross(turn, spots.centre)
        nearer = np.abs(((speed[other] - speed[one]) * way).sum(axis=1))
        lean = turn[other] - turn[one]
        across = np.cross(spots.axis[one], spots.axis[other])
        level = np.linalg.norm(across, axis=1) < 0.5  # both bolts one way: only turns about them are free
        lean = np.where(
            level[:, None],
            lean - (lean * spots.axis[one]).sum(axis=1, keepdims=True) * spots.axis[one],
            across * (lean * across).sum(axis=1, keepdims=True),
        )
        lever = np.maximum(nearer, width * np.linalg.norm(lean, axis=1))
        which[lever > best] = k
        best = np.maximum(best, lever)
    return best, which


def usual_section(frame: Frame) -> tuple[float, str | None]:
    """Width, pitches, and stock that most members have."""
    kinds = [(m.width, m.stock or "") for m in frame.members]
    width, stock = max(sorted(set(kinds)), key=kinds.count)
    return width, stock or None


def free_spots(frame: Frame, width: float, taken: Container[Hole]) -> FreeSpots:
    """Where a hole of a new member could lie; width : of its section, pitches; taken : holes with a bolt."""
    centre, axis, along = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros((0, 3))]
    host = [np.zeros(0, int)]
    for i, m in enumerate(frame.members):
        free = m.hole_centres()[[(m.id, k) not in taken for k in range(m.holes)]]
        if not len(free):
            continue
        for normal in section_axes(m):
            if np.abs(normal).max() < NORMAL_TOL:
                continue
            for side in (1.0, -1.0):
                outwards = np.round(side * normal)
                centre.append(free + (m.width + width) / 2 * outwards)
                axis.append(np.tile(outwards, (len(free), 1)))
                along.append(np.tile(m.direction, (len(free), 1)))
                host.append(np.full(len(free), i))
    centres, axes = np.concatenate(centre), np.concatenate(axis)
    turns = np.hstack([axes, np.cross(centres, axes)])
    return FreeSpots(centres, axes, np.concatenate(host), np.concatenate(along), turns)


def _braces(spots: FreeSpots, group: IntArray, play: float, reach: float) -> Iterator[_Proposals]:
    """Braces at an angle: both holes in one plane across the same axis; for each axis and side."""
    for k in range(3):
        for sign in (1.0, -1.0):
            mine = np.nonzero(spots.axis[:, k] == sign)[0]
            in_plane = np.delete(spots.centre[mine], k, axis=1)
            pairs = mine[_pairs(spots.centre[mine][:, [k]], in_plane, group[mine], reach)]
            apart = np.abs(spots.centre[pairs[:, 1]] - spots.centre[pairs[:, 0]])
            legs = np.sort(np.delete(apart, k, axis=1), axis=1)
            length = np.hypot(*legs.T)
            whole = np.abs(length - np.round(length)) <= play
            fit = whole & (legs[:, 0] >= FLATTEST * length) & (length > 0.5)
            yield pairs[fit], np.round(length[fit]).astype(int) + 1, legs[fit]


def _straight(spots: FreeSpots, group: IntArray, reach: float) -> Iterator[_Proposals]:
    """Members along an axis of the lattice that cross both hosts, on whichever faces; for each axis."""
    for k in range(3):
        mine = np.nonzero((np.abs(spots.axis[:, k]) < 0.5) & (np.abs(spots.along[:, k]) < 1 - NORMAL_TOL))[0]
        across = np.delete(spots.centre[mine], k, axis=1)
        pairs = mine[_pairs(across, spots.centre[mine][:, [k]], group[mine], reach)]
        apart = np.abs(spots.centre[pairs[:, 1], k] - spots.centre[pairs[:, 0], k])
        fit = (np.abs(apart - np.round(apart)) < 1e-6) & (apart > 0.5)
        yield pairs[fit], np.round(apart[fit]).astype(int) + 1, np.zeros((fit.sum(), 2))


def _pairs(keys: FloatArray, places: FloatArray, group: IntArray, reach: float) -> IntArray:
    """Index pairs (n, 2), the lower first, of spots on hosts that move against one another.

    Their keys are equal (to 1e-6), and their places not farther apart than `reach`, pitches.
    """
    if not len(keys):
        return np.zeros((0, 2), int)
    _, same = np.unique(np.round(keys, 6), axis=0, return_inverse=True)
    same = same.ravel()
    low, high = np.full(same.max() + 1, group.max()), np.zeros(same.max() + 1, int)
    np.minimum.at(low, same, group)
    np.maximum.at(high, same, group)
    those = np.nonzero((low < high)[same])[0]
    if not len(those):
        return np.zeros((0, 2), int)
    # With spots of other keys out of reach, one tree finds all pairs.
    points = np.column_stack([places[those], same[those] * 2.0 * reach])
    pairs = np.sort(those[cKDTree(points).query_pairs(reach, output_type="ndarray")], axis=1)
    return pairs[group[pairs[:, 0]] != group[pairs[:, 1]]]
