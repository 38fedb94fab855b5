"""How many holes members have: an end moved, a member split, two merged."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.corrections import users_word, validation
from recon.corrections.codec import LAST_HOLE, Json
from recon.corrections.edits.kind import Change, EditKind, Stocks, members_changed
from recon.corrections.laps import renumbered
from recon.corrections.members import (
    LINE_TOL,
    VOUCHED_END,
    free_label,
    holes_along,
    lengthened,
    on_one_line,
    place_along,
    put,
)
from recon.corrections.model import Corrections
from recon.corrections.state import State, joint_key
from recon.errors import ReconError
from recon.frame.model import End, Member
from recon.workshop.wording import plural

# An end moved


@dataclass(frozen=True)
class EndMove:
    """An end (0 or 1) to move outwards by so many holes, or inwards where `by` is below 0."""

    member: Member
    end: int
    by: int


def _end_move(state: State, request: Json, stocks: Stocks) -> EndMove:
    return EndMove(
        validation.member(state.frame, request),
        validation.whole(request, "end", 0, 1),
        validation.whole(request, "by", -LAST_HOLE, LAST_HOLE),
    )


def move_end(state: State, wanted: EndMove) -> Change:
    """Moves an end by so many holes: {member, end: 0 or 1, by}."""
    m, end, by = wanted.member, wanted.end, wanted.by
    holes = m.holes + by
    if not 1 <= holes <= LAST_HOLE:
        raise ReconError(f"Member {m.id} has {plural(m.holes, 'hole')}; it must keep 1 to {LAST_HOLE}.")
    corrections = users_word.vouch(
        state.corrections, m.id, place=True, ends=(True, None) if end == 0 else (None, True)
    )
    offset = by if end == 0 else 0
    moved = replace(
        m,
        first=place_along(m, -offset) if offset else m.first,
        holes=holes,
        ends=(VOUCHED_END, lengthened(m.ends[1], by))
        if end == 0
        else (lengthened(m.ends[0], by), VOUCHED_END),
        confidence=_surer(corrections, m),
    )
    state = renumbered(State(state.frame, corrections), m.id, lambda k: (m.id, k + offset), holes)
    words = (
        f"{m.id}: {plural(m.holes, 'hole')} → {holes}"
        if by
        else f"{m.id}: end at hole {1 if end == 0 else holes} confirmed"
    )
    return members_changed(state, put(state.frame, moved), state.corrections, {m.id}, words)


def _surer(corrections: Corrections, m: Member) -> float:
    """How sure a member is once one of its ends was moved or confirmed, which vouches for its place, too.

    What was said of the count that it had does not hold any more: what is left open is the other end, and
    where the photos leave that open, its choices say how much.
    """
    word = corrections.vouched(m.id)
    sure = 1.0
    for end, vouched in zip(m.ends, word.ends):
        if not vouched:
            sure *= _sure_of(end, m)
    return sure


def _sure_of(end: End, m: Member) -> float:
    """How sure an end is that nobody vouches for; as sure as the member where it has no choices."""
    there = [choice.chance for choice in end.choices if choice.holes == m.holes]
    if there:
        return there[0]
    return 1.0 if end.state == "seen" and not end.choices else m.confidence


# Split


@dataclass(frozen=True)
class Split:
    """A member to cut after a hole, counted from 0."""

    member: Member
    after: int


def _split(state: State, request: Json, stocks: Stocks) -> Split:
    m = validation.member(state.frame, request)
    if m.holes < 2:
        raise ReconError(f"Member {m.id} has one hole and cannot be split.")
    return Split(m, validation.whole(request, "after", 0, m.holes - 2))


def split(state: State, wanted: Split) -> Change:
    """Two members in place of one, cut after hole `after` (counted from 0): {member, after}."""
    m, after, id = wanted.member, wanted.after, free_label(state.frame)
    one = replace(m, holes=after + 1, ends=(lengthened(m.ends[0], after + 1 - m.holes), VOUCHED_END))
    two = replace(
        m,
        id=id,
        first=place_along(m, after + 1),
        holes=m.holes - after - 1,
        ends=(VOUCHED_END, lengthened(m.ends[1], -after - 1)),
    )
    last_end = state.corrections.vouched(m.id).ends[1]
    corrections = users_word.vouch(state.corrections, m.id, place=True, ends=(None, True))
    corrections = users_word.vouch(corrections, id, place=True, ends=(True, last_end))
    state = renumbered(
        State(state.frame, corrections), m.id, lambda k: (m.id, k) if k <= after else (id, k - after - 1)
    )
    words = f"{m.id} split after hole {after + 1}: {m.id} has {one.holes}, {id} has {two.holes}"
    return members_changed(state, put(state.frame, one, two), state.corrections, {m.id, id}, words)


# Merge


def _two_members(state: State, request: Json, stocks: Stocks) -> tuple[Member, Member]:
    ids = validation.several(request, "members")
    if len(ids) != 2:
        raise ReconError("Choose two members to merge.")
    a, b = (validation.member_of(state.frame, id) for id in ids)
    return a, b


def merge(state: State, wanted: tuple[Member, Member]) -> Change:
    """One member in place of two on one line, with all holes between them: {members: [label, label]}."""
    a, b = wanted
    one, start, turned = _merged(a, b)
    low = holes_along(a, one)
    state = renumbered(state, a.id, lambda k: (a.id, k - low))
    if turned:
        state = _counted_back(state, b.id)
    state = renumbered(state, b.id, lambda k: (a.id, start + (-k if turned else k) - low))
    corrections = users_word.withdraw(state.corrections, b.id)
    corrections = users_word.vouch_wholly(corrections, [a.id])  # one member as long as is seen now
    joints = tuple({joint_key(j): j for j in state.frame.joints if j.a != j.b}.values())
    members = tuple(m for m in put(state.frame, one) if m.id != b.id)
    state = State(replace(state.frame, joints=joints), corrections)
    words = f"{a.id} and {b.id} merged: {a.id} has {plural(one.holes, 'hole')}"
    return members_changed(state, members, corrections, {a.id}, words)


def _counted_back(state: State, b: str) -> State:
    """The state with fittings whose first hole is in `b` as they are once that is counted the other way."""
    fittings = (f.counted_back() if f.holes[0][0] == b else f for f in state.frame.fittings)
    return State(replace(state.frame, fittings=tuple(fittings)), state.corrections)


def _merged(a: Member, b: Member) -> tuple[Member, int, bool]:
    """`a` with the holes of `b` and those between; hole 0 of `b` in the count of `a`; whether `b` runs
    back."""
    if not on_one_line(a, b):
        raise ReconError(f"{a.id} and {b.id} do not lie on one line, so they cannot be one member.")
    d = np.array(a.direction)
    where = np.round(np.array([p @ d for p in (b.first - np.array(a.first), b.last - np.array(a.first))]), 6)
    if np.abs(where - np.round(where)).max() > 2 * LINE_TOL:
        raise ReconError(f"The holes of {a.id} and {b.id} are not on one count; shift one of them first.")
    start, last = round(float(where[0])), round(float(where[1]))
    low, high = min(0, start, last), max(a.holes - 1, start, last)
    holes = high - low + 1
    turned = bool(where[1] < where[0])
    b_ends = b.ends[::-1] if turned else b.ends
    ends: tuple[End, End] = (
        lengthened(*((a.ends[0], holes - a.holes) if low == 0 else (b_ends[0], holes - b.holes))),
        lengthened(*((a.ends[1], holes - a.holes) if high == a.holes - 1 else (b_ends[1], holes - b.holes))),
    )
    one = replace(a, first=place_along(a, low), holes=holes, ends=ends, seen=a.seen + b.seen)
    return one, start, turned


END = EditKind("end", _end_move, move_end)
SPLIT = EditKind("split", _split, split)
MERGE = EditKind("merge", _two_members, merge)
