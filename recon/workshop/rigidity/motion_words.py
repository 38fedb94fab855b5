"""A motion of a frame in words, and the frame moved along it for a picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from recon.frame.joints import NORMAL_TOL
from recon.frame.model import Frame, as_tuple
from recon.workshop.rigidity.mechanism import STILL, Motion, group_twists, hinge_twists, loop_matrix
from recon.workshop.rigidity.null_space import null_space
from recon.workshop.wording import lap_words, listed, plural, way_words

STEPS = 12  # in which a motion is followed
LOOSE = 1e-3  # steps leave the loops open by a little, so what counts as 0 is wider here than in `mobility`


def motion_words(motion: Motion, z_up: bool = True) -> str:
    """What moves and how: 'A and B turn about y, D shifts along +x; 4 bolts turn: hole 3 of C on hole 1 of F, ...'."""
    ways: dict[str, list[tuple[str, ...]]] = {}
    for group in motion.groups[1:]:
        ways.setdefault(_way(motion.twists[group[0]], z_up), []).append(group)
    parts = []
    for way, groups in ways.items():
        if way:
            ids = [id for group in groups for id in group]
            verb, rest = way.split(" ", 1)
            whole = " together" if len(groups) == 1 and len(ids) > 1 else ""
            parts.append(f"{listed(ids)} {verb}{'s' if len(ids) == 1 else ''}{whole} {rest}")
    count = len(motion.joints)
    return f"{', '.join(parts)}; {plural(count, 'bolt')} turn{'s' if count == 1 else ''}: {listed(map(lap_words, motion.joints))}."


def _way(twist, z_up: bool) -> str:
    """'turn about y', 'shift up', or nothing where the body rests."""
    size = np.linalg.norm(twist[:3])
    if size > STILL:
        return f"turn about {_axis_words(twist[:3] / size)}"
    if np.linalg.norm(twist[3:]) > STILL:
        words = way_words(twist[3:], z_up)
        return f"shift {words}" if words in ("up", "down") else f"shift along {words}"
    return ""


def _axis_words(axis) -> str:
    k = int(np.round(np.abs(axis), 9).argmax())  # of components that are equal but for rounding the first
    return "xyz"[k] if abs(axis[k]) > NORMAL_TOL else way_words(axis * np.sign(axis[k]), False)


def displaced(frame: Frame, motion: Motion, travel: float | None = None) -> Frame:
    """The frame moved along, for a picture: its fastest corner has gone about `travel` pitches (a sixth of the frame's
    extent by default), less where the motion comes to its end before.

    The motion is followed in small steps (midpoint rule), so that members stay on their bolts; it turns no other bolts
    than it turned at first.  Members that have moved are off the lattice.
    """
    if travel is None:
        points = np.vstack([(m.first, m.last) for m in frame.members])
        travel = float(np.ptp(points, axis=0).max()) / 6
    index = {id: g for g, group in enumerate(motion.groups) for id in group}
    edges = [(index[j.a], index[j.b]) for j in motion.joints]
    rest = hinge_twists(replace(frame, joints=motion.joints))
    pose = [(Rotation.identity(), np.zeros(3)) for _ in motion.groups]
    rates, step = np.array(motion.rates), travel / STEPS
    for _ in range(STEPS):
        start = _allowed(pose, edges, rest, rates)
        if start is None:
            break
        middle = _moved(pose, edges, rest, pose, start, step / 2)
        half_way = _allowed(middle, edges, rest, start)
        if half_way is None:
            break
        pose, rates = _moved(pose, edges, rest, middle, half_way, step), half_way
    return _placed(frame, {id: pose[g] for id, g in index.items() if g})


def _hinges_in(pose, edges, rest) -> np.ndarray:
    """The hinges' twists (k, 6) where the bodies are in this pose; each goes along with its body a."""
    twists = np.empty_like(rest)
    for twist, (a, _), axis, moment in zip(twists, edges, rest[:, :3], rest[:, 3:]):
        turn, shift = pose[a]
        twist[:3] = turn.apply(axis)
        twist[3:] = turn.apply(moment) + np.cross(shift, twist[:3])
    return twists


def _allowed(pose, edges, rest, rates):
    """The rates nearest to `rates` that the loops allow in this pose; None where little of them is left: the motion
    ends here."""
    matrix = loop_matrix(edges, _hinges_in(pose, edges, rest))
    free = null_space(matrix, LOOSE)
    allowed = free @ (free.T @ rates)
    return allowed if np.linalg.norm(allowed) > 0.5 * np.linalg.norm(rates) else None


def _moved(pose, edges, rest, at, rates, step):
    """`pose` after a step at the velocities that `rates` give in the pose `at`."""
    twists = group_twists(edges, _hinges_in(at, edges, rest) * rates[:, None])
    after = []
    for g, (turn, shift) in enumerate(pose):
        more, by = _screw_motion(step * twists[g])
        after.append((more * turn, more.apply(shift) + by))
    return after


def _screw_motion(twist):
    """The motion x -> turn x + shift that goes on at this twist for one unit of time (Chasles: a turn about an axis and
    a shift along it)."""
    turn, angle = Rotation.from_rotvec(twist[:3]), np.linalg.norm(twist[:3])
    if angle < 1e-12:
        return turn, twist[3:]
    axis, v = twist[:3] / angle, twist[3:] / angle
    point = np.cross(axis, v)
    return turn, point - turn.apply(point) + axis * (axis @ twist[3:])


def _placed(frame: Frame, moved) -> Frame:
    """The frame with the members of these ids at x -> turn x + shift."""
    members = tuple(
        m
        if m.id not in moved
        else replace(
            m,
            first=as_tuple(moved[m.id][0].apply(m.first) + moved[m.id][1]),
            direction=as_tuple(moved[m.id][0].apply(m.direction)),
            on_lattice=False,
        )
        for m in frame.members
    )
    joints = tuple(
        j if j.a not in moved else replace(j, axis=as_tuple(moved[j.a][0].apply(j.axis)))
        for j in frame.joints
    )
    return replace(frame, members=members, joints=joints)
