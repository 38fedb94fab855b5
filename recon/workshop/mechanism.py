"""How a frame can rack or fold: members are rigid bodies, and a bolt lets the two it joins turn about its axis.

The faces of a lap lie flat on one another, so one bolt is a hinge that takes 5 of 6 freedoms.  Two bolts between two
members, or three round a three-way lap, leave none; nothing need be said of them apart, as the equations say it.

Method: the turning rates of all bolts are the unknowns.  Round every loop of members the hinges' twists add up to
nothing (T. H. Davies, "Kirchhoff's circulation law applied to multi-loop kinematic chains", Mechanism and Machine
Theory 16, 1981, doi:10.1016/0094-114X(81)90033-1), which is six equations a loop.  Their null space is what the
constraint Jacobian of all bodies has for null space, less the six motions of the whole.  Loops lie within blocks of the
joint graph (no member of which parts it), so each block is solved alone, and a bolt in no loop turns freely.

What is found holds for small motions.  Stops (members that meet), play in the holes and friction are left out.
"""
from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np
from scipy.linalg import svd

from recon.frame.boxes import corners
from recon.frame.joints import NORMAL_TOL
from recon.frame.model import Frame, Joint

# Singular values below this share of the largest count as 0.  In random frames and trellises of 5 to 340 members what is
# 0 comes out below 1e-15, and the smallest that is not above 1e-3; it falls about as the number of members in a row.
RANK_TOL = 1e-7
STILL = 1e-7       # rates and twists below this share of the largest are rounding


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
    graph, may_turn = _bolted(frame), set(may_turn)
    hinges = hinge_twists(frame)
    wanted, found = 0, []
    for block in _blocks(graph):
        edges = [(frame.joints[i].a, frame.joints[i].b) for i in block]
        null = null_space(loop_matrix(edges, hinges[block]))
        if not null.shape[1]:
            continue
        free = null @ null_space(null[[frame.joints[i] not in may_turn for i in block]])
        wanted += free.shape[1]
        found += [{i: rate for i, rate in zip(block, column) if rate} for column in _sparse(null, free)]
    found.sort(key=lambda rates: (len(rates), sorted(rates)))
    points = np.array([corners(m) for m in frame.members]) if found else None
    return Mobility(wanted + len(found), wanted,
                    tuple(_motion(frame, graph, hinges, points, rates) for rates in found))


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


def hinge_twists(frame: Frame) -> np.ndarray:
    """The twist of b against a at a rate of 1 about each joint's bolt, (joints, 6): turn, and travel of the point at the
    origin, pitches.

    The axis runs half-way between the two holes.  One that is nearly an axis of the lattice is taken to be it: measured
    members are a little off, and two bolts that are meant to be parallel must not brace each other.
    """
    at = {m.id: m for m in frame.members}
    twists = np.zeros((len(frame.joints), 6))
    for twist, joint in zip(twists, frame.joints):
        axis = np.asarray(joint.axis, float)
        k = int(np.abs(axis).argmax())
        if abs(axis[k]) > NORMAL_TOL:
            axis = np.eye(3)[k] * np.sign(axis[k])
        point = (at[joint.a].hole_centre(joint.a_hole) + at[joint.b].hole_centre(joint.b_hole)) / 2
        twist[:3], twist[3:] = axis, np.cross(point, axis)
    return twists


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
    # About the middle of the axes, with lengths in half their extent, turns and travels are of one size.
    points = np.cross(twists[:, :3], twists[:, 3:])          # of each axis that nearest to the origin
    middle, size = points.mean(axis=0), max(float(np.ptp(points, axis=0).max()) / 2, 1.0)
    moved = np.hstack([twists[:, :3], (twists[:, 3:] + np.cross(twists[:, :3], middle)) / size])
    return np.einsum("lk,kc->lck", np.array(loops), moved).reshape(-1, k)


def null_space(matrix, tol: float = RANK_TOL) -> np.ndarray:
    """An orthonormal basis of all x with matrix x = 0, (columns, freedom); singular values below `tol` of the largest are 0."""
    rows, columns = matrix.shape
    if rows == 0 or columns == 0:
        return np.eye(columns)
    if rows > 2 * columns:
        matrix = np.linalg.qr(matrix, mode="r")
    _, values, directions = svd(matrix, full_matrices=True)
    return directions[int((values > tol * max(values[0], 1e-300)).sum()):].T


def _sparse(null, wanted) -> list[np.ndarray]:
    """Vectors that with those of `wanted` span the columns of `null` (k, d), with few entries that are not 0 each.

    To find the fewest is NP-hard (T. F. Coleman, A. Pothen, "The null space problem I", SIAM J. Algebraic Discrete
    Methods 7, 1986, doi:10.1137/0607059).  Here: each vector alone turns one bolt of a set (reduced echelon form, its
    pivots those of the projector on the null space, so that they do not depend on the basis given); then vectors are
    subtracted from one another as long as that makes one of them shorter.
    """
    pivots, left = [], null @ null.T
    for _ in range(null.shape[1]):
        p = int(np.round(np.diag(left), 9).argmax())
        pivots.append(p)
        left = left - np.outer(left[:, p], left[p]) / left[p, p]
    vectors = _cleaned((null @ np.linalg.inv(null[pivots])).T)
    while _shorten(vectors):
        pass
    span, chosen = list(wanted.T), []
    for v in sorted(vectors, key=lambda v: (np.count_nonzero(v), tuple(np.nonzero(v)[0]))):
        if np.linalg.matrix_rank(np.array([*span, v / np.linalg.norm(v)]), tol=1e-6) > len(span):
            span.append(v / np.linalg.norm(v))
            chosen.append(v)
    return chosen


def _cleaned(vectors) -> np.ndarray:
    largest = np.abs(vectors).max(axis=-1, keepdims=True)
    return np.where(np.abs(vectors) > STILL * largest, vectors, 0.0)


def _shorten(vectors) -> bool:
    """Subtracts multiples of vectors from others, in place, where that leaves fewer entries; whether any did."""
    shorter = False
    for i in range(len(vectors)):
        for j in range(len(vectors)):
            both = (vectors[i] != 0) & (vectors[j] != 0)
            if i == j or 2 * both.sum() <= np.count_nonzero(vectors[j]):
                continue
            factors, counts = np.unique(np.round(vectors[i][both] / vectors[j][both], 9), return_counts=True)
            trial = _cleaned(vectors[i] - factors[counts.argmax()] * vectors[j])
            if np.count_nonzero(trial) < np.count_nonzero(vectors[i]):
                vectors[i], shorter = trial / np.abs(trial).max(), True
    return shorter


def _motion(frame: Frame, graph: nx.MultiGraph, hinges, points, rates: dict[int, float]) -> Motion:
    """The motion in which these bolts (joint index -> rate) turn.  points : (members, 8, 3) corners."""
    place = {m.id: k for k, m in enumerate(frame.members)}
    holes = {m.id: m.holes for m in frame.members}
    piece = graph.subgraph(nx.node_connected_component(graph, frame.joints[min(rates)].a))
    held = nx.Graph()
    held.add_nodes_from(piece)
    held.add_edges_from((a, b) for a, b, i in piece.edges(keys=True) if i not in rates)
    groups = [tuple(sorted(g, key=place.get)) for g in nx.connected_components(held)]
    groups.sort(key=lambda g: (-len(g), -sum(holes[id] for id in g), place[g[0]]))

    turning = sorted(rates)
    index = {id: g for g, group in enumerate(groups) for id in group}
    edges = [(index[frame.joints[i].a], index[frame.joints[i].b]) for i in turning]
    of_group = group_twists(edges, hinges[turning] * np.array([[rates[i]] for i in turning]))
    of_member = {id: of_group[g] for id, g in index.items()}
    speed = np.linalg.norm(velocity(np.array(list(of_member.values())), points[[place[id] for id in of_member]]), axis=2).max(axis=1)
    scale = (1.0 if rates[turning[0]] > 0 else -1.0) / speed.max()
    travel = {id: float(v) for id, v in zip(of_member, np.where(speed > STILL * speed.max(), speed / speed.max(), 0.0))}
    return Motion(tuple(frame.joints[i] for i in turning), tuple(float(scale * rates[i]) for i in turning), tuple(groups),
                  {id: scale * twist if travel[id] else np.zeros(6) for id, twist in of_member.items()}, travel)


def group_twists(edges, turns) -> dict[int, np.ndarray]:
    """The twist (6,) of each body against body 0, from that of b against a (k, 6) for each edge (a, b)."""
    graph = nx.MultiGraph()
    graph.add_edges_from((a, b, i) for i, (a, b) in enumerate(edges))
    twists = {0: np.zeros(6)}
    for a, b in nx.bfs_edges(graph, 0):
        i = min(graph[a][b])
        twists[b] = twists[a] + (1.0 if edges[i] == (a, b) else -1.0) * turns[i]
    return twists


def velocity(twists, points) -> np.ndarray:
    """How far points of n bodies go in a small motion, (n, k, 3), pitches.  twists (n, 6), points (n, k, 3)."""
    return np.cross(twists[:, None, :3], points) + twists[:, None, 3:]
