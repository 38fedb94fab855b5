"""What holds a part of a frame up while it is built: the floor, two laps, or a hand.

Members are numbers here, in the order of the frame; which way is up is an index of `DIRECTIONS`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from recon.frame.joints import CLASH_TOL
from recon.geometry.arrays import FloatArray
from recon.workshop.assembly.disassembly import DIRECTIONS, AssemblyModel, Part
from recon.workshop.drawing.hidden_lines import box_corners
from recon.workshop.solids import member_boxes

# What falls over when it is tilted by less than this does not stand by itself: the angle at which IEC 62368-1
# tilts floor-standing equipment to show that it stands; from memory.
TIP_DEG = 10.0
ON_FLOOR = CLASH_TOL  # pitches above the lowest point up to which a member counts as on the floor
LEVEL = 1e-3  # sine of the angle to the floor below which a member lies level: rounding
_ACROSS = ([1, 2], [0, 2], [0, 1])  # the axes of the floor where x, y or z is upright
_GROUND, _BOLTS = -1, -2  # nodes of the floor and of bolt 0 among the members'; of bolt b, _BOLTS - b


class Support:
    """The members of an assembly model on the floor, whichever way is up.

    Parameters
    ----------
    model : AssemblyModel
        The frame.

    Attributes
    ----------
    lowest : (6, n)
        Height of the lowest point of each member where each of DIRECTIONS is up, pitches.
    level : (6, n)
        Whether each member lies level then.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Frame, Member
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 6)
    >>> support = Support(AssemblyModel(Frame(members, find_joints(members))))
    >>> support.hanging({0, 1}, up=2), support.tips({0, 1}, up=2), support.tips({0, 1}, up=4)
    ([frozenset({1})], True, False)
    """

    def __init__(self, model: AssemblyModel):
        self.model = model
        members = model.frame.members
        corners = box_corners(member_boxes(members))
        self._corners = corners
        self._heights: FloatArray = np.einsum("nkc,dc->dnk", corners, DIRECTIONS)
        self.lowest: FloatArray = self._heights.min(axis=2)
        along = np.array([m.direction for m in members], float)
        self.level = np.abs(DIRECTIONS @ along.T) < LEVEL
        self._low: list[list[float]] = self.lowest.tolist()  # plain numbers: asked for thousands of times
        self._lies: list[list[bool]] = self.level.tolist()
        self._mass = np.array([m.holes * m.width**2 for m in members], float)
        self._middle = corners.mean(axis=1)
        self._known: dict[tuple[Part, int], bool] = {}
        self._hangs: dict[tuple[Part, int, frozenset[int]], list[Part]] = {}

    def floor(self, members: Iterable[int], up: int) -> float:
        """The height of the lowest point of these members, pitches."""
        low = self._low[up]
        return min([low[k] for k in members])

    def on_floor(self, members: Iterable[int], up: int, floor: float | None = None) -> list[int]:
        """Those that touch the floor, which is at their lowest point unless it is given."""
        numbers, low = list(members), self._low[up]
        most = (self.floor(numbers, up) if floor is None else floor) + ON_FLOOR
        return [k for k in numbers if low[k] < most]

    def footing(self, members: Iterable[int], up: int, floor: float) -> int:
        """In how many places the floor holds these members: a level member in two, another one in one."""
        level = self._lies[up]
        return sum([2 if level[k] else 1 for k in self.on_floor(members, up, floor)])

    def hanging(self, members: Iterable[int], up: int, without: Iterable[int] = ()) -> list[Part]:
        """Groups of these members that a single lap holds, or none, each of which takes a hand.

        What is held is joined to the floor in two ways that have no bolt in common; groups are what is left
        when every lap is taken away that alone keeps two sides together (a bridge of the graph).
        `without` are bolts that are not in yet.
        """
        key = frozenset(members), up, frozenset(without)
        if key not in self._hangs:
            self._hangs[key] = self._hanging(*key)
        return self._hangs[key]

    def _hanging(self, members: Part, up: int, without: frozenset[int]) -> list[Part]:
        links: dict[int, list[int]] = {k: [] for k in (_GROUND, *members)}  # a lap of two members is one edge

        def link(a: int, b: int) -> None:
            links[a].append(b)
            links[b].append(a)

        feet = self.on_floor(members, up)
        for k in feet:
            # All on one foot: whether that stands is for `tips` to say.
            for _ in range(2 if self._lies[up][k] or len(feet) == 1 else 1):
                link(_GROUND, k)
        for b in self.model.inner(members):
            if b in without:
                continue
            first, *others = self.model.through[b]
            if len(others) > 1:  # a node of its own, as the bolt is one thing that holds them all
                links[_BOLTS - b] = []
                first, others = _BOLTS - b, [first, *others]
            for k in others:
                link(first, k)
        groups = [frozenset(k for k in piece if k >= 0) for piece in _pieces(links) if _GROUND not in piece]
        return sorted(filter(None, groups), key=min)

    def tips(self, members: Iterable[int], up: int) -> bool:
        """Whether these members fall over when they are tilted by TIP_DEG."""
        key = frozenset(members), up
        if key not in self._known:
            self._known[key] = self._tips(sorted(key[0]), up)
        return self._known[key]

    def _tips(self, numbers: list[int], up: int) -> bool:
        across = _ACROSS[up % 3]
        floor = self.floor(numbers, up)
        bearing = self.on_floor(numbers, up, floor)
        feet = self._corners[bearing].reshape(-1, 3)[self._heights[up, bearing].ravel() < floor + ON_FLOOR]
        mass = self._mass[numbers]
        centre = mass @ self._middle[numbers] / mass.sum()
        height = float(centre @ DIRECTIONS[up]) - floor
        try:
            edges = ConvexHull(feet[:, across]).equations  # outward normal and offset
        except QhullError:
            return True  # on an edge or a point
        room = -(edges[:, :2] @ centre[across] + edges[:, 2])
        return bool(room.min() < height * np.tan(np.radians(TIP_DEG)))


def _pieces(links: Mapping[int, Sequence[int]]) -> Iterator[list[int]]:
    """What is left of a graph in one piece each when its bridges are taken out.

    R. Tarjan, "Depth-first search and linear graph algorithms", SIAM J. Computing 1, 1972,
    doi:10.1137/0201010, with edges that are there twice.  networkx does the same in six times the time
    (measured on 300 members), which is asked hundreds of times for a frame.

    Parameters
    ----------
    links : mapping of int to sequence of int
        The neighbours of each node, one as often as edges lead to it.
    """
    number: dict[int, int] = {}  # in which order nodes are come to
    low: dict[int, int] = {}  # the first that is reached from a node and those after it by other edges
    stack: list[int] = []

    def come_to(node: int, before: int | None) -> tuple[int, list[int]]:
        number[node] = low[node] = len(number)
        stack.append(node)
        others = list(links[node])
        if before is not None:
            others.remove(before)  # the edge that led here; a second one stays
        return node, others

    for root in links:
        way = [come_to(root, None)] if root not in number else []
        while way:
            node, others = way[-1]
            if others:
                other = others.pop()
                if other in number:
                    low[node] = min(low[node], number[other])
                else:
                    way.append(come_to(other, node))
                continue
            way.pop()
            if way:
                low[way[-1][0]] = min(low[way[-1][0]], low[node])
            if low[node] == number[node]:
                piece = [stack.pop()]
                while piece[-1] != node:
                    piece.append(stack.pop())
                yield piece
