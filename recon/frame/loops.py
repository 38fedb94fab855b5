"""Loops of laps: hole on hole from member to member, round and back, the numbers must end where they began.

Each lap says by its two hole numbers where one member lies from the other.  Round a loop of laps these steps
add up to nothing; where they do not, a hole number in the loop is wrong, whatever places the file gives.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from recon.frame.model import Frame, Joint, Member, as_tuple
from recon.geometry.arrays import FloatArray, Vector

CLOSED = 0.5  # pitches: a gap from here on is nearer to another hole


@dataclass(frozen=True)
class Loop:
    """Laps that lead from a member back to it.

    Attributes
    ----------
    joints : tuple of Joint
        One after another, each with a member of the one before.
    gap : tuple of three float
        By how much their hole numbers miss closing, pitches.
    """

    joints: tuple[Joint, ...]
    gap: Vector

    @property
    def closed(self) -> bool:
        """Whether the hole numbers agree."""
        return max(map(abs, self.gap)) < CLOSED


def loops(frame: Frame) -> list[Loop]:
    """A basis of the loops of the joint graph, with what each misses by.

    Every other loop is made of these, and its gap is the sum of theirs.

    Parameters
    ----------
    frame : Frame

    Notes
    -----
    Fundamental loops of a breadth-first spanning forest, which makes them short: one for each lap that is
    not in the forest.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> rails = [Member(n, (-1.0, y, -1.0), (1.0, 0.0, 0.0), 8) for n, y in (("A", 0.0), ("B", 5.0))]
    >>> cross = [Member(n, (x, -1.0, 0.0), (0.0, 1.0, 0.0), 8) for n, x in (("C", 0.0), ("D", 5.0))]
    >>> found, = loops(Frame((*rails, *cross), find_joints([*rails, *cross])))
    >>> len(found.joints), found.closed
    (4, True)
    """
    members = {m.id: m for m in frame.members}
    around: dict[str, list[tuple[str, Joint]]] = {id: [] for id in members}
    for joint in frame.joints:
        around[joint.a].append((joint.b, joint))
        around[joint.b].append((joint.a, joint))
    place: dict[str, FloatArray] = {}
    way: dict[str, tuple[Joint, ...]] = {}
    for root in members:
        if root in place:
            continue
        place[root], way[root] = np.zeros(3), ()
        queue = deque([root])
        while queue:
            here = queue.popleft()
            for there, joint in around[here]:
                if there not in place:
                    place[there] = place[here] + step(joint, members, here)
                    way[there] = (*way[here], joint)
                    queue.append(there)
    in_forest = {id(joints[-1]) for joints in way.values() if joints}
    return [_loop(j, members, place, way) for j in frame.joints if id(j) not in in_forest]


def step(joint: Joint, members: dict[str, Member], start: str) -> FloatArray:
    """From hole 0 of the member `start` to hole 0 of the other one, by a lap's hole numbers; (3,) pitches."""
    a, b = members[joint.a], members[joint.b]
    forth: FloatArray = (
        joint.a_hole * np.asarray(a.direction)
        + (a.width + b.width) / 2 * np.asarray(joint.axis)
        - joint.b_hole * np.asarray(b.direction)
    )
    return forth if start == joint.a else -forth


def _loop(
    joint: Joint, members: dict[str, Member], place: dict[str, FloatArray], way: dict[str, tuple[Joint, ...]]
) -> Loop:
    """The loop that a lap closes between the forest's ways to its two members."""
    to_a, to_b = way[joint.a], way[joint.b]
    shared = 0
    while shared < min(len(to_a), len(to_b)) and to_a[shared] is to_b[shared]:
        shared += 1
    gap = place[joint.a] + step(joint, members, joint.a) - place[joint.b]
    return Loop((*to_a[shared:], joint, *reversed(to_b[shared:])), as_tuple(gap))
