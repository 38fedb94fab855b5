"""Evidence for a member among others: a miss under the bolt of a lap does not count against it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.solve.evidence.along_line import (
    LineEvidence,
    along_line,
    candidate_openings,
    lattice_openings,
)
from recon.solve.evidence.candidate import FLUSH, SAME_LINE, Candidate, across, grown
from recon.solve.evidence.many_lines import along_lines
from recon.solve.evidence.scene import Scene
from recon.solve.evidence.unknown_occluders import without_hidden_runs


def lap_faces(
    axis: int, first: FloatArray, count: int, others: Iterable[Candidate], width: float
) -> BoolArray:
    """Where a lap with another member may put a bolt's head or nut on a face: (4, count).

    A member that crosses face to face at hole k hides that face there; the bolt comes out on the opposite
    one.

    Parameters
    ----------
    axis, first, count : int or array
        The member: its axis, the centre (3,) of its first hole in pitches, its holes.
    others : Iterable[Candidate]
        Members that it may cross.
    width : float
        Of all members, pitches.

    Returns
    -------
    Faces in the order of :func:`recon.solve.evidence.predictions.member_openings`.

    Examples
    --------
    A member along y touches the one along x from above at its hole 2; the bolt's head is below.

    >>> above = Candidate.bare(1, [2, -3, 1], 7)
    >>> np.argwhere(lap_faces(0, np.zeros(3), 5, [above], 1.0)).tolist()
    [[3, 2]]
    """
    out = np.zeros((4, count), bool)
    sides = across(axis)
    for c in others:
        if c.axis == axis:
            continue
        normal = 3 - axis - c.axis  # the lap's bolt runs along the third axis
        gap = c.first[normal] - first[normal]
        if abs(abs(gap) - width) > 0.2:
            continue
        k = round(float(c.first[axis] - first[axis]))
        along = first[c.axis] - c.first[c.axis]
        if 0 <= k < count and -0.3 < along < c.holes - 0.7:
            face = sides.index(normal) * 2 + (0 if gap < 0 else 1)  # opposite to the touching face
            out[face, k] = True
    return out


def lap_count(scene: Scene, candidate: Candidate, besides: Candidate | None = None) -> int:
    """How many other candidates a candidate laps but one."""
    others = [c for c in scene.candidates if c is not candidate and c is not besides]
    return int(lap_faces(candidate.axis, candidate.first, candidate.holes, others, scene.width).sum())


def twin_laps(scene: Scene, candidate: Candidate) -> int:
    """How many others a candidate would lap with the ends of the best of its twins; 0 where it has none.

    A twin is parallel to it, as far along one of the two other axes, not against it, and as long or longer:
    the other post of a pair, the rail above.  What clutter shows seldom lies so that it would be held as one.

    Examples
    --------
    Two rails hold a post of nine holes; three holes are seen of one beside it.

    >>> rails = [Candidate.bare(0, [-1, 0, z], 8) for z in (0, 7)]
    >>> post, seen = Candidate.bare(2, [0, 1, -1], 9), Candidate.bare(2, [5, 1, 2], 3)
    >>> twin_laps(Scene((), {}, 1.0, (*rails, post, seen)), seen)
    2
    """
    axis = candidate.axis
    best = 0
    for c in scene.candidates:
        if c is candidate or c.axis != axis:
            continue
        off = np.abs(c.first - candidate.first)[across(axis)]
        low = float(candidate.first[axis] - c.first[axis])
        high = c.holes - candidate.holes - low
        apart = off.max() > scene.width + FLUSH
        if off.min() <= SAME_LINE and apart and min(low, high) > -SAME_LINE:
            best = max(best, lap_count(scene, grown(candidate, round(low), round(high)), candidate))
    return best


def candidate_evidence(scene: Scene, candidate: Candidate) -> LineEvidence:
    """What all photos say of a candidate among the others, which may hide its openings or be bolted to it."""
    others = [c for c in scene.candidates if c is not candidate]
    found = along_line(
        scene.photos,
        lattice_openings(candidate.axis, candidate.first, candidate.holes, scene.width, candidate.own),
        scene.occluders,
        bolted=lap_faces(candidate.axis, candidate.first, candidate.holes, others, scene.width),
    )
    return without_hidden_runs(found)


def candidates_evidence(scene: Scene) -> list[LineEvidence]:
    """What all photos say of each candidate among the others, as :func:`candidate_evidence`."""
    found = along_lines(
        scene.photos,
        candidate_openings(scene),
        [scene.occluders] * len(scene.candidates),
        [
            lap_faces(c.axis, c.first, c.holes, scene.others(i), scene.width)
            for i, c in enumerate(scene.candidates)
        ],
    )
    return [without_hidden_runs(evidence) for evidence in found]
