"""One-dimensional cutting stock: pieces out of sticks of several kinds, at the least cost, with a bound.

The ways to fill a stick are made as they are wanted, by column generation; that gives the bound. Rounding
gives a whole-number answer. Where the two differ, every way is listed if there are few, and an integer
program decides exactly; if there are many, it picks among those made.

P. C. Gilmore, R. E. Gomory, "A linear programming approach to the cutting-stock problem", Operations Research
9 (1961) 849, doi:10.1287/opre.9.6.849, and part II, 11 (1963) 863, doi:10.1287/opre.11.6.863.
"""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import LinearConstraint, milp

from recon.geometry.arrays import FloatArray, IntArray
from recon.workshop.cutting.patterns import Pattern, StickKind, generate_patterns, list_patterns

DIVES = 12  # whole-number answers tried before the integer program, each with other lots
NODES = 500  # of the search for the integer answer: not a time, so that every machine gives the same answer
MOST_SUMS = 1_000_000  # units of cost up to which the sums that sticks can come to are listed
ROUNDING = 1e-6  # of the solver, relative to the costs


@dataclass(frozen=True)
class Packing:
    """An answer.

    Attributes
    ----------
    patterns : tuple of (int, tuple of int, int)
        Place of the kind of stick, pieces of each kind in it, how many sticks are filled so.
    cost : int
        Of all sticks.
    bound : int
        No answer costs less.
    optimal : bool
        Whether cost and bound are equal.
    unmet : tuple of int
        Pieces of each kind that no stick is left for: all 0 unless every kind is limited.  Where some are
        not, cost and bound say nothing.
    """

    patterns: tuple[tuple[int, tuple[int, ...], int], ...]
    cost: int
    bound: int
    optimal: bool
    unmet: tuple[int, ...]


def solve_cutting_stock(demand: Sequence[int], kinds: Sequence[StickKind]) -> Packing:
    """The cheapest sticks that give all pieces, and a bound on their cost.

    Of the answers found at one cost, the one is returned that takes least of the owned sticks; that no other
    answer takes less of them is not proved.

    Parameters
    ----------
    demand : sequence of int
        How many pieces of each kind.
    kinds : sequence of StickKind
        Each must cost something or be limited in number.

    Returns
    -------
    Packing

    Raises
    ------
    ValueError
        Where a kind neither costs anything nor is limited, or a piece fits no stick.

    Examples
    --------
    >>> packing = solve_cutting_stock([2, 3], [StickKind(room=10, sizes=(6, 4), cost=5)])
    >>> packing.cost, packing.bound, packing.optimal
    (15, 15, True)
    """
    wanted = np.asarray(demand, np.intp)
    _check(wanted, kinds)
    if not wanted.any():
        return Packing((), 0, 0, True, tuple(int(n) for n in wanted))
    weight, unit, spare = _weights(kinds)

    def round_up(linear: float) -> int:
        slack = ROUNDING * max(1.0, abs(linear))
        sums = [kind.cost // unit for kind in kinds if kind.cost]
        return unit * _next_sum(sums, max(0, math.ceil(linear - spare - slack)))

    best = first_fit_decreasing(demand, kinds)
    columns, linear, _ = generate_patterns(wanted, kinds, weight, _patterns_of(best))
    bound = round_up(linear)
    for attempt in range(DIVES):
        if best.cost <= bound and not any(best.unmet) and attempt >= (1 if spare else 0):
            break
        dived = _dive(wanted, kinds, weight, columns, attempt)
        columns = list(dict.fromkeys(columns + _patterns_of(dived)))
        best = _better(best, dived, weight)
    if best.cost > bound or any(best.unmet):
        listed = list_patterns(wanted, kinds)
        whole, proved = _pick(wanted, kinds, listed or columns, np.floor(weight))
        best = _better(best, whole, weight)
        if listed and math.isfinite(proved):
            bound = max(bound, round_up(proved + spare))
    elif spare:
        # Of one cost, less of the owned sticks.
        best = _better(best, _pick(wanted, kinds, columns, weight)[0], weight)
    if any(best.unmet):
        return best
    bound = min(bound, best.cost)
    return Packing(best.patterns, best.cost, bound, best.cost == bound, best.unmet)


def _patterns_of(packing: Packing) -> list[Pattern]:
    return [(kind, pieces) for kind, pieces, _ in packing.patterns]


def _better(one: Packing, other: Packing | None, weight: FloatArray) -> Packing:
    """The packing that leaves fewer pieces out, then the one that weighs less; else the first."""
    if other is None:
        return one
    return min(one, other, key=lambda p: (sum(p.unmet), _objective(p, weight)))


def _check(demand: IntArray, kinds: Sequence[StickKind]) -> None:
    if any(kind.cost == 0 and kind.count is None for kind in kinds):
        raise ValueError("a kind of stick that costs nothing must be limited in number")
    for k in np.nonzero(demand)[0]:
        if all(kind.sizes[k] > kind.room for kind in kinds):
            raise ValueError(f"piece {k} fits no stick")


def _weights(kinds: Sequence[StickKind]) -> tuple[FloatArray, int, float]:
    """Costs as the programs see them: (weights, unit, what all owned sticks weigh together).

    Sticks that cost something weigh their cost in units of the greatest common divisor.  Owned sticks weigh
    half a unit together, so that they decide only between answers of one cost.
    """
    unit = math.gcd(*(kind.cost for kind in kinds)) or 1
    owned = sum(kind.room * (kind.count or 0) for kind in kinds if kind.cost == 0)
    weight = [kind.cost / unit if kind.cost else 0.5 * kind.room / max(owned, 1) for kind in kinds]
    return np.array(weight), unit, 0.5 if owned else 0.0


def _next_sum(costs: list[int], least: int) -> int:
    """The smallest sum of `costs`, each as often as one likes, that is not below `least`.

    Sticks cannot cost anything between the two.
    """
    if not costs or least > MOST_SUMS:
        return least
    reached = np.zeros(least + max(costs) + 1, bool)
    reached[0] = True
    for cost in set(costs):
        for start in range(cost):
            chain = reached[start::cost]
            reached[start::cost] = np.logical_or.accumulate(chain)
    return least + int(reached[least:].argmax())


def _objective(packing: Packing, weight: FloatArray) -> float:
    return sum(weight[kind] * times for kind, _, times in packing.patterns)


# By hand


class _OpenStick:
    """A stick that is being filled."""

    def __init__(self, kind: int, room: int, pieces: IntArray) -> None:
        self.kind, self.room, self.pieces = kind, room, pieces


def first_fit_decreasing(demand: Sequence[int], kinds: Sequence[StickKind]) -> Packing:
    """The usual rule by hand: the longest piece first, each into the first stick begun that has room.

    A new stick is an owned one if any fits, else one of the largest kind; at the end each stick is swapped
    for the cheapest kind that holds what is in it.  The packing's bound is 0: the rule proves nothing.

    Parameters
    ----------
    demand : sequence of int
        How many pieces of each kind.
    kinds : sequence of StickKind

    Examples
    --------
    >>> kinds = [StickKind(room=100, sizes=(51, 27, 26, 23), cost=1)]
    >>> first_fit_decreasing([6, 6, 6, 12], kinds).cost
    11
    """
    left = [math.inf if kind.count is None else kind.count for kind in kinds]
    sticks: list[_OpenStick] = []
    unmet = np.zeros(len(demand), int)
    longest_first = sorted(
        range(len(demand)), key=lambda i: -max(kind.sizes[i] / max(kind.sizes) for kind in kinds)
    )
    for piece in longest_first:
        start = 0  # sticks before this one have no room for this piece
        for _ in range(demand[piece]):
            at = next(
                (
                    s
                    for s in range(start, len(sticks))
                    if kinds[sticks[s].kind].sizes[piece] <= sticks[s].room
                ),
                None,
            )
            if at is None:
                kind = _new_kind(piece, kinds, left)
                if kind is None:
                    unmet[piece] += 1
                    continue
                left[kind] -= 1
                sticks.append(_OpenStick(kind, kinds[kind].room, np.zeros(len(demand), np.intp)))
                at = len(sticks) - 1
            start = at
            sticks[at].room -= kinds[sticks[at].kind].sizes[piece]
            sticks[at].pieces[piece] += 1
    _swap_for_cheaper(sticks, kinds, left)
    return _packing([(s.kind, tuple(int(n) for n in s.pieces), 1) for s in sticks], kinds, unmet)


def _new_kind(piece: int, kinds: Sequence[StickKind], left: Sequence[float]) -> int | None:
    """The kind of stick to begin for a piece: an owned one if any fits, else one of the largest kind."""
    order = sorted(range(len(kinds)), key=lambda k: (kinds[k].cost > 0, -kinds[k].room / max(kinds[k].sizes)))
    return next((k for k in order if left[k] and kinds[k].sizes[piece] <= kinds[k].room), None)


def _swap_for_cheaper(sticks: Sequence[_OpenStick], kinds: Sequence[StickKind], left: list[float]) -> None:
    """Each stick becomes one of the cheapest kind that holds what is in it, while there are any left."""
    cheapest_first = sorted(range(len(kinds)), key=lambda k: kinds[k].cost)
    for stick in sticks:
        for k in cheapest_first:
            cheaper = kinds[k].cost < kinds[stick.kind].cost and left[k]
            if cheaper and np.dot(kinds[k].sizes, stick.pieces) <= kinds[k].room:
                left[stick.kind], left[k], stick.kind = left[stick.kind] + 1, left[k] - 1, k
                break


def _packing(
    patterns: Iterable[tuple[int, tuple[int, ...], int]], kinds: Sequence[StickKind], unmet: Iterable[int]
) -> Packing:
    """The sticks as a packing that proves nothing; equal ones are counted together."""
    counted: dict[Pattern, int] = {}
    for kind, pieces, times in patterns:
        counted[kind, pieces] = counted.get((kind, pieces), 0) + times
    cost = sum(kinds[kind].cost * times for (kind, _), times in counted.items())
    return Packing(
        tuple((kind, pieces, times) for (kind, pieces), times in counted.items()),
        cost,
        0,
        False,
        tuple(int(n) for n in unmet),
    )


# Whole numbers


def _dive(
    demand: IntArray,
    kinds: Sequence[StickKind],
    weight: FloatArray,
    columns: Sequence[Pattern],
    attempt: int,
) -> Packing:
    """A whole-number answer: the whole part of the linear one, then the same for the pieces that are left.

    Where no pattern is taken whole, one of the fullest is: the most taken in attempt 0, later one drawn by
    lot.
    """
    rng = np.random.default_rng(attempt)
    left, counts = demand.copy(), [kind.count for kind in kinds]
    patterns: list[tuple[int, tuple[int, ...], int]] = []
    while left.any():
        now = [replace(kind, count=n) for kind, n in zip(kinds, counts)]
        fitting = [(k, p) for k, p in columns if (np.array(p) <= left).all() and counts[k] != 0]
        made, _, times = generate_patterns(left, now, weight, fitting)
        whole = np.floor(times + ROUNDING).astype(int)
        if not whole.any():
            if times.max() < ROUNDING:
                break  # no stick is left for any of them
            draw = times * (rng.uniform(0.5, 1.5, len(times)) if attempt else 1.0)
            whole[draw.argmax()] = 1
        for (kind, pieces), n in zip(made, whole):
            # Patterns of the linear answer may together hold more of a piece than is left: they are taken
            # while they fit.
            for _ in range(n):
                less = np.minimum(left, pieces)
                count = counts[kind]
                if count == 0 or not less.any():
                    break
                patterns.append((kind, tuple(int(x) for x in less), 1))
                left = left - less
                counts[kind] = None if count is None else count - 1
    return _packing(patterns, kinds, left)


def _pick(
    demand: IntArray, kinds: Sequence[StickKind], columns: Sequence[Pattern], weight: FloatArray
) -> tuple[Packing | None, float]:
    """The best whole number of sticks of each pattern, and the bound proved for these patterns."""
    counts = np.array([pieces for _, pieces in columns], float).T
    constraints = [LinearConstraint(counts, np.asarray(demand, float), np.inf)]
    constraints += [
        LinearConstraint([[float(of == k) for of, _ in columns]], -np.inf, float(kind.count))
        for k, kind in enumerate(kinds)
        if kind.count is not None
    ]
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
def _silent() -> Iterator[None]:
    """Keeps HiGHS from writing to the process's stdout, where results are printed.

    Now and then it writes a line there, whatever its options are.
    """
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


def _trim(
    demand: IntArray, kinds: Sequence[StickKind], columns: Sequence[Pattern], times: IntArray
) -> Packing:
    """The sticks, with pieces beyond the demand left out."""
    over = np.array([pieces for _, pieces in columns]).T @ times - demand
    patterns = []
    for (kind, pieces), n in zip(columns, times):
        for _ in range(n):
            less = np.minimum(over, pieces)
            over -= less
            patterns.append((kind, tuple(int(x) for x in np.asarray(pieces) - less), 1))
    return _packing([p for p in patterns if any(p[1])], kinds, np.zeros(len(demand), int))
