"""Which member of a built frame is which member of the plan, whatever way round it was read.

The built frame is laid on the plan in the turns and shifts that bring most members onto one another; what
is left over on both sides is assigned at the least cost (SciPy's `linear_sum_assignment`); the matching
that needs the fewest differences is taken.  Where members were moved together, the rest is laid on the plan
once more by itself; where the frame was folded, the graph of laps tells who is who.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import networkx as nx
import numpy as np
from scipy.optimize import linear_sum_assignment

from recon.frame.lattice import MATCH_TOL, PARALLEL, alignments, mirrored, transform
from recon.frame.model import Frame, Member, reversed_member
from recon.geometry.arrays import FloatArray
from recon.workshop.audit.fittings import fittings_off
from recon.workshop.hardware.bolts import lap_centre

# What a difference costs when explanations are compared: one that a builder can make in one go is cheaper
# than two. This project's choices.
COST = {"same": 0.0, "length": 1.0, "shift": 1.2, "both": 2.2, "moved": 2.0, "missing": 1.5, "extra": 1.5}
# How far it was moved, and each more member that was moved along, break ties.
PER_PITCH, PER_MEMBER = 0.01, 0.1
EXCHANGE = 1.3  # of two members, which is one go though it takes two
MIRROR = 1.5  # a mirrored frame is one difference, but no single member does as well


@dataclass(frozen=True)
class Pair:
    """A member of the plan and the built member that stands for it.

    Attributes
    ----------
    plan : Member
        As planned.
    built : Member
        As built, laid on the plan and running its way.
    """

    plan: Member
    built: Member

    @cached_property
    def start(self) -> FloatArray:
        """How far the built member's hole 1 is off the planned one, (3,), pitches."""
        return np.subtract(self.built.first, self.plan.first)

    @cached_property
    def end(self) -> FloatArray:
        """The same of the last holes."""
        return self.built.last - self.plan.last

    @cached_property
    def kind(self) -> str:
        """How the two differ.

        "same", "length" (other holes at one end), "shift" (alike but elsewhere), "both", or "moved" (turned
        as well).
        """
        if not _parallel(self.plan, self.built):
            return "moved"
        off = [bool(np.abs(d).max() > MATCH_TOL) for d in (self.start, self.end)]
        if self.plan.holes == self.built.holes:
            return "shift" if any(off) else "same"
        return "both" if all(off) else "length"

    @property
    def stays(self) -> bool:
        """Whether the built member lies on the planned one's line, from hole to hole."""
        return self.kind in ("same", "length")

    @cached_property
    def cost(self) -> float:
        """What the difference costs."""
        if self.kind == "moved":
            return COST["moved"]
        return COST[self.kind] + PER_PITCH * float(np.abs(self.start).sum() + np.abs(self.end).sum())


@dataclass(frozen=True)
class Missing:
    """A member of the plan that was not built."""

    plan: Member
    kind = "missing"
    cost = COST["missing"]


@dataclass(frozen=True)
class Extra:
    """A built member that is not in the plan."""

    built: Member
    kind = "extra"
    cost = COST["extra"]


Match = Pair | Missing | Extra
_Pairs = Sequence[tuple[Member, Member]]  # of the plan and as built


@dataclass(frozen=True)
class Matching:
    """A built frame laid on its plan, member by member.

    Attributes
    ----------
    built : Frame
        The built frame as it lies on the plan.
    matches : tuple of Pair, Missing or Extra
        In the plan's order, extra members last.
    mirrored : bool
        Whether the built frame had to be mirrored for it.
    together : tuple of tuples of str
        Groups of plan ids that were moved as one.
    exchanged : tuple of (str, str)
        Plan ids of two members in each other's place.
    """

    built: Frame
    matches: tuple[Match, ...]
    mirrored: bool
    together: tuple[tuple[str, ...], ...] = ()
    exchanged: tuple[tuple[str, str], ...] = ()

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """The members that are in both frames."""
        return tuple(m for m in self.matches if isinstance(m, Pair))

    @cached_property
    def cost(self) -> float:
        """What all differences cost."""
        grouped = self.grouped
        single = sum(m.cost for m in self.matches if isinstance(m, Extra) or m.plan.id not in grouped)
        groups = sum(COST["shift"] + PER_MEMBER * len(group) for group in self.together)
        return single + groups + EXCHANGE * len(self.exchanged) + MIRROR * self.mirrored

    @property
    def grouped(self) -> set[str]:
        """Plan ids of the members that were moved or exchanged together."""
        return {id for group in (*self.together, *self.exchanged) for id in group}


def best_matching(built: Frame, plan: Frame) -> Matching:
    """The matching that explains the built frame with the fewest differences.

    Parameters
    ----------
    built, plan : Frame
        Either may stand any way round, start anywhere and have any labels.

    Examples
    --------
    >>> plan = Frame((Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 6)))
    >>> built = Frame((Member("x", (5, 5, 8), (1, 0, 0), 6), Member("y", (7, 6, 5), (0, 0, 1), 9)))
    >>> [(m.plan.id, m.built.id, m.kind) for m in best_matching(built, plan).pairs]
    [('A', 'y', 'length'), ('B', 'x', 'same')]
    """
    found = _laid_on(built, plan, False)
    if min(m.cost for m in found) > MIRROR:
        found += _laid_on(mirrored(built), plan, True)
    least = min(m.cost for m in found)
    # In a symmetric frame several matchings do equally well for the members: bolts and fittings decide.
    best = min((m for m in found if m.cost <= least + 1e-9), key=lambda m: _other_bolts(m, plan))
    if any(m.kind == "moved" for m in best.matches):
        best = min([best, *_by_laps(best, plan)], key=lambda m: m.cost)
    return best


def _other_bolts(matching: Matching, plan: Frame) -> tuple[int, float]:
    """How many bolts and fittings one of the two frames has and the other has not; how far those are off."""
    other, far = fittings_off(matching.built, plan)
    return len(_bolt_places(matching.built) ^ _bolt_places(plan)) + other, far


def _bolt_places(frame: Frame) -> set[tuple[float, ...]]:
    members = {m.id: m for m in frame.members}
    bolted = (j for j in frame.joints if j.bolt != "none")
    return {tuple(np.round(lap_centre(j, members), 2) + 0.0) for j in bolted}


def _laid_on(built: Frame, plan: Frame, mirror: bool) -> list[Matching]:
    """Matchings with the built frame laid on the plan in every way that does nearly well, best first."""
    found = alignments(built, plan)
    most = len(found[0].pairs) if found else 0
    matchings = []
    for a in found:
        if 2 * len(a.pairs) >= most:
            laid = transform(built, a.turn, a.shift)
            matchings += _explained(laid, plan, a.pairs, mirror, len(a.pairs) == most)
    return matchings or _explained(built, plan, (), mirror, False)


def _explained(
    built: Frame, plan: Frame, pairs: Sequence[tuple[int, int]], mirror: bool, parts: bool
) -> list[Matching]:
    """Matchings in one position, where the members of `pairs` (index in built, index in plan) agree.

    The others are taken one by one; and, with `parts`, those that lie on the plan in a position of their
    own are taken as moved together.
    """
    exact = [(plan.members[j], built.members[i]) for i, j in pairs]
    left_built = _others(built.members, [i for i, _ in pairs])
    left_plan = _others(plan.members, [j for _, j in pairs])
    matchings = [_matching(built, plan, exact + _assigned(left_built, left_plan), mirror)]
    if parts and min(len(left_built), len(left_plan)) > 1:
        for part in alignments(Frame(tuple(left_built)), Frame(tuple(left_plan)), limit=1):
            if len(part.pairs) > 1:
                in_order = sorted(part.pairs, key=lambda pair: pair[1])
                joined = _joined(plan, [left_plan[j].id for _, j in in_order])
                in_order = [(i, j) for i, j in in_order if left_plan[j].id in joined]
                if len(in_order) < 2:
                    continue
                moved = [(left_plan[j], left_built[i]) for i, j in in_order]
                rest = _assigned(
                    _others(left_built, [i for i, _ in in_order]),
                    _others(left_plan, [j for _, j in in_order]),
                )
                together = (tuple(p.id for p, _ in moved),)
                matchings.append(_matching(built, plan, exact + moved + rest, mirror, together))
    return matchings


def _joined(plan: Frame, ids: Sequence[str]) -> set[str]:
    """The most of these members of the plan that laps join to one another."""
    graph: nx.Graph = nx.Graph()
    graph.add_nodes_from(ids)
    graph.add_edges_from((j.a, j.b) for j in plan.joints if j.a in graph and j.b in graph)
    return max(nx.connected_components(graph), key=len)


def _others(members: Sequence[Member], taken: Collection[int]) -> list[Member]:
    return [m for k, m in enumerate(members) if k not in set(taken)]


def _matching(
    built: Frame, plan: Frame, pairs: _Pairs, mirror: bool, together: tuple[tuple[str, ...], ...] = ()
) -> Matching:
    found = {p.id: b for p, b in pairs}
    taken = {b.id for _, b in pairs}
    of_plan = [Pair(p, _run_alike(found[p.id], p)) if p.id in found else Missing(p) for p in plan.members]
    extra = [Extra(b) for b in built.members if b.id not in taken]
    pairs_found = [m for m in of_plan if isinstance(m, Pair)]
    groups = together or _shifted_together(pairs_found)
    grouped = {id for group in groups for id in group}
    exchanged = _exchanged([p for p in pairs_found if p.plan.id not in grouped])
    return Matching(built, (*of_plan, *extra), mirror, groups, exchanged)


def _run_alike(built: Member, plan: Member) -> Member:
    """The built member counted from the end that suits the plan's hole 1, where the two are parallel."""
    against = _parallel(built, plan) and np.dot(built.direction, plan.direction) < 0
    return reversed_member(built) if against else built


def _parallel(a: Member, b: Member) -> bool:
    return abs(float(np.dot(a.direction, b.direction))) > PARALLEL


def alike(pairs: Sequence[Pair]) -> bool:
    """Whether the members are all off by the same shift."""
    return all(p.kind == "shift" and np.abs(p.start - pairs[0].start).max() < MATCH_TOL for p in pairs)


def _shifted_together(pairs: Sequence[Pair]) -> tuple[tuple[str, ...], ...]:
    """Groups of two members or more that are all off by the same."""
    off = {p.plan.id: tuple(np.round(p.start, 3)) for p in pairs if p.kind == "shift"}
    count = Counter(off.values())
    groups: dict[tuple[float, ...], list[str]] = {}
    for id, by in off.items():
        if count[by] > 1:
            groups.setdefault(by, []).append(id)
    return tuple(map(tuple, groups.values()))


def _exchanged(pairs: Sequence[Pair]) -> tuple[tuple[str, str], ...]:
    """Pairs of members of one section in each other's place.

    Either each is as long as the other should be, or each lies where the other should.
    """
    found: list[tuple[str, str]] = []
    waiting = [p for p in pairs if p.kind in ("length", "both", "shift")]
    while waiting:
        one = waiting.pop(0)
        for other in waiting:
            if _same_section(one, other) and _swapped(one, other):
                found.append((one.plan.id, other.plan.id))
                waiting.remove(other)
                break
    return tuple(found)


def _same_section(one: Pair, other: Pair) -> bool:
    return one.plan.width == other.plan.width and one.plan.stock == other.plan.stock


def _swapped(one: Pair, other: Pair) -> bool:
    """Whether two members differ from the plan by having been exchanged."""
    if one.plan.holes == other.plan.holes:
        return False
    if "shift" not in (one.kind, other.kind):
        return (one.built.holes, other.built.holes) == (other.plan.holes, one.plan.holes)
    return one.kind == other.kind and _in_place_of(one, other) and _in_place_of(other, one)


def _in_place_of(one: Pair, other: Pair) -> bool:
    """Whether a built member lies on the line of another planned one, over all or a part of its holes."""
    if not _parallel(one.built, other.plan):
        return False
    middles = [(np.asarray(m.first) + m.last) / 2 for m in (one.built, other.plan)]
    off, way = middles[0] - middles[1], np.asarray(other.plan.direction, float)
    along = abs(float(off @ way))
    across = np.abs(off - (off @ way) * way).max()
    return bool(across < MATCH_TOL and along <= abs(one.built.holes - other.plan.holes) / 2 + MATCH_TOL)


def _assigned(built: Sequence[Member], plan: Sequence[Member]) -> list[tuple[Member, Member]]:
    """(plan, built) pairs of members left over at the least cost in all; those better off alone have none."""
    if not built or not plan:
        return []

    def cost_of(p: Member, b: Member) -> float:
        return Pair(p, _run_alike(b, p)).cost if _parallel(p, b) or p.holes == b.holes else np.inf

    cost = np.array([[cost_of(p, b) for b in built] for p in plan])
    apart = COST["missing"] + COST["extra"]
    rows, columns = linear_sum_assignment(np.minimum(cost, apart))
    return [(plan[r], built[c]) for r, c in zip(rows, columns) if cost[r, c] < apart]


# By the graph of laps


def _by_laps(matching: Matching, plan: Frame) -> Iterator[Matching]:
    """The matching by lengths and laps alone, where these are those of the plan: the frame was folded."""
    own, planned = _lap_graph(matching.built), _lap_graph(plan)
    if _signatures(own) != _signatures(planned):
        return
    matcher = nx.algorithms.isomorphism.DiGraphMatcher(
        planned, own, node_match=dict.__eq__, edge_match=dict.__eq__
    )
    if not matcher.is_isomorphic():
        return
    members = {m.id: m for m in matching.built.members}
    pairs = [(p, members[matcher.mapping[p.id]]) for p in plan.members]
    off = {p.id for p, b in pairs if Pair(p, _run_alike(b, p)).kind != "same"}
    groups = [
        tuple(p.id for p in plan.members if p.id in group)
        for group in nx.connected_components(planned.to_undirected().subgraph(off))
        if len(group) > 1
    ]
    yield _matching(matching.built, plan, pairs, matching.mirrored, tuple(sorted(groups)))


def _signatures(graph: nx.DiGraph) -> Counter[tuple]:
    """Every member's holes and laps, which two graphs that are one must have alike."""
    return Counter(
        (holes, tuple(sorted(laps for _, _, laps in graph.edges(id, data="holes"))))
        for id, holes in graph.nodes(data="holes")
    )


def _lap_graph(frame: Frame) -> nx.DiGraph:
    """Members with their holes, and an edge each way for a lap with its two holes.

    The holes are counted from the members' middles, so that it does not matter from which end a member is
    counted.
    """
    members = {m.id: m for m in frame.members}
    graph = nx.DiGraph()
    graph.add_nodes_from((m.id, {"holes": m.holes}) for m in frame.members)
    for j in frame.joints:
        ends = [
            (id, abs(2 * hole - members[id].holes + 1)) for id, hole in ((j.a, j.a_hole), (j.b, j.b_hole))
        ]
        for (a, k), (b, n) in (ends, ends[::-1]):
            before = graph.edges[a, b]["holes"] if graph.has_edge(a, b) else ()
            graph.add_edge(a, b, holes=tuple(sorted((*before, (k, n)))))
    return graph
