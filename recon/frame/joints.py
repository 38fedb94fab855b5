"""Laps between members, found from their places, and the graph that they make.

A hole passes through a member from face to face, so a bolt can join two members where a hole of each lies
on one line along a face normal of both and the faces touch: the centres of the two holes are then half the
sum of the widths apart along it.  That holds alike for crossing members, for members side by side and for a
brace pinned at an angle.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

import networkx as nx
import numpy as np
from scipy.spatial import cKDTree

from recon.frame.boxes import oriented_boxes
from recon.frame.model import Frame, Joint, Member, as_tuple, bounds, flipped, section_axes
from recon.geometry.arrays import FloatArray, IntArray
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
        for a_hole, b_hole in dict.fromkeys(rows[key]):
            joints.append(
                Joint(members[a].id, a_hole, members[b].id, b_hole, as_tuple(np.round(axes[key], 9)))
            )
    return mark_three_way(joints, members)


# Two members by index, a face of the first (0 or 1, as `section_axes`) and its side (1 or -1).
_Faces = tuple[int, int, int, float]


def _bolt_rows(
    members: Sequence[Member],
) -> tuple[dict[_Faces, list[tuple[int, int]]], dict[_Faces, FloatArray]]:
    """Face by face the first and the last hole that a bolt could go through, (hole of a, hole of b), and its
    axis (3,)."""
    centres = np.vstack([m.hole_centres() for m in members])
    owner = np.repeat(np.arange(len(members)), [m.holes for m in members])
    hole = np.concatenate([np.arange(m.holes) for m in members])
    width = np.array([m.width for m in members], float)
    normals = np.array([section_axes(m) for m in members])  # (n, 2, 3)
    tree = cKDTree(centres)
    rows: dict[_Faces, list[tuple[int, int]]] = {}
    axes: dict[_Faces, FloatArray] = {}
    for other, face, side in itertools.product(np.unique(width), (0, 1), (1.0, -1.0)):
        reach = (width[owner] + other) / 2
        p, q = _near(centres + side * reach[:, None] * normals[owner, face], tree)
        a, b = owner[p], owner[q]
        good = (a < b) & (width[b] == other)
        p, q, a, b = p[good], q[good], a[good], b[good]
        along = np.abs((normals[b] @ normals[a, face][:, :, None])[..., 0]).max(axis=1, initial=0.0)
        p, q, a, b = (x[along > NORMAL_TOL] for x in (p, q, a, b))
        order = np.lexsort((hole[q], hole[p], b, a))  # pair by pair of members, from the first hole on
        p, q, a, b = p[order], q[order], a[order], b[order]
        ends = np.flatnonzero(np.diff(a, append=-1) | np.diff(b, append=-1))
        for first, last in zip(np.append(0, ends[:-1] + 1), ends):
            key = (int(a[last]), int(b[last]), face, side)
            rows[key] = [(int(hole[p[k]]), int(hole[q[k]])) for k in (first, last)]
            axes[key] = side * normals[key[0], face]
    return rows, axes


def _near(spots: FloatArray, tree: cKDTree) -> tuple[IntArray, IntArray]:
    """(spot, point) indices of pairs nearer than BOLT_TOL."""
    distance, index = tree.query(spots, k=min(4, tree.n), distance_upper_bound=BOLT_TOL)
    spot, column = np.nonzero(np.isfinite(distance))
    return spot, index[spot, column]


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


def laps_by_member(frame: Frame) -> dict[str, list[Joint]]:
    """The laps of each member, which is `a` in all of its own.

    Examples
    --------
    >>> pair = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 6)
    >>> {id: [j.b for j in laps] for id, laps in laps_by_member(Frame(pair, find_joints(pair))).items()}
    {'A': ['B'], 'B': ['A']}
    """
    laps: dict[str, list[Joint]] = {m.id: [] for m in frame.members}
    for j in frame.joints:
        laps[j.a].append(j)
        laps[j.b].append(flipped(j))
    return laps


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


def collisions(members: Iterable[Member], most: int | None = None) -> list[tuple[str, str, float]]:
    """Pairs of members that take the same room: (id, id, depth in pitches), in the members' order.

    Members are solid boxes; touching faces do not collide.  See `recon.geometry.boxes.penetration`.

    Parameters
    ----------
    members : iterable of Member
    most : int, optional
        Once more pairs than this are found, no others are looked for.

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
        if most is not None and len(found) > most:
            break
    return found
