"""Ends that a frame's own structure makes unlikely, however sure a photo was of them.

Three signs: a member held at one end, so that more than half of it hangs free; an end that stops just short
of a member that it would reach; an end unlike those of the members beside it, which run the same way and
begin where it does.  Each says what the member could be instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.corrections.laps import TOUCH
from recon.corrections.members import place_along
from recon.frame.joints import collisions, find_joints
from recon.frame.model import End, Frame, Member, bounds
from recon.geometry.arrays import FloatArray, IntArray

# Holes by which an end counts as just short of a member, or unlike its neighbours.  On 27 frames with truth
# (358 members) this calls 2 right ends short and none unlike, and of 516 ends cut by 1 to 3 holes so that
# they lose a lap it misses none.
SHORT = 3
BESIDE = 2  # so many members beside it must agree
PLACE = 0.05  # pitches that ends beside one another may differ to count as in one place


@dataclass(frozen=True)
class UnlikelyEnd:
    """An end that is unlikely where it is.

    Attributes
    ----------
    member : str
    end : int
        0 at the first hole, 1 at the last.
    by : int
        Holes more that the member would have, were it as its surroundings suggest; below 0 fewer; 0 where
        they suggest nothing.
    at : str or None
        Label of the member that its last hole would then lie on or beside.
    free : int
        Holes that hang free beyond its last lap, where more than half do; else 0.
    reach : int
        Holes by which the end stops short of a member; 0 where it does not.
    beside : tuple of str
        Labels of the members beside it that all end elsewhere.
    """

    member: str
    end: int
    by: int
    at: str | None
    free: int
    reach: int
    beside: tuple[str, ...]

    @property
    def short(self) -> bool:
        """Whether the end stops just short of a member."""
        return self.reach > 0


def unlikely_ends(frame: Frame) -> list[UnlikelyEnd]:
    """The ends of a frame's members that its structure makes unlikely, in the members' order.

    Examples
    --------
    >>> posts = [Member("AB"[k], (8.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 12) for k in (0, 1)]
    >>> rails = [Member("CDE"[k], (0.0, 1.0, 2.0 + 4 * k), (1.0, 0.0, 0.0), (9, 7, 9)[k]) for k in range(3)]
    >>> members = (*posts, *rails)
    >>> [(u.member, u.end, u.by, u.at, u.beside) for u in unlikely_ends(Frame(members, find_joints(members)))]
    [('D', 1, 2, 'B', ('C', 'E'))]
    """
    if not frame.members:
        return []
    laps: dict[str, list[tuple[int, str, bool]]] = {m.id: [] for m in frame.members}
    for j in frame.joints:
        laps[j.a].append((j.a_hole, j.b, j.bolt != "none"))
        laps[j.b].append((j.b_hole, j.a, j.bolt != "none"))
    places = _Places(frame)
    judged = (_judged(places, k, end, laps[m.id]) for k, m in enumerate(frame.members) for end in (0, 1))
    return [unlikely for unlikely in judged if unlikely]


class _Places:
    """Where the members of a frame lie, as arrays."""

    def __init__(self, frame: Frame) -> None:
        self.members = frame.members
        self.low, self.high = (np.array(x) for x in zip(*map(bounds, frame.members)))
        self.way = np.array([m.direction for m in frame.members])
        self.first = np.array([m.first for m in frame.members])
        self.last = np.array([m.last for m in frame.members])

    def near(self, member: Member) -> list[Member]:
        """The members whose boxes touch that of a member."""
        low, high = bounds(member)
        close = ((self.low <= high + TOUCH) & (self.high >= low - TOUCH)).all(axis=1)
        return [self.members[i] for i in np.nonzero(close)[0] if self.members[i].id != member.id]

    def beside(self, k: int, end: int) -> tuple[IntArray, FloatArray]:
        """Numbers of the members parallel to number k that begin where it does, and by how many pitches each
        goes further at the other end, which is `end` of k."""
        way = self.way[k]
        parallel = np.abs(np.abs(self.way @ way) - 1) < 1e-6
        parallel[k] = False
        spans = np.sort([self.first @ way, self.last @ way], axis=0)  # (2, n)
        same = parallel & (np.abs(spans[1 - end] - spans[1 - end, k]) < PLACE)
        at = np.nonzero(same)[0]
        return at, (spans[end, at] - spans[end, k]) * (1 if end else -1)


def _judged(places: _Places, k: int, end: int, laps: Sequence[tuple[int, str, bool]]) -> UnlikelyEnd | None:
    """An end of member number k; laps: (its hole, the other member, whether there may be a bolt) of each."""
    m = places.members[k]
    free = _hanging(m, end, [hole for hole, _, bolted in laps if bolted])
    beside, by_beside = _beside(places, k, end)
    reached = _reached(places, m, end, {other for _, other, _ in laps})
    if not (free or beside or reached):
        return None
    by, at = reached or (0, None)
    return UnlikelyEnd(m.id, end, by_beside if beside else by, at, free, by, beside)


def _hanging(m: Member, end: int, holes: Sequence[int]) -> int:
    """Holes beyond the last bolted one towards an end, where they are more than half of the member's."""
    if not holes:
        return 0
    free = min(holes) if end == 0 else m.holes - 1 - max(holes)
    return free if 2 * free > m.holes else 0


def grown(m: Member, end: int, by: int) -> Member:
    """The member with so many holes more at an end, or fewer.

    Examples
    --------
    >>> longer = grown(Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5), 0, 2)
    >>> longer.first, longer.holes
    ((0.0, 0.0, -2.0), 7)
    """
    first = place_along(m, -by) if end == 0 else m.first
    return replace(m, first=first, holes=m.holes + by, ends=(End(), End()))


def _reached(places: _Places, m: Member, end: int, touched: set[str]) -> tuple[int, str] | None:
    """By how many holes more the end would come to lie on a member that it does not touch, and which.

    touched : labels of those that it touches
    """
    around = places.near(grown(m, end, SHORT))
    if all(o.id in touched for o in around):
        return None
    for by in range(1, SHORT + 1):
        longer = grown(m, end, by)
        last = 0 if end == 0 else longer.holes - 1
        for j in find_joints((*around, longer)):
            hole, other = (j.a_hole, j.b) if j.a == m.id else (j.b_hole, j.a)
            if m.id in (j.a, j.b) and hole == last and other not in touched:
                clash = any(m.id in pair[:2] for pair in collisions((*around, longer)))
                return None if clash else (by, other)
    return None


def _beside(places: _Places, k: int, end: int) -> tuple[tuple[str, ...], int]:
    """Labels of the members beside one that begin where it does and all end elsewhere, and by how much."""
    at, by = places.beside(k, end)
    if len(at) < BESIDE or np.ptp(by) > PLACE or not 1 - PLACE <= abs(by[0]) <= SHORT + PLACE:
        return (), 0
    return tuple(places.members[i].id for i in at), round(float(by[0]))
