"""Two members cannot fill one place: which of two that overlap gives way, and by how much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.solve.evidence.candidate import LEAST_EVIDENCE, LEAST_STEPS, Stick, runs_into


def make_room(stick: Stick, chosen: list[Stick], width: float):
    """Two members cannot fill one place: the end that overlaps with less evidence is cut off; one that is held yields nothing.

    Returns
    -------
    The new stick (None if nothing worth keeping is left) and the chosen ones, shortened where they yield.
    """
    chosen = list(chosen)
    for i, other in enumerate(chosen):
        if not runs_into(stick, [other], width):
            continue
        new, old = _cut(stick, other, width), _cut(other, stick, width) if other.held is None else None
        if new is None and old is None:
            return None, chosen
        # What lies in the shared place is explained by either; only what is cut off beyond it is lost.
        loss_new = stick.evidence - (new.evidence if new else 0.0) - _shared(stick, other, width)
        loss_old = other.evidence - (old.evidence if old else 0.0) - _shared(other, stick, width)
        if old is not None and loss_old < loss_new:
            chosen[i] = old
        elif new is not None:
            stick = new
        else:
            return None, chosen
    if stick.evidence < LEAST_EVIDENCE or (stick.seen > 0).sum() < LEAST_STEPS:
        return None, chosen
    return stick, chosen


def _inside(stick, other, width):
    """(holes,) bool: which of a stick's holes lie within another's box, along the stick."""
    lo, hi = other.box(width)
    place = stick.first[stick.axis] + np.arange(stick.holes)
    return (place + 0.5 > lo[stick.axis] + 0.1) & (place - 0.5 < hi[stick.axis] - 0.1)


def _shared(stick, other, width):
    return float(stick.profile[_inside(stick, other, width)].sum())


def _cut(stick: Stick, other: Stick, width: float) -> Stick | None:
    """The better part of a stick on one side of another's box; None if none is left."""
    inside = _inside(stick, other, width)
    if not inside.any():
        return None
    a, b = int(inside.argmax()), int(len(inside) - inside[::-1].argmax())
    parts = [(0, a), (b, stick.holes)]
    a, b = max(parts, key=lambda p: stick.profile[p[0] : p[1]].sum())
    if b - a < 1:
        return None
    first = stick.first.copy()
    first[stick.axis] += a
    return replace(
        stick,
        first=first,
        holes=b - a,
        profile=stick.profile[a:b],
        seen=stick.seen[a:b],
        evidence=float(stick.profile[a:b].sum()),
    )
