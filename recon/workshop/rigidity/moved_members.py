"""Which member to move by a hole so that a brace fits that holds well, where none does as the frame is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from recon.frame.joints import collisions, find_joints, mark_three_way
from recon.frame.model import Frame, Joint, Member, as_tuple, axis_of
from recon.geometry.arrays import FloatArray
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.bolt_conflicts import blocked_ends, crossing_bolts
from recon.workshop.rigidity.bracing import Addition, additions
from recon.workshop.rigidity.free_space import lowest_point
from recon.workshop.rigidity.mechanism import Mobility
from recon.workshop.rigidity.play import left_over_words
from recon.workshop.side_axes import to_the_right
from recon.workshop.wording import towards_words

MOST_WAYS = 2  # that are named


def moved_and_braced(
    frame: Frame, may_turn: Sequence[Joint], state: Mobility, hole: float, z_up: bool, play: float
) -> tuple[str, ...]:
    """Which member to move by one hole, and the member that then stops all ways to move; sentences.

    Parameters
    ----------
    frame : Frame
        A frame that racks.
    may_turn : sequence of Joint
        Joints whose bolts may turn; where there are any nothing is moved, as they belong to their holes.
    state : Mobility
        Of the frame.
    hole, play : float
        Diameter of the holes, and clearance of a lap, pitches.
    z_up : bool
        Whether +z is up, and nothing may lie below the frame's lowest point.

    Returns
    -------
    tuple of str
        The best few; empty where none holds well.
    """
    if may_turn:
        return ()
    found: list[tuple[float, int, str]] = []
    right = to_the_right(frame.members)
    for member in frame.members:
        if not any(member.id in motion.twists for motion in state.motions):
            continue
        for step, moved in _moved(frame, member, z_up):
            added = additions(moved, (), 1, hole, None, z_up, play)
            if len(added) == 1 and not added[0].left and added[0].member and not added[0].loose:
                way = towards_words(step, z_up, right)
                found.append(_sentence(member, way, added[0], frame.pitch_mm))
    return tuple(text for _, _, text in sorted(found)[:MOST_WAYS])


def _sentence(member: Member, way: str, added: Addition, pitch_mm: float | None) -> tuple[float, int, str]:
    """Angle left and length of what is added, to rank by, and the sentence."""
    assert added.gives is not None and added.member is not None
    what = added.text[0].lower() + added.text[1:].rstrip(".")
    words = left_over_words(added.gives, pitch_mm)
    text = f"move {member.id} one hole {way} and {what}. The play of its bolts leaves {words}."
    return added.gives.angle, added.member.holes, text


def _moved(frame: Frame, member: Member, z_up: bool) -> Iterator[tuple[FloatArray, Frame]]:
    """The step, and the frame with the member one pitch on along what it is bolted to, where that goes."""
    along = axis_of(member)
    if along is None:
        return
    pairs = _pairs(frame.joints)
    ground = lowest_point(frame)
    for k in (k for k in range(3) if k != along):
        for sign in (1, -1):
            step = sign * np.eye(3)[k]
            moved = replace(member, first=as_tuple(np.asarray(member.first) + step))
            members = tuple(moved if m is member else m for m in frame.members)
            own = [j for j in find_joints(members) if member.id in (j.a, j.b)]
            others = [j for j in frame.joints if member.id not in (j.a, j.b)]
            new = replace(frame, members=members, joints=mark_three_way([*others, *own], members))
            sunk = z_up and lowest_point(new) < ground - 1e-6
            if _pairs(new.joints) == pairs and not sunk and _sound(new, member.id):
                yield step, new


def _pairs(joints: Sequence[Joint]) -> set[frozenset[str]]:
    return {frozenset((j.a, j.b)) for j in joints if j.bolt != "none"}


def _sound(frame: Frame, id: str) -> bool:
    """Whether nothing about a member that was moved is in anything's way."""
    bolts = find_bolts(frame)
    return not (
        any(id in (a, b) for a, b, _ in collisions(frame.members))
        or crossing_bolts(bolts)
        or blocked_ends(frame, bolts)
    )
