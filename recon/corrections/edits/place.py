"""Members put where they are planned: place and length at once."""

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
    holes_along,
    on_one_line,
    put,
    vector_of,
    with_lattice_flag,
)
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.model import Member, reversed_member
from recon.workshop.wording import listed, plural


@dataclass(frozen=True)
class Placing:
    """A member as it is, and as it is to lie."""

    member: Member
    target: Member


def _placings(state: State, request: Json, stocks: Stocks) -> list[Placing]:
    rows = request.get("members")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise ReconError("'members' must list the members to place.")
    placings = [_placing(state, row) for row in rows]
    if len({p.member.id for p in placings}) < len(placings):
        raise ReconError("A member is to be placed twice.")
    return placings


def _placing(state: State, row: Json) -> Placing:
    m = validation.member(state.frame, row)
    direction = np.array(validation.vector(row, "direction"))
    size = np.linalg.norm(direction)
    if size < 1e-6:
        raise ReconError(f"The direction of {m.id} is zero.")
    target = replace(
        m,
        first=vector_of(np.array(validation.vector(row, "first"))),
        direction=vector_of(direction / size),
        holes=validation.whole(row, "holes", 1, LAST_HOLE),
        confidence=1.0,
        ends=(VOUCHED_END, VOUCHED_END),
    )
    if np.dot(m.direction, target.direction) < 0:  # hole 1 stays at its end
        target = reversed_member(target)
    return Placing(m, target)


def place(state: State, wanted: list[Placing]) -> Change:
    """Members put elsewhere, or longer or shorter: {members: [{member, first, direction, holes}]}."""
    corrections, words, left = state.corrections, [], []
    for m, target in ((p.member, p.target) for p in wanted):
        if on_one_line(m, target):
            state = _along_itself(state, m, target)
        else:
            left.append(m)
        grown = "" if m.holes == target.holes else f", {plural(target.holes, 'hole')}"
        words.append(f"{m.id} placed{grown}")
    ids = [p.member.id for p in wanted]
    corrections = users_word.vouch_wholly(state.corrections, ids)
    if left:  # no solving may bring them back to where they were
        corrections = users_word.delete(corrections, left)
    placed = [with_lattice_flag(state.frame, p.target) for p in wanted]
    return members_changed(state, put(state.frame, *placed), corrections, set(ids), listed(words))


def _along_itself(state: State, m: Member, target: Member) -> State:
    """The state with the laps of a member counted in the holes that it will have, where these agree."""
    offset = holes_along(target, m)
    gap = np.abs(np.array(target.hole_centre(offset)) - np.array(m.first)).max()
    if gap > LINE_TOL:
        return state
    return renumbered(state, m.id, lambda k: (m.id, k + offset), target.holes)


PLACE = EditKind("place", _placings, place)
