"""Lattice lines on which members are sought: near rows of openings, or where one could touch another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.solve.evidence.candidate import (
    Candidate,
    LineKey,
    Span,
    across,
    line_key,
    line_key_at,
    line_span,
)
from recon.solve.evidence.scene import Scene
from recon.solve.photo.photo_lattice import PhotoLattice

LEAST_LOG_CHANCE = -4.0  # of a row's guess, natural logarithm: 1 in 55; this project's choice
# Holes before and past another member that belong to a line on which one touches it; 10 more are looked at
# past these (selection).  Bounds the time.
REACH = 14

Lines = dict[LineKey, Span]


def candidate_lines(lattices: Sequence[PhotoLattice], least_log_chance: float = LEAST_LOG_CHANCE) -> Lines:
    """Lattice lines near any row of any photo, each with its lowest and highest step.

    Parameters
    ----------
    lattices : Sequence[PhotoLattice]
        Of photos in one world.
    least_log_chance : float
        Natural logarithm of the chance from which a row's guess counts.
    """
    lines: Lines = {}
    for lattice in lattices:
        for row, sign, guesses in zip(lattice.placed.rows, lattice.placed.sign, lattice.guesses):
            for guess in guesses:
                if guess.log_p < least_log_chance:
                    continue
                ends = guess.first[row.axis] + sign * np.array([row.step[0], row.step[-1]])
                key = line_key_at(row.axis, guess.first, ends[0])
                lo, hi = int(np.floor(ends.min())), int(np.floor(ends.max()))
                known = lines.get(key, (lo, hi))
                lines[key] = min(lo, known[0]), max(hi, known[1])
    return lines


def known_lines(candidates: Sequence[Candidate]) -> Lines:
    """The lattice lines of some candidates, each from its first to its last hole on the line.

    Examples
    --------
    Two rails in line, with a gap between them.

    >>> known_lines([Candidate.bare(0, [0, 0, 0], 5), Candidate.bare(0, [9, 0, 0], 4)])
    {(0, 0.0, 0.0, 0.0): (0, 12)}
    """
    lines: Lines = {}
    for c in candidates:
        key, (lo, hi) = line_key(c), line_span(c)
        known = lines.get(key, (lo, hi))
        lines[key] = min(lo, known[0]), max(hi, known[1])
    return lines


def touching_lines(scene: Scene, reach: int = REACH) -> Lines:
    """Lattice lines on which a member could touch a candidate face to face with its holes in line.

    Parameters
    ----------
    scene : Scene
        With the candidates.
    reach : int
        Holes before and past the candidate.

    Examples
    --------
    >>> scene = Scene((), {}, 1.0).with_candidates([Candidate.bare(0, [0, 0, 0], 2)])
    >>> sorted(key for key in touching_lines(scene) if key[0] == 2)
    [(2, 0.0, -1.0, 0.0), (2, 0.0, 1.0, 0.0), (2, 1.0, -1.0, 0.0), (2, 1.0, 1.0, 0.0)]
    """
    lines: Lines = {}
    for c in scene.candidates:
        for axis in across(c.axis):
            normal = 3 - axis - c.axis
            middle = int(np.floor(c.first[axis]))
            for side in (-scene.width, scene.width):
                for k in range(c.holes):
                    place = np.zeros(3)
                    place[c.axis] = c.first[c.axis] + k
                    place[normal] = c.first[normal] + side
                    key = line_key_at(axis, place, c.first[axis])
                    lines.setdefault(key, (middle - reach, middle + reach))
    return lines


def line_first(key: LineKey, step: int) -> FloatArray:
    """Centre (3,) of the hole of a line at a step, pitches.

    Examples
    --------
    >>> line_first((0, 2.0, 5.5, 0.25), 3).tolist()
    [3.25, 2.0, 5.5]
    """
    axis, a, b, fraction = key
    place = np.empty(3)
    place[across(axis)] = a, b
    place[axis] = step + fraction
    return place
