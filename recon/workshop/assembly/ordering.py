"""The order in which parts come together on the floor: the whole taken apart, gravity and all, backwards.

What is brought in from below the floor, hangs on one lap or makes the rest fall over costs a hand; the next
part to come out is the one that costs fewest.  Where none comes free with this side up, the whole is turned.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

import networkx as nx
import numpy as np

from recon.frame.model import as_tuple
from recon.geometry.arrays import BoolArray
from recon.workshop.assembly.disassembly import (
    DIRECTIONS,
    AssemblyModel,
    Move,
    Part,
    Stuck,
    exit_direction,
    free_directions,
    opposite,
    unbolting_order,
)
from recon.workshop.assembly.support import ON_FLOOR, Support

# Hands that it takes to set on blocks what is there, where what comes in reaches lower: this project's
# choice.
BLOCKS = 2
UP = 2  # index in DIRECTIONS of +z


def assembly_moves(model: AssemblyModel, parts: Sequence[Part], up: int, support: Support) -> list[Move]:
    """Moves that put the parts together, in order, found by taking the whole apart.

    Parameters
    ----------
    model : AssemblyModel
        The frame.
    parts : sequence of frozenset of int
        Members that are together already.
    up : int
        Index in DIRECTIONS of the way that is up when the last part comes in.
    support : Support
        The model's.

    Raises
    ------
    Stuck
        Where no part comes free any more; it holds the moves that come after what is left.
    """
    whole = _Whole(model, parts, up, support)
    taken: list[Move] = []
    while len(whole.parts) > 1:
        loose = whole.loose()
        if not loose:
            raise Stuck(frozenset(whole.of), whole.up, taken[::-1])
        best = whole.cheapest(loose)
        taken.append(whole.move(best))
        whole.take_out(best)
    return [Move(whole.parts[0], frozenset(), None, (), whole.up), *reversed(taken)]


_Cost = tuple[bool, int, int, int, int]


class _Whole:
    """What is still together while a frame is taken apart.

    Attributes
    ----------
    parts : list of frozenset of int
        What is left.
    of : dict of int to frozenset of int
        Each member's part.
    up : int
        Which way is up now.
    """

    def __init__(self, model: AssemblyModel, parts: Sequence[Part], up: int, support: Support):
        self.model, self.up, self.support = model, up, support
        self.parts = list(parts)
        self.of = {k: p for p in parts for k in p}
        self._bolts = set(model.inner(self.of))
        self._holes = {p: sum(model.frame.members[k].holes for k in p) for p in parts}
        self._relevant = {p: _relevant_solids(model, p) for p in parts}
        self._exits: dict[Part, list[int]] = {}
        self._changed = set(parts)
        self._links = {p: self._bolts_on(p) for p in parts}
        self._cut: set[Part] = set()
        self._lowest: list[tuple[float, int]] = []  # height and number of each member, the lowest first

    def _bolts_on(self, part: Part) -> set[int]:
        """The bolts that hold a part to others."""
        through = self.model.through
        return {b for b in self._bolts if through[b] & part and not through[b] <= part}

    def loose(self) -> list[Part]:
        """The parts that come free, this side up or, where there is none, another."""
        whole = frozenset(self.of)
        for p in self._changed:
            known = p in self._exits and bool(self._exits[p])
            out = free_directions(self.model, p, whole - p)
            if out and not known and unbolting_order(self.model, p, whole - p) is None:
                out = []
            self._exits[p] = out
        self._changed = set()
        graph = _part_graph(self.model, self.parts, self._bolts)
        self._cut = {self.of[k] for k in nx.articulation_points(graph)}
        free = [p for p in self.parts if self._exits[p]]
        for up in (self.up, UP, opposite(UP), *range(len(DIRECTIONS))):
            if loose := [p for p in free if any(d != opposite(up) for d in self._exits[p])]:
                self.up = up
                return loose
        return []

    def cheapest(self, loose: Iterable[Part]) -> Part:
        """Of parts that come free the one that it costs least to bring in last.

        Whether what is left falls over is worked out only where it decides: each cost is a bound without it.
        """
        self._lowest = sorted([(self.support.floor((k,), self.up), k) for k in self.of])
        bounds = sorted((self._cost(part), part) for part in loose)  # costs end in what tells parts apart
        best: tuple[_Cost, Part] | None = None
        for bound, part in bounds:
            if best and best[0] <= bound:
                break
            cut, hands, links, holes, first = bound
            hands += self.support.tips(frozenset(self.of) - part, self.up)
            found = (cut, hands, links, holes, first), part
            best = min(best or found, found)
        assert best is not None
        return best[1]

    def _cost(self, part: Part) -> _Cost:
        """What it costs to bring this part in last, where what is left stands by itself."""
        return part in self._cut, self._hands(part), len(self._links[part]), self._holes[part], -min(part)

    def _hands(self, part: Part) -> int:
        """How many hands are needed once the part is out, and until it is bolted."""
        support, up = self.support, self.up
        floor = self._lowest[0][0]
        left_floor = next(height for height, k in self._lowest if k not in part)  # that of the rest
        hands = int(len(self._links[part]) + support.footing(part, up, floor) < 2)
        below = left_floor > floor + ON_FLOOR  # the rest would hang in the air
        floor = left_floor if below else floor
        near = {self.of[k] for b in self._links[part] for k in self.model.through[b]} - {part}
        for p in near if len(self.parts) > 2 else ():  # of one part alone `tips` says whether it stands
            left = len(self._links[p] - self._links[part]) + support.footing(p, up, floor)
            hands += left < 2
        return hands + BLOCKS * below

    def move(self, part: Part) -> Move:
        """The move that brings the part in again."""
        rest = frozenset(self.of) - part
        floor = self.support.floor(self.of, self.up)
        grounded = bool(self.support.footing(part, self.up, floor))
        d = exit_direction(self.model, part, rest, self.up, grounded)
        bolts = unbolting_order(self.model, part, rest)
        if d is None or bolts is None:
            raise Stuck(part | rest, self.up, [])
        return Move(part, rest, as_tuple(-DIRECTIONS[d]), tuple(bolts[::-1]), self.up)

    def take_out(self, part: Part) -> None:
        """Take the part and all its bolts out."""
        removed = {b for b in self._bolts if self.model.through[b] & part}
        self.parts.remove(part)
        for b in removed:
            for p in {self.of[k] for k in self.model.through[b]} - {part}:
                self._links[p].discard(b)
        self._bolts -= removed
        for k in part:
            del self.of[k]
        away = self.model.solids_of(part, removed)
        self._changed = {p for p in self.parts if self._relevant[p][away].any()}  # others are as they were


def _relevant_solids(model: AssemblyModel, part: Part) -> BoolArray:
    """The solids that may keep the part from coming free, (N,)."""
    own = [b for b in range(len(model.bolts)) if model.through[b] & part]
    mine = model.solids_of(part, own)
    relevant = np.asarray(model.blocked[:, mine].any(axis=(0, 1)))
    relevant[mine] = True
    for b in own:
        relevant[model.access(b).near] = True
    return relevant


def _part_graph(model: AssemblyModel, parts: Collection[Part], bolts: Collection[int]) -> nx.Graph:
    """Parts as nodes, each by its first member; an edge where a bolt joins two."""
    graph = nx.Graph()
    name = {k: min(part) for part in parts for k in part}
    graph.add_nodes_from(map(min, parts))
    for b in sorted(bolts):
        first, *others = sorted(model.through[b])
        graph.add_edges_from((name[first], name[k]) for k in others if name[k] != name[first])
    return graph
