"""How a frame can rack or fold: members are rigid bodies, and a bolt lets the two it joins turn about its axis.

The faces of a lap lie flat on one another, so one bolt is a hinge that takes 5 of 6 freedoms.  Two bolts between two
members, or three round a three-way lap, leave none; nothing need be said of them apart, as the equations say it.

Method: the turning rates of all bolts are the unknowns.  Round every loop of members the hinges' twists add up to
nothing (T. H. Davies, "Kirchhoff's circulation law applied to multi-loop kinematic chains", Mechanism and Machine
Theory 16, 1981, doi:10.1016/0094-114X(81)90033-1), which is six equations a loop.  Their null space is what the
constraint Jacobian of all bodies has for null space, less the six motions of the whole.  Loops lie within blocks of the
joint graph (no member of which parts it), so each block is solved alone, member by member (`freedom`), and a bolt in no
loop turns freely.

What is found holds for small motions.  Stops (members that meet), play in the holes and friction are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from recon.frame.boxes import corners
from recon.frame.joints import NORMAL_TOL
from recon.frame.model import Frame, Joint
from recon.workshop.rigidity.null_space import balanced, free_rates, null_space

STILL = 1e-7  # rates and twists below this share of the largest are rounding


@dataclass(frozen=True)
class Motion:
    """One way to move, as small as it may be; the fastest point of the frame moves by 1 pitch.

    joints, rates : the laps whose bolts turn, and by how much (radians, b against a about the lap's axis).
    groups : member ids that stay rigid to one another; the first group, that with most members, is taken to rest.
    twists : id -> (6,): turn about x, y, z (radians) and how far the point at the origin goes (pitches).
    travel : id -> how far the member's farthest corner goes, pitches, 0 to 1.
    """

    joints: tuple[Joint, ...]
    rates: tuple[float, ...]
    groups: tuple[tuple[str, ...], ...]
    twists: dict[str, np.ndarray]
    travel: dict[str, float]

    @property
    def moving(self) -> tuple[str, ...]:
        return tuple(id for group in self.groups[1:] for id in group)


@dataclass(frozen=True)
class Mobility:
    """How many independent ways the bolts leave (`freedom`), how many of these are wanted, and the others one by one.

    Pieces that no bolt joins to one another are each counted within themselves.
    """

    freedom: int
    wanted: int
    motions: tuple[Motion, ...]


def mobility(frame: Frame, may_turn=()) -> Mobility:
    """The motions that the bolts of a frame leave.

    may_turn : joints of the frame whose bolts may turn.  A motion in which no other bolt turns is wanted and left out.

    The motions given are independent and turn few bolts each; any motion is a sum of these and the wanted ones.
    """
    may_turn = set(may_turn)
    hinges, ends = hinge_twists(frame), _ends(frame)
    wanted, found = 0, []
    for block in _blocks(_bolted(frame)):
        null = free_rates(ends[block], hinges[block])
        if not null.shape[1]:
            continue
        free = (
            null @ null_space(null[[frame.joints[i] not in may_turn for i in block]])
            if may_turn
            else null[:, :0]
        )
        wanted += free.shape[1]
        found += [{i: rate for i, rate in zip(block, column) if rate} for column in _sparse(null, free)]
    found.sort(key=lambda rates: (len(rates), sorted(rates)))
    points = np.array([corners(m) for m in frame.members]) if found else None
    bolted = np.array([j.bolt != "none" for j in frame.joints], bool)
    piece = linked(len(frame.members), ends[bolted])
    return Mobility(
        wanted + len(found),
        wanted,
        tuple(_motion(frame, ends, bolted, piece, hinges, points, rates) for rates in found),
    )


def _bolted(frame: Frame) -> nx.MultiGraph:
    """Members, and an edge keyed by joint index for each bolt."""
    graph = nx.MultiGraph()
    graph.add_nodes_from(m.id for m in frame.members)
    graph.add_edges_from((j.a, j.b, i) for i, j in enumerate(frame.joints) if j.bolt != "none")
    return graph


def _blocks(graph: nx.MultiGraph) -> list[list[int]]:
    """Joint indices of each block, in order."""
    blocks = nx.biconnected_component_edges(nx.Graph(graph))
    return sorted(sorted(i for a, b in block for i in graph[a][b]) for block in blocks)


def _ends(frame: Frame) -> np.ndarray:
    """Member indices of each joint's a and b, (joints, 2)."""
    place = {m.id: k for k, m in enumerate(frame.members)}
    return np.array([(place[j.a], place[j.b]) for j in frame.joints], int).reshape(-1, 2)


def hinge_twists(frame: Frame) -> np.ndarray:
    """The twist of b against a at a rate of 1 about each joint's bolt, (joints, 6): turn, and travel of the point at the
    origin, pitches.

    The axis runs half-way between the two holes.  One that is nearly an axis of the lattice is taken to be it: measured
    members are a little off, and two bolts that are meant to be parallel must not brace each other.
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
    ends = _ends(frame)
    points = (first[ends] + holes * way[ends]).sum(axis=1) / 2
    return np.hstack([axes, np.cross(points, axes)])


def loop_matrix(edges, twists) -> np.ndarray:
    """Six equations a loop on the rates of k bolts, (6 loops, k).

    edges : (a, b) of each bolt, all of one connected graph.   twists : (k, 6) of b against a at rate 1.
    The loops are those that each edge off a spanning tree closes; the tree is grown in breadth, which keeps them short.
    """
    k = len(edges)
    graph = nx.MultiGraph()
    graph.add_edges_from((a, b, i) for i, (a, b) in enumerate(edges))
    root = max(graph.degree, key=lambda d: d[1])[0]
    path, in_tree = {root: np.zeros(k)}, set()
    for a, b in nx.bfs_edges(graph, root):
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


def _sparse(null, wanted) -> list[np.ndarray]:
    """Vectors that with those of `wanted` span the columns of `null` (k, d), with few entries that are not 0 each.

    To find the fewest is NP-hard (T. F. Coleman, A. Pothen, "The null space problem I", SIAM J. Algebraic Discrete
    Methods 7, 1986, doi:10.1137/0607059).  Here: each vector alone turns one bolt of a set (reduced echelon form, its
    pivots those of the projector on the null space, so that they do not depend on the basis given); then vectors are
    subtracted from one another as long as that makes one of them shorter.
    """
    pivots, left, rows = (
        [],
        (null**2).sum(axis=1),
        null,
    )  # Cholesky's method on the projector, of which columns are made
    for _ in range(null.shape[1]):
        p = int(np.round(left, 9).argmax())
        pivots.append(p)
        way = rows[p] / np.linalg.norm(rows[p])
        along = rows @ way
        left, rows = left - along**2, rows - np.outer(along, way)
    vectors = _cleaned((null @ np.linalg.inv(null[pivots])).T)
    while _shorten(vectors):
        pass
    vectors = sorted(vectors, key=lambda v: (np.count_nonzero(v), tuple(np.nonzero(v)[0])))
    if not wanted.shape[1]:
        return vectors
    span, chosen = list(wanted.T), []
    for v in vectors:
        if np.linalg.matrix_rank(np.array([*span, v / np.linalg.norm(v)]), tol=1e-6) > len(span):
            span.append(v / np.linalg.norm(v))
            chosen.append(v)
    return chosen


def _cleaned(vectors) -> np.ndarray:
    largest = np.abs(vectors).max(axis=-1, keepdims=True)
    return np.where(np.abs(vectors) > STILL * largest, vectors, 0.0)


def _shorten(vectors) -> bool:
    """Subtracts multiples of vectors from others, in place, where that leaves fewer entries; whether any did."""
    shorter, turns = False, vectors != 0
    for i in range(len(vectors)):
        j = -1
        while (j := _next_alike(turns, i, j + 1)) is not None:
            both = turns[i] & turns[j]
            factors, counts = np.unique(np.round(vectors[i][both] / vectors[j][both], 9), return_counts=True)
            trial = _cleaned(vectors[i] - factors[counts.argmax()] * vectors[j])
            if np.count_nonzero(trial) < np.count_nonzero(vectors[i]):
                vectors[i], shorter = trial / np.abs(trial).max(), True
                turns[i] = vectors[i] != 0
    return shorter


def _next_alike(turns, i: int, start: int) -> int | None:
    """The first vector from `start` on, not i, of whose bolts more than half turn in vector i too; None where there is none."""
    alike = 2 * (turns[start:] & turns[i]).sum(axis=1) > turns[start:].sum(axis=1)
    if i >= start:
        alike[i - start] = False
    found = np.flatnonzero(alike)
    return start + int(found[0]) if len(found) else None


def _motion(frame: Frame, ends, bolted, piece, hinges, points, rates: dict[int, float]) -> Motion:
    """The motion in which these bolts (joint index -> rate) turn.

    ends : (joints, 2) member indices.   bolted : (joints,) bool.   piece : (members,) equal for those that hang together.
    points : (members, 8, 3) corners.
    """
    turning = sorted(rates)
    still = bolted.copy()
    still[turning] = False
    group_of = linked(len(frame.members), ends[still])
    members = np.nonzero(piece == piece[ends[turning[0], 0]])[0]
    groups: dict[int, list[int]] = {}
    for k in members.tolist():
        groups.setdefault(int(group_of[k]), []).append(k)
    ordered = sorted(groups.values(), key=lambda g: (-len(g), -sum(frame.members[k].holes for k in g), g[0]))

    index = {k: g for g, group in enumerate(ordered) for k in group}
    edges = [(index[a], index[b]) for a, b in ends[turning].tolist()]
    of_group = group_twists(edges, hinges[turning] * np.array([[rates[i]] for i in turning]))
    twists = np.array([of_group[g] for g in index.values()])
    speed = np.linalg.norm(velocity(twists, points[list(index)]), axis=2).max(axis=1)
    scale = (1.0 if rates[turning[0]] > 0 else -1.0) / speed.max()
    travel = np.where(speed > STILL * speed.max(), speed / speed.max(), 0.0)
    twists = np.where(travel[:, None] > 0, scale * twists, 0.0)
    ids = [frame.members[k].id for k in index]
    return Motion(
        tuple(frame.joints[i] for i in turning),
        tuple(float(scale * rates[i]) for i in turning),
        tuple(tuple(frame.members[k].id for k in group) for group in ordered),
        dict(zip(ids, twists)),
        dict(zip(ids, travel.tolist())),
    )


def linked(count: int, pairs) -> np.ndarray:
    """Which of `count` things hang together by pairs (n, 2): a number for each, the same for those that do."""
    return connected_components(
        coo_array((np.ones(len(pairs), bool), tuple(pairs.T)), shape=(count, count)), directed=False
    )[1]


def group_twists(edges, turns) -> dict[int, np.ndarray]:
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


def velocity(twists, points) -> np.ndarray:
    """How far points of n bodies go in a small motion, (n, k, 3), pitches.  twists (n, 6), points (n, k, 3)."""
    return np.cross(twists[:, None, :3], points) + twists[:, None, 3:]
