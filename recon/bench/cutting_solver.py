"""Cut lists against another solver.

`python -m recon.bench cutting_solver [INSTANCES] [FIRST_SEED]`, 200 instances from seed 0 by default.

The other solver is HiGHS (through SciPy's `milp`) on the arc-flow model of the cutting stock problem with
several lengths (J. Valerio de Carvalho, "Exact solution of bin-packing problems using column generation and
branch-and-bound", Annals of Operations Research 86, 1999, doi:10.1023/A:1018952112615): a stick is a path
from 0 to its length along arcs that are pieces or single holes of waste.  It shares nothing with the
project's solver.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence

import numpy as np
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import coo_array

from recon.workshop.cutting.cutting_stock import solve_cutting_stock
from recon.workshop.cutting.patterns import StickKind

LENGTHS = {64: 4, 80: 5, 96: 6}  # holes of sticks of 8, 10 and 12 ft at 1.5 in, and what they cost
LIMIT_S = 30.0  # for the other solver


def run(args: Sequence[str]) -> int:
    """Print how many instances agree; returns 1 where the project's list costs more, or less than can be."""
    count, first = (int(x) for x in (*args, *("200", "0")[len(args) :]))
    found, start = Counter[str](), time.time()
    for seed in range(first, first + count):
        demand, kinds = instance(seed)
        own = solve_cutting_stock(demand, kinds)
        least = arc_flow(demand, kinds)
        if least is None:
            found["not solved by the other solver in time"] += 1
            continue
        verdict = "equal" if own.cost == least else "dearer" if own.cost > least else "cheaper than can be"
        found[verdict] += 1
        found["said to be optimal"] += own.optimal
        if own.cost != least:
            print(f"seed {seed}: {own.cost} against {least}, optimal {own.optimal}, demand {demand}")
    print(
        f"{count} instances, {time.time() - start:.0f} s: "
        + ", ".join(f"{n} {w}" for w, n in sorted(found.items()))
    )
    return 1 if found["dearer"] or found["cheaper than can be"] else 0


def instance(seed: int) -> tuple[list[int], list[StickKind]]:
    """Demand for each size, and kinds of sticks: one to three lengths to buy, and sometimes owned ones.

    Examples
    --------
    >>> demand, kinds = instance(0)
    >>> all(n > 0 for n in demand) and all(len(kind.sizes) == len(demand) for kind in kinds)
    True
    """
    rng = np.random.default_rng([seed, 12])
    sizes = sorted(
        rng.choice(np.arange(2, 33), int(rng.integers(2, 7)), replace=False).tolist(), reverse=True
    )
    demand = [int(n) for n in rng.integers(1, 7, len(sizes))]
    lengths = sorted(rng.choice(list(LENGTHS), int(rng.integers(1, 4)), replace=False).tolist())
    kinds = [StickKind(n, tuple(sizes), LENGTHS[n], None) for n in lengths]
    if rng.random() < 0.4:
        owned = StickKind(int(rng.integers(33, 60)), tuple(sizes), 0, int(rng.integers(1, 4)))
        kinds.insert(0, owned)
    return demand, kinds


def arc_flow(demand: Sequence[int], kinds: Sequence[StickKind]) -> int | None:
    """The least cost of sticks that give all pieces; None where it was not found in time.

    Examples
    --------
    >>> arc_flow([4], [StickKind(64, (16,), 4, None)])
    4
    """
    sizes, longest = kinds[0].sizes, max(kind.room for kind in kinds)
    reached = {0}  # only places that pieces reach, the longest first, are looked at: others add nothing
    for size, wanted in zip(sizes, demand):
        for _ in range(wanted):
            reached |= {i + size for i in reached if i + size <= longest}
    arcs = [(i, i + size, k) for k, size in enumerate(sizes) for i in sorted(reached) if i + size <= longest]
    arcs += [(i, i + 1, -1) for i in range(longest)]
    n = len(arcs)
    rows, columns, values = [], [], []
    for column, (start, end, _) in enumerate(arcs):
        rows += [start, end]
        columns += [column, column]
        values += [1.0, -1.0]
    for k, kind in enumerate(kinds):  # a stick leaves 0 and ends at its length
        rows += [0, kind.room]
        columns += [n + k, n + k]
        values += [-1.0, 1.0]
    flow = coo_array((values, (rows, columns)), shape=(longest + 1, n + len(kinds))).tocsr()
    pieces = coo_array(
        (
            [1.0 for *_, k in arcs if k >= 0],
            ([k for *_, k in arcs if k >= 0], [c for c, (*_, k) in enumerate(arcs) if k >= 0]),
        ),
        shape=(len(sizes), n + len(kinds)),
    ).tocsr()
    upper = np.concatenate([np.full(n, np.inf), [np.inf if k.count is None else k.count for k in kinds]])
    result = milp(
        np.concatenate([np.zeros(n), [kind.cost for kind in kinds]]),
        constraints=[LinearConstraint(flow, 0, 0), LinearConstraint(pieces, list(demand), np.inf)],
        integrality=[float(k >= 0) for *_, k in arcs] + [1.0] * len(kinds),  # waste follows from the rest
        bounds=(0, upper),
        options={"time_limit": LIMIT_S, "mip_rel_gap": 0},
    )
    return round(result.fun) if result.status == 0 else None
