"""What copies of members come to before they are placed: where they lie, what they touch and meet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.corrections.codec import Json
from recon.corrections.edits.copies import Copies, copies_of, with_copies
from recon.corrections.laps import clashes, relapped
from recon.corrections.members import vector_of
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.model import Frame, Member, bounds
from recon.geometry.arrays import Vector
from recon.workshop.side_axes import to_the_right

MOST_STEPS = 60  # pitches to the right that are tried for a free place, beyond the copies' own length


@dataclass(frozen=True)
class CopyPlace:
    """Copies as they would lie.

    Attributes
    ----------
    members : tuple of Member
        The copies, with labels that they would have.
    by : Vector
        How far they lie from what they copy, pitches, after mirroring.
    laps : int
        With members of the frame.
    joins : tuple of str
        Labels of the members that these laps are with.
    meets : tuple of str
        Labels of members in whose room a copy lies.
    there : int
        Copies that are none, for a member lies there already.
    """

    members: tuple[Member, ...]
    by: Vector
    laps: int
    joins: tuple[str, ...]
    meets: tuple[str, ...]
    there: int


def copy_place(state: State, request: Json) -> CopyPlace:
    """The copies that a request of kind "copy" would add.

    Parameters
    ----------
    state : State
    request : dict
        As for the edit; without `by` and `mirror` the first free place to the right of the members.

    Raises
    ------
    ReconError
        Where the request names no members, or every copy would lie on a member.

    Examples
    --------
    >>> posts = [Member("AB"[k], (4.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 5) for k in (0, 1)]
    >>> place = copy_place(State(Frame(tuple(posts))), {"members": ["A"]})
    >>> place.by, [m.id for m in place.members], place.laps
    ((2.0, 0.0, 0.0), ['C'], 0)
    """
    if request.get("by") is None and request.get("mirror") is None:
        request = {**request, "by": list(_free_shift(state, request))}
    wanted = copies_of(state, request)
    frame, ids = _copied(state.frame, wanted)
    lapped = relapped(replace(frame, joints=()), ids)
    joins = [j.b if j.a in ids else j.a for j in lapped.joints if (j.a in ids) != (j.b in ids)]
    met = {id for a, b, _ in clashes(frame, ids) if (a in ids) != (b in ids) for id in (a, b)} - ids
    return CopyPlace(
        tuple(m for m in frame.members if m.id in ids),
        vector_of(np.array(request.get("by") or (0.0, 0.0, 0.0), float)),
        len(joins),
        tuple(dict.fromkeys(joins)),
        tuple(m.id for m in frame.members if m.id in met),
        len(wanted.members) - len(ids),
    )


def _copied(frame: Frame, wanted: Copies) -> tuple[Frame, set[str]]:
    copied, added = with_copies(frame, wanted)
    if not added:
        raise ReconError("Members lie there already; move the copy on.")
    return copied, {c.member.id for c in added.values()}


def _free_shift(state: State, request: Json) -> Vector:
    """The first whole number of pitches to the right by which copies lie beside themselves in nobody's
    room."""
    ids = request.get("members")
    members = [m for m in state.frame.members if isinstance(ids, list) and m.id in ids]
    if not members:
        return (1.0, 0.0, 0.0)  # what is wrong with the request is said where it is checked
    right = to_the_right(state.frame.members)
    low, high = (np.array(x) @ right for x in zip(*map(bounds, members)))
    least = round(float(high.max() - low.min())) + 1  # a pitch of room
    for step in range(least, least + MOST_STEPS):
        by = vector_of(right * step)
        frame, added = with_copies(state.frame, copies_of(state, {**request, "by": list(by)}))
        new = {c.member.id for c in added.values()}
        if len(new) == len(members) and not clashes(frame, new):
            return by
    return vector_of(right * least)
