"""A frame moved along one of its ways to move, for a picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from recon.frame.model import Frame, Joint, Member, as_tuple
from recon.geometry.arrays import FloatArray
from recon.workshop.rigidity.mechanism import Motion, group_twists, hinge_twists
from recon.workshop.rigidity.null_space import free_rates

INCREMENTS = 12  # in which a motion is followed
# The increments leave the loops open by a little, so what counts as 0 is wider here than in `mobility`.
RANK_TOL = 1e-3

Placement = tuple[Rotation, FloatArray]  # x -> turn x + shift
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
        travel = extent(frame) / 6
    stations = followed(frame, motion, travel)
    if not stations:
        return frame
    moved = {id: stations[-1][g] for g, group in enumerate(motion.groups) if g for id in group}
    return placed(frame, moved)


def extent(frame: Frame) -> float:
    """The longest side of the box round the centre lines of a frame's members, pitches."""
    points = np.array([(m.first, m.last) for m in frame.members], float).reshape(-1, 3)
    return float(np.ptp(points, axis=0).max())


def followed(
    frame: Frame, motion: Motion, travel: float, increments: int = INCREMENTS
) -> list[list[Placement]]:
    """The way of a motion's groups, increment by increment.

    Parameters
    ----------
    frame : Frame
        Where the motion begins.
    motion : Motion
        One way to move.
    travel : float
        About how far the fastest corner goes in all, pitches; negative for the other way.
    increments : int
        In which it is followed.

    Returns
    -------
    list of lists of Placement
        For each increment the placement of each group of `motion`, against where it was; fewer increments
        where the motion comes to its end.
    """
    index = {id: g for g, group in enumerate(motion.groups) for id in group}
    edges = [(index[j.a], index[j.b]) for j in motion.joints]
    rest = hinge_twists(replace(frame, joints=motion.joints))
    placements: list[Placement] = [(Rotation.identity(), np.zeros(3)) for _ in motion.groups]
    rates, increment = np.array(motion.rates), travel / increments
    stations = []
    for _ in range(increments):
        start = _allowed(placements, edges, rest, rates)
        if start is None:
            break
        middle = _moved(placements, edges, rest, placements, start, increment / 2)
        half_way = _allowed(middle, edges, rest, start)
        if half_way is None:
            break
        placements, rates = _moved(placements, edges, rest, middle, half_way, increment), half_way
        stations.append(placements)
    return stations


def _hinges_in(placements: Sequence[Placement], edges: _Edges, rest: FloatArray) -> FloatArray:
    """The hinges' twists (k, 6) where the bodies are placed so; each goes along with its body a."""
    bodies = [a for a, _ in edges]
    turn = Rotation.concatenate([placements[a][0] for a in bodies])
    shift = np.array([placements[a][1] for a in bodies])
    axes = turn.apply(rest[:, :3])
    return np.hstack([axes, turn.apply(rest[:, 3:]) + np.cross(shift, axes)])


def _allowed(
    placements: Sequence[Placement], edges: _Edges, rest: FloatArray, rates: FloatArray
) -> FloatArray | None:
    """The rates nearest to `rates` that the loops allow here; None where the motion ends: little is left."""
    free = free_rates(edges, _hinges_in(placements, edges, rest), RANK_TOL)
    allowed = free @ (free.T @ rates)
    return allowed if np.linalg.norm(allowed) > 0.5 * np.linalg.norm(rates) else None


def _moved(
    placements: Sequence[Placement],
    edges: _Edges,
    rest: FloatArray,
    at: Sequence[Placement],
    rates: FloatArray,
    increment: float,
) -> list[Placement]:
    """`placements` after an increment at the velocities that `rates` give in the placements `at`."""
    twists = group_twists(edges, _hinges_in(at, edges, rest) * rates[:, None])
    after = []
    for g, (turn, shift) in enumerate(placements):
        more, by = screw_motion(increment * twists[g])
        after.append((more * turn, more.apply(shift) + by))
    return after


def screw_motion(twist: FloatArray) -> Placement:
    """The motion at this twist for one unit of time (Chasles: a turn about an axis and a shift along it)."""
    turn, angle = Rotation.from_rotvec(twist[:3]), np.linalg.norm(twist[:3])
    if angle < 1e-12:
        return turn, twist[3:]
    axis, v = twist[:3] / angle, twist[3:] / angle
    point = np.cross(axis, v)
    return turn, point - turn.apply(point) + axis * (axis @ twist[3:])


def placed(frame: Frame, moved: Mapping[str, Placement]) -> Frame:
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
