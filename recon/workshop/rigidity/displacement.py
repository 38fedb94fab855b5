"""A frame moved along one of its ways to move, for a picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from recon.frame.model import Frame, Joint, Member, as_tuple
from recon.geometry.arrays import FloatArray
from recon.workshop.rigidity.mechanism import Motion, group_twists, hinge_twists, loop_matrix
from recon.workshop.rigidity.null_space import null_space

INCREMENTS = 12  # in which a motion is followed
# The increments leave the loops open by a little, so what counts as 0 is wider here than in `mobility`.
RANK_TOL = 1e-3

_Placement = tuple[Rotation, FloatArray]  # x -> turn x + shift
_Edges = Sequence[tuple[int, int]]  # bodies a and b of each bolt


def displaced(frame: Frame, motion: Motion, travel: float | None = None) -> Frame:
    """The frame moved along a motion, so far that it shows in a picture.

    The motion is followed in small increments (midpoint rule), so that members stay on their bolts; it
    turns no other bolts than it turned at first.  It stops early where it comes to its end.  Members that
    have moved are off the lattice.

    Parameters
    ----------
    frame : Frame
        Where the motion begins.
    motion : Motion
        One way to move.
    travel : float, optional
        About how far the fastest corner goes, pitches; a sixth of the frame's extent by default.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.workshop.rigidity.mechanism import mobility
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (0, -1, 3), (1, 0, 0), 4)
    >>> frame = Frame(members, find_joints(members))
    >>> moved = displaced(frame, mobility(frame).motions[0], travel=0.5)
    >>> moved.member("A") == frame.member("A"), abs(moved.member("B").direction[2]) > 0.1
    (True, True)
    """
    if travel is None:
        points = np.array([(m.first, m.last) for m in frame.members], float).reshape(-1, 3)
        travel = float(np.ptp(points, axis=0).max()) / 6
    index = {id: g for g, group in enumerate(motion.groups) for id in group}
    edges = [(index[j.a], index[j.b]) for j in motion.joints]
    rest = hinge_twists(replace(frame, joints=motion.joints))
    placements: list[_Placement] = [(Rotation.identity(), np.zeros(3)) for _ in motion.groups]
    rates, increment = np.array(motion.rates), travel / INCREMENTS
    for _ in range(INCREMENTS):
        start = _allowed(placements, edges, rest, rates)
        if start is None:
            break
        middle = _moved(placements, edges, rest, placements, start, increment / 2)
        half_way = _allowed(middle, edges, rest, start)
        if half_way is None:
            break
        placements, rates = _moved(placements, edges, rest, middle, half_way, increment), half_way
    return _placed(frame, {id: placements[g] for id, g in index.items() if g})


def _hinges_in(placements: Sequence[_Placement], edges: _Edges, rest: FloatArray) -> FloatArray:
    """The hinges' twists (k, 6) where the bodies are placed so; each goes along with its body a."""
    twists = np.empty_like(rest)
    for twist, (a, _), axis, moment in zip(twists, edges, rest[:, :3], rest[:, 3:]):
        turn, shift = placements[a]
        twist[:3] = turn.apply(axis)
        twist[3:] = turn.apply(moment) + np.cross(shift, twist[:3])
    return twists


def _allowed(
    placements: Sequence[_Placement], edges: _Edges, rest: FloatArray, rates: FloatArray
) -> FloatArray | None:
    """The rates nearest to `rates` that the loops allow here; None where the motion ends: little is left."""
    matrix = loop_matrix(edges, _hinges_in(placements, edges, rest))
    free = null_space(matrix, RANK_TOL)
    allowed = free @ (free.T @ rates)
    return allowed if np.linalg.norm(allowed) > 0.5 * np.linalg.norm(rates) else None


def _moved(
    placements: Sequence[_Placement],
    edges: _Edges,
    rest: FloatArray,
    at: Sequence[_Placement],
    rates: FloatArray,
    increment: float,
) -> list[_Placement]:
    """`placements` after an increment at the velocities that `rates` give in the placements `at`."""
    twists = group_twists(edges, _hinges_in(at, edges, rest) * rates[:, None])
    after = []
    for g, (turn, shift) in enumerate(placements):
        more, by = _screw_motion(increment * twists[g])
        after.append((more * turn, more.apply(shift) + by))
    return after


def _screw_motion(twist: FloatArray) -> _Placement:
    """The motion at this twist for one unit of time (Chasles: a turn about an axis and a shift along it)."""
    turn, angle = Rotation.from_rotvec(twist[:3]), np.linalg.norm(twist[:3])
    if angle < 1e-12:
        return turn, twist[3:]
    axis, v = twist[:3] / angle, twist[3:] / angle
    point = np.cross(axis, v)
    return turn, point - turn.apply(point) + axis * (axis @ twist[3:])


def _placed(frame: Frame, moved: Mapping[str, _Placement]) -> Frame:
    """The frame with the members of these ids moved."""

    def member(m: Member) -> Member:
        if m.id not in moved:
            return m
        turn, shift = moved[m.id]
        first, direction = as_tuple(turn.apply(m.first) + shift), as_tuple(turn.apply(m.direction))
        return replace(m, first=first, direction=direction, on_lattice=False)

    def joint(j: Joint) -> Joint:
        return replace(j, axis=as_tuple(moved[j.a][0].apply(j.axis))) if j.a in moved else j

    members, joints = tuple(map(member, frame.members)), tuple(map(joint, frame.joints))
    return replace(frame, members=members, joints=joints, fittings=())  # drawn moved, without its fittings
