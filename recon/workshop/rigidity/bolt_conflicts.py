"""Bolts that cannot be put in as the frame stands: those that cross, and those whose ends have no room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from recon.frame.model import Frame, Member
from recon.workshop.hardware.bolts import Bolt, Hole
from recon.workshop.solids import HOLE, bolt_ends, member_boxes, overlapping


def crossing_bolts(bolts: Iterable[Bolt]) -> list[tuple[Bolt, Bolt, Hole]]:
    """Pairs of bolts that pass through one hole in two directions, and so through each other, with that hole.

    The three bolts of a three-way lap miss each other, as they lie one width apart: where a pair comes up
    there, one of its members is a hole off.
    """
    found: list[tuple[Bolt, Bolt, Hole]] = []
    through: dict[Hole, list[Bolt]] = {}
    for bolt in bolts:
        for hole in bolt.through:
            others = through.setdefault(hole, [])
            found += [(other, bolt, hole) for other in others]
            others.append(bolt)
    return found


def blocked_ends(frame: Frame, bolts: Sequence[Bolt], hole: float = HOLE) -> list[tuple[Bolt, Member]]:
    """Bolts with a member in the place of their head or nut, and that member.

    Parameters
    ----------
    frame : Frame
        The frame.
    bolts : sequence of Bolt
        Its bolts.
    hole : float
        Diameter of the holes, pitches.

    Examples
    --------
    D lies on the back of A, where the nut of the bolt through A and B would be.

    >>> from recon.frame.joints import find_joints
    >>> from recon.workshop.hardware.bolts import find_bolts
    >>> a, b = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (0, -1, 3), (1, 0, 0), 6)
    >>> d = Member("D", (0, 1, 0), (0, 0, 1), 8)
    >>> frame = Frame((a, b, d), find_joints((a, b)))
    >>> [member.id for _, member in blocked_ends(frame, find_bolts(frame))]
    ['D']
    """
    if not bolts:
        return []
    ends, members = overlapping(bolt_ends(bolts, hole), member_boxes(frame.members))
    pairs = dict.fromkeys(zip((ends // 2).tolist(), members.tolist()))
    return [(bolts[b], frame.members[k]) for b, k in pairs]


def meeting_ends(bolts: Sequence[Bolt], hole: float = HOLE) -> list[tuple[Bolt, Bolt]]:
    """Pairs of bolts whose ends would take the same room; `hole` is the diameter of the holes, pitches."""
    ends = bolt_ends(bolts, hole)
    one, other = overlapping(ends, ends)
    pairs = dict.fromkeys((a // 2, b // 2) for a, b in zip(one.tolist(), other.tolist()) if a < b)
    return [(bolts[a], bolts[b]) for a, b in pairs if a != b]
