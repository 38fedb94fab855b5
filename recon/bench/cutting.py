"""Cut lists of 10, 100 and 1,000 pieces: gap to the bound, and against first-fit decreasing.

Pieces of 2 to 32 holes, drawn evenly, out of drilled sticks of 64, 80 and 96 holes (8, 10 and 12 ft at a
pitch of 1.5 in), out of one length alone, and out of sticks that are not drilled, with a kerf. Times are
compared with those of first-fit decreasing in the same run, which says more than seconds of one machine.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

import numpy as np

from recon.workshop.cutting.cutting_stock import first_fit_decreasing, solve_cutting_stock
from recon.workshop.cutting.patterns import StickKind

NUMBERS = (10, 100, 1000)
SEEDS = 5

Result = TypeVar("Result")


def _instances(sizes: tuple[int, ...]) -> Iterator[tuple[str, list[StickKind]]]:
    """(name, stick kinds) for piece lengths in holes."""
    blank = tuple(381 * n + 32 for n in sizes)  # tenths of a mm: a pitch of 38.1 mm and a kerf of 3.2 mm
    yield "one length", [StickKind(64, sizes, 4)]
    yield "three lengths", [StickKind(64, sizes, 4), StickKind(80, sizes, 5), StickKind(96, sizes, 6)]
    yield "not drilled", [StickKind(24384 + 32, blank, 4), StickKind(30480 + 32, blank, 5)]


def _timed(work: Callable[..., Result], *args: Any) -> tuple[Result, float]:
    """What a function returns, and the seconds that it takes."""
    start = time.perf_counter()
    result = work(*args)
    return result, time.perf_counter() - start


def run(args: Sequence[str]) -> int:
    """Print a line for each kind of sticks and number of pieces: mean over the seeds, 0 to SEEDS - 1."""
    print(
        f"{'sticks':15}{'pieces':>7}{'proved':>8}{'gap to bound':>14}{'first fit above':>17}{'seconds':>9}"
        f"{'times first fit':>17}"
    )
    for number in NUMBERS:
        rows: dict[str, list] = {}
        for seed in range(SEEDS):
            sizes, demand = np.unique(np.random.default_rng(seed).integers(2, 33, number), return_counts=True)
            for name, kinds in _instances(tuple(int(n) for n in sizes)):
                best, seconds = _timed(solve_cutting_stock, demand, kinds)
                fit, fit_seconds = _timed(first_fit_decreasing, demand, kinds)
                rows.setdefault(name, []).append(
                    (best.optimal, best.cost / best.bound - 1, fit.cost / best.cost - 1, seconds, fit_seconds)
                )
        for name, found in rows.items():
            proved, gap, above, seconds, fit_seconds = np.mean(found, axis=0)
            print(
                f"{name:15}{number:7}{f'{proved * SEEDS:.0f} of {SEEDS}':>8}{gap:14.2%}{above:17.2%}"
                f"{seconds:9.2f}{seconds / fit_seconds:17.0f}",
                flush=True,
            )
    return 0
