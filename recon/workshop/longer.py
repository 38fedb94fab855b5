"""Whether a longer member can take a member's place: where it would stick out, and what is in the way there."""
from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Mapping, Sequence

import numpy as np

from recon.frame.joints import CLASH_TOL, collisions
from recon.frame.model import Frame, Member, as_tuple, bounds
from recon.frame.stock import Stock
from recon.workshop.bolts import Fastening, fasten, find_bolts

Box = tuple[Sequence[float], Sequence[float]]    # lowest and highest corner, pitches


@dataclass(frozen=True)
class Room:
    """A member of `holes` holes in place of member `member`, which has fewer: it sticks out by `before` holes at the
    end of hole 1 and by `after` holes at the other. `blocked_by` names what is in the way; empty where it is free."""

    member: str
    holes: int
    before: int
    after: int
    blocked_by: tuple[str, ...]

    @property
    def free(self) -> bool:
        return not self.blocked_by


@dataclass(frozen=True)
class Surroundings:
    """All that a longer member could run into: members and bolts as boxes with words for each, places to keep out of,
    and the floor (lowest z of the frame, or None)."""

    frame: Frame
    obstacles: tuple[tuple[str, Member, frozenset[str]], ...]    # words, box, ids of the members it may touch
    low: np.ndarray
    high: np.ndarray
    keep_out: tuple[Box, ...]
    floor: float | None


def surroundings(frame: Frame, stocks: Mapping[str, Stock], keep_out: Sequence[Box] = (), floor: bool = True) -> Surroundings:
    """The obstacles of a frame.

    keep_out : boxes that must stay free, pitches.   floor : whether nothing may reach below the frame's lowest point.
    Heads and nuts of bolts count as obstacles where the frame's size and stock are known.
    """
    obstacles = [(m.id, m, frozenset([m.id])) for m in frame.members]
    if frame.pitch_mm:
        for bolt in find_bolts(frame):
            fastening = fasten(bolt, frame, stocks)
            if fastening:
                ids = frozenset(id for id, _ in bolt.through)
                obstacles.append((f"the bolt through {' and '.join(id for id, _ in bolt.through)}",
                                  _bolt_box(bolt, fastening, frame.pitch_mm), ids))
    corners = [bounds(box) for _, box, _ in obstacles]
    low, high = (np.array(c).reshape(-1, 3) for c in zip(*corners)) if corners else (np.empty((0, 3)),) * 2
    ground = float(low[:len(frame.members), 2].min()) if floor and frame.members else None
    return Surroundings(frame, tuple(obstacles), low, high, tuple(keep_out), ground)


def _bolt_box(bolt, fastening: Fastening, pitch_mm: float) -> Member:
    """The bolt with head, nut and washers as a square box, in the form of a member.  Which end has the head is not
    known: both stick out as far as the longer of the two does."""
    out, across = fastening.sticks_out_mm / pitch_mm, fastening.thread.washer_out_mm / pitch_mm
    axis = np.asarray(bolt.axis, float)
    length = bolt.grip + 2 * out
    return Member("bolt", as_tuple(np.asarray(bolt.start) + axis * (0.5 - out)), bolt.axis, length, across)


def lengthened(member: Member, before: int, after: int) -> Member:
    """The member with so many holes more at the end of its first hole and at the other."""
    return replace(member, first=as_tuple(member.hole_centre(-before)), holes=member.holes + before + after)


def rooms(around: Surroundings, member: Member, holes: int) -> tuple[Room, ...]:
    """The ways in which a member of `holes` holes can take the place of `member`: sticking out at the first end, at
    the other, and, where both are blocked, at both ends so that nothing is in the way, if that can be."""
    extra = holes - member.holes
    if extra <= 0:
        return (Room(member.id, holes, 0, 0, ()),) if extra == 0 else ()
    ends = [_room(around, member, extra, 0), _room(around, member, 0, extra)]
    if not any(room.free for room in ends):
        for before in range(1, extra):
            room = _room(around, member, before, extra - before)
            if room.free:
                return (*ends, room)
    return tuple(ends)


def _room(around: Surroundings, member: Member, before: int, after: int) -> Room:
    blocked = []
    if before:
        blocked += _in_the_way(around, member, replace(lengthened(member, before, 0), holes=before))
    if after:
        blocked += _in_the_way(around, member, replace(member, first=as_tuple(member.hole_centre(member.holes)), holes=after))
    return Room(member.id, member.holes + before + after, before, after, tuple(dict.fromkeys(blocked)))


def _in_the_way(around: Surroundings, member: Member, part: Member) -> list[str]:
    """What the part that sticks out overlaps."""
    low, high = bounds(part)
    close = ((around.low < high - CLASH_TOL) & (around.high > low + CLASH_TOL)).all(axis=1)
    found = []
    for k in np.nonzero(close)[0]:
        words, box, own = around.obstacles[k]
        if member.id not in own and collisions([part, box]):
            found.append(words)
    for k, (lowest, highest) in enumerate(around.keep_out, 1):
        if ((np.asarray(lowest, float) < high - CLASH_TOL) & (np.asarray(highest, float) > low + CLASH_TOL)).all():
            found.append(f"keep-out {k}")
    if around.floor is not None and low[2] < around.floor - CLASH_TOL:
        found.append("the floor")
    return found


def room_words(room: Room, member: Member) -> str:
    """'a 16-hole in place of the 12-hole B sticks out by 4 at hole 1: blocked by D'."""
    ends = [f"{n} at hole {hole}" for n, hole in ((room.before, 1), (room.after, member.holes)) if n]
    state = "free" if room.free else "blocked by " + ", ".join(room.blocked_by)
    return f"a {room.holes}-hole in place of the {member.holes}-hole {member.id} sticks out by {' and '.join(ends)}: {state}"
