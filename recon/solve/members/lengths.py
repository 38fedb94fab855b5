"""Ends judged together: parallel members mostly share their end planes, lengths are few, and posts stand.

The prior is weak on purpose: it settles what the photos leave open and takes off no hole that was found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import logsumexp

from recon.geometry.arrays import FloatArray, IntArray
from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.evidence.scene import Ends
from recon.solve.members.ends import LAP_PRIOR

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
# Of settling, each with the others' ends as the last one left them: on 25 frames of 6 to 26 members the
# second changed no end, on a made-up one of 101 it mended five and the third one more; a third time makes
# probabilities higher than they are right.  The odds of laps have come to rest after as many.
ROUNDS = 2


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
    ends = with_own_lap_prior(ends)
    settled = list(ends)
    for _ in range(ROUNDS):
        lowest = _lowest_planes(candidates, settled, up, width)
        others = OtherEnds(candidates, settled)
        settled = [
            _settled(i, c, ends[i], others, up, np.delete(lowest, i)) for i, c in enumerate(candidates)
        ]
    return settled


def with_own_lap_prior(ends: Sequence[Ends]) -> list[Ends]:
    """The guesses under the prior for laps that the frame's own ends speak for.

    Mostly a member takes in a lap that its next hole would be, and `LAP_PRIOR` says so; in a frame of which
    many ends are seen to stop short of one, an end that no photo shows may, too.

    Parameters
    ----------
    ends : Sequence[Ends]
        Of each member, from the photos alone.

    Notes
    -----
    The odds of taking a lap in against stopping short of it are estimated from all ends together by
    expectation maximisation (Dempster, Laird and Rubin 1977, doi:10.1111/j.2517-6161.1977.tb01600.x);
    `LAP_PRIOR` counts as one end that stops short beside the others that it stands for.

    Examples
    --------
    Forty posts are seen to end at hole 8, one before a lap; of one more only the prior says that it goes on.

    >>> low, holes, laps = EndGuess(np.array([0]), np.zeros(1), False), np.array([8, 9]), np.array([1, 2])
    >>> nats = [np.array([7.0, 0])] * 40 + [np.array([0, LAP_PRIOR])]
    >>> ends = [(low, EndGuess(holes, x - logsumexp(x), False, laps=laps)) for x in nats]
    >>> np.exp(with_own_lap_prior(ends)[-1][1].log_p).round(1).tolist()
    [0.7, 0.3]
    """
    before = float(np.exp(LAP_PRIOR))
    now = list(ends)
    for _ in range(ROUNDS):
        counts = [_laps_short_and_taken(guess) for pair in now for guess in pair]
        short, taken = np.sum(counts, axis=0) if counts else (0.0, 0.0)
        less = min(float(np.log((before + taken) / (1 + short))) - LAP_PRIOR, 0.0)
        now = [(_reweighed(low, less), _reweighed(high, less)) for low, high in ends]
    return now


def _laps_short_and_taken(guess: EndGuess) -> tuple[float, float]:
    """Chances that an end stops just short of a lap, and that its last hole is one and the next is none."""
    if guess.laps is None:
        return 0.0, 0.0
    step = np.diff(guess.laps) > 0
    chance = np.exp(guess.log_p)
    return float(chance[:-1][step].sum()), float(chance[1:][step & ~np.r_[step[1:], False]].sum())


def _reweighed(guess: EndGuess, nats: float) -> EndGuess:
    """The guess with so many nats more for each lap that is taken in."""
    if guess.laps is None or not nats:
        return guess
    log = guess.log_p + nats * guess.laps
    return replace(guess, log_p=log - logsumexp(log))


def _share_of_twins(spans: FloatArray) -> float:
    """The part of a frame's members that have both their ends where a parallel one has them.

    spans : (N, 3) axis, and place along it of both ends, pitches, of the members whose ends are sure
    """
    alike = (np.abs(spans[:, None] - spans[None]) < SAME_PLANE).all(2).sum(1) > 1
    share = (TWINS * TWINS_WEIGHT + alike.sum()) / (TWINS_WEIGHT + len(spans))
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
    candidate: Candidate,
    ends: Ends,
    others: OtherEnds,
    up: FloatArray,
    lowest: FloatArray,
) -> Ends:
    """The guesses for one member's ends, each the marginal of both together."""
    low, high = ends
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
        replace(low, log_p=logsumexp(log, axis=1)),
        replace(high, log_p=logsumexp(log, axis=0)),
    )


def _found(candidate: Candidate, low: int, high: int) -> tuple[int, int]:
    """The first and the last hole with a mark between two ends: no prior takes these off."""
    marked = np.nonzero(candidate.seen > 0)[0]
    marked = marked[(marked >= low) & (marked <= high)]
    return (int(marked[0]), int(marked[-1])) if len(marked) else (high, low)


class OtherEnds:
    """Where the members of a frame end, and how long they are: what may be expected of one more.

    Parameters
    ----------
    candidates : Sequence[Candidate]
        All members.
    ends : Sequence[Ends]
        Of each its low and its high end.

    Examples
    --------
    Four posts side by side have 10 holes; one more on the line of one rather has as many, too, than 8.

    >>> certain = lambda k: EndGuess(np.array([k]), np.zeros(1), False)
    >>> posts = [Candidate.bare(2, [x, 0, 0], 10) for x in (0, 5, 10, 15)]
    >>> others = OtherEnds(posts, [(certain(0), certain(9))] * 4)
    >>> np.exp(others.log_prior(3, np.array([0]), np.array([7, 9]))).round(3).tolist()
    [[0.0, 0.921]]
    """

    def __init__(self, candidates: Sequence[Candidate], ends: Sequence[Ends]) -> None:
        self.axis = np.array([c.axis for c in candidates], int)
        self.start = np.array([c.first[c.axis] for c in candidates])
        self.parallel = [np.nonzero(self.axis == axis)[0] for axis in range(3)]
        self.planes = [
            [_Planes([(ends[j][side], self.start[j]) for j in same.tolist()]) for side in (0, 1)]
            for same in self.parallel
        ]
        self.sure = np.array([min(low.sure, high.sure) > LENGTH_SURE for low, high in ends], bool)
        best = np.array([(low.best, high.best) for low, high in ends], int).reshape(-1, 2)
        self.length = best[:, 1] - best[:, 0] + 1
        self.twins = _share_of_twins(np.c_[self.axis, self.start[:, None] + best][self.sure])

    def log_prior(self, index: int, low: IntArray, high: IntArray) -> FloatArray:
        """(L, H) natural logarithm of the chance of each pair of ends of a member, by those of the others.

        A mixture: both ends from a parallel member, one of them, the length from any member, or none of
        these.

        Parameters
        ----------
        index : int
            Of the member, whose own ends do not count.
        low, high : int arrays, (L,) and (H,)
            Its first and last hole, counted from its hole 0.
        """
        axis = self.axis[index]
        beside = self.parallel[axis] != index
        parallel = max(int(beside.sum()), 1)
        at_low, at_high = (
            planes.chances(holes + self.start[index])[:, beside]
            for planes, holes in zip(self.planes[axis], (low, high))
        )
        both = at_low @ at_high.T / parallel
        one = (at_low.sum(1)[:, None] + at_high.sum(1)[None, :]) / (2 * parallel * LENGTHS)
        lengths = np.delete(self.length, index)[np.delete(self.sure, index)]
        n = high[None, :] - low[:, None] + 1
        length = (n[..., None] == lengths).sum(-1) / (max(len(lengths), 1) * LENGTHS)
        share = self.twins if beside.any() else 0.0
        plane, alike = SHARED_PLANE if beside.any() else 0.0, SHARED_LENGTH if len(lengths) else 0.0
        rest = plane * one + alike * length + (1 - plane - alike) / LENGTHS**2
        return np.asarray(np.log(share * both + (1 - share) * rest))


class _Planes:
    """Where the ends of J members on one side lie along their axis, pitches, with their chances."""

    def __init__(self, ends: Sequence[tuple[EndGuess, float]]) -> None:
        self.place = np.concatenate([*(guess.hole + start for guess, start in ends), np.zeros(0)])
        self.chance = np.exp(np.concatenate([*(guess.log_p for guess, _ in ends), np.zeros(0)]))
        self.first = np.cumsum([0, *(len(guess.hole) for guess, _ in ends)])[:-1]

    def chances(self, places: FloatArray) -> FloatArray:
        """(C, J) probability that the end of each member lies at each of some places."""
        if not len(self.first):
            return np.zeros((len(places), 0))
        near = np.abs(places[:, None] - self.place) < SAME_PLANE
        return np.asarray(np.add.reduceat(near * self.chance, self.first, axis=1))
