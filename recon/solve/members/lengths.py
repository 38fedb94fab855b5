"""Ends judged together: parallel members mostly share their end planes, lengths are few, and posts stand.

The prior is weak on purpose: it settles what the photos leave open and takes off no hole that was found.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import logsumexp

from recon.geometry.arrays import FloatArray, IntArray
from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.evidence.scene import Ends

SHARED_PLANES = 0.5  # chance that a member has both its ends where a parallel one has them, and
SHARED_LENGTH = 0.2  # that it has its length alone from another one; common practice, no source
LENGTHS = 30  # else one in so many; this project's choice
SAME_PLANE = 0.25  # pitches between ends in one plane; holes of one lattice lie a half or a whole apart
# That a post which ends within a hole of the frame's lowest plane ends in it: of 248 such posts of 70 made
# frames 236 did.  Things stand on the floor; what ends a hole above it hangs in the air.
STANDS = 0.95
LENGTH_SURE = 0.9  # probability of both its ends from which a member's length counts for others
# Of settling, each with the others' ends as the last one left them: on 25 frames of 6 to 26 members the
# second changed no end, on a made-up one of 101 it mended five and the third one more.
ROUNDS = 3


def settle_ends(
    candidates: Sequence[Candidate], ends: Sequence[Ends], up: FloatArray, width: float
) -> list[Ends]:
    """The guesses for both ends of each member, with what the other members' ends say of them.

    Parameters
    ----------
    candidates : Sequence[Candidate]
        All members.
    ends : Sequence[Ends]
        Of each its low and its high end, from the photos alone.
    up : array, (3,)
        Unit, the axis of the frame that points up.
    width : float
        Of the members, pitches.

    Examples
    --------
    Two posts surely have 10 holes; the third, beside them, has 9 or, a little less likely, 10.

    >>> at = lambda *p: EndGuess(np.arange(9, 9 - len(p), -1), np.log(p), False)
    >>> low = EndGuess(np.array([0]), np.zeros(1), False)
    >>> posts = [Candidate.bare(2, [x, 0, 0], 9) for x in (0, 5, 10)]
    >>> up = np.array([0.0, 0.0, 1.0])
    >>> settled = settle_ends(posts, [(low, at(1.0)), (low, at(1.0)), (low, at(0.4, 0.6))], up, 1.0)
    >>> [high.best for _, high in settled]
    [9, 9, 9]
    """
    settled = list(ends)
    for _ in range(ROUNDS):
        lowest = _lowest_planes(candidates, settled, up, width)
        others = [_Others(candidates, settled, axis) for axis in range(3)]
        settled = [
            _settled(i, candidates, ends[i], others[c.axis], up, np.delete(lowest, i))
            for i, c in enumerate(candidates)
        ]
    return settled


def _lowest_planes(
    candidates: Sequence[Candidate], ends: Sequence[Ends], up: FloatArray, width: float
) -> FloatArray:
    """(C,) how high each member's lowest plane lies, pitches along up; inf where that is not likely known."""
    axis = int(np.abs(up).argmax())
    out = np.full(len(candidates), np.inf)
    for i, (c, (low, high)) in enumerate(zip(candidates, ends)):
        if c.axis != axis:
            out[i] = c.first @ up - width / 2
            continue
        foot = low if up[axis] > 0 else high
        if foot.sure > 0.5:
            out[i] = c.first @ up + foot.best * up[axis] - 0.5
    return out


def _standing(candidate: Candidate, ends: Ends, up: FloatArray, lowest: FloatArray) -> FloatArray:
    """(L, H) nats for a post standing where the lowest of the others do, by its low and its high end."""
    axis = int(np.abs(up).argmax())
    low, high = ends
    out = np.zeros((len(low.hole), len(high.hole)))
    if candidate.axis != axis or not np.isfinite(lowest).any():
        return out
    rising = up[axis] > 0
    foot = candidate.first @ up + (low if rising else high).hole * up[axis] - 0.5
    stands = (np.abs(foot - lowest.min()) < SAME_PLANE) * float(np.log(STANDS / (1 - STANDS)))
    return out + (stands[:, None] if rising else stands[None, :])


def _settled(
    index: int,
    candidates: Sequence[Candidate],
    ends: Ends,
    others: _Others,
    up: FloatArray,
    lowest: FloatArray,
) -> Ends:
    """The guesses for one member's ends, each the marginal of both together."""
    candidate, (low, high) = candidates[index], ends
    n = high.hole[None, :] - low.hole[:, None] + 1
    log = low.log_p[:, None] + high.log_p[None, :] + others.log_prior(index, low.hole, high.hole)
    log = log + _standing(candidate, ends, up, lowest)
    first, last = _found(candidate, low.best, high.best)
    allowed = (n >= 1) & (low.hole[:, None] <= first) & (high.hole[None, :] >= last)
    if not allowed.any():
        return low, high
    log = np.where(allowed, log, -np.inf)
    log = log - logsumexp(log)
    return (
        EndGuess(low.hole, logsumexp(log, axis=1), low.cut),
        EndGuess(high.hole, logsumexp(log, axis=0), high.cut),
    )


def _found(candidate: Candidate, low: int, high: int) -> tuple[int, int]:
    """The first and the last hole with a mark between two ends: no prior takes these off."""
    marked = np.nonzero(candidate.seen > 0)[0]
    marked = marked[(marked >= low) & (marked <= high)]
    return (int(marked[0]), int(marked[-1])) if len(marked) else (high, low)


class _Others:
    """Where members along one axis end, and how long all are: what may be expected of one more."""

    def __init__(self, candidates: Sequence[Candidate], ends: Sequence[Ends], axis: int) -> None:
        self.candidates, self.axis = candidates, axis
        self.parallel = np.array([j for j, c in enumerate(candidates) if c.axis == axis], int)
        self.planes = [
            _Planes(
                [ends[j][side].hole + candidates[j].first[axis] for j in self.parallel],
                [ends[j][side].log_p for j in self.parallel],
            )
            for side in (0, 1)
        ]
        self.sure = np.array([min(low.sure, high.sure) > LENGTH_SURE for low, high in ends], bool)
        self.length = np.array([high.best - low.best + 1 for low, high in ends], int)

    def log_prior(self, index: int, low: IntArray, high: IntArray) -> FloatArray:
        """(L, H) natural logarithm of the chance of each pair of ends of a member, by those of the others.

        index : of the member, which does not count
        low, high : (L,) and (H,) its last holes, counted from its hole 0
        """
        start = self.candidates[index].first[self.axis]
        beside = self.parallel != index
        at_low, at_high = (p.chances(h + start)[:, beside] for p, h in zip(self.planes, (low, high)))
        sure = np.delete(self.length, index)[np.delete(self.sure, index)]
        n = high[None, :] - low[:, None] + 1
        shared, length = (SHARED_PLANES if beside.any() else 0.0), (SHARED_LENGTH if len(sure) else 0.0)
        chance = (
            shared * (at_low @ at_high.T) / max(int(beside.sum()), 1)
            + length * (n[..., None] == sure).sum(-1) / max(len(sure), 1)
            + (1 - shared - length) / LENGTHS
        )
        return np.asarray(np.log(chance))


class _Planes:
    """Where the ends of J members on one side lie along their axis, pitches, with their chances."""

    def __init__(self, places: Sequence[FloatArray], log_p: Sequence[FloatArray]) -> None:
        self.place = np.concatenate([*places, np.zeros(0)])
        self.chance = np.exp(np.concatenate([*log_p, np.zeros(0)]))
        self.start = np.cumsum([0, *(len(p) for p in places)])[:-1]

    def chances(self, places: FloatArray) -> FloatArray:
        """(C, J) probability that the end of each member lies at each of some places."""
        if not len(self.start):
            return np.zeros((len(places), 0))
        near = np.abs(places[:, None] - self.place) < SAME_PLANE
        return np.asarray(np.add.reduceat(near * self.chance, self.start, axis=1))


def ends_log_prior(
    index: int, candidates: Sequence[Candidate], ends: Sequence[Ends], low: IntArray, high: IntArray
) -> FloatArray:
    """Natural logarithm of the chance that a member on a candidate's line has these ends, by the others'.

    Parameters
    ----------
    index : int
        Of the candidate, whose own ends do not count.
    candidates : Sequence[Candidate]
        All members.
    ends : Sequence[Ends]
        Of each its low and its high end.
    low, high : int arrays, (L,) and (H,)
        Its first and last hole, counted from the candidate's hole 0.

    Returns
    -------
    (L, H) array

    Examples
    --------
    Three posts side by side have 10 holes; a fourth rather has as many, between the same planes, than 8.

    >>> certain = lambda k: EndGuess(np.array([k]), np.zeros(1), False)
    >>> posts = [Candidate.bare(2, [x, 0, 0], 10) for x in (0, 5, 10, 15)]
    >>> log = ends_log_prior(3, posts, [(certain(0), certain(9))] * 4, np.array([0]), np.array([7, 9]))
    >>> np.exp(log).round(2).tolist()
    [[0.01, 0.71]]
    """
    return _Others(candidates, ends, candidates[index].axis).log_prior(index, low, high)
