"""A member being solved: a run of holes along a lattice axis, the box that it fills, and its ends."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import networkx as nx
import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.solve.evidence.own_place import OwnPlace

LEAST_EVIDENCE = 14.0  # nats: about a thousand lines are tried, with a few hundred starts and stops each
LEAST_STEPS = 3  # distinct holes seen, open or with a bolt in them
SAME_LINE = (
    0.25  # pitches off one another, across, at which two candidates lie on one line; this project's choice
)
RUNS_INTO = 0.1  # pitches by which boxes overlap in every direction: rounding of measured places
FLUSH = 0.15  # pitches between faces that meet: play and the error of measured places

LineKey = tuple[
    int, float, float, float
]  # axis, place on the two other axes, and the holes' fraction of a pitch
Span = tuple[int, int]  # lowest and highest step on a line


@dataclass(frozen=True)
class Candidate:
    """A member being solved.

    Attributes
    ----------
    axis : int
        Along which it runs, 0 to 2; its holes count towards positive coordinates.
    first : array, (3,)
        Centre of its first hole, pitches.
    holes : int
        How many.
    evidence : float
        Nats.
    profile : array, (holes,)
        Nats at each hole, all photos and faces together.
    seen : int array, (holes,)
        Openings and heads of bolts found at each hole.
    fixed_ends : tuple[bool, bool] or None
        Which of its two ends (low, high) the user vouches for: its place is then certain; else None.
    name : str
        Its label, if it has one.
    own : OwnPlace or None
        How far it is off the lattice, where members have play.
    """

    axis: int
    first: FloatArray
    holes: int
    evidence: float
    profile: FloatArray
    seen: IntArray
    fixed_ends: tuple[bool, bool] | None = None
    name: str = ""
    own: OwnPlace | None = None

    @classmethod
    def bare(cls, axis: int, first: ArrayLike, holes: int) -> Candidate:
        """A candidate of which nothing has been seen."""
        return cls(axis, np.array(first, float), holes, 0.0, np.zeros(holes), np.zeros(holes, int))

    def box(self, width: float) -> tuple[FloatArray, FloatArray]:
        """Corners (3,), (3,) of the box that the member fills: it ends half a pitch past its last holes.

        Examples
        --------
        >>> low, high = Candidate.bare(0, [0, 0, 0], 4).box(1.5)
        >>> low.tolist(), high.tolist()
        ([-0.5, -0.75, -0.75], [3.5, 0.75, 0.75])
        """
        lo, hi = self.first - width / 2, self.first + width / 2
        lo[self.axis] = self.first[self.axis] - 0.5
        hi[self.axis] = self.first[self.axis] + self.holes - 0.5
        return lo, hi

    def part(self, start: int, stop: int) -> Candidate:
        """The member that holes ``start`` to ``stop`` - 1 would be, with what was seen of them."""
        first = self.first.copy()
        first[self.axis] += start
        profile = self.profile[start:stop]
        return replace(
            self,
            first=first,
            holes=stop - start,
            evidence=float(profile.sum()),
            profile=profile,
            seen=self.seen[start:stop],
        )


def boxes(candidates: Sequence[Candidate], width: float) -> tuple[FloatArray, FloatArray]:
    """Low and high corners (B, 3), (B, 3) of the boxes that candidates fill, pitches."""
    n = len(candidates)
    if not n:
        return np.zeros((0, 3)), np.zeros((0, 3))
    first = np.array([c.first for c in candidates], float)
    at = np.arange(n), np.array([c.axis for c in candidates])
    lo, hi = first - width / 2, first + width / 2
    lo[at] = first[at] - 0.5
    hi[at] = first[at] + np.array([c.holes for c in candidates]) - 0.5
    return lo, hi


def across(axis: int) -> list[int]:
    """The two axes other than one."""
    return [j for j in range(3) if j != axis]


def line_key_at(axis: int, place: FloatArray, along: float) -> LineKey:
    """The lattice line along an axis through ``place`` (3,), with holes at ``along`` plus whole pitches."""
    a, b = (round(float(place[j]), 3) for j in across(axis))
    return axis, a, b, round(float(along) % 1.0, 3) % 1.0


def line_key(candidate: Candidate) -> LineKey:
    """The lattice line that a candidate lies on.

    Examples
    --------
    >>> line_key(Candidate.bare(1, [2, 7.25, -3], 5))
    (1, 2.0, -3.0, 0.25)
    """
    return line_key_at(candidate.axis, candidate.first, candidate.first[candidate.axis])


def line_span(candidate: Candidate) -> Span:
    """Steps of a candidate's first and last hole on its line."""
    lo = int(np.floor(candidate.first[candidate.axis] + 1e-6))
    return lo, lo + candidate.holes - 1


def same_line(a: Candidate, b: Candidate, tol: float = SAME_LINE) -> bool:
    """Do two candidates lie on one line and overlap?

    Parameters
    ----------
    tol : float
        Pitches by which they may be off one another across the line.
    """
    sides = across(a.axis)
    return (
        a.axis == b.axis
        and bool(np.abs(a.first[sides] - b.first[sides]).max() <= tol)
        and shared_holes(a, b) > 0.5
    )


def shared_holes(a: Candidate, b: Candidate) -> float:
    """Pitches by which two candidates of one axis overlap along it; below 0 the gap between them."""
    start = max(a.first[a.axis], b.first[a.axis])
    return float(min(a.first[a.axis] + a.holes, b.first[a.axis] + b.holes) - start)


def grown(candidate: Candidate, low: int, high: int) -> Candidate:
    """The candidate with holes added (or, negative, taken off) at its ends.

    Examples
    --------
    >>> longer = grown(Candidate.bare(2, [0, 0, 0], 6), 1, -2)
    >>> longer.first.tolist(), longer.holes
    ([0.0, 0.0, -1.0], 5)
    """
    first = candidate.first.copy()
    first[candidate.axis] -= low

    def padded(values: np.ndarray) -> np.ndarray:
        full = np.pad(values, (max(low, 0), max(high, 0)))
        return full[max(-low, 0) : len(values) + max(low, 0) + high]

    return replace(
        candidate,
        first=first,
        holes=candidate.holes + low + high,
        profile=padded(candidate.profile),
        seen=padded(candidate.seen),
    )


def runs_into(
    candidate: Candidate, others: Iterable[Candidate], width: float, slack: float = RUNS_INTO
) -> bool:
    """Does the candidate's box overlap another's by more than ``slack`` pitches in every direction?"""
    return bool(overlapping(candidate, boxes(list(others), width), width, slack).any())


def overlapping(
    candidate: Candidate, others: tuple[FloatArray, FloatArray], width: float, slack: float = RUNS_INTO
) -> BoolArray:
    """(B,) which of the boxes, low and high corners, a candidate's box overlaps (:func:`runs_into`)."""
    lo, hi = candidate.box(width)
    shared = np.minimum(hi, others[1]) - np.maximum(lo, others[0])
    return np.asarray((shared > slack).all(axis=1), bool)


def touching(candidates: Sequence[Candidate], width: float, slack: float = FLUSH) -> list[list[int]]:
    """Groups of candidates that hang together face to face (indices).

    Parameters
    ----------
    width : float
        Of all, pitches.
    slack : float
        Pitches between faces that meet.

    Examples
    --------
    >>> rail, far = Candidate.bare(0, [0, 0, 0], 5), Candidate.bare(0, [0, 9, 0], 5)
    >>> post = Candidate.bare(2, [2, 1, -2], 5)
    >>> touching([rail, post, far], 1.0)
    [[0, 1], [2]]
    """
    n = len(candidates)
    lo, hi = boxes(candidates, width)
    graph = nx.Graph()
    graph.add_nodes_from(range(n))
    for i in range(n):
        overlap = np.minimum(hi[i], hi[:i]) - np.maximum(lo[i], lo[:i])
        # Faces meet: flush along one axis, a good part of a hole's room along the two others.
        flush = np.abs(overlap) < slack
        meet = (flush.sum(1) == 1) & (flush | (overlap > 0.4)).all(1)
        graph.add_edges_from((i, int(j)) for j in np.nonzero(meet)[0])
    return [sorted(c) for c in nx.connected_components(graph)]


@dataclass(frozen=True)
class EndGuess:
    """One end of a member: where its last hole may be.

    Attributes
    ----------
    hole : int array, (C,)
        Possible numbers of the last hole, counted from the member's present hole 0.
    log_p : array, (C,)
        Natural logarithms of their probabilities.
    cut : bool
        The end lies outside every photo that could show it.
    by_photos : array or None, (C,)
        Natural logarithms of their probabilities from what the photos show there, without what is usual in
        frames; None where there is nothing else to tell it by.
    laps : int array or None, (C,)
        How many laps the member takes in up to each of these holes, from its middle; the holes are then in
        the order in which they come from there.
    """

    hole: IntArray
    log_p: FloatArray
    cut: bool
    by_photos: FloatArray | None = None
    laps: IntArray | None = None

    @property
    def best(self) -> int:
        """The likeliest last hole."""
        return int(self.hole[self.log_p.argmax()])

    @property
    def sure(self) -> float:
        """Its probability."""
        return float(np.exp(self.log_p.max()))

    @property
    def shown(self) -> bool:
        """Do the photos alone make the likeliest last hole likelier than all others together?"""
        return self.by_photos is None or float(np.exp(self.by_photos[self.log_p.argmax()])) > 0.5

    def recounted(self, start: int) -> EndGuess:
        """The same guess with holes counted from hole ``start``."""
        return replace(self, hole=self.hole - start)
