"""Two members cannot fill one place: which of two that overlap gives way, and by how much."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.geometry.arrays import BoolArray
from recon.solve.evidence.candidate import (
    LEAST_EVIDENCE,
    LEAST_STEPS,
    Candidate,
    boxes,
    overlapping,
    runs_into,
)


def resolve_overlap(
    candidate: Candidate, chosen: Sequence[Candidate], width: float
) -> tuple[Candidate | None, list[Candidate]]:
    """Two members that overlap: the end with less evidence is cut off; one with a fixed end yields nothing.

    Parameters
    ----------
    candidate : Candidate
        New.
    chosen : Sequence[Candidate]
        Before it.
    width : float
        Of all, pitches.

    Returns
    -------
    The new candidate (None if nothing worth keeping is left) and the chosen ones, shortened where they yield.

    Examples
    --------
    The last four holes of a weak candidate run through a strong one.

    >>> from dataclasses import replace
    >>> def nats(axis, first, at_each_hole):
    ...     values, bare = np.array(at_each_hole, float), Candidate.bare(axis, first, len(at_each_hole))
    ...     return replace(bare, evidence=values.sum(), profile=values, seen=np.ones(len(values), int))
    >>> weak, strong = nats(1, [4, -6, 0], [5] * 6 + [0.5] * 4), nats(0, [0, 0, 0], [5] * 10)
    >>> shorter, chosen = resolve_overlap(weak, [strong], 1.0)
    >>> shorter.holes, chosen[0].holes
    (6, 10)
    """
    chosen = list(chosen)
    for i in np.nonzero(overlapping(candidate, boxes(chosen, width), width))[0]:
        other = chosen[i]
        if not runs_into(candidate, [other], width):  # any more: it was cut off
            continue
        new = _cut(candidate, other, width)
        old = _cut(other, candidate, width) if other.fixed_ends is None else None
        if new is None and old is None:
            return None, chosen
        # What lies where two members cross is explained by either; only what is cut off beyond it is lost.
        loss_new = candidate.evidence - (new.evidence if new else 0.0) - _shared(candidate, other, width)
        loss_old = other.evidence - (old.evidence if old else 0.0) - _shared(other, candidate, width)
        if old is not None and loss_old < loss_new:
            chosen[i] = old
        elif new is not None:
            candidate = new
        else:
            return None, chosen
    if candidate.evidence < LEAST_EVIDENCE or (candidate.seen > 0).sum() < LEAST_STEPS:
        return None, chosen
    return candidate, chosen


def _inside(candidate: Candidate, other: Candidate, width: float) -> BoolArray:
    """Which of a candidate's holes lie within another's box, along the candidate: (holes,)."""
    lo, hi = other.box(width)
    axis = candidate.axis
    place = candidate.first[axis] + np.arange(candidate.holes)
    return (place + 0.5 > lo[axis] + 0.1) & (place - 0.5 < hi[axis] - 0.1)


def _shared(candidate: Candidate, other: Candidate, width: float) -> float:
    """Nats of a candidate in the place where it crosses another; none where they run side by side."""
    if candidate.axis == other.axis:
        return 0.0
    return float(candidate.profile[_inside(candidate, other, width)].sum())


def _cut(candidate: Candidate, other: Candidate, width: float) -> Candidate | None:
    """The better part of a candidate on one side of another's box; None if none is left."""
    inside = _inside(candidate, other, width)
    if not inside.any():
        return None
    a, b = int(inside.argmax()), int(len(inside) - inside[::-1].argmax())
    parts = [(0, a), (b, candidate.holes)]
    a, b = max(parts, key=lambda p: candidate.profile[p[0] : p[1]].sum())
    return candidate.part(a, b) if b - a >= 1 else None
