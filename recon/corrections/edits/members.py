"""Members confirmed, added, deleted, shifted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.corrections import disagreements, users_word, validation
from recon.corrections.codec import LAST_HOLE, Json
from recon.corrections.edits.kind import Change, EditKind, Stocks, members_changed
from recon.corrections.laps import near
from recon.corrections.members import (
    VOUCHED_END,
    free_label,
    gap,
    on_one_line,
    place_along,
    put,
    vector_of,
    with_lattice_flag,
)
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.joints import mark_three_way
from recon.frame.model import Frame, Member
from recon.geometry.arrays import Vector
from recon.workshop.side_axes import to_the_right
from recon.workshop.wording import listed, plural, ways_words


def _member(state: State, request: Json, stocks: Stocks) -> Member:
    return validation.member(state.frame, request)


def _members(state: State, request: Json, stocks: Stocks) -> list[Member]:
    return [validation.member_of(state.frame, id) for id in validation.several(request, "members")]


def confirm(state: State, m: Member) -> Change:
    """The member is right as it is: {member}."""
    corrections = disagreements.confirmed(state.corrections, m.id)
    corrections = users_word.vouch_wholly(corrections, [m.id])
    sure = replace(m, confidence=1.0, ends=(VOUCHED_END, VOUCHED_END))
    frame = replace(state.frame, members=put(state.frame, sure))
    return Change(State(frame, corrections), f"{m.id} confirmed", frozenset({m.id}))


# Added


@dataclass(frozen=True)
class NewMember:
    """A member to add.  `like` has its stock and width, where there is one; the direction has length 1."""

    first: Vector
    direction: Vector
    holes: int
    like: Member | None


def _new_member(state: State, request: Json, stocks: Stocks) -> NewMember:
    members = state.frame.members
    like = (
        validation.member(state.frame, request, "like")
        if request.get("like")
        else (members[0] if members else None)
    )
    direction = np.array(validation.vector(request, "direction"))
    size = np.linalg.norm(direction)
    if size < 1e-6:
        raise ReconError("The new member's direction is zero.")
    return NewMember(
        vector_of(np.array(validation.vector(request, "first"))),
        vector_of(direction / size),
        validation.whole(request, "holes", 1, LAST_HOLE),
        like,
    )


def add(state: State, wanted: NewMember) -> Change:
    """A new member: {first, direction, holes, like: label of a member whose stock it has, or nothing}."""
    frame, like = state.frame, wanted.like
    new = Member(
        free_label(frame),
        wanted.first,
        wanted.direction,
        wanted.holes,
        like.width if like else 1.0,
        like.stock if like else None,
        1.0,
        (VOUCHED_END, VOUCHED_END),
    )
    new = with_lattice_flag(frame, new)
    _refuse_same_place(frame, new)
    corrections = users_word.vouch_wholly(state.corrections, [new.id])
    words = f"{new.id} added, {plural(new.holes, 'hole')}"
    return members_changed(state, put(frame, new), corrections, {new.id}, words)


def _refuse_same_place(frame: Frame, new: Member) -> None:
    close = near((*frame.members, new), [new])
    for m in frame.members:
        if m.id in close and on_one_line(m, new) and gap(m, new) < 0:
            raise ReconError(f"Member {m.id} lies there already; move its end instead.")


# Deleted


def delete(state: State, members: list[Member]) -> Change:
    """Takes members away: {members: [labels]}."""
    ids = {m.id for m in members}
    corrections = state.corrections
    for id in ids:
        corrections = users_word.withdraw(corrections, id)
    corrections = users_word.delete(corrections, members)
    left = tuple(m for m in state.frame.members if m.id not in ids)
    joints = tuple(j for j in state.frame.joints if j.a not in ids and j.b not in ids)
    frame = replace(state.frame, members=left, joints=mark_three_way(joints, left))
    return Change(State(frame, corrections), f"{listed(sorted(ids))} deleted", frozenset(ids))


# Shifted


@dataclass(frozen=True)
class Shift:
    """Members to move as they are: by holes along themselves, or by a vector in pitches."""

    members: list[Member]
    along: int | None
    by: Vector


def _shift(state: State, request: Json, stocks: Stocks) -> Shift:
    members = _members(state, request, stocks)
    if "along" in request:
        return Shift(members, validation.whole(request, "along", -LAST_HOLE, LAST_HOLE), (0.0, 0.0, 0.0))
    return Shift(members, None, validation.vector(request, "by"))


def shift(state: State, wanted: Shift) -> Change:
    """Moves members as they are: {members: [labels], by: [x, y, z] pitches} or {members, along: holes}."""
    ids = [m.id for m in wanted.members]
    if wanted.along is not None:
        steps = wanted.along
        moved = [replace(m, first=place_along(m, steps), off_place=None) for m in wanted.members]
        themselves = "itself" if len(ids) == 1 else "themselves"
        words = f"{listed(ids)} shifted by {plural(abs(steps), 'hole')} along {themselves}"
    else:
        by = np.array(wanted.by)
        moved = [replace(m, first=vector_of(np.array(m.first) + by), off_place=None) for m in wanted.members]
        words = f"{listed(ids)} shifted by {ways_words(by, to_the_right(state.frame.members))}"
    moved = [with_lattice_flag(state.frame, m) for m in moved]
    corrections = users_word.vouch_wholly(state.corrections, ids)  # as they lie now
    # What left its line is not where it was: no solving may bring it back there.
    left = [old for old, m in zip(wanted.members, moved) if not on_one_line(old, m)]
    if left:
        corrections = users_word.delete(corrections, left)
    return members_changed(state, put(state.frame, *moved), corrections, set(ids), words)


CONFIRM = EditKind("confirm", _member, confirm)
ADD = EditKind("add", _new_member, add)
DELETE = EditKind("delete", _members, delete)
SHIFT = EditKind("shift", _shift, shift)
