"""A way to move as it is shown moving: where its members are on the way to and fro, and how far that is.

The lowest member that takes part stays where it is, as the frame would on a floor.  The way goes on until one
bolt has turned by SHOWN, the motion comes to its end, or members meet.  A motion that ends at once (the bolts
give way only as far as their play) is shown as straight as it begins, which is larger than it can go.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from recon.frame.boxes import corners
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray
from recon.workshop.rigidity.displacement import (
    INCREMENTS,
    Placement,
    extent,
    followed,
    placed,
    screw_motion,
)
from recon.workshop.rigidity.mechanism import Motion
from recon.workshop.rigidity.play import AT_TOP, LeftOver, left_over_words
from recon.workshop.solids import member_boxes, overlapping

# What a bolt turns by at most, and how far the fastest corner goes, of the frame's extent: enough to be seen
# in a small picture, too little to look like a frame that falls over; this project's choice.
SHOWN_DEG = 6.0
SHARE = 0.1
ALIKE = 0.02  # of the way: both ways count as equally far

Pair = tuple[str, str]


@dataclass(frozen=True)
class Way:
    """One of the two ways of a motion.

    Attributes
    ----------
    placements : (increments, groups, 7)
        Of each moving group against its rest: quaternion x, y, z, w, then the shift, pitches.
    reach : LeftOver
        How far it goes: what the bolt that turns most turns by, and the way of the farthest corner.
    meets : tuple of str or None
        The two members that meet at its end, where that is why it ends.
    """

    placements: FloatArray
    reach: LeftOver
    meets: Pair | None


@dataclass(frozen=True)
class Playback:
    """A motion to and fro.

    Attributes
    ----------
    groups : tuple of tuples of str
        Ids of the members that move together, for each group that moves.
    forth, back : Way
        Both ways from the rest.
    enlarged : bool
        Whether more is shown than the frame can do.
    """

    groups: tuple[tuple[str, ...], ...]
    forth: Way
    back: Way
    enlarged: bool


def playback(frame: Frame, motion: Motion) -> Playback:
    """A motion of a frame as it is shown moving.

    Parameters
    ----------
    frame : Frame
        The frame at rest.
    motion : Motion
        One of its ways to move.

    Examples
    --------
    A rail on one bolt turns about it; how far is said in degrees.

    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> from recon.workshop.rigidity.mechanism import mobility
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-1, -1, 5), (1, 0, 0), 4)
    >>> frame = Frame(members, find_joints(members), 38.1)
    >>> shown = playback(frame, mobility(frame).motions[0])
    >>> shown.groups, shown.forth.placements.shape
    ((('B',),), (12, 1, 7))
    >>> print(playback_words(shown, frame.pitch_mm))
    Shown to either side: 6.0 degrees, 10 mm at B.
    """
    fastest = max(abs(rate) for rate in motion.rates)
    travel = min(np.radians(SHOWN_DEG) / fastest, SHARE * max(extent(frame), 1.0))
    resting = _resting_group(frame, motion)
    stations = [_standing(followed(frame, motion, way * travel), resting) for way in (1, -1)]
    enlarged = not any(stations)
    if enlarged:
        stations = [_standing(_straight(motion, way * travel), resting) for way in (1, -1)]
    ways = [_way(frame, motion, found, resting, stop=not enlarged) for found in stations]
    if not any(len(way.placements) for way in ways):  # members meet at once
        enlarged = True
        ways = [_way(frame, motion, found, resting, stop=False) for found in stations]
    groups = tuple(group for g, group in enumerate(motion.groups) if g != resting)
    return Playback(groups, ways[0], ways[1], enlarged)


def _resting_group(frame: Frame, motion: Motion) -> int:
    """The group of the lowest member that takes part; of several the longest, which a frame stands on."""
    taking_part = [m for m in frame.members if m.id in motion.twists]
    lowest = min(taking_part, key=lambda m: (round(float(corners(m)[:, 2].mean()), 6), -m.holes))
    return next(g for g, group in enumerate(motion.groups) if lowest.id in group)


def _straight(motion: Motion, travel: float) -> list[list[Placement]]:
    """The motion as it begins, carried on at the velocities that it begins with."""
    twists = [motion.twists[group[0]] for group in motion.groups]
    shares = np.arange(1, INCREMENTS + 1) / INCREMENTS
    return [[screw_motion(travel * share * twist) for twist in twists] for share in shares]


def _standing(stations: Sequence[Sequence[Placement]], resting: int) -> list[list[Placement]]:
    """The same with the group `resting` at rest."""
    return [[_after(_inverse(station[resting]), p) for p in station] for station in stations]


def _inverse(placement: Placement) -> Placement:
    turn, shift = placement
    return turn.inv(), -turn.inv().apply(shift)


def _after(second: Placement, first: Placement) -> Placement:
    return second[0] * first[0], second[0].apply(first[1]) + second[1]


def _way(
    frame: Frame, motion: Motion, stations: Sequence[Sequence[Placement]], resting: int, *, stop: bool
) -> Way:
    """One way, up to where members meet where it is to `stop` there."""
    moving = [g for g in range(len(motion.groups)) if g != resting]
    kept, meets = list(stations), None
    if stop:
        at_rest = _met(frame, motion, {})
        for k, station in enumerate(stations):
            found = _met(frame, motion, _by_member(motion, station, resting)) - at_rest
            if found:
                kept, meets = kept[:k], min(found)
                break
    rows = [[[*turn.as_quat(), *shift] for turn, shift in (s[g] for g in moving)] for s in kept]
    last = kept[-1] if kept else [(Rotation.identity(), np.zeros(3)) for _ in motion.groups]
    placements = np.array(rows, float).reshape(len(kept), len(moving), 7)
    return Way(placements, _reach(frame, motion, last, resting), meets)


def _by_member(motion: Motion, station: Sequence[Placement], resting: int) -> dict[str, Placement]:
    return {id: station[g] for g, group in enumerate(motion.groups) if g != resting for id in group}


def _met(frame: Frame, motion: Motion, moved: Mapping[str, Placement]) -> set[Pair]:
    """Pairs of members, one of which takes part, that take the same room."""
    members = placed(frame, moved).members
    boxes = member_boxes(members)
    mine = np.array([k for k, m in enumerate(members) if m.id in motion.twists], int)
    one, other = overlapping(boxes.take(mine), boxes)
    names = ((members[mine[i]].id, members[k].id) for i, k in zip(one.tolist(), other.tolist()))
    return {(min(a, b), max(a, b)) for a, b in names if a != b}


def _reach(frame: Frame, motion: Motion, station: Sequence[Placement], resting: int) -> LeftOver:
    """How far the frame is from its rest in a station; of corners that go as far, the highest."""
    index = {id: g for g, group in enumerate(motion.groups) for id in group}
    angle = max((station[index[j.a]][0].inv() * station[index[j.b]][0]).magnitude() for j in motion.joints)
    moved = _by_member(motion, station, resting)
    best = max(
        (
            (round(float(np.linalg.norm(turn.apply(p) + shift - p)), 3), float(p[2]), id)
            for id, (turn, shift) in moved.items()
            for p in corners(frame.member(id))
        ),
    )
    top = max(float(corners(m)[:, 2].max()) for m in frame.members)
    return LeftOver(float(angle), best[0], best[2], best[1] > top - AT_TOP)


def playback_words(shown: Playback, pitch_mm: float | None) -> str:
    """How far a motion is shown to go, in degrees and mm, where it ends, and whether that is too large."""
    forth, back = shown.forth, shown.back
    longer = max(forth.reach.travel, back.reach.travel)
    if abs(forth.reach.travel - back.reach.travel) <= ALIKE * longer:
        text = f"Shown to either side: {left_over_words(forth.reach, pitch_mm)}."
    else:
        ways = " and ".join(
            left_over_words(way.reach, pitch_mm) if len(way.placements) else "nothing"
            for way in (forth, back)
        )
        text = f"Shown: {ways} to the other side."
    met = [f"{a} meets {b}" for a, b in dict.fromkeys(w.meets for w in (forth, back) if w.meets)]
    if shown.enlarged:
        return f"{text} That is drawn larger than the frame gives: it ends sooner."
    return f"{text} It ends where {' or '.join(met)}." if met else text
