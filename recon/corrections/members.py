"""Members of a frame that is being corrected: free labels, shared lines, members in place of others."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import numpy as np

from recon.frame import lattice
from recon.frame.lattice import LINE_TOL as SOLVED_LINE_TOL
from recon.frame.lattice import on_lattice
from recon.frame.model import End, Frame, Member, as_tuple, label, reversed_member
from recon.geometry.arrays import FloatArray, Vector

VOUCHED_END = End("seen", 0)  # an end that the user vouches for
# Pitches that two members may be off one line to be one member; braces are measured.  This project's choice.
LINE_TOL = 0.05
# Share of a member's holes above which another one counts as lying there.  This project's choice.
MINOR_OVERLAP = 0.5


def lengthened(end: End, holes: int) -> End:
    """An end of a member that became so many holes longer at its other end.

    Examples
    --------
    >>> from recon.frame.model import EndChoice
    >>> lengthened(End("hidden", 2, (EndChoice(22, 0.7), EndChoice(24, 0.3, "D"))), 1).choices[1].holes
    25
    """
    return (
        replace(end, choices=tuple(replace(c, holes=c.holes + holes) for c in end.choices)) if holes else end
    )


def free_label(taken: Frame | set[str]) -> str:
    """The first label that no member has.

    Examples
    --------
    >>> free_label({"A", "C"})
    'B'
    """
    used = {m.id for m in taken.members} if isinstance(taken, Frame) else taken
    return next(name for name in map(label, count()) if name not in used)


def put(frame: Frame, *members: Member) -> tuple[Member, ...]:
    """The frame's members with `members` in place of those of their labels; new ones come last."""
    by_id = {m.id: m for m in members}
    return tuple(by_id.pop(m.id, m) for m in frame.members) + tuple(by_id.values())


def vector_of(values: FloatArray) -> Vector:
    """Three plain floats."""
    x, y, z = as_tuple(values)
    return x, y, z


def place_along(member: Member, holes: int) -> Vector:
    """Where the member's hole 0 comes to lie when it starts so many holes further on, pitches."""
    return vector_of(member.hole_centre(holes))


def with_lattice_flag(frame: Frame, member: Member) -> Member:
    """The member with `on_lattice` as it lies towards the other members of the frame."""
    others = [m for m in frame.members if m.id != member.id and m.on_lattice]
    if not others:
        return member
    return replace(member, on_lattice=bool(on_lattice([*others, member])[-1]))


def on_one_line(a: Member, b: Member) -> bool:
    """Whether two members lie on one line, within `LINE_TOL`."""
    return lattice.on_one_line(a, b, off=LINE_TOL + 1e-9, parallel=1 - 1e-3)


def gap(a: Member, b: Member) -> float:
    """Room between the ends of two members on one line, pitches; below 0 where they overlap."""
    d = np.array(a.direction)
    places = sorted(
        (min(ends) - 0.5, max(ends) + 0.5)
        for ends in ((float(np.array(m.first) @ d), float(m.last @ d)) for m in (a, b))
    )
    return round(places[1][0] - places[0][1], 6)


def same_place(a: Member, b: Member) -> bool:
    """Whether two members lie in one place, hole 0 on hole 0."""
    return bool(
        a.holes == b.holes
        and np.allclose(a.first, b.first, atol=SOLVED_LINE_TOL)
        and np.allclose(a.last, b.last, atol=SOLVED_LINE_TOL)
    )


def turned_like(member: Member, like: Member) -> Member:
    """The member counted from the end from which it runs the same way as `like`."""
    return member if np.dot(like.direction, member.direction) >= 0 else reversed_member(member)


def holes_along(line: Member, member: Member) -> int:
    """Holes from hole 0 of `line` to hole 0 of `member`, along `line`."""
    step = np.array(member.first) - np.array(line.first)
    return round(float(step @ np.array(line.direction)))
