"""Members copied: beside themselves, or mirrored in the middle of the frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.corrections import users_word, validation
from recon.corrections.codec import Json
from recon.corrections.edits.kind import Change, EditKind, Stocks, members_changed
from recon.corrections.members import (
    VOUCHED_END,
    free_label,
    gap,
    on_one_line,
    put,
    vector_of,
    with_lattice_flag,
)
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.model import Frame, Member, as_tuple, bounds, reversed_member
from recon.workshop.wording import listed, plural

AXES = ("x", "y", "z")


@dataclass(frozen=True)
class Copies:
    """Members as they are to be added, and what is done, in words."""

    members: tuple[Member, ...]
    words: str


def _copies(state: State, request: Json, stocks: Stocks) -> Copies:
    members = [validation.member_of(state.frame, id) for id in validation.several(request, "members")]
    ids = listed([m.id for m in members])
    if "mirror" in request:
        axis = AXES.index(validation.word(request, "mirror", AXES))
        return Copies(mirrored(state.frame, members, axis), f"{ids} mirrored along {AXES[axis]}")
    by = np.array(validation.vector(request, "by"))
    if not by.any():
        raise ReconError("A copy must lie elsewhere; say by how many pitches.")
    copies = tuple(replace(m, first=vector_of(np.array(m.first) + by)) for m in members)
    return Copies(copies, f"{ids} copied")


def mirrored(frame: Frame, members: Sequence[Member], axis: int) -> tuple[Member, ...]:
    """Members mirrored in the plane through the middle of the frame, perpendicular to an axis.

    Examples
    --------
    >>> posts = [Member("AB"[k], (8.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 5) for k in (0, 1)]
    >>> mirrored(Frame(tuple(posts)), posts[:1], 0)[0].first
    (8.0, 0.0, 0.0)
    """
    low, high = (np.array(x) for x in zip(*map(bounds, frame.members)))
    middle = (low[:, axis].min() + high[:, axis].max()) / 2
    flip = np.where(np.arange(3) == axis, -1.0, 1.0)
    shift = np.where(np.arange(3) == axis, 2 * middle, 0.0)
    out = []
    for m in members:
        way = as_tuple(np.array(m.direction) * flip)
        turned = replace(m, first=vector_of(np.array(m.first) * flip + shift), direction=way)
        # holes are counted towards positive coordinates, as they are in members that are read
        out.append(reversed_member(turned) if min(way) < 0 and max(way) <= 0 else turned)
    return tuple(out)


def copy(state: State, wanted: Copies) -> Change:
    """Members copied by a vector, {members: [labels], by: [x, y, z] pitches}, or mirrored in the middle of
    the frame, {members, mirror: 'x', 'y' or 'z'}; where one lies already none is added."""
    frame, added = state.frame, []
    for m in wanted.members:
        new = replace(m, id=free_label(frame), confidence=1.0, ends=(VOUCHED_END, VOUCHED_END), seen=0)
        if any(on_one_line(o, new) and gap(o, new) < 0 for o in frame.members):
            continue
        frame = replace(frame, members=put(frame, with_lattice_flag(frame, new)))
        added.append(new.id)
    if not added:
        raise ReconError("Members lie there already; nothing was added.")
    corrections = users_word.vouch_wholly(state.corrections, added)
    words = f"{wanted.words}: {plural(len(added), 'member')} added"
    return members_changed(State(state.frame, corrections), frame.members, corrections, set(added), words)


COPY = EditKind("copy", _copies, copy)
