"""Laps between members, found from their places, and the graph that they make.

A hole passes through a member from face to face, so a bolt can join two members where a hole of each lies
on one line along a face normal of both and the faces touch: the centres of the two holes are then half the
sum of the widths apart along it.  That holds alike for crossing members, for members side by side and for a
brace pinned at an angle.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import networkx as nx
import numpy as np
from scipy.spatial import cKDTree

from recon.frame.boxes import oriented_boxes
from recon.frame.model import Frame, Joint, Member, as_tuple, bounds, section_axes
from recon.geometry.arrays import FloatArray
from recon.geometry.boxes import penetration

# Pitches that two holes may be off their common axis; a hole is 0.2 to 0.45 wide, the next one 1 away.
BOLT_TOL = 0.1
NORMAL_TOL = 0.999  # |cosine| from which two face normals count as one
CLASH_TOL = 0.01  # pitches of overlap that are rounding: laps of the usual stock clash by 0.2 or more
BRACE_TOL = 0.05  # the same where a member is off the lattice and its place was measured


def find_joints(members: Iterable[Member]) -> tuple[Joint, ...]:
    """All laps between `members`, every bolt "assumed", three-way laps marked, in the members' order.

    Members side by side share a row of hole axes; of these the first and the last are given, where two bolts
    hold best, or the only one.

    Examples
    --------
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5)
    >>> rail = Member("B", (-1.0, 1.0, 3.0), (1.0, 0.0, 0.0), 5)
    >>> [(j.a, j.a_hole, j.b, j.b_hole, j.axis) for j in find_joints([post, rail])]
    [('A', 3, 'B', 1, (0.0, 1.0, 0.0))]
    """
    members = tuple(members)
    if len(members) < 2:
        return ()
    rows, axes = _bolt_rows(members)
    joints = []
    for key in sorted(rows):
        a, b = key[:2]
        pairs = sorted(rows[key])
        for a_hole, b_hole in dict.fromkeys((pairs[0], pairs[-1])):
            joints.append(
                Joint(members[a].id, a_hole, members[b].id, b_hole, as_tuple(np.round(axes[key], 9)))
            )
    return mark_three_way(joints, members)


# Two members by index, a face of the first (0 or 1, as `section_axes`) and its side (1 or -1).
_Faces = tuple[int, int, int, float]


def _bolt_rows(
    members: Sequence[Member],
) -> tuple[dict[_Faces, list[tuple[int, int]]], dict[_Faces, FloatArray]]:
    """Face by face the holes that one bolt could go through, (hole of a, hole of b), and its axis (3,)."""
    centres = np.vstack([m.hole_centres() for m in members])
    owner = np.repeat(np.arange(len(members)), [m.holes for m in members])
    hole = np.concatenate([np.arange(m.holes) for m in members])
    width = np.array([m.width for m in members], float)
    normals = np.array([section_axes(m) for m in members])  # (n, 2, 3)
    tree = cKDTree(centres)
    rows: defaultdict[_Faces, list[tuple[int, int]]] = defaultdict(list)
    axes: dict[_Faces, FloatArray] = {}
    for other, face, side in itertools.product(np.unique(width), (0, 1), (1.0, -1.0)):
        reach = (width[owner] + other) / 2
        spots = centres + side * reach[:, None] * normals[owner, face]
        for p, q in _near(spots, tree):
            a, b = int(owner[p]), int(owner[q])
            if a < b and width[b] == other and np.abs(normals[b] @ normals[a, face]).max() > NORMAL_TOL:
                rows[a, b, face, side].append((int(hole[p]), int(hole[q])))
                axes[a, b, face, side] = side * normals[a, face]
    return rows, axes


def _near(spots: FloatArray, tree: cKDTree) -> Iterator[tuple[int, int]]:
    """(spot, point) index pairs nearer than BOLT_TOL."""
    distance, index = tree.query(spots, k=min(4, tree.n), distance_upper_bound=BOLT_TOL)
    spot, column = np.nonzero(np.isfinite(distance))
    return zip(spot, index[spot, column])


def mark_three_way(joints: Iterable[Joint], members: Iterable[Member]) -> tuple[Joint, ...]:
    """The joints, in the same order, with `three_way` set for three-way laps.

    In these, three mutually perpendicular members are lapped in pairs round one corner.
    """
    joints = tuple(joints)
    return tuple(
        j if j.three_way == flag else replace(j, three_way=flag)
        for j, flag in zip(joints, three_way_flags(joints, members))
    )


def three_way_flags(joints: Iterable[Joint], members: Iterable[Member]) -> list[bool]:
    """For each joint whether it is part of a three-way lap; see `mark_three_way`."""
    joints = tuple(joints)
    direction = {m.id: tuple(map(float, m.direction)) for m in members}
    crossing: defaultdict[str, set[str]] = defaultdict(set)
    for j in joints:
        (ax, ay, az), (bx, by, bz) = direction[j.a], direction[j.b]
        if abs(ax * bx + ay * by + az * bz) < 1 - NORMAL_TOL:  # ten times as quick as arrays of three
            crossing[j.a].add(j.b)
            crossing[j.b].add(j.a)
    # Three pairs at right angles: the laps lie along three different axes and so round one corner.
    return [j.b in crossing[j.a] and not crossing[j.a].isdisjoint(crossing[j.b]) for j in joints]


def joint_graph(frame: Frame) -> nx.MultiGraph:
    """The frame as a graph.

    A node is a member's id (attribute `member`), an edge a joint (attributes `joint`, `bolt`, `three_way`).
    Two members side by side with two bolts have two edges.
    """
    graph = nx.MultiGraph()
    for m in frame.members:
        graph.add_node(m.id, member=m)
    for j in frame.joints:
        graph.add_edge(j.a, j.b, joint=j, bolt=j.bolt, three_way=j.three_way)
    return graph


def loose_members(frame: Frame) -> tuple[str, ...]:
    """Ids of the members that no joint touches, in the members' order."""
    graph = joint_graph(frame)
    return tuple(id for id in graph if not graph.degree(id))


def components(frame: Frame) -> list[tuple[str, ...]]:
    """The pieces of the frame, over laps with and without a bolt.

    Ids are in the members' order; the piece with most members comes first.
    """
    place = {m.id: i for i, m in enumerate(frame.members)}
    pieces = [
        tuple(sorted(piece, key=place.__getitem__)) for piece in nx.connected_components(joint_graph(frame))
    ]
    return sorted(pieces, key=lambda piece: (-len(piece), place[piece[0]]))


def collisions(members: Iterable[Member]) -> list[tuple[str, str, float]]:
    """Pairs of members that take the same room: (id, id, depth in pitches), in the members' order.

    Members are solid boxes; touching faces do not collide.  See `recon.geometry.boxes.penetration`.

    Examples
    --------
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5)
    >>> rail = Member("B", (-1.0, 0.5, 3.0), (1.0, 0.0, 0.0), 5)
    >>> collisions([post, rail])
    [('A', 'B', 0.5)]
    """
    members = tuple(members)
    if len(members) < 2:
        return []
    low, high = (np.array(corner) for corner in zip(*map(bounds, members)))
    boxes = oriented_boxes(members)
    found = []
    for i, m in enumerate(members[:-1]):
        close = ((low[i + 1 :] < high[i] - CLASH_TOL) & (high[i + 1 :] > low[i] + CLASH_TOL)).all(axis=1)
        near = i + 1 + np.nonzero(close)[0]
        for k, depth in zip(near, penetration(boxes.take(i), boxes.take(near))):
            other = members[k]
            if depth > (CLASH_TOL if m.on_lattice and other.on_lattice else BRACE_TOL):
                found.append((m.id, other.id, float(depth)))
    return found
