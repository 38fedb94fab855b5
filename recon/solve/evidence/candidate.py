"""A member being solved: a run of holes along a lattice axis, and the box that it fills."""

from __future__ import annotations

from dataclasses import dataclass, replace

import networkx as nx
import numpy as np

LEAST_EVIDENCE = 14.0  # nats: about a thousand lines are tried, with a few hundred starts and stops each
LEAST_STEPS = 3  # distinct holes seen


@dataclass(frozen=True)
class Stick:
    """A member being solved: axis, centre of the first hole (3,), count of holes, evidence.

    profile : (count,) nats at each hole, all photos and faces together; seen : (count,) openings found.
    held : None, or which of its two ends a person vouches for: its place is then certain.   name : its label, if any.
    """

    axis: int
    first: np.ndarray
    holes: int
    evidence: float
    profile: np.ndarray
    seen: np.ndarray
    held: tuple[bool, bool] | None = None
    name: str = ""

    def box(self, width: float):
        """Corners (3,), (3,) of the box that the member fills: it ends half a pitch past its last holes."""
        lo, hi = self.first - width / 2, self.first + width / 2
        lo[self.axis] = self.first[self.axis] - 0.5
        hi[self.axis] = self.first[self.axis] + self.holes - 0.5
        return lo, hi


def boxes(sticks, width):
    if not sticks:
        return np.zeros((0, 3)), np.zeros((0, 3))
    pairs = [s.box(width) for s in sticks]
    return np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])


def line_key(stick: Stick) -> tuple:
    """The lattice line that a stick lies on, as :func:`candidate_lines` names it."""
    others = [j for j in range(3) if j != stick.axis]
    return (
        stick.axis,
        round(float(stick.first[others[0]]), 3),
        round(float(stick.first[others[1]]), 3),
        round(float(stick.first[stick.axis]) % 1.0, 3) % 1.0,
    )


# Pitches that two sticks may be off one line: half the half-pitch that lattice lines are apart where width is 1.5 pitches.
# Less than for members of two frames (`frame.lattice.LINE_TOL`), as sticks lie on one lattice.
LINE_TOL = 0.25


def same_line(a: Stick, b: Stick, tol: float = LINE_TOL) -> bool:
    """Do two sticks lie on one line and overlap?"""
    across = [j for j in range(3) if j != a.axis]
    return (
        a.axis == b.axis
        and bool(np.abs(a.first[across] - b.first[across]).max() <= tol)
        and shared_holes(a, b) > 0.5
    )


def shared_holes(a: Stick, b: Stick) -> float:
    """Pitches by which two sticks of one axis overlap along it; below 0 the gap between them."""
    start = max(a.first[a.axis], b.first[a.axis])
    return float(min(a.first[a.axis] + a.holes, b.first[a.axis] + b.holes) - start)


def grown(stick: Stick, low: int, high: int) -> Stick:
    """The stick with holes added (or, negative, taken off) at its ends."""
    first = stick.first.copy()
    first[stick.axis] -= low
    pad = lambda v: np.pad(v, (max(low, 0), max(high, 0)))[max(-low, 0) : len(v) + max(low, 0) + high]
    return replace(
        stick, first=first, holes=stick.holes + low + high, profile=pad(stick.profile), seen=pad(stick.seen)
    )


def runs_into(stick: Stick, others, width, slack=0.1) -> bool:
    """Does the stick's box overlap another's by more than ``slack`` pitches in every direction?"""
    lo, hi = stick.box(width)
    for s in others:
        a, b = s.box(width)
        if (np.minimum(hi, b) - np.maximum(lo, a) > slack).all():
            return True
    return False


def touching(sticks: list[Stick], width: float, slack: float = 0.15) -> list[list[int]]:
    """Groups of sticks that hang together face to face (indices)."""
    n = len(sticks)
    lo, hi = boxes(sticks, width)
    graph = nx.Graph()
    graph.add_nodes_from(range(n))
    for i in range(n):
        for j in range(i):
            overlap = np.minimum(hi[i], hi[j]) - np.maximum(lo[i], lo[j])
            # Faces meet: flush along one axis, a good part of a hole's room along the two others.
            flush = np.abs(overlap) < slack
            if flush.sum() == 1 and (overlap[~flush] > 0.4).all():
                graph.add_edge(i, j)
    return [sorted(c) for c in nx.connected_components(graph)]
