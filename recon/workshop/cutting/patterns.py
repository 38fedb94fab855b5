"""The ways to fill a stick, all of them or as the linear program wants them (column generation).

P. C. Gilmore, R. E. Gomory, "A linear programming approach to the cutting-stock problem", Operations Research
9 (1961) 849, doi:10.1287/opre.9.6.849, and part II, 11 (1963) 863, doi:10.1287/opre.11.6.863.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from recon.geometry.arrays import BoolArray, FloatArray, IntArray

MOST_PATTERNS = 6000  # ways to fill sticks that are listed at most: the integer program then takes seconds

Pattern = tuple[int, tuple[int, ...]]  # place of the kind of stick, and how many pieces of each kind
Fill = tuple[
    float, tuple[int, ...]
]  # what a filled stick is worth, and how many pieces of each kind are in it
_Lot = tuple[int, int, int]  # place of the kind of piece, how many of them, their size together


@dataclass(frozen=True)
class StickKind:
    """Sticks of one kind.

    Attributes
    ----------
    room : int
        Length to fill, in a whole number of units, which may differ from kind to kind.
    sizes : tuple of int
        Length of a piece of each kind, in the same unit.
    cost : int
        0 for sticks that are owned.
    count : int or None
        How many there are; None where there is no limit.
    """

    room: int
    sizes: tuple[int, ...]
    cost: int
    count: int | None = None


# All patterns


def list_patterns(demand: IntArray, kinds: Sequence[StickKind]) -> list[Pattern] | None:
    """Every way to fill a stick to which no piece can be added; None where there are too many.

    Examples
    --------
    >>> list_patterns(np.array([1, 2]), [StickKind(room=7, sizes=(4, 3), cost=1)])
    [(0, (1, 1)), (0, (0, 2))]
    """
    found: list[Pattern] = []
    for k, kind in enumerate(kinds):
        order = sorted((i for i in range(len(demand)) if demand[i]), key=lambda i: -kind.sizes[i])
        if not _fill(kind, order, demand, k, found):
            return None
    return found


def _fill(kind: StickKind, order: list[int], demand: IntArray, k: int, found: list[Pattern]) -> bool:
    """Add the patterns of one kind of stick to those found; False where they get too many."""
    pieces = np.zeros(len(demand), int)
    steps = 0
    # Place in the order, room left, count to set at the place before.
    stack: list[tuple[int, int, int | None]] = [(0, kind.room, None)]
    while stack:
        place, room, counted = stack.pop()
        if counted is not None:
            pieces[order[place - 1]] = counted
            pieces[order[place:]] = 0
        steps += 1
        if len(found) > MOST_PATTERNS or steps > 60 * MOST_PATTERNS:
            return False
        if place == len(order):
            if pieces.any() and all(kind.sizes[i] > room or pieces[i] == demand[i] for i in order):
                found.append((k, tuple(int(n) for n in pieces)))
            continue
        size = kind.sizes[order[place]]
        most = min(room // size, int(demand[order[place]]))
        stack += [(place + 1, room - n * size, n) for n in range(most + 1)]
    return True


# Column generation


def plain_patterns(demand: IntArray, kinds: Sequence[StickKind]) -> list[Pattern]:
    """For each kind of stick and each piece that fits, as many of that piece alone as it holds."""
    found: list[Pattern] = []
    for k, kind in enumerate(kinds):
        for i in range(len(demand)):
            if demand[i] and kind.sizes[i] <= kind.room:
                pieces = [0] * len(demand)
                pieces[i] = min(kind.room // kind.sizes[i], int(demand[i]))
                found.append((k, tuple(pieces)))
    return found


def generate_patterns(
    demand: IntArray, kinds: Sequence[StickKind], weight: FloatArray, patterns: Sequence[Pattern]
) -> tuple[list[Pattern], float, FloatArray]:
    """Patterns enough for the linear program to be at its optimum.

    Parameters
    ----------
    demand : array, (pieces,)
        How many of each kind of piece.
    kinds : sequence of StickKind
    weight : array, (kinds,)
        What a stick of each kind costs in the program.
    patterns : sequence of Pattern
        To begin with.

    Returns
    -------
    patterns : list of Pattern
    optimum : float
    times : array, (patterns,)
        How often the optimum takes each pattern; not whole numbers.
    """
    columns = list(dict.fromkeys([*patterns, *plain_patterns(demand, kinds)]))
    dear = 10 * (1 + weight.max()) * (1 + demand.max())  # a piece that no stick is left for
    while True:
        value, times, price, rent = _linear(demand, kinds, columns, weight, dear)
        new = [
            (k, pieces)
            for k, (worth, pieces) in enumerate(_best_fills(kinds, demand, price))
            if worth > weight[k] + rent[k] + 1e-9 * (1 + weight[k]) and (k, pieces) not in columns
        ]
        if not new:
            return columns, value, times
        columns += new


def _linear(
    demand: IntArray,
    kinds: Sequence[StickKind],
    columns: Sequence[Pattern],
    weight: FloatArray,
    dear: float,
) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    """The linear program over patterns: (optimum, how often it takes each, prices, rents).

    Prices are of the pieces, rents of the kinds of stick.

    A rent is 0 or more; kinds without a limit have none.  `dear` is the cost of a piece left out.
    """
    counts = np.array([pieces for _, pieces in columns], float).T
    limited = [k for k, kind in enumerate(kinds) if kind.count is not None]
    of_kind = np.array([[kind == k for kind, _ in columns] for k in limited], float).reshape(
        len(limited), len(columns)
    )
    n = len(demand)
    a = np.block([[-counts, -np.eye(n)], [of_kind, np.zeros((len(limited), n))]])
    b = np.concatenate([-np.asarray(demand, float), [kinds[k].count for k in limited]])
    cost = np.concatenate([[weight[kind] for kind, _ in columns], np.full(n, dear)])
    result = linprog(cost, A_ub=a, b_ub=b, method="highs")
    rent = np.zeros(len(kinds))
    rent[limited] = -result.ineqlin.marginals[n:]
    return result.fun, result.x[: len(columns)], -result.ineqlin.marginals[:n], rent


def _best_fills(kinds: Sequence[StickKind], demand: IntArray, price: FloatArray) -> list[Fill]:
    """For each kind the dearest way to fill a stick; kinds with the same sizes are done together."""
    fills: list[Fill] = [(0.0, ())] * len(kinds)
    for sizes in dict.fromkeys(kind.sizes for kind in kinds):
        same = [k for k, kind in enumerate(kinds) if kind.sizes == sizes]
        for k, fill in zip(same, _knapsack(sizes, [kinds[k].room for k in same], demand, price)):
            fills[k] = fill
    return fills


def _knapsack(sizes: Sequence[int], rooms: Sequence[int], demand: IntArray, price: FloatArray) -> list[Fill]:
    """Bounded knapsacks of several rooms, by dynamic programming over the largest.

    Each piece kind is split into lots of 1, 2, 4 ... so that any number up to the demand is a sum of lots (S.
    Martello, P. Toth, "Knapsack Problems", Wiley 1990, section 3.2).
    """
    largest = max(rooms)
    useful = [i for i in range(len(demand)) if demand[i] and price[i] > 0 and sizes[i] <= largest]
    unit = math.gcd(*rooms, *(sizes[i] for i in useful)) or 1
    best = np.zeros(largest // unit + 1)
    lots: list[_Lot] = []
    taken: list[BoolArray] = []
    for i in useful:
        size, most, lot = sizes[i] // unit, min(int(demand[i]), largest // sizes[i]), 1
        while most > 0:
            lot = min(lot, most)
            without, with_lot = best[lot * size :], best[: len(best) - lot * size] + lot * price[i]
            better = with_lot > without + 1e-12
            np.copyto(without, with_lot, where=better)
            lots.append((i, lot, lot * size))
            taken.append(better)
            most, lot = most - lot, 2 * lot
    return [_taken(lots, taken, best, room // unit, len(demand)) for room in rooms]


def _taken(lots: Sequence[_Lot], taken: Sequence[BoolArray], best: FloatArray, room: int, n: int) -> Fill:
    """What a knapsack of that room is worth, and the pieces in it: the choices traced back."""
    pieces, at = [0] * n, room
    for (i, lot, size), better in zip(reversed(lots), reversed(taken)):
        if at >= size and better[at - size]:
            pieces[i] += lot
            at -= size
    return float(best[room]), tuple(pieces)
