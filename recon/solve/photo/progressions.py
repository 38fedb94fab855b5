"""Arithmetic progressions of cotangents among openings, grown from many pairs at once.

A row along a known direction is one (:mod:`recon.solve.photo.axis_rows`).  Each pair is the first guess of a
row; its openings are taken, the row fitted to them, and both again until nothing changes.  All pairs go
through this side by side in arrays, since most of them, chance neighbours, end in the first round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray

# A hole in sight is among the openings 9 times of 10 (worst rendered photos).
HIT, MISS = np.log(0.9), np.log(0.1)
BAND = 0.02  # rad: openings further off in theta are not of the row
ROUNDS = 3
# Of the band of the first round, whose theta is that of two openings only.
FIRST_WIDTH = 1.3
FIRST_REACH = 0.09  # of a step, for each step from the first two: how much worse that one is known
FEWEST = 3  # openings of a row


@dataclass(frozen=True)
class SightLines:
    """Lines of sight of N openings round one direction.

    Attributes
    ----------
    theta : (N,) rad, angle round the direction.
    tau : (N,) cotangent of the angle with the direction.
    theta_px, tau_px : (N,) by how much they change for a px sideways of and along the axis' image.
    along : (N, 2) unit, image direction of the axis at each opening.
    """

    theta: FloatArray
    tau: FloatArray
    theta_px: FloatArray
    tau_px: FloatArray
    along: FloatArray


@dataclass(frozen=True)
class SortedOpenings:
    """Openings sorted by theta.

    Attributes
    ----------
    lines, openings : their lines of sight and records.
    density : (N,) clutter per px^2 round each.
    chord : (N,) width of the ellipse along the row, in tau.
    sigma : (N,) standard error of the centre, px.
    side : (N,) by how much theta may be off, rad.
    """

    lines: SightLines
    openings: np.ndarray
    density: FloatArray
    chord: FloatArray
    sigma: FloatArray
    side: FloatArray

    @cached_property
    def gain(self) -> FloatArray:
        """(N,) nats for each opening that lies at a step of a row, against clutter."""
        spread = np.hypot(self.sigma, 0.4)
        chance = np.clip(self.density * np.pi * (2.5 * spread) ** 2, 1e-4, 0.9)
        return np.asarray(HIT - np.log(chance))

    @cached_property
    def slack(self) -> FloatArray:
        """(N,) by how much tau may be off."""
        return np.asarray((2.8 * np.hypot(self.sigma, 0.4)) * self.lines.tau_px)


@dataclass(frozen=True)
class GrownRow:
    """What a pair has grown to.

    Attributes
    ----------
    index : (M,) numbers of its openings in their order along the row.
    step : (M,) whole steps from the first.
    evidence : nats, without what the openings look like.
    """

    index: IntArray
    step: IntArray
    evidence: float


@dataclass(frozen=True)
class _Taken:
    """The openings of S rows, padded to the longest.

    Attributes
    ----------
    pair : (S,) number of the pair that each row comes from.
    index, step : (S, M) openings, -1 past the last, and their steps, 0 there.
    evidence : (S,) nats.
    """

    pair: IntArray
    index: IntArray
    step: IntArray
    evidence: FloatArray

    def part(self, which: BoolArray) -> _Taken:
        """The rows that a mask picks."""
        return _Taken(self.pair[which], self.index[which], self.step[which], self.evidence[which])

    def row(self, s: int) -> GrownRow:
        """One of the rows."""
        count = int((self.index[s] >= 0).sum())
        step = self.step[s, :count]
        return GrownRow(self.index[s, :count], step - step[0], float(self.evidence[s]))


@dataclass(frozen=True)
class _Rows:
    """S arithmetic progressions of cotangents.

    Attributes
    ----------
    pair : (S,) number of the pair that each comes from.
    theta : (S,) of the rows, rad.
    tau, delta : (S,) of step 0, and from step to step.
    """

    pair: IntArray
    theta: FloatArray
    tau: FloatArray
    delta: FloatArray

    def part(self, which: BoolArray) -> _Rows:
        """The rows that a mask picks."""
        return _Rows(self.pair[which], self.theta[which], self.tau[which], self.delta[which])


@dataclass(frozen=True)
class _Looks:
    """What the openings of a pair look like: chord over step, and size, px, (P,) each.

    The same hole at another distance: size follows the step.
    """

    ratio: FloatArray
    size: FloatArray


def grown(field: SortedOpenings, pairs: Sequence[tuple[int, int]]) -> list[GrownRow | None]:
    """The progression through each pair of openings.

    Parameters
    ----------
    field : the openings
    pairs : their numbers, one step apart

    Returns
    -------
    For each pair its row; None where fewer than three openings make one.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> openings = np.zeros(5, OPENING)
    >>> openings["major"] = openings["minor"] = 8
    >>> tau, px = np.array([0.1, 0.2, 0.3, 0.5, 0.57]), np.full(5, 0.001)
    >>> lines = SightLines(np.zeros(5), tau, px, px, np.zeros((5, 2)))
    >>> field = SortedOpenings(lines, openings, px, np.full(5, 0.02), np.full(5, 0.3), px)
    >>> row, none = grown(field, [(0, 1), (3, 4)])
    >>> row.step.tolist(), none
    ([0, 1, 2, 4], None)
    """
    i, j = np.array(pairs, int).reshape(-1, 2).T
    tau = field.lines.tau
    delta = np.abs(tau[j] - tau[i])
    rows = _Rows(
        np.arange(len(pairs)),
        (field.lines.theta[i] + field.lines.theta[j]) / 2,
        np.minimum(tau[i], tau[j]),
        delta,
    )
    o = field.openings
    looks = _Looks((field.chord[i] + field.chord[j]) / 2 / delta, np.sqrt(o["major"][i] * o["major"][j]))
    out: list[GrownRow | None] = [None] * len(pairs)
    before: _Taken | None = None
    for k in range(ROUNDS):
        taken = _at_steps(field, rows, *_near(field, rows, looks, first=k == 0), first=k == 0)
        rows = _refitted(field, taken)
        done = _settled(taken, before) if k < ROUNDS - 1 else np.ones(len(taken.pair), bool)
        for s in np.nonzero(done & (rows.delta > 0))[0].tolist():
            out[taken.pair[s]] = taken.row(s)
        on = ~done & (rows.delta > 0)
        rows, before = rows.part(on), taken.part(on)
        if not on.any():
            break
    return out


def _near(field: SortedOpenings, rows: _Rows, looks: _Looks, first: bool) -> tuple[IntArray, IntArray]:
    """Pairs (row, opening) of which the opening lies beside the row and looks as its own do, row by row."""
    theta = field.lines.theta
    width = FIRST_WIDTH if first else 1.0
    low = np.searchsorted(theta, rows.theta - BAND)
    count = np.searchsorted(theta, rows.theta + BAND) - low
    row = np.repeat(np.arange(len(count)), count)
    opening = np.arange(len(row)) + np.repeat(low - (np.cumsum(count) - count), count)
    beside = np.abs(theta[opening] - rows.theta[row]) < width * field.side[opening]
    row, opening = row[beside], opening[beside]
    if first:
        enough = np.bincount(row, minlength=len(count)) >= FEWEST
        row, opening = row[enough[row]], opening[enough[row]]
    own = rows.pair[row]
    alike = np.abs(np.log(field.chord[opening] / rows.delta[row] / looks.ratio[own])) < 0.5
    alike &= np.abs(np.log(field.openings["major"][opening] / looks.size[own])) < 0.6
    return row[alike], opening[alike]


def _at_steps(field: SortedOpenings, rows: _Rows, row: IntArray, opening: IntArray, first: bool) -> _Taken:
    """The openings at the rows' steps, the nearest for each; rows with too few are left out.

    row, opening : (P,) pairs that may belong together, row by row
    """
    tau, delta = field.lines.tau[opening] - rows.tau[row], rows.delta[row]
    k = np.rint(tau / delta)
    # Uncertainty of a step far from the first two grows with distance in the first round.
    beyond = np.maximum(0, np.maximum(0 - k, k - 1))
    slack = field.slack[opening]
    if first:
        slack = slack + FIRST_REACH * delta * beyond * (beyond < 4)
    off = np.abs(tau - k * delta)
    good = off < np.minimum(slack, 0.3 * delta)
    good &= np.abs(field.lines.theta[opening] - rows.theta[row]) < field.side[opening]
    good &= (np.bincount(row[good], minlength=len(rows.pair)) >= FEWEST)[row]
    row, opening, step = row[good], opening[good], k[good].astype(int)
    order = np.lexsort((off[good] / field.lines.tau_px[opening], step, row))
    row, opening, step = row[order], opening[order], step[order]
    nearest = np.r_[True, (step[1:] != step[:-1]) | (row[1:] != row[:-1])][: len(row)]
    return _best_stretches(field, rows, row[nearest], opening[nearest], step[nearest])


def _best_stretches(
    field: SortedOpenings, rows: _Rows, row: IntArray, opening: IntArray, step: IntArray
) -> _Taken:
    """Of each row the stretch of steps with most evidence: hits and misses against clutter."""
    some, row, count = np.unique(row, return_inverse=True, return_counts=True)
    at = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    shape = len(some), int(count.max(initial=0))
    index, steps, gain = np.full(shape, -1), np.zeros(shape, int), np.zeros(shape)
    index[row, at], steps[row, at], gain[row, at] = opening, step, field.gain[opening]
    low, high, best = _likeliest(gain, steps, count)
    lead = gain[np.arange(len(some)), low] + gain[np.arange(len(some)), np.minimum(low + 1, shape[1] - 1)]
    # The first two fix step and phase: no evidence.
    evidence = best - lead + np.log(0.3)
    columns = low[:, None] + np.arange(shape[1])
    inside = columns < high[:, None]
    columns = np.minimum(columns, shape[1] - 1)
    index = np.where(inside, np.take_along_axis(index, columns, 1), -1)
    steps = np.where(inside, np.take_along_axis(steps, columns, 1), 0)
    return _Taken(rows.pair[some], index, steps, evidence).part(high - low >= FEWEST)


def _likeliest(gain: FloatArray, step: IntArray, count: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Where the best stretches (S,) begin and end, and their nats; only ``count`` (S,) columns are heeded.

    A miss costs; but a bolt or a member in front hides several holes at a stroke: long gaps cost less each.
    """
    gap = np.diff(step, axis=1) - 1
    cost = np.where(gap > 0, -MISS * np.minimum(gap, 2 + 0.25 * gap) * 0.6, 0.0)
    start, low, high = (np.zeros(len(gain), int) for _ in range(3))
    total, best = np.zeros(len(gain)), np.full(len(gain), -np.inf)
    for i in range(gain.shape[1]):
        if i:
            on = total - cost[:, i - 1] > 0
            total = np.where(on, total + (gain[:, i] - cost[:, i - 1]), gain[:, i])
            start = np.where(on, start, i)
        else:
            total = gain[:, 0]
        better = (total > best) & (i < count)
        best, low = np.where(better, total, best), np.where(better, start, low)
        high = np.where(better, i + 1, high)
    return low, high, best


def _refitted(field: SortedOpenings, taken: _Taken) -> _Rows:
    """The progressions by weighted least squares over their openings; some may run backwards."""
    there = taken.index >= 0
    w = np.where(there, 1 / field.lines.tau_px[taken.index] ** 2, 0.0)
    tau = field.lines.tau[taken.index]
    total = w.sum(1)
    step_mean, tau_mean = (w * taken.step).sum(1) / total, (w * tau).sum(1) / total
    off = taken.step - step_mean[:, None]
    delta = (w * off * (tau - tau_mean[:, None])).sum(1) / (w * off**2).sum(1)
    side = np.where(there, 1 / field.lines.theta_px[taken.index], 0.0)
    theta = (side * field.lines.theta[taken.index]).sum(1) / side.sum(1)
    return _Rows(taken.pair, theta, tau_mean - delta * step_mean, delta)


def _settled(taken: _Taken, before: _Taken | None) -> BoolArray:
    """Which rows have the openings that they had a round before, (S,)."""
    same = np.zeros(len(taken.pair), bool)
    if before is None:
        return same
    then = np.searchsorted(before.pair, taken.pair)  # numbers of pairs rise; none comes back
    columns = max(taken.index.shape[1], before.index.shape[1])
    old, new = (
        np.pad(a, ((0, 0), (0, columns - a.shape[1])), constant_values=-1)
        for a in (before.index[then], taken.index)
    )
    return np.asarray((old == new).all(1))
