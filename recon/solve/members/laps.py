"""Evidence for a member among others: a miss under the bolt of a lap does not count against it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.solve.evidence.along_line import (
    LineEvidence,
    along_line,
    along_lines,
    candidate_openings,
    lattice_openings,
)
from recon.solve.evidence.candidate import Candidate, across
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


def lap_count(scene: Scene, candidate: Candidate) -> int:
    """How many other candidates a candidate laps."""
    others = [c for c in scene.candidates if c is not candidate]
    return int(lap_faces(candidate.axis, candidate.first, candidate.holes, others, scene.width).sum())


def candidate_evidence(scene: Scene, candidate: Candidate) -> LineEvidence:
    """What all photos say of a candidate among the others, which may hide its openings or be bolted to it."""
    others = [c for c in scene.candidates if c is not candidate]
    found = along_line(
        scene.photos,
        lattice_openings(candidate.axis, candidate.first, candidate.holes, scene.width),
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
