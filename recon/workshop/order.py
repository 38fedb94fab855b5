"""An order in which the parts of a frame can be brought to their places, found by taking the whole apart.

A part that can be drawn out straight, once its bolts are out, can go in last.  Taking anything out only makes room for the
rest, so if an order of single parts exists it is found by taking out, again and again, any part that comes free
(assembly by disassembly: L. Homem de Mello, A. Sanderson, "A correct and complete algorithm for the generation of
mechanical assembly sequences", IEEE Trans. Robotics and Automation 7, 1991, doi:10.1109/70.75905).  A part is a member, or
members that were put together before; other sets of members that would have to move together are not looked for.

Members are numbers here, in the order of the frame.
"""
from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property

import networkx as nx
import numpy as np

from recon.frame.model import Frame
from recon.workshop.bolts import Bolt, find_bolts
from recon.workshop.reach import Reach, in_the_way, reach_of, reachable
from recon.workshop.solids import HOLE, Boxes, bolt_ends, joined, member_boxes, met_on_the_way

DIRECTIONS = np.vstack([np.eye(3), -np.eye(3)])
ROWS = 200      # boxes moved at a time, which keeps memory small


class Stuck(Exception):
    """No part of what is left comes free.  `members` are left."""

    def __init__(self, members: frozenset[int]):
        super().__init__("no part comes free")
        self.members = members


@dataclass(frozen=True)
class Move:
    """`part` is brought along `direction` to what is there (`onto`, empty for the first part), then `bolts` go in, in this
    order (numbers of bolts)."""

    part: frozenset[int]
    onto: frozenset[int]
    direction: tuple[float, float, float] | None
    bolts: tuple[int, ...]


class Site:
    """A frame as solids, with what blocks what.  Solids are numbered: the members, then the two ends of every bolt."""

    def __init__(self, frame: Frame, hole: float = HOLE):
        self.frame, self.hole = frame, hole
        self.bolts: tuple[Bolt, ...] = find_bolts(frame)
        number = {m.id: k for k, m in enumerate(frame.members)}
        self.through = [frozenset(number[id] for id, _ in bolt.through) for bolt in self.bolts]
        self.bolts_of = defaultdict(list)
        for b, members in enumerate(self.through):
            for k in members:
                self.bolts_of[k].append(b)
        self._reach: dict[int, Reach] = {}

    @cached_property
    def solids(self) -> Boxes:
        return joined([member_boxes(self.frame.members), bolt_ends(self.bolts, self.hole)])

    @cached_property
    def blocked(self) -> np.ndarray:
        """(6, N, N) bool: whether solid i meets solid j on its way out along each of DIRECTIONS."""
        n = len(self.solids)
        met = np.zeros((len(DIRECTIONS), n, n), bool)
        for d, direction in enumerate(DIRECTIONS):
            for start in range(0, n, ROWS):
                rows = slice(start, start + ROWS)
                met[d, rows] = met_on_the_way(self.solids.take(rows), self.solids, direction)
            np.fill_diagonal(met[d], False)
        return met

    def reach(self, b: int) -> Reach:
        if b not in self._reach:
            n = len(self.frame.members)
            self._reach[b] = reach_of(self.bolts[b], self.solids, (n + 2 * b, n + 2 * b + 1), self.hole)
        return self._reach[b]

    def inner(self, members) -> list[int]:
        """The bolts that hold these members alone."""
        return sorted({b for k in members for b in self.bolts_of[k] if self.through[b] <= members})

    def present(self, members, bolts=None) -> np.ndarray:
        """(N,) bool: the solids of these members and of their inner bolts, or of the bolts given."""
        there = np.zeros(len(self.solids), bool)
        there[list(members)] = True
        n = len(self.frame.members)
        for b in self.inner(members) if bolts is None else bolts:
            there[[n + 2 * b, n + 2 * b + 1]] = True
        return there


def leaves(site: Site, part: frozenset[int], rest: frozenset[int], direction) -> bool:
    """Whether the part meets nothing of the rest on its way out along one of DIRECTIONS."""
    d = int((DIRECTIONS @ np.asarray(direction)).argmax())
    return not site.blocked[d][np.ix_(site.present(part), site.present(rest))].any()


def way_out(site: Site, part: frozenset[int], rest: frozenset[int]) -> int | None:
    """The direction (index) along which the part leaves the rest, away from what it is bolted to where it can; None where
    there is none.  Its bolts to the rest are out."""
    free = [d for d, direction in enumerate(DIRECTIONS) if leaves(site, part, rest, direction)]
    if not free:
        return None
    away = np.zeros(3)
    for b in _between(site, part, rest):
        ends = {k: site.frame.members[k].hole_centre(hole) for k, hole in _spots(site, b)}
        away += np.mean([c for k, c in ends.items() if k in part], axis=0) - np.mean([c for k, c in ends.items() if k in rest], axis=0)
    return max(free, key=lambda d: (round(float(DIRECTIONS[d] @ away), 6), -d))


def _spots(site: Site, b: int):
    number = {m.id: k for k, m in enumerate(site.frame.members)}
    return [(number[id], hole) for id, hole in site.bolts[b].through]


def _between(site: Site, part, rest) -> list[int]:
    whole = part | rest
    return [b for b in sorted({b for k in part for b in site.bolts_of[k]}) if site.through[b] <= whole and not site.through[b] <= part]


def bolts_out(site: Site, part: frozenset[int], rest: frozenset[int]) -> list[int] | None:
    """The bolts between a part and the rest in an order in which each can be taken out; None where one cannot."""
    left = _between(site, part, rest)
    inner = set(site.inner(part | rest)) - set(left)
    order = []
    while left:
        out = [b for b in left if reachable(site.reach(b), site.present(part | rest, inner | set(left)))]
        if not out:
            return None
        order += out
        left = [b for b in left if b not in out]
    return order


def taken_apart(site: Site, parts: list[frozenset[int]]) -> list[Move]:
    """Moves that put the parts together, in order.  Parts are sets of members that are together already.

    Of the parts that come free the one is taken that leaves the rest hanging together, has fewest bolts and holes, and
    comes last in the frame's order.  Raises Stuck where no part comes free.
    """
    left, taken, free = list(parts), [], set()
    holes = [m.holes for m in site.frame.members]
    while len(left) > 1:
        whole = frozenset().union(*left)
        free |= {p for p in left if p not in free and way_out(site, p, whole - p) is not None
                 and bolts_out(site, p, whole - p) is not None}
        loose = [p for p in left if p in free]
        if not loose:
            raise Stuck(whole)
        cut = set(nx.articulation_points(_part_graph(site, left)))
        best = min(loose, key=lambda p: (p in cut, len(_between(site, p, whole - p)), sum(holes[k] for k in p), -min(p)))
        taken.append((best, whole - best))
        left.remove(best)
    return [Move(left[0], frozenset(), None, ()), *(_move(site, part, rest) for part, rest in reversed(taken))]


def _move(site: Site, part, rest) -> Move:
    d, bolts = way_out(site, part, rest), bolts_out(site, part, rest)
    return Move(part, rest, tuple(-DIRECTIONS[d] + 0.0), tuple(bolts[::-1]))


def _part_graph(site: Site, parts) -> nx.Graph:
    of = {k: p for p in parts for k in p}
    graph = nx.Graph()
    graph.add_nodes_from(parts)
    for b in site.inner(frozenset(of)):
        first, *others = sorted(site.through[b])
        graph.add_edges_from((of[first], of[k]) for k in others if of[k] != of[first])
    return graph


def why_stuck(site: Site, members: frozenset[int]) -> tuple[list[tuple[int, list[int]]], dict[int, list[list[int]]]]:
    """What keeps these members from coming free one at a time.

    Returns the bolts that cannot be reached, each with the members in its way (or whose bolts are), and for each member
    that comes free in no direction the members in its way along each of DIRECTIONS.
    """
    present = site.present(members)
    n = len(site.frame.members)
    bolts = []
    for b in site.inner(members):
        if not reachable(site.reach(b), present):
            solids = in_the_way(site.reach(b), present)
            owners = {int(s) for s in solids if s < n} | {k for s in solids if s >= n for k in site.through[(s - n) // 2]}
            bolts.append((b, sorted(owners - site.through[b]) or sorted(owners)))
    ways = {}
    for k in sorted(members):
        others = np.nonzero(site.present(members - {k}))[0]
        hits = [others[site.blocked[d][k, others]] for d in range(len(DIRECTIONS))]
        if all(len(h) for h in hits):
            ways[k] = [sorted({int(s) if s < n else min(site.through[(s - n) // 2]) for s in h}) for h in hits]
    return bolts, ways
