"""An order in which the parts of a frame can be brought to their places, found by taking the whole apart.

A part that can be drawn out straight, once its bolts are out, can go in last.  Taking anything out only makes room for the
rest, so if an order of single parts exists it is found by taking out, again and again, any part that comes free
(assembly by disassembly: L. Homem de Mello, A. Sanderson, "A correct and complete algorithm for the generation of
mechanical assembly sequences", IEEE Trans. Robotics and Automation 7, 1991, doi:10.1109/70.75905).  A part is a member, or
members that were put together before; other sets of members that would have to move together are not looked for.

Members are numbers here, in the order of the frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import networkx as nx
import numpy as np

from recon.frame.model import Frame
from recon.workshop.assembly.tool_access import Reach, in_the_way, reach_of, reachable
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.solids import HOLE, Boxes, bolt_ends, joined, member_boxes, met_on_the_way

DIRECTIONS = np.vstack([np.eye(3), -np.eye(3)])
ROWS = 200  # boxes moved at a time, which keeps memory small


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
        self.number = {m.id: k for k, m in enumerate(frame.members)}
        self.through = [frozenset(self.number[id] for id, _ in bolt.through) for bolt in self.bolts]
        self._joins = np.zeros((len(self.bolts), len(frame.members)), bool)
        for b, members in enumerate(self.through):
            self._joins[b, list(members)] = True
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

    def _of(self, members) -> np.ndarray:
        mask = np.zeros(len(self.frame.members), bool)
        mask[list(members)] = True
        return mask

    def inner(self, members) -> list[int]:
        """The bolts that hold these members alone."""
        return np.nonzero(~(self._joins & ~self._of(members)).any(axis=1))[0].tolist()

    def between(self, part, rest) -> list[int]:
        """The bolts that hold the part to the rest, and nothing else."""
        part, rest = self._of(part), self._of(rest)
        inside = ~(self._joins & ~(part | rest)).any(axis=1)
        return np.nonzero(inside & (self._joins & part).any(axis=1) & (self._joins & rest).any(axis=1))[
            0
        ].tolist()

    def solids_of(self, members, bolts) -> list[int]:
        """The numbers of the solids of these members and bolts."""
        n = len(self.frame.members)
        return [*members, *(n + 2 * b + end for b in bolts for end in (0, 1))]

    def present(self, members, without=()) -> np.ndarray:
        """(N,) bool: the solids of these members and of their inner bolts, but those `without`."""
        inside = np.zeros(len(self.bolts), bool)
        inside[self.inner(members)] = True
        inside[list(without)] = False
        return np.concatenate([self._of(members), np.repeat(inside, 2)])


def free_ways(site: Site, part: frozenset[int], rest: frozenset[int]) -> list[int]:
    """The directions (indices of DIRECTIONS) along which the part meets nothing of the rest on its way out."""
    mine, others = np.nonzero(site.present(part))[0], np.nonzero(site.present(rest))[0]
    return np.nonzero(~site.blocked[:, mine[:, None], others].any(axis=(1, 2)))[0].tolist()


def way_out(site: Site, part: frozenset[int], rest: frozenset[int]) -> int | None:
    """The direction (index) along which the part leaves the rest, away from what it is bolted to where it can; None where
    there is none.  Its bolts to the rest are out."""
    free = free_ways(site, part, rest)
    if not free:
        return None
    away = np.zeros(3)
    for b in site.between(part, rest):
        spots = [
            (site.number[id], site.frame.member(id).hole_centre(hole)) for id, hole in site.bolts[b].through
        ]
        away += np.mean([c for k, c in spots if k in part], axis=0) - np.mean(
            [c for k, c in spots if k in rest], axis=0
        )
    return max(free, key=lambda d: (round(float(DIRECTIONS[d] @ away), 6), -d))


def bolts_out(site: Site, part: frozenset[int], rest: frozenset[int]) -> list[int] | None:
    """The bolts between a part and the rest in an order in which each can be taken out; None where one cannot."""
    left, order = site.between(part, rest), []
    while left:
        there = site.present(part | rest, without=order)
        out = [b for b in left if reachable(site.reach(b), there)]
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
    of = {k: p for p in parts for k in p}
    bolts = set(site.inner(frozenset(of)))
    holds = {p: sum(bool(site.through[b] & p) and not site.through[b] <= p for b in bolts) for p in parts}
    holes = {p: sum(site.frame.members[k].holes for k in p) for p in parts}
    care = {p: _cares_for(site, p) for p in parts}
    left, taken, free, news = list(parts), [], set(), set(parts)
    while len(left) > 1:
        whole = frozenset(of)
        free |= {
            p
            for p in left
            if p in news
            and p not in free
            and free_ways(site, p, whole - p)
            and bolts_out(site, p, whole - p) is not None
        }
        loose = [p for p in left if p in free]
        if not loose:
            raise Stuck(whole)
        cut = set(nx.articulation_points(_part_graph(site, left, of, bolts)))
        best = min(loose, key=lambda p: (p in cut, holds[p], holes[p], -min(p)))
        taken.append((best, whole - best))
        left.remove(best)
        gone = {b for b in bolts if site.through[b] & best}
        for b in gone:
            for p in {of[k] for k in site.through[b]} - {best}:
                holds[p] -= 1
        bolts -= gone
        for k in best:
            del of[k]
        away = site.solids_of(best, gone)
        news = {p for p in left if care[p][away].any()}  # nothing has changed for the others
    return [
        Move(left[0], frozenset(), None, ()),
        *(_move(site, part, rest) for part, rest in reversed(taken)),
    ]


def _cares_for(site: Site, part: frozenset[int]) -> np.ndarray:
    """(N,) bool: the solids that may keep the part from coming free."""
    own = [b for b in range(len(site.bolts)) if site.through[b] & part]
    mine = site.solids_of(part, own)
    care = site.blocked[:, mine].any(axis=(0, 1))
    care[mine] = True
    for b in own:
        care[site.reach(b).near] = True
    return care


def _move(site: Site, part, rest) -> Move:
    d, bolts = way_out(site, part, rest), bolts_out(site, part, rest)
    return Move(part, rest, tuple(-DIRECTIONS[d] + 0.0), tuple(bolts[::-1]))


def _part_graph(site: Site, parts, of, bolts) -> nx.Graph:
    graph = nx.Graph()
    graph.add_nodes_from(parts)
    for b in sorted(bolts):
        first, *others = sorted(site.through[b])
        graph.add_edges_from((of[first], of[k]) for k in others if of[k] != of[first])
    return graph


def why_stuck(
    site: Site, members: frozenset[int]
) -> tuple[list[tuple[int, list[int]]], dict[int, list[list[int]]]]:
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
            owners = {int(s) for s in solids if s < n} | {
                k for s in solids if s >= n for k in site.through[(s - n) // 2]
            }
            bolts.append((b, sorted(owners - site.through[b]) or sorted(owners)))
    ways = {}
    for k in sorted(members):
        others = np.nonzero(site.present(members - {k}))[0]
        hits = [others[site.blocked[d][k, others]] for d in range(len(DIRECTIONS))]
        if all(len(h) for h in hits):
            ways[k] = [
                sorted({int(s) if s < n else min(site.through[(s - n) // 2]) for s in h}) for h in hits
            ]
    return bolts, ways
