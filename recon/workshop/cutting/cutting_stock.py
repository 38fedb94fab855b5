"""One-dimensional cutting stock: pieces out of sticks of several kinds, at the least cost, with a bound.

The ways to fill a stick are made as they are wanted, by column generation; that gives the bound. Rounding gives a
whole-number answer. Where the two differ, every way is listed if there are few, and an integer program decides exactly;
if there are many, it picks among those made.

P. C. Gilmore, R. E. Gomory, "A linear programming approach to the cutting-stock problem", Operations Research 9 (1961)
849, doi:10.1287/opre.9.6.849, and part II, 11 (1963) 863, doi:10.1287/opre.11.6.863.
"""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import LinearConstraint, linprog, milp

MOST_PATTERNS = 6000  # ways to fill sticks that are listed at most: the integer program then takes seconds
DIVES = 12  # whole-number answers tried before the integer program, each with other lots
NODES = 500  # of the search for the integer answer: not a time, so that every machine gives the same answer
MOST_SUMS = 1_000_000  # units of cost up to which the sums that sticks can come to are listed
ROUNDING = 1e-6  # of the solver, relative to the costs


@dataclass(frozen=True)
class StickKind:
    """Sticks of one kind. `room` and `sizes` (one for each piece kind) are whole numbers of one unit, which may differ
    from kind to kind; `cost` is a whole number, 0 for sticks that are owned; `count` is None where there is no limit."""

    room: int
    sizes: tuple[int, ...]
    cost: int
    count: int | None = None


@dataclass(frozen=True)
class Packing:
    """An answer.  patterns : (stick kind, pieces of each kind, how many sticks so).

    cost : of all sticks.   bound : no answer costs less.   optimal : cost = bound.   unmet : pieces of each kind that no
    stick is left for (all 0 unless every kind is limited); cost and bound then say nothing.
    """

    patterns: tuple[tuple[int, tuple[int, ...], int], ...]
    cost: int
    bound: int
    optimal: bool
    unmet: tuple[int, ...]


def solve_cutting_stock(demand: Sequence[int], kinds: Sequence[StickKind]) -> Packing:
    """The cheapest sticks that give `demand` (so many of each kind of piece), and a bound on the cost.

    Of answers found at one cost that is given which takes least of the owned sticks; that it is the least of all is not
    proved. Every kind must cost something
    or be limited. Raises ValueError where that is not so, or a piece fits no stick.
    """
    demand = np.asarray(demand, int)
    _check(demand, kinds)
    if not demand.any():
        return Packing((), 0, 0, True, tuple(demand))
    weight, unit, spare = _weights(kinds)

    def round_up(linear: float) -> int:
        return unit * _next_sum(
            [kind.cost // unit for kind in kinds if kind.cost],
            max(0, math.ceil(linear - spare - ROUNDING * max(1.0, abs(linear)))),
        )

    def best_of(*packings) -> Packing:
        return min((p for p in packings if p), key=lambda p: (sum(p.unmet), _objective(p, weight)))

    best = first_fit_decreasing(demand, kinds)
    columns, linear, _ = _generate(
        demand, kinds, weight, [(kind, pieces) for kind, pieces, _ in best.patterns]
    )
    bound = round_up(linear)
    for attempt in range(DIVES):
        if best.cost <= bound and not any(best.unmet) and attempt >= (1 if spare else 0):
            break
        dived = _dive(demand, kinds, weight, columns, attempt)
        columns = list(dict.fromkeys(columns + [(kind, pieces) for kind, pieces, _ in dived.patterns]))
        best = best_of(best, dived)
    if best.cost > bound or any(best.unmet):
        listed = _list_patterns(demand, kinds)
        whole, proved = _pick(demand, kinds, listed or columns, np.floor(weight))
        best = best_of(best, whole)
        if listed and math.isfinite(proved):
            bound = max(bound, round_up(proved + spare))
    elif spare:
        best = best_of(
            best, _pick(demand, kinds, columns, weight)[0]
        )  # of one cost, less of the owned sticks
    if any(best.unmet):
        return best
    bound = min(bound, best.cost)
    return Packing(best.patterns, best.cost, bound, best.cost == bound, best.unmet)


def _check(demand, kinds):
    if any(kind.cost == 0 and kind.count is None for kind in kinds):
        raise ValueError("a kind of stick that costs nothing must be limited in number")
    for k in np.nonzero(demand)[0]:
        if all(kind.sizes[k] > kind.room for kind in kinds):
            raise ValueError(f"piece {k} fits no stick")


def _weights(kinds) -> tuple[np.ndarray, int, float]:
    """Costs as the programs see them: in units of their greatest common divisor, and what owned sticks weigh; they
    come to half a unit together, so that they decide only between answers of one cost.  (weights, unit, their sum)"""
    unit = math.gcd(*(kind.cost for kind in kinds)) or 1
    owned = sum(kind.room * kind.count for kind in kinds if kind.cost == 0)
    weight = [kind.cost / unit if kind.cost else 0.5 * kind.room / max(owned, 1) for kind in kinds]
    return np.array(weight), unit, 0.5 if owned else 0.0


def _next_sum(costs: list[int], least: int) -> int:
    """The smallest sum of `costs`, each as often as one likes, that is not below `least`: no sticks cost anything between."""
    if not costs or least > MOST_SUMS:
        return least
    reached = np.zeros(least + max(costs) + 1, bool)
    reached[0] = True
    for cost in set(costs):
        for start in range(cost):
            chain = reached[start::cost]
            reached[start::cost] = np.logical_or.accumulate(chain)
    return least + int(reached[least:].argmax())


def _objective(packing: Packing, weight) -> float:
    return sum(weight[kind] * times for kind, _, times in packing.patterns)


def first_fit_decreasing(demand: Sequence[int], kinds: Sequence[StickKind]) -> Packing:
    """The usual rule by hand: the longest piece first, each into the first stick begun that has room; a new stick is an
    owned one if any fits, else one of the largest kind; at the end each stick is swapped for the cheapest kind that
    holds what is in it.  Its bound is 0: it proves nothing."""
    demand = np.asarray(demand, int)
    left = [math.inf if kind.count is None else kind.count for kind in kinds]
    order = sorted(range(len(kinds)), key=lambda k: (kinds[k].cost > 0, -kinds[k].room / max(kinds[k].sizes)))
    sticks: list[list] = []  # [kind, room left, pieces]
    unmet = np.zeros(len(demand), int)
    for piece in sorted(
        range(len(demand)), key=lambda i: -max(kind.sizes[i] / max(kind.sizes) for kind in kinds)
    ):
        start = 0
        for _ in range(demand[piece]):
            at = next(
                (s for s in range(start, len(sticks)) if kinds[sticks[s][0]].sizes[piece] <= sticks[s][1]),
                None,
            )
            if at is None:
                kind = next((k for k in order if left[k] and kinds[k].sizes[piece] <= kinds[k].room), None)
                if kind is None:
                    unmet[piece] += 1
                    continue
                left[kind] -= 1
                sticks.append([kind, kinds[kind].room, np.zeros(len(demand), int)])
                at = len(sticks) - 1
            start = at
            sticks[at][1] -= kinds[sticks[at][0]].sizes[piece]
            sticks[at][2][piece] += 1
    for stick in sticks:
        for k in sorted(range(len(kinds)), key=lambda k: kinds[k].cost):
            if (
                kinds[k].cost < kinds[stick[0]].cost
                and left[k]
                and np.dot(kinds[k].sizes, stick[2]) <= kinds[k].room
            ):
                left[stick[0]], left[k], stick[0] = left[stick[0]] + 1, left[k] - 1, k
                break
    return _packing([(kind, tuple(int(n) for n in pieces), 1) for kind, _, pieces in sticks], kinds, unmet)


def _packing(patterns, kinds, unmet) -> Packing:
    merged: dict = {}
    for kind, pieces, times in patterns:
        merged[kind, pieces] = merged.get((kind, pieces), 0) + times
    cost = sum(kinds[kind].cost * times for (kind, _), times in merged.items())
    return Packing(
        tuple((kind, pieces, times) for (kind, pieces), times in merged.items()),
        cost,
        0,
        False,
        tuple(int(n) for n in unmet),
    )


# All patterns


def _list_patterns(demand, kinds) -> list | None:
    """Every way to fill a stick to which no piece can be added: (kind, pieces); None where there are too many."""
    columns: list = []
    for k, kind in enumerate(kinds):
        order = sorted((i for i in range(len(demand)) if demand[i]), key=lambda i: -kind.sizes[i])
        if not _fill(kind, order, demand, k, columns):
            return None
    return columns


def _fill(kind: StickKind, order, demand, k, columns) -> bool:
    pieces = np.zeros(len(demand), int)
    steps = 0
    stack = [(0, kind.room, None)]  # (place in order, room left, count to set at the place before)
    while stack:
        place, room, counted = stack.pop()
        if counted is not None:
            pieces[order[place - 1]] = counted
            pieces[order[place:]] = 0
        steps += 1
        if len(columns) > MOST_PATTERNS or steps > 60 * MOST_PATTERNS:
            return False
        if place == len(order):
            if pieces.any() and all(kind.sizes[i] > room or pieces[i] == demand[i] for i in order):
                columns.append((k, tuple(int(n) for n in pieces)))
            continue
        size = kind.sizes[order[place]]
        for n in range(min(room // size, int(demand[order[place]])) + 1):
            stack.append((place + 1, room - n * size, n))
    return True


# Column generation


def _generate(demand, kinds, weight, columns) -> tuple[list, float, np.ndarray]:
    """Patterns enough for the linear program to be at its optimum; that optimum; how often it takes each pattern."""
    columns = list(
        dict.fromkeys(
            columns
            + [
                (
                    k,
                    tuple(
                        min(int(kind.room // kind.sizes[i]), int(demand[i])) if i == j else 0
                        for j in range(len(demand))
                    ),
                )
                for k, kind in enumerate(kinds)
                for i in range(len(demand))
                if demand[i] and kind.sizes[i] <= kind.room
            ]
        )
    )
    dear = 10 * (1 + weight.max()) * (1 + demand.max())  # a piece that no stick is left for
    while True:
        value, times, price, rent = _linear(demand, kinds, columns, weight, dear)
        new = []
        for k, (worth, pieces) in enumerate(_best_fills(kinds, demand, price)):
            if worth > weight[k] + rent[k] + 1e-9 * (1 + weight[k]) and (k, pieces) not in columns:
                new.append((k, pieces))
        if not new:
            return columns, value, times
        columns += new


def _dive(demand, kinds, weight, columns, attempt: int) -> Packing:
    """A whole-number answer: the whole part of the linear one, then the same for the pieces that are left; where no
    pattern is taken whole, one of the fullest is (the most taken in attempt 0, later one drawn by lot)."""
    rng = np.random.default_rng(attempt)
    left, counts, patterns = demand.copy(), [kind.count for kind in kinds], []
    while left.any():
        now = [replace(kind, count=n) for kind, n in zip(kinds, counts)]
        fitting = [(k, p) for k, p in columns if (np.array(p) <= left).all() and counts[k] != 0]
        made, _, times = _generate(left, now, weight, fitting)
        whole = np.floor(times + ROUNDING).astype(int)
        if not whole.any():
            if times.max() < ROUNDING:
                break  # no stick is left for any of them
            draw = times * (rng.uniform(0.5, 1.5, len(times)) if attempt else 1.0)
            whole[draw.argmax()] = 1
        for (kind, pieces), n in zip(made, whole):
            # Patterns of the linear answer may together hold more of a piece than is left: they are taken while they fit.
            while n and counts[kind] != 0 and (less := np.minimum(left, pieces)).any():
                patterns.append((kind, tuple(int(x) for x in less), 1))
                left = left - less
                counts[kind] = None if counts[kind] is None else counts[kind] - 1
                n -= 1
    return _packing(patterns, kinds, left)


def _linear(demand, kinds, columns, weight, dear):
    """The linear program over the columns: its optimum, how often each is taken, the price of each piece, the rent of
    each limited kind (>= 0)."""
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


def _best_fills(kinds, demand, price) -> list[tuple[float, tuple[int, ...]]]:
    """For each kind the dearest way to fill a stick, and what it is worth; kinds with the same sizes are done together."""
    fills: list = [None] * len(kinds)
    for sizes in dict.fromkeys(kind.sizes for kind in kinds):
        same = [k for k, kind in enumerate(kinds) if kind.sizes == sizes]
        for k, fill in zip(same, _knapsack(sizes, [kinds[k].room for k in same], demand, price)):
            fills[k] = fill
    return fills


def _knapsack(sizes, rooms, demand, price) -> list[tuple[float, tuple[int, ...]]]:
    """Bounded knapsacks of several rooms, by dynamic programming over the largest.

    Each piece kind is split into lots of 1, 2, 4 ... so that any number up to the demand is a sum of lots (S. Martello,
    P. Toth, "Knapsack Problems", Wiley 1990, section 3.2).
    """
    largest = max(rooms)
    useful = [i for i in range(len(demand)) if demand[i] and price[i] > 0 and sizes[i] <= largest]
    unit = math.gcd(*rooms, *(sizes[i] for i in useful)) or 1
    best = np.zeros(largest // unit + 1)
    lots, taken = [], []
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


def _taken(lots, taken, best, room: int, n: int) -> tuple[float, tuple[int, ...]]:
    """What a knapsack of that room is worth, and the pieces in it: the choices traced back."""
    pieces, at = [0] * n, room
    for (i, lot, size), better in zip(reversed(lots), reversed(taken)):
        if at >= size and better[at - size]:
            pieces[i] += lot
            at -= size
    return float(best[room]), tuple(pieces)


# Whole numbers


def _pick(demand, kinds, columns, weight) -> tuple[Packing | None, float]:
    """The best whole number of sticks of each pattern, and the bound that the search has proved for these patterns."""
    counts = np.array([pieces for _, pieces in columns], float).T
    constraints = [LinearConstraint(counts, np.asarray(demand, float), np.inf)]
    for k, kind in enumerate(kinds):
        if kind.count is not None:
            constraints.append(
                LinearConstraint([[float(of == k) for of, _ in columns]], -np.inf, float(kind.count))
            )
    with _silent():
        result = milp(
            [weight[kind] for kind, _ in columns],
            constraints=constraints,
            integrality=np.ones(len(columns)),
            options={"node_limit": NODES, "mip_rel_gap": 0},
        )
    proved = result.mip_dual_bound if result.mip_dual_bound is not None else -math.inf
    if result.x is None:
        return None, proved
    return _trim(demand, kinds, columns, np.round(result.x).astype(int)), proved


@contextlib.contextmanager
def _silent():
    """HiGHS now and then writes a line to the process's stdout whatever it is told; results are printed there."""
    try:
        kept = os.dup(1)
    except OSError:  # no stdout to keep clean
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _trim(demand, kinds, columns, times) -> Packing:
    """The sticks, with pieces beyond the demand left out."""
    over = np.array([pieces for _, pieces in columns]).T @ times - demand
    patterns = []
    for (kind, pieces), n in zip(columns, times):
        for _ in range(n):
            less = np.minimum(over, pieces)
            over -= less
            patterns.append((kind, tuple(int(x) for x in np.asarray(pieces) - less), 1))
    return _packing([p for p in patterns if any(p[1])], kinds, np.zeros(len(demand), int))
