"""Where a brace could be pinned: two holes of two members, a whole number of pitches apart.

A brace at an angle lies face to face with the members that it is bolted to, so its centre line runs one
width off theirs along the bolts' axis; and the holes for both bolts must be drilled already, so the pins
are a whole number of pitches apart (3-4-5 and the like), give or take the play of a bolt in its hole.
That leaves a list of lines short enough to be looked at one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PLAY = 0.1  # pitches that two holes may be off their common axis (as in recon.frame.joints)
SHORTEST, LONGEST = (
    3,
    32,
)  # pitches between two pins: nearer ones make a block, and no stock piece has more holes
LEAST_SLANT = (
    0.5  # pitches that the pins are apart along both axes of the plane: else it lies along the lattice
)


@dataclass(frozen=True)
class Pinned:
    """N lines pinned at two holes: ``first`` (N, 3) the one pin's place on the brace's centre line, ``direction``
    (N, 3) unit, ``steps`` (N,) whole pitches to the other, ``normal`` (N,) the frame axis along the bolts."""

    first: np.ndarray
    direction: np.ndarray
    steps: np.ndarray
    normal: np.ndarray


def pin_spots(candidates, width: float, normal: int):
    """Places (M, 3) one width off the candidates' holes along a frame axis, on both sides, and the candidate of each (M,)."""
    places, owner = [np.zeros((0, 3))], [np.zeros(0, int)]
    for i, s in enumerate(candidates):
        if s.axis == normal:
            continue
        holes = np.repeat(s.first[None], s.holes, 0)
        holes[:, s.axis] += np.arange(s.holes)
        for side in (-width, width):
            places.append(holes + side * np.eye(3)[normal])
            owner.append(np.full(s.holes, i))
    return np.concatenate(places), np.concatenate(owner)


def pinned_lines(candidates, width: float) -> Pinned:
    """Every line on which a brace could be pinned to two of the candidates (``recon.solve.members.selection.Candidate``)."""
    first, direction, steps, normals = (
        [np.zeros((0, 3))],
        [np.zeros((0, 3))],
        [np.zeros(0, int)],
        [np.zeros(0, int)],
    )
    for normal in range(3):
        place, owner = pin_spots(candidates, width, normal)
        for level in np.unique(np.round(place[:, normal], 2)):
            here = np.abs(place[:, normal] - level) < 0.02
            p, o = place[here], owner[here]
            i, j = np.triu_indices(len(p), 1)
            gap = p[j] - p[i]
            distance = np.linalg.norm(gap, axis=1)
            whole = np.rint(distance)
            across = np.sort(np.abs(gap), axis=1)[:, 1]
            ok = (
                (o[i] != o[j])
                & (np.abs(distance - whole) <= PLAY)
                & (whole >= SHORTEST)
                & (whole <= LONGEST)
                & (across > LEAST_SLANT)
            )
            i, gap, distance, whole = i[ok], gap[ok], distance[ok], whole[ok]
            u = gap / distance[:, None]
            first.append(p[i] + 0.5 * (distance - whole)[:, None] * u)
            direction.append(u)
            steps.append(whole.astype(int))
            normals.append(np.full(len(u), normal))
    lines = Pinned(*(np.concatenate(x) for x in (first, direction, steps, normals)))
    # Holes in a row pin the same line many times: the shortest of each stands for all.
    order = np.argsort(lines.steps, kind="stable")
    u = lines.direction[order]
    flip = np.where(np.abs(u[:, 0]) > 1e-6, np.sign(u[:, 0]), np.sign(u[:, 1]))[:, None]
    u = u * flip
    along = (lines.first[order] * u).sum(1)
    foot = lines.first[order] - along[:, None] * u
    key = np.round(np.c_[lines.normal[order], u, foot, (along % 1.0)] / 0.04).astype(int)
    key[:, -1] %= 25
    _, keep = np.unique(key, axis=0, return_index=True)
    keep = order[np.sort(keep)]
    return Pinned(lines.first[keep], lines.direction[keep], lines.steps[keep], lines.normal[keep])
