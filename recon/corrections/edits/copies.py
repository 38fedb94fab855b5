"""Members copied: beside themselves, or mirrored in the middle of the frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.corrections import users_word, validation
from recon.corrections.codec import Json
from recon.corrections.edits.kind import Change, EditKind, Stocks, members_changed
from recon.corrections.fittings import hole_there, placed_like
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
from recon.frame.fitting import Fitting, free_fitting_id
from recon.frame.model import Frame, Member, as_tuple, bounds, reversed_member
from recon.geometry.arrays import FloatArray
from recon.workshop.wording import listed, plural

AXES = ("x", "y", "z")


@dataclass(frozen=True)
class Copies:
    """Members as they are to be added, those that they are of, how they are moved, and that in words.

    A place x of the old ones comes to x * flip + shift, pitches.
    """

    members: tuple[Member, ...]
    old: tuple[Member, ...]
    flip: FloatArray
    shift: FloatArray
    words: str


def _copies(state: State, request: Json, stocks: Stocks) -> Copies:
    members = [validation.member_of(state.frame, id) for id in validation.several(request, "members")]
    ids = listed([m.id for m in members])
    if "mirror" in request:
        axis = AXES.index(validation.word(request, "mirror", AXES))
        flip, shift = mirror(state.frame, axis)
        made = mirrored(state.frame, members, axis)
        return Copies(made, tuple(members), flip, shift, f"{ids} mirrored along {AXES[axis]}")
    by = np.array(validation.vector(request, "by"))
    if not by.any():
        raise ReconError("A copy must lie elsewhere; say by how many pitches.")
    copies = tuple(replace(m, first=vector_of(np.array(m.first) + by)) for m in members)
    return Copies(copies, tuple(members), np.ones(3), by, f"{ids} copied")


def mirror(frame: Frame, axis: int) -> tuple[FloatArray, FloatArray]:
    """The mirror through the middle of the frame, perpendicular to an axis: x comes to x * flip + shift."""
    low, high = (np.array(x) for x in zip(*map(bounds, frame.members)))
    middle = (low[:, axis].min() + high[:, axis].max()) / 2
    flip = np.where(np.arange(3) == axis, -1.0, 1.0)
    return flip, np.where(np.arange(3) == axis, 2 * middle, 0.0)


def mirrored(frame: Frame, members: Sequence[Member], axis: int) -> tuple[Member, ...]:
    """Members mirrored in the plane through the middle of the frame, perpendicular to an axis.

    Examples
    --------
    >>> posts = [Member("AB"[k], (8.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 5) for k in (0, 1)]
    >>> mirrored(Frame(tuple(posts)), posts[:1], 0)[0].first
    (8.0, 0.0, 0.0)
    """
    flip, shift = mirror(frame, axis)
    out = []
    for m in members:
        way = as_tuple(np.array(m.direction) * flip)
        turned = replace(m, first=vector_of(np.array(m.first) * flip + shift), direction=way)
        # holes are counted towards positive coordinates, as they are in members that are read
        out.append(reversed_member(turned) if min(way) < 0 and max(way) <= 0 else turned)
    return tuple(out)


def copy(state: State, wanted: Copies) -> Change:
    """Members copied by a vector, {members: [labels], by: [x, y, z] pitches}, or mirrored in the middle of
    the frame, {members, mirror: 'x', 'y' or 'z'}; where one lies already none is added.  Fittings that lie on
    them alone are copied, too."""
    frame, added = state.frame, []
    copies: dict[str, Member] = {}
    for old, m in zip(wanted.old, wanted.members):
        new = replace(m, id=free_label(frame), confidence=1.0, ends=(VOUCHED_END, VOUCHED_END), seen=0)
        if any(on_one_line(o, new) and gap(o, new) < 0 for o in frame.members):
            continue
        copies[old.id] = with_lattice_flag(frame, new)
        frame = replace(frame, members=put(frame, copies[old.id]))
        added.append(new.id)
    if not added:
        raise ReconError("Members lie there already; nothing was added.")
    corrections = users_word.vouch_wholly(state.corrections, added)
    fittings = _fittings_along(state.frame, wanted, copies)
    words = f"{wanted.words}: {plural(len(added), 'member')} added"
    words += f", with {plural(len(fittings), 'fitting')}" if fittings else ""
    before = replace(state.frame, fittings=(*state.frame.fittings, *fittings))
    return members_changed(State(before, corrections), frame.members, corrections, set(added), words)


def _fittings_along(frame: Frame, wanted: Copies, copies: Mapping[str, Member]) -> list[Fitting]:
    """Copies of the fittings all of whose members were copied."""
    was = {m.id: m for m in wanted.old}
    taken = {f.id for f in frame.fittings} | {m.id for m in frame.members}
    made = []
    for f in frame.fittings:
        if not set(f.members) <= copies.keys():
            continue
        new = placed_like(
            f, (wanted.flip, wanted.shift), was, lambda id, place, face: hole_there(copies[id], place, face)
        )
        if new:
            made.append(replace(new, id=free_fitting_id(taken)))
            taken.add(made[-1].id)
    return made


COPY = EditKind("copy", _copies, copy)
