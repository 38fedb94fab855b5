"""What to add so that a frame does not rack: a bolt, a member across a corner or bay, or a brace at an angle.

Every proposal is tried on the frame with all its equations before it is made.  Bolts have play in their
holes, so a member only holds as well as its lever allows: those that leave the frame less to give come first.
Nothing is proposed that would lie below the frame's lowest point, on which it stands.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Joint, Member
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.hardware.bolts import Hole, find_bolts, holes_crossed
from recon.workshop.rigidity.added_constraints import (
    Attachments,
    motion_space,
    motion_twists,
    motions_left,
    motions_stopped,
)
from recon.workshop.rigidity.free_space import (
    FreeSpace,
    below,
    fits,
    free_space,
    lowest,
    lowest_point,
    with_member,
)
from recon.workshop.rigidity.mechanism import Mobility, mobility
from recon.workshop.rigidity.play import LeftOver, turned_by
from recon.workshop.rigidity.possible_members import PossibleMembers, leverage_step, possible_members
from recon.workshop.solids import BOLT_PER_HOLE, HOLE, bolt_ends
from recon.workshop.wording import lap_words, listed, plural

MOST = 8  # proposals at a time
# Radians that the play of a member's bolts may leave a frame before the member counts as loose: 2 degrees,
# 35 mm at 1 m. This project's choice.
LOOSE = np.radians(2.0)
FIRST_LOOK = 16  # of possible members looked at together for room, then twice as many each time


@dataclass(frozen=True)
class Addition:
    """Something to add.

    Attributes
    ----------
    member : Member or None
        The new member; None where only a bolt is added.
    joints : tuple of Joint
        The laps to bolt.
    text : str
        What to do, a sentence.
    left : int
        How many unwanted motions are left after it and those before it.
    gives : LeftOver or None
        How far the frame still gives along the way that it stops, because of the play of its own two bolts;
        None for a bolt.
    """

    member: Member | None
    joints: tuple[Joint, ...]
    text: str
    left: int
    gives: LeftOver | None = None

    @property
    def loose(self) -> bool:
        """Whether the play of its bolts leaves so much that it hardly holds."""
        return self.gives is not None and self.gives.angle > LOOSE


class Trial(NamedTuple):
    """A frame with something added.

    frame, member : with it, and the new member or None.   joints : its laps, or the one lap bolted.   text :
    a sentence.   closing, motion : the lever of the new member, pitches, and the index of the motion that it
    works against (see `PossibleMembers`).
    """

    frame: Frame
    member: Member | None
    joints: tuple[Joint, ...]
    text: str
    closing: float = np.inf
    motion: int = 0


def additions(
    frame: Frame,
    may_turn: Iterable[Joint] = (),
    most: int = MOST,
    hole: float = HOLE,
    state: Mobility | None = None,
    floor: bool = True,
    play: float | None = None,
) -> tuple[Addition, ...]:
    """What stops the motions that are not wanted, in the order to add it, as far as something fits.

    Parameters
    ----------
    frame : Frame
        The frame.
    may_turn : iterable of Joint
        Joints whose bolts may turn, as for `mobility`.
    most : int
        How many additions to propose.
    hole : float
        Diameter of the holes, pitches.
    state : Mobility, optional
        `mobility` of the frame, where it is known.
    floor : bool
        Whether nothing may lie below the frame's lowest point.
    play : float, optional
        Clearance of a lap, pitches (see `recon.workshop.rigidity.play.clearance`); as bolts usually have it
        in such holes where it is left out.

    Examples
    --------
    A post and a rail on one bolt turn against one another, until a member joins both.

    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 6), Member("B", (0, -1, 2), (1, 0, 0), 6)
    >>> [addition.text for addition in additions(Frame(members, find_joints(members), 38.1))]
    ['Add C, a member of 2 holes: hole 2 of C on hole 2 of A and hole 1 of C on hole 2 of B.']
    """
    may_turn = tuple(may_turn)
    state = state or mobility(frame, may_turn)
    play = (1 - BOLT_PER_HOLE) * hole if play is None else play
    ground = lowest_point(frame) if floor else None
    found: list[Addition] = []
    while state.motions and len(found) < most:
        better = _best(frame, may_turn, state, hole, ground, play)
        if better is None:
            break
        trial, after = better
        gives = None
        if trial.member:
            gives = turned_by(frame, state.motions[trial.motion], 2 * play / trial.closing)
        frame, state = trial.frame, after
        found.append(Addition(trial.member, trial.joints, trial.text, len(state.motions), gives))
    return tuple(found)


def with_additions(frame: Frame, added: Iterable[Addition]) -> Frame:
    """The frame with all of these."""
    for addition in added:
        others = {_holes(j) for j in addition.joints}
        members = (*frame.members, *((addition.member,) if addition.member else ()))
        kept = tuple(j for j in frame.joints if _holes(j) not in others)
        frame = replace(frame, members=members, joints=kept + addition.joints)
    return frame


def _best(
    frame: Frame,
    may_turn: tuple[Joint, ...],
    state: Mobility,
    hole: float,
    ground: float | None,
    play: float,
) -> tuple[Trial, Mobility] | None:
    """The trial that stops most motions, and the mobility after it; None where none fits."""
    space = motion_space(frame, state, may_turn)
    twists = motion_twists(frame, state)
    turn = np.array([max(map(abs, m.rates)) for m in state.motions])
    for trial in trials(frame, twists / turn[:, None, None], hole, ground, play):
        if motions_left(space, trial.member, trial.joints) < len(state.motions):
            after = mobility(trial.frame, may_turn)
            if len(after.motions) < len(state.motions):
                return trial, after
    return None


def trials(
    frame: Frame, twists: FloatArray, hole: float, ground: float | None, play: float
) -> Iterator[Trial]:
    """Frames with something added that has room: bolts, then members that hold well, then others.

    Of each those that stop most motions come first, then those that leave the frame less to give.

    Parameters
    ----------
    frame : Frame
        The frame.
    twists : (d, members, 6)
        Of the members in each of its motions, the bolt that turns most by 1 radian.
    hole : float
        Diameter of the holes, pitches.
    ground : float or None
        Height below which nothing may lie, pitches.
    play : float
        Clearance of a lap, pitches.
    """
    space = free_space(frame, hole, ground)
    bolts = [j for j in _laps_to_bolt(frame, space.bolt_axes) if not _below_ground(space, j)]
    members = possible_members(frame, space.bolt_axes, twists)
    stops = np.concatenate(
        [
            motions_stopped(twists, _attachments(frame, bolts)),
            motions_stopped(twists, members.attachments),
        ]
    )
    kind = np.concatenate([np.zeros(len(bolts), int), 1 + (2 * play > LOOSE * members.closing)])
    holes = np.concatenate([np.zeros(len(bolts), int), members.holes])
    step = np.concatenate([np.zeros(len(bolts)), -leverage_step(members.closing)])
    order = np.lexsort((holes, step, -stops, kind))
    order, size = order[stops[order] > 0], FIRST_LOOK
    while len(order):
        part, order, size = order[:size], order[size:], 2 * size
        is_member = part >= len(bolts)
        new = members.take(part[is_member] - len(bolts))
        free = np.ones(len(part), bool)
        free[is_member] = fits(space, new.boxes())
        for i, row, has_room in zip(part, np.cumsum(is_member) - 1, free):
            if i < len(bolts):
                yield _with_bolt(frame, bolts[i])
            elif has_room:
                yield from _with_member(space, new, row)


def _attachments(frame: Frame, joints: list[Joint]) -> Attachments:
    """What bolts in these laps join."""
    index = {m.id: i for i, m in enumerate(frame.members)}
    turns = [_turn(frame, (j.a, j.a_hole), j.axis) for j in joints]
    return Attachments(
        np.array([[index[j.a], index[j.b]] for j in joints], int).reshape(-1, 2),
        np.array([[turn, turn] for turn in turns]).reshape(-1, 2, 6),
    )


def _turn(frame: Frame, hole: Hole, axis: Vector) -> FloatArray:
    """A turn about a bolt as a twist, (6,)."""
    return np.concatenate([axis, np.cross(frame.member(hole[0]).hole_centre(hole[1]), axis)])


def _with_bolt(frame: Frame, joint: Joint) -> Trial:
    others = tuple(j for j in frame.joints if _holes(j) != _holes(joint))
    text = f"Put a bolt through {lap_words(joint)}."
    return Trial(replace(frame, joints=(*others, joint)), None, (joint,), text)


def _with_member(space: FreeSpace, new: PossibleMembers, row: int) -> Iterator[Trial]:
    """The frame with one of the new members, where its bolts have room."""
    member = new.member(row, space.frame)
    frame = with_member(space, member)
    if frame is not None:
        laps, legs = frame.joints[len(space.frame.joints) :], new.legs[row]
        kind = f"member of {plural(member.holes, 'hole')}"
        if legs.any():
            kind = f"brace of {plural(member.holes, 'hole')}, legs of {legs[0]:.6g} and {legs[1]:.6g}"
        text = f"Add {member.id}, a {kind}: {listed(map(lap_words, laps))}."
        yield Trial(frame, member, laps, text, float(new.closing[row]), int(new.motion[row]))


def _below_ground(space: FreeSpace, joint: Joint) -> bool:
    """Whether an end of a bolt in this lap would lie below the ground, where none of the frame's does."""
    if space.ground is None:
        return False
    ends = bolt_ends(find_bolts(replace(space.frame, joints=(joint,))), space.hole)
    return bool(below(ends, min(space.ground, lowest(space.solids))).any())


def _holes(joint: Joint) -> frozenset[Hole]:
    return frozenset(((joint.a, joint.a_hole), (joint.b, joint.b_hole)))


def _laps_to_bolt(frame: Frame, bolt_axes: Mapping[Hole, Vector]) -> list[Joint]:
    """Laps of the frame that have no bolt yet, where a bolt would cross no other."""
    bolted: Container[frozenset[Hole]] = {_holes(j) for j in frame.joints if j.bolt != "none"}
    return [
        j for j in find_joints(frame.members) if _holes(j) not in bolted and not holes_crossed(j, bolt_axes)
    ]
