"""How a frame can rack or fold: members are rigid bodies; a bolt lets the two it joins turn about its axis.

The faces of a lap lie flat on one another, so one bolt is a hinge that takes 5 of 6 freedoms.  Two bolts
between two members, or three round a three-way lap, leave none; the equations say so by themselves.

Method: the turning rates of all bolts are the unknowns.  Round every loop of members the hinges' twists add
up to nothing (T. H. Davies, "Kirchhoff's circulation law applied to multi-loop kinematic chains", Mechanism
and Machine Theory 16, 1981, doi:10.1016/0094-114X(81)90033-1), which is six equations a loop.  Their null
space is what the constraint Jacobian of all bodies has for null space, less the six motions of the whole.
Loops lie within blocks of the joint graph (no member of which parts it), so each block is solved alone,
member by member (`null_space.free_rates`), and a bolt in no loop turns freely.

What is found is true of small motions.  Stops (members that meet), play in the holes and friction are left
out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import networkx as nx
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from recon.frame.boxes import corners
from recon.frame.joints import NORMAL_TOL
from recon.frame.model import Frame, Joint
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.workshop.rigidity.null_space import balanced, free_rates, null_space

STILL = 1e-7  # rates and twists below this share of the largest are rounding


@dataclass(frozen=True)
class Motion:
    """One way to move, as small as it may be; the fastest point of the frame moves by 1 pitch.

    Attributes
    ----------
    joints : tuple of Joint
        The laps whose bolts turn.
    rates : tuple of float
        How far each of them turns, radians, b against a about the lap's axis.
    groups : tuple of tuples of str
        Ids of members that stay rigid to one another; the first group, the one with most members, is at rest.
    twists : dict of str to (6,)
        Id -> turn about x, y, z, radians, and travel of the point at the origin, pitches.
    travel : dict of str to float
        Id -> how far the member's farthest corner goes, pitches, 0 to 1.
    """

    joints: tuple[Joint, ...]
    rates: tuple[float, ...]
    groups: tuple[tuple[str, ...], ...]
    twists: dict[str, FloatArray]
    travel: dict[str, float]

    @property
    def moving(self) -> tuple[str, ...]:
        """Ids of the members that move against the first group."""
        return tuple(id for group in self.groups[1:] for id in group)


@dataclass(frozen=True)
class Mobility:
    """The independent ways to move that a frame's bolts leave.

    Pieces that no bolt joins to one another are each counted within themselves.

    Attributes
    ----------
    freedom : int
        How many there are.
    wanted : int
        How many of these are wanted.
    motions : tuple of Motion
        The others one by one.
    """

    freedom: int
    wanted: int
    motions: tuple[Motion, ...]


def mobility(frame: Frame, may_turn: Iterable[Joint] = ()) -> Mobility:
    """The motions that the bolts of a frame leave.

    The motions are independent and turn few bolts each; any motion is a sum of these and the wanted ones.

    Parameters
    ----------
    frame : Frame
        Members and laps; those without a bolt bind nothing.
    may_turn : iterable of Joint
        Joints of the frame whose bolts may turn.  A motion in which no other bolt turns is wanted and left
        out.

    Examples
    --------
    A panel of two posts and two rails with one bolt in each lap folds as a parallelogram.

    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> members = [Member(id, (x, 0, 0), (0, 0, 1), 8) for id, x in (("A", 0), ("B", 10))]
    >>> members += [Member(id, (0, -1, z), (1, 0, 0), 11) for id, z in (("C", 0), ("D", 7))]
    >>> state = mobility(Frame(tuple(members), find_joints(members)))
    >>> state.freedom, len(state.motions[0].joints)
    (1, 4)
    """
    may_turn = set(may_turn)
    hinges, ends = hinge_twists(frame), _joint_members(frame)
    wanted, found = 0, []
    for block in blocks(bolt_graph(frame)):
        null = free_rates(ends[block], hinges[block])
        if not null.shape[1]:
            continue
        free = null[:, :0]
        if may_turn:
            free = null @ null_space(null[[frame.joints[i] not in may_turn for i in block]])
        wanted += free.shape[1]
        found += [{i: rate for i, rate in zip(block, column) if rate} for column in _sparse(null, free)]
    found.sort(key=lambda rates: (len(rates), sorted(rates)))
    motions = map(_MotionContext.of(frame, ends, hinges).motion, found) if found else ()
    return Mobility(wanted + len(found), wanted, tuple(motions))


def bolt_graph(frame: Frame) -> nx.MultiGraph:
    """Members as nodes, and an edge for each lap with a bolt, keyed by its joint's index."""
    graph = nx.MultiGraph()
    graph.add_nodes_from(m.id for m in frame.members)
    graph.add_edges_from((j.a, j.b, i) for i, j in enumerate(frame.joints) if j.bolt != "none")
    return graph


def blocks(graph: nx.MultiGraph) -> list[list[int]]:
    """Joint indices of each block of a `bolt_graph`, in order."""
    found: Any = nx.biconnected_component_edges(nx.Graph(graph))
    return sorted(sorted(i for a, b in block for i in graph[a][b]) for block in found)


def _joint_members(frame: Frame) -> IntArray:
    """Member indices of each joint's a and b, (joints, 2)."""
    place = {m.id: k for k, m in enumerate(frame.members)}
    return np.array([(place[j.a], place[j.b]) for j in frame.joints], int).reshape(-1, 2)


def hinge_twists(frame: Frame) -> FloatArray:
    """The twist of b against a at a rate of 1 about each joint's bolt.

    The axis runs half-way between the two holes.  One that is nearly an axis of the lattice is taken to be
    it: measured members are a little off, and two bolts that are meant to be parallel must not brace each
    other.

    Returns
    -------
    (joints, 6)
        Turn, and travel of the point at the origin, pitches.
    """
    if not frame.joints:
        return np.zeros((0, 6))
    axes = np.array([j.axis for j in frame.joints], float)
    k = np.abs(axes).argmax(axis=1)
    along = np.take_along_axis(axes, k[:, None], axis=1)
    axes = np.where(np.abs(along) > NORMAL_TOL, np.eye(3)[k] * np.sign(along), axes)
    first = np.array([m.first for m in frame.members], float)
    way = np.array([m.direction for m in frame.members], float)
    holes = np.array([(j.a_hole, j.b_hole) for j in frame.joints], float)[..., None]
    ends = _joint_members(frame)
    points = (first[ends] + holes * way[ends]).sum(axis=1) / 2
    return np.hstack([axes, np.cross(points, axes)])


def loop_matrix(edges: Sequence[tuple], twists: FloatArray) -> FloatArray:
    """Six equations a loop on the rates of k bolts.

    The loops are those that each edge off a spanning tree closes; the tree is grown in breadth, which keeps
    them short.

    Parameters
    ----------
    edges : sequence of (a, b)
        Members of each bolt, all of one connected graph.
    twists : (k, 6)
        Of b against a at rate 1.

    Returns
    -------
    (6 loops, k)
    """
    k = len(edges)
    graph = nx.MultiGraph()
    graph.add_edges_from((a, b, i) for i, (a, b) in enumerate(edges))
    root = max(graph.degree, key=lambda d: d[1])[0]
    path, in_tree = {root: np.zeros(k)}, set()
    tree: Any = nx.bfs_edges(graph, root)
    for a, b in tree:
        i = min(graph[a][b])
        path[b] = path[a].copy()
        path[b][i] = 1.0 if edges[i] == (a, b) else -1.0
        in_tree.add(i)
    loops = []
    for i, (a, b) in enumerate(edges):
        if i not in in_tree:
            loop = path[a] - path[b]
            loop[i] += 1.0
            loops.append(loop)
    if not loops:
        return np.zeros((0, k))
    return np.einsum("lk,kc->lck", np.array(loops), balanced(twists)).reshape(-1, k)


def _sparse(null: FloatArray, wanted: FloatArray) -> list[FloatArray]:
    """Vectors with few entries other than 0 that with those of `wanted` span the columns of `null` (k, d).

    To find the fewest is NP-hard (T. F. Coleman, A. Pothen, "The null space problem I", SIAM J. Algebraic
    Discrete Methods 7, 1986, doi:10.1137/0607059).  Here: each vector alone turns one bolt of a set
    (reduced echelon form, its pivots those of the projector on the null space, so that they do not depend
    on the basis chosen); then vectors are subtracted from one another as long as that makes one of them
    shorter.
    """
    reduced = _cleaned((null @ np.linalg.inv(null[_pivots(null)])).T)
    while _shorten(reduced):
        pass
    vectors = sorted(reduced, key=lambda v: (np.count_nonzero(v), tuple(np.nonzero(v)[0])))
    if not wanted.shape[1]:
        return vectors
    span, chosen = list(wanted.T), []
    for v in vectors:
        if np.linalg.matrix_rank(np.array([*span, v / np.linalg.norm(v)]), tol=1e-6) > len(span):
            span.append(v / np.linalg.norm(v))
            chosen.append(v)
    return chosen


def _pivots(null: FloatArray) -> list[int]:
    """Rows of `null` (k, d), d of them, by Cholesky's method on its projector, of which columns are made."""
    pivots: list[int] = []
    left, rows = (null**2).sum(axis=1), null
    for _ in range(null.shape[1]):
        p = int(np.round(left, 9).argmax())
        pivots.append(p)
        way = rows[p] / np.linalg.norm(rows[p])
        along = rows @ way
        left, rows = left - along**2, rows - np.outer(along, way)
    return pivots


def _cleaned(vectors: FloatArray) -> FloatArray:
    """The vectors with 0 for what is rounding."""
    largest = np.abs(vectors).max(axis=-1, keepdims=True)
    return np.where(np.abs(vectors) > STILL * largest, vectors, 0.0)


def _shorten(vectors: FloatArray) -> bool:
    """Subtract multiples of vectors from others in place where that leaves fewer entries; whether any did."""
    shorter, turns = False, vectors != 0
    for i in range(len(vectors)):
        j = _next_alike(turns, i, 0)
        while j is not None:
            both = turns[i] & turns[j]
            factors, counts = np.unique(np.round(vectors[i][both] / vectors[j][both], 9), return_counts=True)
            trial = _cleaned(vectors[i] - factors[counts.argmax()] * vectors[j])
            if np.count_nonzero(trial) < np.count_nonzero(vectors[i]):
                vectors[i], shorter = trial / np.abs(trial).max(), True
                turns[i] = vectors[i] != 0
            j = _next_alike(turns, i, j + 1)
    return shorter


def _next_alike(turns: BoolArray, i: int, start: int) -> int | None:
    """The first vector from `start` on, not i, more than half of whose bolts turn in vector i too."""
    alike = 2 * (turns[start:] & turns[i]).sum(axis=1) > turns[start:].sum(axis=1)
    if i >= start:
        alike[i - start] = False
    found = np.flatnonzero(alike)
    return start + int(found[0]) if len(found) else None


@dataclass(frozen=True)
class _MotionContext:
    """What the motions of one frame are worked out from.

    ends : (joints, 2) member indices.   bolted : (joints,).   piece : (members,) equal for those that bolts
    join. points : (members, 8, 3) corners.
    """

    frame: Frame
    ends: IntArray
    hinges: FloatArray
    bolted: BoolArray
    piece: IntArray
    points: FloatArray

    @staticmethod
    def of(frame: Frame, ends: IntArray, hinges: FloatArray) -> _MotionContext:
        """The context of a frame; hinges : its `hinge_twists`."""
        bolted = np.array([j.bolt != "none" for j in frame.joints], bool)
        piece = component_labels(len(frame.members), ends[bolted])
        points = np.array([corners(m) for m in frame.members]).reshape(-1, 8, 3)
        return _MotionContext(frame, ends, hinges, bolted, piece, points)

    def motion(self, rates: dict[int, float]) -> Motion:
        """The motion in which these bolts (joint index -> rate) turn."""
        members, joints = self.frame.members, self.frame.joints
        turning = sorted(rates)
        groups = self._rigid_groups(turning)
        index = {k: g for g, group in enumerate(groups) for k in group}
        edges = [(index[a], index[b]) for a, b in self.ends[turning].tolist()]
        of_group = group_twists(edges, self.hinges[turning] * np.array([[rates[i]] for i in turning]))
        twists = np.array([of_group[g] for g in index.values()])
        speed = np.linalg.norm(velocity(twists, self.points[list(index)]), axis=2).max(axis=1)
        scale = (1.0 if rates[turning[0]] > 0 else -1.0) / speed.max()
        travel = np.where(speed > STILL * speed.max(), speed / speed.max(), 0.0)
        twists = np.where(travel[:, None] > 0, scale * twists, 0.0)
        ids = [members[k].id for k in index]
        return Motion(
            tuple(joints[i] for i in turning),
            tuple(float(scale * rates[i]) for i in turning),
            tuple(tuple(members[k].id for k in group) for group in groups),
            dict(zip(ids, twists)),
            dict(zip(ids, travel.tolist())),
        )

    def _rigid_groups(self, turning: list[int]) -> list[list[int]]:
        """Members of the turning bolts' piece in groups that other bolts keep together, largest first."""
        members = self.frame.members
        still = self.bolted.copy()
        still[turning] = False
        group_of = component_labels(len(members), self.ends[still])
        groups: dict[int, list[int]] = {}
        for k in np.nonzero(self.piece == self.piece[self.ends[turning[0], 0]])[0].tolist():
            groups.setdefault(int(group_of[k]), []).append(k)
        return sorted(groups.values(), key=lambda g: (-len(g), -sum(members[k].holes for k in g), g[0]))


def component_labels(count: int, pairs: IntArray) -> IntArray:
    """A number for each of `count` things, the same for those that pairs (n, 2) join, directly or not."""
    links = coo_array((np.ones(len(pairs), bool), tuple(pairs.T)), shape=(count, count))
    labels: IntArray = connected_components(links, directed=False)[1]
    return labels


def group_twists(edges: Sequence[tuple[int, int]], turns: FloatArray) -> dict[int, FloatArray]:
    """The twist (6,) of each body against body 0, from that of b against a (k, 6) for each edge (a, b)."""
    beside: dict[int, dict[int, tuple[int, float]]] = {}
    for i, (a, b) in enumerate(edges):
        beside.setdefault(a, {}).setdefault(b, (i, 1.0))
        beside.setdefault(b, {}).setdefault(a, (i, -1.0))
    twists, reached = {0: np.zeros(6)}, [0]
    for a in reached:  # in breadth: what is found is looked at after
        for b, (i, sign) in beside.get(a, {}).items():
            if b not in twists:
                twists[b] = twists[a] + sign * turns[i]
                reached.append(b)
    return twists


def velocity(twists: FloatArray, points: FloatArray) -> FloatArray:
    """How far points of n bodies go in a small motion.

    Parameters
    ----------
    twists : (n, 6)
        Of the bodies: turn, radians, and travel of the point at the origin, pitches.
    points : (n, k, 3)
        Points of each, pitches.

    Returns
    -------
    (n, k, 3)
        Pitches.
    """
    return np.cross(twists[:, None, :3], points) + twists[:, None, 3:]
