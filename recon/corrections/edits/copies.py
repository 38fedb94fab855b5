"""Members copied with the laps among them: by a vector, mirrored in the middle of the frame, or both."""

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
from recon.corrections.model import Corrections, LapKey, LapWord
from recon.corrections.state import State, joint_key
from recon.errors import ReconError
from recon.frame.fitting import Fitting, free_fitting_id
from recon.frame.model import Frame, Member, as_tuple, bounds, reversed_member
from recon.geometry.arrays import FloatArray
from recon.workshop.side_axes import to_the_right
from recon.workshop.wording import listed, plural

AXES = ("x", "y", "z")


@dataclass(frozen=True)
class CopiedMember:
    """A member and what it is copied to; `turned`: the copy's holes are counted from the other end."""

    of: Member
    member: Member
    turned: bool = False

    def hole(self, hole: int) -> int:
        """The copy's hole for one of the member's."""
        return self.of.holes - 1 - hole if self.turned else hole


@dataclass(frozen=True)
class Copies:
    """Members as they are to be added, those that they are of, how they are moved, and that in words.

    A place x of the old ones comes to x * flip + shift, pitches.
    """

    members: tuple[CopiedMember, ...]
    flip: FloatArray
    shift: FloatArray
    words: str


def copies_of(state: State, request: Json) -> Copies:
    """The copies that a request means: see `copy`.

    Raises
    ------
    ReconError
        Where it names no members, or the copies would lie where these are.
    """
    members = [validation.member_of(state.frame, id) for id in validation.several(request, "members")]
    ids = listed([m.id for m in members])
    if request.get("mirror") is None:
        by = np.array(validation.vector(request, "by"))
        if not by.any():
            raise ReconError("A copy must lie elsewhere; say by how many pitches.")
        copies = tuple(CopiedMember(m, _shifted(m, by)) for m in members)
        return Copies(copies, np.ones(3), by, f"{ids} copied")
    axis = AXES.index(validation.word(request, "mirror", AXES))
    flip, shift = mirror(state.frame, axis)
    found = mirrored(state.frame, members, axis)
    if request.get("by") is not None:
        by = np.array(validation.vector(request, "by"))
        found = tuple(replace(c, member=_shifted(c.member, by)) for c in found)
        shift = shift + by
    return Copies(found, flip, shift, f"{ids} mirrored {_across(state.frame, axis)}")


def mirror(frame: Frame, axis: int) -> tuple[FloatArray, FloatArray]:
    """The mirror through the middle of the frame, perpendicular to an axis: x comes to x * flip + shift."""
    low, high = (np.array(x) for x in zip(*map(bounds, frame.members)))
    middle = (low[:, axis].min() + high[:, axis].max()) / 2
    flip = np.where(np.arange(3) == axis, -1.0, 1.0)
    return flip, np.where(np.arange(3) == axis, 2 * middle, 0.0)


def _copies(state: State, request: Json, stocks: Stocks) -> Copies:
    return copies_of(state, request)


def _shifted(member: Member, by: FloatArray) -> Member:
    return replace(member, first=vector_of(np.array(member.first) + by))


def _across(frame: Frame, axis: int) -> str:
    if axis == 2:
        return "top to bottom"
    right = int(np.abs(to_the_right(frame.members)).argmax())
    return "left to right" if axis == right else "front to back"


def mirrored(frame: Frame, members: Sequence[Member], axis: int) -> tuple[CopiedMember, ...]:
    """Members mirrored in the plane through the middle of the frame, perpendicular to an axis.

    Examples
    --------
    >>> posts = [Member("AB"[k], (8.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 5) for k in (0, 1)]
    >>> mirrored(Frame(tuple(posts)), posts[:1], 0)[0].member.first
    (8.0, 0.0, 0.0)
    """
    flip, shift = mirror(frame, axis)
    out = []
    for m in members:
        way = as_tuple(np.array(m.direction) * flip)
        there = replace(m, first=vector_of(np.array(m.first) * flip + shift), direction=way)
        # holes are counted towards positive coordinates, as they are in members that are read
        turned = min(way) < 0 and max(way) <= 0
        out.append(CopiedMember(m, reversed_member(there) if turned else there, turned))
    return tuple(out)


def with_copies(frame: Frame, wanted: Copies) -> tuple[Frame, dict[str, CopiedMember]]:
    """The frame with copies as members, and these by the id of what they copy; where a member lies already
    none is added."""
    added: dict[str, CopiedMember] = {}
    for c in wanted.members:
        new = replace(c.member, id=free_label(frame), confidence=1.0, ends=(VOUCHED_END, VOUCHED_END), seen=0)
        new = replace(new, off_place=None)
        if any(on_one_line(o, new) and gap(o, new) < 0 for o in frame.members):
            continue
        new = with_lattice_flag(frame, new)
        frame = replace(frame, members=put(frame, new))
        added[c.of.id] = replace(c, member=new)
    return frame, added


def with_laps_of_copies(
    corrections: Corrections, frame: Frame, added: Mapping[str, CopiedMember]
) -> Corrections:
    """The corrections with what is known of laps among copied members said of their copies: those without a
    bolt, with one that a person spoke for, parted ones, and those that are meant to turn.  A bolt that was
    seen is assumed of the copy: nobody saw that."""

    def copied(key: LapKey) -> LapKey | None:
        a, a_hole, b, b_hole = key
        if a not in added or b not in added:
            return None
        one, other = sorted(
            ((added[a].member.id, added[a].hole(a_hole)), (added[b].member.id, added[b].hole(b_hole)))
        )
        return (*one, *other)

    words = {joint_key(j): j.bolt for j in frame.joints if j.bolt in ("none", "said")}
    words |= {w.lap: w.word for w in corrections.laps if w.word in ("apart", "joined")}
    said = [LapWord(new, word) for key, word in words.items() if (new := copied(key))]
    turning = [new for key in corrections.may_turn if (new := copied(key))]
    if said:
        corrections = corrections.changed(laps=(*corrections.laps, *said))
    if turning:
        corrections = corrections.changed(may_turn=(*corrections.may_turn, *turning))
    return corrections


def copy(state: State, wanted: Copies) -> Change:
    """Members copied by a vector, {members: [labels], by: [x, y, z] pitches}, or mirrored in the middle of
    the frame, {members, mirror: 'x', 'y' or 'z'}, or mirrored and then moved by a vector; what is known of
    laps among them is known of their copies, and fittings that lie on them alone are copied, too.  Where a
    member lies already none is added."""
    frame, added = with_copies(state.frame, wanted)
    if not added:
        raise ReconError("Members lie there already; nothing was added.")
    new = [c.member.id for c in added.values()]
    corrections = users_word.vouch_wholly(state.corrections, new)
    corrections = with_laps_of_copies(corrections, state.frame, added)
    fittings = _fittings_along(state.frame, wanted, added)
    words = f"{wanted.words}: {plural(len(added), 'member')} added"
    words += f", with {plural(len(fittings), 'fitting')}" if fittings else ""
    before = replace(state.frame, fittings=(*state.frame.fittings, *fittings))
    return members_changed(State(before, corrections), frame.members, corrections, set(new), words)


def _fittings_along(frame: Frame, wanted: Copies, added: Mapping[str, CopiedMember]) -> list[Fitting]:
    """Copies of the fittings all of whose members were copied."""
    was = {id: c.of for id, c in added.items()}
    taken = {f.id for f in frame.fittings} | {m.id for m in frame.members}
    taken |= {c.member.id for c in added.values()}
    made = []
    for f in frame.fittings:
        if not set(f.members) <= added.keys():
            continue
        new = placed_like(
            f,
            (wanted.flip, wanted.shift),
            was,
            lambda id, place, face: hole_there(added[id].member, place, face),
        )
        if new:
            made.append(replace(new, id=free_fitting_id(taken)))
            taken.add(made[-1].id)
    return made


COPY = EditKind("copy", _copies, copy)
