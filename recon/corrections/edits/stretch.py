"""The whole frame stretched or shrunk across a plane."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from recon.corrections import users_word, validation
from recon.corrections.codec import LAST_HOLE, Json
from recon.corrections.edits.kind import Change, EditKind, Stocks
from recon.corrections.laps import renumbered
from recon.corrections.members import on_one_line
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.model import Member, as_tuple
from recon.workshop.stretch import Plane, Stretched, plane_after, stretch, stretched_words

MOST_HOLES = 500  # that a frame is stretched by at once: this project's choice


@dataclass(frozen=True)
class Stretch:
    """A frame as it is stretched by so many holes across a plane."""

    plane: Plane
    by: int
    done: Stretched


def _stretch(state: State, request: Json, stocks: Stocks) -> Stretch:
    if not state.frame.members:
        raise ReconError("There is no frame yet that could be stretched.")
    by = validation.whole(request, "by", -MOST_HOLES, MOST_HOLES)
    plane = _plane(state, request)
    return Stretch(plane, by, stretch(state.frame, plane, by))


def _plane(state: State, request: Json) -> Plane:
    if "member" in request:
        m = validation.member(state.frame, request)
        return plane_after(
            m, validation.whole(request, "after", 0, LAST_HOLE), validation.whole(request, "end", 0, 1)
        )
    way = np.array(validation.vector(request, "way"))
    if sorted(np.abs(way).tolist()) != [0, 0, 1]:
        raise ReconError("'way' must be along an axis, such as [1, 0, 0].")
    return Plane(as_tuple(way), validation.number(request, "at", -validation.FARTHEST, validation.FARTHEST))


def stretched(state: State, wanted: Stretch) -> Change:
    """Every member that crosses a plane longer by so many holes (shorter where `by` is below 0), what lies
    beyond it moved: {member, after: hole, end: which end moves, by} or {way: [x, y, z], at: pitches, by}."""
    before, done = state.frame, wanted.done
    members = {m.id: m for m in done.frame.members}
    for id in done.grown:  # words on laps are counted along; the stretched frame has its own laps
        state = renumbered(state, id, partial(_hole, before.member(id), wanted), members[id].holes)
    left = [before.member(id) for id in done.moved if not on_one_line(before.member(id), members[id])]
    corrections = users_word.vouch_wholly(state.corrections, [*done.grown, *done.moved])
    if left:  # no solving may bring them back to where they were
        corrections = users_word.delete(corrections, left)
    words = stretched_words(done, wanted.plane, wanted.by)
    ids = frozenset((*done.grown, *done.moved))
    return Change(State(done.frame, corrections), f"Frame stretched: {words}", ids)


def _hole(member: Member, wanted: Stretch, k: int) -> tuple[str, int]:
    """Where a hole of a member that grows is counted then."""
    forth = float(np.dot(member.direction, wanted.plane.way)) > 0
    return member.id, k + wanted.by if wanted.plane.beyond(member.hole_centre(k)) == forth else k


STRETCH = EditKind("stretch", _stretch, stretched)
