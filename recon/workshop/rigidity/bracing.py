"""What to add so that a frame does not rack: a bolt, a member across a corner or a bay, or a brace that fits the holes.

A brace at an angle fits where two holes lie a whole number of pitches apart: legs of 3 and 4, 5 and 12 or 8 and 15 holes
make 5, 13 and 17, and so do their multiples; it lies one width out of the plane of the members that it is bolted to.
Every proposal is tried on the frame with all equations anew before it is made.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import count

import numpy as np
from scipy.spatial import cKDTree

from recon.frame.joints import NORMAL_TOL, find_joints
from recon.frame.model import Frame, Joint, Member, as_tuple, label, section_axes
from recon.workshop.rigidity.added_constraints import Ends, left_after, stopped, twists_of, ways_of
from recon.workshop.rigidity.mechanism import Mobility, mobility
from recon.workshop.rigidity.placing import Room, added, bodies_of, fitting, room_of
from recon.workshop.solids import HOLE, Boxes
from recon.workshop.wording import lap_words, listed, plural

PLAY_MM = 1.0  # a bolt's clearance in an ISO 273 medium hole, M8 to M12, from memory; a brace may be off by this in all
USUAL_PITCH_MM = 38.1
SHORT = 4  # pitches between its bolts: what is shorter has little leverage and comes last; common practice, no source
FLATTEST = 0.25  # of a brace's legs the shorter is at least this share of its length: 7-24-25 is; common practice, no source
LONGEST = 32  # holes: longer members are not proposed
MOST = 8  # proposals at a time
REACHES = (
    8,
    16,
    LONGEST - 1,
)  # pitches; where there are enough within the first, farther holes are not looked at
TRIED = 6000  # members looked at for one proposal, the shortest first
FIRST_LOOK = 16  # of these looked at together for room, then twice as many each time


@dataclass(frozen=True)
class Addition:
    """Something to add: `member` None where only a bolt is.  `joints` : the laps to bolt.  `left` : how many unwanted
    motions are left after it and those before it."""

    member: Member | None
    joints: tuple[Joint, ...]
    text: str
    left: int


def additions(
    frame: Frame, may_turn=(), most: int = MOST, hole: float = HOLE, state: Mobility | None = None
) -> tuple[Addition, ...]:
    """What stops the motions that are not wanted, in the order to add it, as far as something fits; () where nothing does.

    may_turn : as for `mobility`.   most : how many to give.   hole : diameter, pitches.   state : `mobility` of the
    frame, where that is known.
    """
    state = state or mobility(frame, may_turn)
    found = []
    while state.motions and len(found) < most:
        step = _best(frame, may_turn, state, hole)
        if step is None:
            break
        frame, state, addition = step
        found.append(addition)
    return tuple(found)


def _best(frame: Frame, may_turn, state: Mobility, hole: float):
    """The frame with the addition that stops most motions, its mobility, and the addition; None where none fits."""
    ways = ways_of(frame, state, may_turn)
    for trial, tell in _trials(frame, twists_of(frame, state), hole):
        member, joints, text = tell
        if left_after(ways, member, joints) < len(state.motions):
            after = mobility(trial, may_turn)
            if len(after.motions) < len(state.motions):
                return trial, after, Addition(member, joints, text, len(after.motions))
    return None


def _trials(frame: Frame, twists, hole: float):
    """Frames with something added and what it is (member, joints, text), that which stops most first."""
    room = room_of(frame, hole)
    spots = _free_spots(frame, _usual(frame)[0], room.taken)
    bolts, members = _bolts_to_add(frame, room.taken), _members_to_add(frame, spots, twists)
    index = {m.id: i for i, m in enumerate(frame.members)}
    ends = [
        Ends(
            np.array([[index[j.a], index[j.b]] for j in bolts], int).reshape(-1, 2),
            np.array([[_turn(frame, j.a, j.a_hole, j.axis)] * 2 for j in bolts]).reshape(-1, 2, 6),
        ),
        Ends(spots.host[members.pins], spots.turn[members.pins]),
    ]
    stops = np.concatenate([stopped(twists, e) for e in ends])
    short = np.concatenate([np.zeros(len(bolts), int), 1 + (members.holes <= SHORT)])
    holes = np.concatenate([np.zeros(len(bolts), int), members.holes])
    order = np.lexsort((holes, short, -stops))
    order, size = order[stops[order] > 0], FIRST_LOOK
    while len(order):
        part, order, size = order[:size], order[size:], 2 * size
        is_member = part >= len(bolts)
        new = members.take(part[is_member] - len(bolts))
        fits = np.ones(len(part), bool)
        fits[is_member] = fitting(room, _bodies(frame, spots, new))
        for i, row, fit in zip(part, np.cumsum(is_member) - 1, fits):
            if i < len(bolts):
                joint = bolts[i]
                others = tuple(j for j in frame.joints if _place(j) != _place(joint))
                yield (
                    replace(frame, joints=(*others, joint)),
                    (None, (joint,), f"Put a bolt through {lap_words(joint)}."),
                )
            elif fit:
                yield from _with_member(room, spots, new, row)


def _with_member(room: Room, spots: _Spots, new: _New, row: int):
    """The frame with one of the new members and what is told of it, where its bolts have room."""
    member, frame = _member(room.frame, spots, new, row), room.frame
    trial = added(room, member)
    if trial is not None:
        laps, holes, legs = trial.joints[len(frame.joints) :], int(new.holes[row]), new.legs[row]
        kind = (
            f"brace of {plural(holes, 'hole')}, legs of {legs[0]:.6g} and {legs[1]:.6g}"
            if legs.any()
            else f"member of {plural(holes, 'hole')}"
        )
        yield trial, (member, laps, f"Add {member.id}, a {kind}: {listed(map(lap_words, laps))}.")


def _place(joint: Joint):
    return frozenset(((joint.a, joint.a_hole), (joint.b, joint.b_hole)))


def _turn(frame: Frame, id: str, hole: int, axis) -> np.ndarray:
    """A turn about a bolt as a twist, (6,)."""
    return np.concatenate([axis, np.cross(frame.member(id).hole_centre(hole), axis)])


# Candidates


def _bolts_to_add(frame: Frame, taken) -> list[Joint]:
    """Laps of the frame that have no bolt yet, where a bolt would cross no other.  taken : hole -> axis of its bolt."""
    bolted = {_place(j) for j in frame.joints if j.bolt != "none"}
    return [
        j
        for j in find_joints(frame.members)
        if _place(j) not in bolted
        and not any(
            spot in taken and abs(np.dot(taken[spot], j.axis)) < NORMAL_TOL
            for spot in ((j.a, j.a_hole), (j.b, j.b_hole))
        )
    ]


@dataclass(frozen=True)
class _Spots:
    """Where a new member's hole could lie: `centre` of that hole, `axis` of the bolt outwards from the host (one of the
    lattice), member index `host` that runs `along`, and the bolt's `turn` as a twist; n of each."""

    centre: np.ndarray
    axis: np.ndarray
    host: np.ndarray
    along: np.ndarray
    turn: np.ndarray


def _usual(frame: Frame):
    """Width and stock that most members have."""
    kinds = [(m.width, m.stock or "") for m in frame.members]
    width, stock = max(sorted(set(kinds)), key=kinds.count)
    return width, stock or None


@dataclass(frozen=True)
class _New:
    """n new members: `pins` (n, 2) the spots that they are bolted to, `holes` (n,), and `legs` (n, 2) of braces at an
    angle, pitches, 0 for members along an axis."""

    pins: np.ndarray
    holes: np.ndarray
    legs: np.ndarray

    def take(self, index) -> _New:
        return _New(self.pins[index], self.holes[index], self.legs[index])


def _free_spots(frame: Frame, width: float, taken) -> _Spots:
    """Where a hole of a new member of this width could lie.  taken : holes with a bolt in them."""
    centre, axis, host, along = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, int)], [np.zeros((0, 3))]
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
                host.append(np.full(len(free), i))
                along.append(np.tile(m.direction, (len(free), 1)))
    centre, axis, host, along = map(np.concatenate, (centre, axis, host, along))
    return _Spots(centre, axis, host, along, np.hstack([axis, np.cross(centre, axis)]))


def _members_to_add(frame: Frame, spots: _Spots, twists) -> _New:
    """Members between free holes whose hosts move against one another, the shortest first."""
    # Members that move alike in all motions are of one group.
    alike = np.round(np.moveaxis(twists, 0, 1).reshape(len(frame.members), -1), 6)
    group = np.unique(alike, axis=0, return_inverse=True)[1].ravel()[spots.host]
    play = PLAY_MM / (frame.pitch_mm or USUAL_PITCH_MM)
    for reach in REACHES:
        pairs, holes, legs = map(
            np.concatenate, zip(*_braces(spots, group, play, reach), *_straight(spots, group, reach))
        )
        if (
            (holes > SHORT) & (holes <= reach)
        ).sum() >= TRIED:  # what reaches farther comes after all of these
            break
    order = np.lexsort((pairs[:, 1], pairs[:, 0], holes, holes <= SHORT))[:TRIED]
    return _New(pairs[order], holes[order], legs[order])


def _braces(spots: _Spots, group, play: float, reach: float):
    """Braces at an angle: both holes in one plane across the same axis.  (pairs, holes, legs) for each axis."""
    for k in range(3):
        for sign in (1.0, -1.0):
            mine = np.nonzero(spots.axis[:, k] == sign)[0]
            in_plane = np.delete(spots.centre[mine], k, axis=1)
            pairs = mine[_pairs(spots.centre[mine][:, [k]], in_plane, group[mine], reach)]
            legs = np.sort(
                np.delete(np.abs(spots.centre[pairs[:, 1]] - spots.centre[pairs[:, 0]]), k, axis=1), axis=1
            )
            length = np.hypot(*legs.T)
            fits = (
                (np.abs(length - np.round(length)) <= play)
                & (legs[:, 0] >= FLATTEST * length)
                & (length > 0.5)
            )
            yield pairs[fits], np.round(length[fits]).astype(int) + 1, legs[fits]


def _straight(spots: _Spots, group, reach: float):
    """Members along an axis of the lattice that cross both hosts, on whichever faces.  (pairs, holes, no legs) for each axis."""
    for k in range(3):
        mine = np.nonzero((np.abs(spots.axis[:, k]) < 0.5) & (np.abs(spots.along[:, k]) < 1 - NORMAL_TOL))[0]
        across = np.delete(spots.centre[mine], k, axis=1)
        pairs = mine[_pairs(across, spots.centre[mine][:, [k]], group[mine], reach)]
        apart = np.abs(spots.centre[pairs[:, 1], k] - spots.centre[pairs[:, 0], k])
        fits = (np.abs(apart - np.round(apart)) < 1e-6) & (apart > 0.5)
        yield pairs[fits], np.round(apart[fits]).astype(int) + 1, np.zeros((fits.sum(), 2))


def _pairs(keys, places, group, reach: float) -> np.ndarray:
    """Index pairs (n, 2), the lower first, of spots of equal keys (to 1e-6) whose places are not farther apart than `reach`
    pitches, on hosts that move against one another."""
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


def _bodies(frame: Frame, spots: _Spots, new: _New) -> Boxes:
    """The new members as boxes."""
    one, other = spots.centre[new.pins[:, 0]], spots.centre[new.pins[:, 1]]
    way = (other - one) / np.linalg.norm(other - one, axis=1, keepdims=True)
    return bodies_of((one + other) / 2, way, new.holes, _usual(frame)[0])


def _member(frame: Frame, spots: _Spots, new: _New, row: int) -> Member:
    """One of the new members, with the next free label."""
    holes = int(new.holes[row])
    known = {m.id for m in frame.members}
    width, stock = _usual(frame)
    first, last = sorted(spots.centre[new.pins[row]], key=lambda c: tuple(np.round(c[::-1], 6)))
    way = (last - first) / np.linalg.norm(last - first)
    first = (first + last) / 2 - way * (holes - 1) / 2  # what is left over is shared between both ends
    return Member(
        next(name for name in map(label, count()) if name not in known),
        as_tuple(np.round(first, 9)),
        as_tuple(way),
        holes,
        width,
        stock,
        on_lattice=bool(np.abs(way).max() > 1 - 1e-9),
    )
