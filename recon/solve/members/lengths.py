"""Ends judged together: parallel members mostly share their end planes, lengths are few, and posts stand.

The prior is weak on purpose: it settles what the photos leave open and takes off no hole that was found.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import logsumexp

from recon.geometry.arrays import FloatArray
from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.evidence.scene import Ends

# Of 986 members of 77 rendered frames (furniture by design, and frames put together at random) 601 have both
# their ends in the planes of a parallel one's.  That is the share before anything is seen of a frame, and it
# weighs as much as one member: each member of the frame with sure ends counts for or against.
TWINS, TWINS_WEIGHT = 0.6, 1.0
MOST_TWINS = 0.97  # share that is ever taken; this project's choice
# Of those without such a twin, chance that a member has one end in a parallel one's plane, and that it has
# its length alone from another one: half as much, or none, made little difference on the same frames.
SHARED_PLANE, SHARED_LENGTH = 0.2, 0.2
LENGTHS = 30  # else one in so many places for each end; this project's choice
SAME_PLANE = 0.25  # pitches between ends in one plane; holes of one lattice lie a half or a whole apart
# Odds, as a chance, for the lowest plane of a frame against any other place for the foot of a post: of 346
# posts of the same frames 279 end in it, the others in a few other places each.  Things stand on the floor.
STANDS = 0.95
LENGTH_SURE = 0.9  # probability of both its ends from which a member's length counts for others


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
    lowest = _lowest_planes(candidates, ends, up, width)
    twins = _share_of_twins(candidates, ends)
    return [_settled(i, candidates, ends, twins, up, np.delete(lowest, i)) for i in range(len(candidates))]


def _share_of_twins(candidates: Sequence[Candidate], ends: Sequence[Ends]) -> float:
    """The part of a frame's members that have both their ends where a parallel one has them."""
    spans = [
        (c.axis, c.first[c.axis] + low.best, c.first[c.axis] + high.best)
        for c, (low, high) in zip(candidates, ends)
        if min(low.sure, high.sure) > LENGTH_SURE
    ]
    known = np.array(spans).reshape(-1, 3)
    alike = (np.abs(known[:, None] - known[None]) < SAME_PLANE).all(2).sum(1) > 1
    share = (TWINS * TWINS_WEIGHT + alike.sum()) / (TWINS_WEIGHT + len(known))
    return float(min(share, MOST_TWINS))


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
    ends: Sequence[Ends],
    twins: float,
    up: FloatArray,
    lowest: FloatArray,
) -> Ends:
    """The guesses for one member's ends, each the marginal of both together."""
    candidate, (low, high) = candidates[index], ends[index]
    n = high.hole[None, :] - low.hole[:, None] + 1
    log = low.log_p[:, None] + high.log_p[None, :] + _log_prior(index, candidates, ends, twins, n)
    log = log + _standing(candidate, ends[index], up, lowest)
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


def _log_prior(
    index: int, candidates: Sequence[Candidate], ends: Sequence[Ends], twins: float, n: np.ndarray
) -> FloatArray:
    """Natural logarithm of the chance of each pair of ends, by the ends of the other members.

    A mixture: both ends from a parallel member, one of them, the length from any member, or none of these.
    """
    candidate, (low, high) = candidates[index], ends[index]
    axis = candidate.axis
    others = [j for j in range(len(candidates)) if j != index]
    both, one, length = np.zeros(n.shape), np.zeros(n.shape), np.zeros(n.shape)
    parallel = [j for j in others if candidates[j].axis == axis]
    for j in parallel:
        shift = candidate.first[axis] - candidates[j].first[axis]
        at_low, at_high = _chance(ends[j][0], low.hole + shift), _chance(ends[j][1], high.hole + shift)
        both += np.outer(at_low, at_high) / len(parallel)
        one += (at_low[:, None] + at_high[None, :]) / (2 * len(parallel) * LENGTHS)
    sure = [j for j in others if min(ends[j][0].sure, ends[j][1].sure) > LENGTH_SURE]
    for j in sure:
        length += (n == ends[j][1].best - ends[j][0].best + 1) / (len(sure) * LENGTHS)
    share = twins if parallel else 0.0
    plane, alike = SHARED_PLANE if parallel else 0.0, SHARED_LENGTH if sure else 0.0
    chance = share * both + (1 - share) * (plane * one + alike * length + (1 - plane - alike) / LENGTHS**2)
    return np.asarray(np.log(chance))


def _chance(guess: EndGuess, places: FloatArray) -> FloatArray:
    """Probability that an end lies at each of some places, in its member's hole numbers: (C,)."""
    near = np.abs(places[:, None] - guess.hole[None, :]) < SAME_PLANE
    return np.asarray((near * np.exp(guess.log_p)).sum(1))
