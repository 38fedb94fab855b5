"""Which member of a built frame is which member of the plan, whatever way round it was read.

The built frame is laid on the plan in the turns and shifts that bring most members onto one another; what is left over on
both sides is assigned at the least cost (SciPy's `linear_sum_assignment`); the pose that needs the fewest differences is
taken.  Where members were moved together, the rest is laid on the plan once more by itself; where the frame was folded,
the graph of laps tells who is who.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import networkx as nx
import numpy as np
from scipy.optimize import linear_sum_assignment

from recon.frame.lattice import MATCH_TOL, PARALLEL, alignments, mirrored, transform
from recon.frame.model import Frame, Member, reversed_member

# What a difference costs when explanations are compared: one that a builder can make in one go is cheaper than two.
COST = {"same": 0.0, "length": 1.0, "shift": 1.2, "both": 2.2, "moved": 2.0, "missing": 1.5, "extra": 1.5}
PER_PITCH, PER_MEMBER = (
    0.01,
    0.1,
)  # how far it was moved, and each more member that was moved along, break ties
MIRROR = 1.5  # a mirrored frame is one difference, but no single member does as well


@dataclass(frozen=True)
class Match:
    """A member of the plan and the built member that stands for it, which lies on the plan and runs its way; one of them
    None where it is missing or extra.  `name` : of the built member."""

    plan: Member | None
    built: Member | None
    name: str | None = None

    @cached_property
    def start(self) -> np.ndarray:
        """How far the built member's hole 1 is off the planned one, (3,), pitches."""
        return np.subtract(self.built.first, self.plan.first)

    @cached_property
    def end(self) -> np.ndarray:
        """The same of the last holes."""
        return self.built.last - self.plan.last

    @cached_property
    def kind(self) -> str:
        """ "same", "length" (other holes at one end), "shift" (alike but elsewhere), "both", "moved" (turned as well),
        "missing" or "extra"."""
        if self.built is None:
            return "missing"
        if self.plan is None:
            return "extra"
        if not _parallel(self.plan, self.built):
            return "moved"
        off = [bool(np.abs(d).max() > MATCH_TOL) for d in (self.start, self.end)]
        if self.plan.holes == self.built.holes:
            return "shift" if any(off) else "same"
        return "both" if all(off) else "length"

    @cached_property
    def cost(self) -> float:
        far = (
            0.0
            if self.kind in ("missing", "extra", "moved")
            else float(np.abs(self.start).sum() + np.abs(self.end).sum())
        )
        return COST[self.kind] + PER_PITCH * far


@dataclass(frozen=True)
class Pose:
    """The built frame as it lies on the plan (`built`), the matches, in the plan's order and extra members last, and
    whether the built frame had to be mirrored for it.  `together` : groups of plan ids that were moved as one."""

    built: Frame
    matches: tuple[Match, ...]
    mirrored: bool
    together: tuple[tuple[str, ...], ...] = ()

    @cached_property
    def cost(self) -> float:
        grouped = {id for group in self.together for id in group}
        single = sum(m.cost for m in self.matches if m.plan is None or m.plan.id not in grouped)
        return (
            single
            + sum(COST["shift"] + PER_MEMBER * len(group) for group in self.together)
            + MIRROR * self.mirrored
        )


def best_pose(built: Frame, plan: Frame) -> Pose:
    """The pose that explains the built frame with the fewest differences."""
    poses = _laid(built, plan, False)
    if min(p.cost for p in poses) > MIRROR:
        poses += _laid(mirrored(built), plan, True)
    least = min(p.cost for p in poses)
    # In a symmetric frame several poses do equally well for the members: bolts decide.
    best = min((p for p in poses if p.cost <= least + 1e-9), key=lambda p: _other_bolts(p, plan))
    if any(m.kind == "moved" for m in best.matches):
        best = min([best, *_by_laps(best, plan)], key=lambda p: p.cost)
    return best


def _other_bolts(pose: Pose, plan: Frame) -> int:
    """How many bolts one of the two frames has and the other has not."""
    return len(_bolt_places(pose.built) ^ _bolt_places(plan))


def _bolt_places(frame: Frame) -> set[tuple]:
    at = {m.id: m for m in frame.members}
    return {
        tuple(np.round((at[j.a].hole_centre(j.a_hole) + at[j.b].hole_centre(j.b_hole)) / 2, 2) + 0.0)
        for j in frame.joints
        if j.bolt != "none"
    }


def _laid(built: Frame, plan: Frame, mirror: bool) -> list[Pose]:
    """The explanations with the built frame laid on the plan in every way that does nearly well, the likeliest first."""
    found = alignments(built, plan)
    most = len(found[0].pairs) if found else 0
    poses = []
    for a in found:
        if 2 * len(a.pairs) >= most:
            poses += _explained(
                transform(built, a.turn, a.shift), plan, a.pairs, mirror, len(a.pairs) == most
            )
    return poses or _explained(built, plan, (), mirror, False)


def _explained(built: Frame, plan: Frame, pairs, mirror: bool, parts: bool) -> list[Pose]:
    """Explanations in one pose, where the members of `pairs` (index in built, index in plan) agree: the others taken one by
    one; and, with `parts`, those that lie on the plan in a pose of their own taken as moved together."""
    exact = [(plan.members[j], built.members[i]) for i, j in pairs]
    left_b, left_p = (
        _others(built.members, [i for i, _ in pairs]),
        _others(plan.members, [j for _, j in pairs]),
    )
    poses = [_pose(built, plan, exact + _assigned(left_b, left_p), mirror)]
    if parts and min(len(left_b), len(left_p)) > 1:
        for part in alignments(Frame(tuple(left_b)), Frame(tuple(left_p)), limit=1):
            if len(part.pairs) > 1:
                moved = [(left_p[j], left_b[i]) for i, j in sorted(part.pairs, key=lambda pair: pair[1])]
                rest = _assigned(
                    _others(left_b, [i for i, _ in part.pairs]), _others(left_p, [j for _, j in part.pairs])
                )
                poses.append(
                    _pose(built, plan, exact + moved + rest, mirror, (tuple(p.id for p, _ in moved),))
                )
    return poses


def _others(members, taken) -> list[Member]:
    return [m for k, m in enumerate(members) if k not in set(taken)]


def _pose(built: Frame, plan: Frame, pairs, mirror: bool, together=()) -> Pose:
    found = {p.id: b for p, b in pairs}
    taken = {b.id for _, b in pairs}
    matches = [
        Match(
            p,
            _run_alike(found[p.id], p) if p.id in found else None,
            found[p.id].id if p.id in found else None,
        )
        for p in plan.members
    ]
    matches += [Match(None, b, b.id) for b in built.members if b.id not in taken]
    return Pose(built, tuple(matches), mirror, tuple(together) or _shifted_together(matches))


def _run_alike(built: Member, plan: Member) -> Member:
    """The built member counted from the end that suits the plan's hole 1: by direction, or where it is turned as it is."""
    return (
        reversed_member(built)
        if _parallel(built, plan) and np.dot(built.direction, plan.direction) < 0
        else built
    )


def _parallel(a: Member, b: Member) -> bool:
    return abs(float(np.dot(a.direction, b.direction))) > PARALLEL


def alike(matches) -> bool:
    """Whether the members are all off by the same shift."""
    return all(m.kind == "shift" and np.abs(m.start - matches[0].start).max() < MATCH_TOL for m in matches)


def _shifted_together(matches) -> tuple[tuple[str, ...], ...]:
    """Groups of two members or more that are all off by the same."""
    off = {m.plan.id: tuple(np.round(m.start, 3)) for m in matches if m.kind == "shift"}
    count = Counter(off.values())
    groups: dict[tuple, list[str]] = {}
    for id, by in off.items():
        if count[by] > 1:
            groups.setdefault(by, []).append(id)
    return tuple(map(tuple, groups.values()))


def _assigned(built, plan) -> list[tuple[Member, Member]]:
    """(plan, built) pairs of members left over, at the least cost in all; who is better off missing or extra has none."""
    if not built or not plan:
        return []
    cost = np.array(
        [
            [
                Match(p, _run_alike(b, p)).cost if _parallel(p, b) or p.holes == b.holes else np.inf
                for b in built
            ]
            for p in plan
        ]
    )
    apart = COST["missing"] + COST["extra"]
    rows, columns = linear_sum_assignment(np.minimum(cost, apart))
    return [(plan[r], built[c]) for r, c in zip(rows, columns) if cost[r, c] < apart]


# By the graph of laps


def _by_laps(pose: Pose, plan: Frame):
    """The pose with members told apart by lengths and laps alone, where these are those of the plan: it was folded."""
    own, planned = _lap_graph(pose.built), _lap_graph(plan)
    if _signatures(own) != _signatures(planned):
        return
    matcher = nx.algorithms.isomorphism.DiGraphMatcher(
        planned, own, node_match=dict.__eq__, edge_match=dict.__eq__
    )
    if not matcher.is_isomorphic():
        return
    at = {m.id: m for m in pose.built.members}
    pairs = [(p, at[matcher.mapping[p.id]]) for p in plan.members]
    off = {p.id for p, b in pairs if Match(p, _run_alike(b, p)).kind != "same"}
    groups = [
        tuple(p.id for p in plan.members if p.id in group)
        for group in nx.connected_components(planned.to_undirected().subgraph(off))
    ]
    yield _pose(pose.built, plan, pairs, pose.mirrored, tuple(sorted(groups)))


def _signatures(graph: nx.DiGraph) -> Counter:
    """Every member's holes and laps, which two graphs that are one must have alike."""
    return Counter(
        (holes, tuple(sorted(laps for _, _, laps in graph.edges(id, data="holes"))))
        for id, holes in graph.nodes(data="holes")
    )


def _lap_graph(frame: Frame) -> nx.DiGraph:
    """Members with their holes; an edge each way for a lap, with the two holes counted from the members' middles, so that
    it does not matter from which end a member is counted."""
    at = {m.id: m for m in frame.members}
    graph = nx.DiGraph()
    graph.add_nodes_from((m.id, {"holes": m.holes}) for m in frame.members)
    for j in frame.joints:
        ends = [(j.a, abs(2 * j.a_hole - at[j.a].holes + 1)), (j.b, abs(2 * j.b_hole - at[j.b].holes + 1))]
        for (a, k), (b, n) in (ends, ends[::-1]):
            before = graph.edges[a, b]["holes"] if graph.has_edge(a, b) else ()
            graph.add_edge(a, b, holes=tuple(sorted((*before, (k, n)))))
    return graph
