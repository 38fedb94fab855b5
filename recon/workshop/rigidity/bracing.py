"""What to add so that a frame does not rack: a bolt, a member across a corner or bay, or a brace at an angle.

Every proposal is tried on the frame with all its equations before it is made.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Joint, Member
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.hardware.bolts import Hole, holes_crossed
from recon.workshop.rigidity.added_constraints import (
    Attachments,
    motion_space,
    motion_twists,
    motions_left,
    motions_stopped,
)
from recon.workshop.rigidity.free_space import FreeSpace, fits, free_space, with_member
from recon.workshop.rigidity.mechanism import Mobility, mobility
from recon.workshop.rigidity.possible_members import SHORT, PossibleMembers, possible_members
from recon.workshop.solids import HOLE
from recon.workshop.wording import lap_words, listed, plural

MOST = 8  # proposals at a time
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
    """

    member: Member | None
    joints: tuple[Joint, ...]
    text: str
    left: int


class Trial(NamedTuple):
    """A frame with something added: the member or None, its laps or the one lap bolted, and a sentence."""

    frame: Frame
    member: Member | None
    joints: tuple[Joint, ...]
    text: str


def additions(
    frame: Frame,
    may_turn: Iterable[Joint] = (),
    most: int = MOST,
    hole: float = HOLE,
    state: Mobility | None = None,
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

    Examples
    --------
    A post and a rail on one bolt turn against one another, until a member joins both.

    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 6), Member("B", (0, -1, 0), (1, 0, 0), 6)
    >>> [addition.text for addition in additions(Frame(members, find_joints(members), 38.1))]
    ['Add C, a member of 2 holes: hole 2 of C on hole 2 of A and hole 1 of C on hole 2 of B.']
    """
    may_turn = tuple(may_turn)
    state = state or mobility(frame, may_turn)
    found: list[Addition] = []
    while state.motions and len(found) < most:
        better = _best(frame, may_turn, state, hole)
        if better is None:
            break
        trial, state = better
        frame = trial.frame
        found.append(Addition(trial.member, trial.joints, trial.text, len(state.motions)))
    return tuple(found)


def _best(
    frame: Frame, may_turn: tuple[Joint, ...], state: Mobility, hole: float
) -> tuple[Trial, Mobility] | None:
    """The trial that stops most motions, and the mobility after it; None where none fits."""
    space = motion_space(frame, state, may_turn)
    for trial in trials(frame, motion_twists(frame, state), hole):
        if motions_left(space, trial.member, trial.joints) < len(state.motions):
            after = mobility(trial.frame, may_turn)
            if len(after.motions) < len(state.motions):
                return trial, after
    return None


def trials(frame: Frame, twists: FloatArray, hole: float) -> Iterator[Trial]:
    """Frames with something added that has room, those that stop most motions first.

    Parameters
    ----------
    frame : Frame
        The frame.
    twists : (d, members, 6)
        Of the members in each of its motions.
    hole : float
        Diameter of the holes, pitches.
    """
    space = free_space(frame, hole)
    bolts, members = _laps_to_bolt(frame, space.bolt_axes), possible_members(frame, space.bolt_axes, twists)
    stops = np.concatenate(
        [
            motions_stopped(twists, _attachments(frame, bolts)),
            motions_stopped(twists, members.attachments),
        ]
    )
    short = np.concatenate([np.zeros(len(bolts), int), 1 + (members.holes <= SHORT)])
    holes = np.concatenate([np.zeros(len(bolts), int), members.holes])
    order = np.lexsort((holes, short, -stops))
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
        yield Trial(frame, member, laps, text)


def _holes(joint: Joint) -> frozenset[Hole]:
    return frozenset(((joint.a, joint.a_hole), (joint.b, joint.b_hole)))


def _laps_to_bolt(frame: Frame, bolt_axes: Mapping[Hole, Vector]) -> list[Joint]:
    """Laps of the frame that have no bolt yet, where a bolt would cross no other."""
    bolted: Container[frozenset[Hole]] = {_holes(j) for j in frame.joints if j.bolt != "none"}
    return [
        j for j in find_joints(frame.members) if _holes(j) not in bolted and not holes_crossed(j, bolt_axes)
    ]
