"""An order in which the parts of a frame can be brought to their places, found by taking the whole apart.

A part that can be drawn out straight, once its bolts are out, can go in last.  Taking anything out only
makes room for the rest, so if an order of single parts exists it is found by taking out, again and again,
any part that comes free (assembly by disassembly: L. Homem de Mello, A. Sanderson, "A correct and complete
algorithm for the generation of mechanical assembly sequences", IEEE Trans. Robotics and Automation 7, 1991,
doi:10.1109/70.75905).  A part is a member, or members that were put together before; other sets of members
that would have to move together are not looked for.

Members are numbers here, in the order of the frame.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from recon.frame.model import Frame
from recon.geometry.arrays import BoolArray, IntArray, Vector
from recon.workshop.assembly.tool_access import ToolAccess, in_the_way, reachable, tool_access
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.solids import HOLE, Boxes, bolt_ends, joined, member_boxes, met_on_the_way

DIRECTIONS = np.vstack([np.eye(3), -np.eye(3)])
ROWS = 200  # boxes moved at a time, which keeps memory small

Part = frozenset[int]  # members that move as one


class Stuck(Exception):
    """No part of what is left comes free.

    Attributes
    ----------
    members : frozenset of int
        What is left.
    up : int
        Which way was up then, an index of DIRECTIONS.
    moves : list of Move
        Those that follow once what is left is together.
    """

    def __init__(self, members: Part, up: int, moves: list[Move]):
        super().__init__("no part comes free")
        self.members, self.up, self.moves = members, up, moves


@dataclass(frozen=True)
class Move:
    """One part is brought in and bolted.

    Attributes
    ----------
    part : frozenset of int
        What is brought in.
    onto : frozenset of int
        What is there; empty for the first part.
    direction : (3,) or None
        Unit vector along which it is brought; None for the first part.
    bolts : tuple of int
        Numbers of the bolts that go in then, in this order.
    up : int
        Which way is up meanwhile, an index of DIRECTIONS.
    """

    part: Part
    onto: Part
    direction: Vector | None
    bolts: tuple[int, ...]
    up: int


class AssemblyModel:
    """A frame as solids, with what blocks what.

    Solids are numbered: the members, then the two ends of every bolt.

    Parameters
    ----------
    frame : Frame
        The frame.
    hole : float
        Diameter of the holes, pitches.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 6)
    >>> model = AssemblyModel(Frame(members, find_joints(members)))
    >>> free_directions(model, frozenset([1]), frozenset([0]))  # all but +y, into the post
    [0, 2, 3, 4, 5]
    """

    def __init__(self, frame: Frame, hole: float = HOLE):
        self.frame, self.hole = frame, hole
        self.bolts: tuple[Bolt, ...] = find_bolts(frame)
        self.number = {m.id: k for k, m in enumerate(frame.members)}
        self.through = [frozenset(self.number[id] for id, _ in bolt.through) for bolt in self.bolts]
        # Members that each bolt joins, one of them again where another bolt joins more.
        most = max(map(len, self.through), default=1)
        rows = [(sorted(members) * most)[:most] for members in self.through]
        self._joins: IntArray = np.array(rows, int).reshape(-1, most)
        self._access: dict[int, ToolAccess] = {}
        self._in_its_way: dict[Part, BoolArray] = {}

    @cached_property
    def solids(self) -> Boxes:
        """All solids as boxes."""
        return joined([member_boxes(self.frame.members), bolt_ends(self.bolts, self.hole)])

    @cached_property
    def blocked(self) -> BoolArray:
        """Whether solid i meets solid j on its way out along each of DIRECTIONS, (6, N, N)."""
        n = len(self.solids)
        met = np.zeros((len(DIRECTIONS), n, n), bool)
        for d in range(len(DIRECTIONS) // 2):
            for start in range(0, n, ROWS):
                rows = slice(start, start + ROWS)
                met[d, rows] = met_on_the_way(self.solids.take(rows), self.solids, DIRECTIONS[d])
            np.fill_diagonal(met[d], False)
            met[opposite(d)] = met[d].T  # one goes past the other as that goes past it the other way
        return met

    def in_its_way(self, part: Part) -> BoolArray:
        """Which solids a part with its inner bolts meets on its way out along each of DIRECTIONS, (6, N)."""
        if part not in self._in_its_way:
            mine = np.nonzero(self.present(part))[0]
            self._in_its_way[part] = np.any(self.blocked[:, mine], axis=1)
        return self._in_its_way[part]

    def access(self, b: int) -> ToolAccess:
        """What is in the way of bolt `b`."""
        if b not in self._access:
            n = len(self.frame.members)
            own = (n + 2 * b, n + 2 * b + 1)
            self._access[b] = tool_access(self.bolts[b], self.solids, own, self.hole)
        return self._access[b]

    def _mask(self, members: Iterable[int]) -> BoolArray:
        mask = np.zeros(len(self.frame.members), bool)
        mask[list(members)] = True
        return mask

    def inner(self, members: Iterable[int]) -> list[int]:
        """The bolts that hold these members alone."""
        return np.nonzero(self._mask(members)[self._joins].all(axis=1))[0].tolist()

    def between(self, part: Part, rest: Part) -> list[int]:
        """The bolts that hold the part to the rest, and nothing else."""
        mine, others = self._mask(part)[self._joins], self._mask(rest)[self._joins]
        inside = (mine | others).all(axis=1)
        return np.nonzero(inside & mine.any(axis=1) & others.any(axis=1))[0].tolist()

    def solids_of(self, members: Iterable[int], bolts: Iterable[int]) -> list[int]:
        """The numbers of the solids of these members and bolts."""
        n = len(self.frame.members)
        return [*members, *(n + 2 * b + end for b in bolts for end in (0, 1))]

    def owners(self, solid: int) -> Part:
        """The member that a solid is, or those that the bolt goes through whose end it is."""
        n = len(self.frame.members)
        return frozenset([solid]) if solid < n else self.through[(solid - n) // 2]

    def present(self, members: Iterable[int], without: Collection[int] = ()) -> BoolArray:
        """The solids of these members and of their inner bolts, but for the bolts `without`, (N,)."""
        members = list(members)
        inside = np.zeros(len(self.bolts), bool)
        inside[self.inner(members)] = True
        inside[list(without)] = False
        return np.concatenate([self._mask(members), np.repeat(inside, 2)])


def free_directions(model: AssemblyModel, part: Part, rest: Part) -> list[int]:
    """The directions (indices of DIRECTIONS) along which the part meets nothing of the rest on its way."""
    return np.nonzero(~(model.in_its_way(part) & model.present(rest)).any(axis=1))[0].tolist()


def opposite(d: int) -> int:
    """The index in DIRECTIONS of the opposite direction."""
    return (d + 3) % 6


def exit_direction(
    model: AssemblyModel, part: Part, rest: Part, up: int, grounded: bool = False
) -> int | None:
    """The direction (index) along which the part leaves the rest; None where there is none.

    It leads away from what the part is bolted to where that can be, and never down, into the floor; of ways
    as good as one another along the floor where the part stands on it (`grounded`), else up.  Its bolts to
    the rest are out.
    """
    free = [d for d in free_directions(model, part, rest) if d != opposite(up)]
    if not free:
        return None
    away = np.zeros(3)
    for b in model.between(part, rest):
        spots = [
            (model.number[id], model.frame.member(id).hole_centre(hole))
            for id, hole in model.bolts[b].through
        ]
        own, others = [c for k, c in spots if k in part], [c for k, c in spots if k in rest]
        away += np.mean(own, axis=0) - np.mean(others, axis=0)
    return max(free, key=lambda d: (round(float(DIRECTIONS[d] @ away), 6), (d == up) != grounded, -d))


def unbolting_order(model: AssemblyModel, part: Part, rest: Part) -> list[int] | None:
    """The bolts between a part and the rest in an order to take them out; None where one cannot come out."""
    left = model.between(part, rest)
    order: list[int] = []
    while left:
        there = model.present(part | rest, without=order)
        out = [b for b in left if reachable(model.access(b), there)]
        if not out:
            return None
        order += out
        left = [b for b in left if b not in out]
    return order


@dataclass(frozen=True)
class Blockage:
    """What keeps members from coming free one at a time.

    Attributes
    ----------
    bolts : tuple of (int, list of int)
        Each bolt that cannot be reached, with the members in its way, or whose bolts are.
    members : dict of int to list of list of int
        Each member that comes free in no direction, with the members in its way along each of DIRECTIONS.
    """

    bolts: tuple[tuple[int, list[int]], ...]
    members: dict[int, list[list[int]]]


def why_stuck(model: AssemblyModel, members: Part) -> Blockage:
    """What keeps these members from coming free one at a time."""
    present = model.present(members)
    bolts = []
    for b in model.inner(members):
        if not reachable(model.access(b), present):
            solids = in_the_way(model.access(b), present)
            owners = frozenset[int]().union(*(model.owners(int(s)) for s in solids))
            bolts.append((b, sorted(owners - model.through[b]) or sorted(owners)))
    blockers = {}
    for k in sorted(members):
        others = np.nonzero(model.present(members - {k}))[0]
        hits = [others[model.blocked[d][k, others]] for d in range(len(DIRECTIONS))]
        if all(len(h) for h in hits):
            blockers[k] = [sorted({min(model.owners(int(s))) for s in h}) for h in hits]
    return Blockage(tuple(bolts), blockers)
