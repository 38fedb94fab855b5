"""Where a member bolted by hand really is: near its line of the lattice, shifted and turned a little.

Bolts have play in their holes, so a member is off its lattice place as a rigid body.  Opening by opening that
looks like a bad fit; all openings together tell the shift, and fit well then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import project_jacobian
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import PLACE, PLACE_PX

# Pitches along each axis, and radians: what bolts with clearance leave a member, as rms.  Openings of six
# frames bolted by hand lay 0.045 to 0.064 pitches off their lattice; laps that hold a member lie some ten
# pitches apart.
SHIFT_SPREAD, TURN_SPREAD = 0.06, 0.005
LEFT = 0.03  # pitches, what is left once the own place is known: members are bowed.  This project's choice
LEAST_HITS = 4  # openings that tell an own place; this project's choice
ROUNDS = 3  # of reweighting
ROBUST = 2.0  # standard errors from which an opening counts less; this project's choice


@dataclass(frozen=True)
class OwnPlace:
    """How far a member is off its line of the lattice.

    Attributes
    ----------
    middle : float
        Place along the member's axis, pitches, at which ``shift`` holds.
    shift : array, (3,)
        Pitches.
    turn : array, (3,)
        Pitches across for each pitch along; 0 along the member.
    cost : float
        Nats: what it costs that a member may be anywhere near.
    """

    middle: float
    shift: FloatArray
    turn: FloatArray
    cost: float = 0.0

    def at(self, along: FloatArray) -> FloatArray:
        """(K, 3) pitches off at K places along the member's axis.

        Examples
        --------
        >>> own = OwnPlace(4.0, np.array([0.1, 0, 0]), np.array([0, 0.01, 0]))
        >>> own.at(np.array([4.0, 14.0])).tolist()
        [[0.1, 0.0, 0.0], [0.1, 0.1, 0.0]]
        """
        return self.shift + (np.asarray(along, float) - self.middle)[:, None] * self.turn


@dataclass(frozen=True)
class Sightings:
    """N openings of one member that one photo shows: place on the lattice (N, 3) pitches, and (N, 2) px."""

    photo: PosedPhoto
    place: FloatArray
    px: FloatArray


def fit_own_place(axis: int, sightings: Sequence[Sightings]) -> OwnPlace | None:
    """The own place of a member along an axis; None where too few openings tell it.

    Notes
    -----
    Least squares with normal priors of the shift and of the turn, openings far off counting less (iteratively
    reweighted, Huber 1964).  The cost is that of Bayesian evidence: the priors, and half the logarithm of how
    much narrower the data make the five numbers (MacKay 2003, chapter 28).
    """
    if sum(len(s.place) for s in sightings) < LEAST_HITS:
        return None
    middle = float(np.mean(np.concatenate([s.place[:, axis] for s in sightings])))
    sides = [j for j in range(3) if j != axis]
    J, e = [], []
    for s in sightings:
        if not len(s.place):
            continue
        px, _, by_place = project_jacobian(s.photo.camera, s.place)
        scale = np.linalg.norm(by_place, axis=(1, 2)) / np.sqrt(2)
        sigma = np.hypot(PLACE_PX, np.hypot(PLACE, LEFT) * scale)[:, None, None]
        along = (s.place[:, axis] - middle)[:, None, None]
        J.append((np.concatenate([by_place, along * by_place[:, :, sides]], 2) / sigma).reshape(-1, 5))
        e.append(((s.px - px) / sigma[:, 0]).ravel())
    A, b = np.concatenate(J), np.concatenate(e)
    ok = np.isfinite(A).all(1) & np.isfinite(b)
    A, b = A[ok], b[ok]
    prior = 1 / np.array([SHIFT_SPREAD] * 3 + [TURN_SPREAD] * 2) ** 2
    x = np.zeros(5)
    H = np.diag(prior)
    for _ in range(ROUNDS):
        off = np.abs(b - A @ x)
        weight = np.minimum(1.0, ROBUST / np.maximum(off, 1e-9))
        H = (A * weight[:, None]).T @ A + np.diag(prior)
        x = np.linalg.solve(H, A.T @ (weight * b))
    turn = np.zeros(3)
    turn[sides] = x[3:]
    cost = 0.5 * float(x**2 @ prior) + 0.5 * float(np.linalg.slogdet(H / np.sqrt(np.outer(prior, prior)))[1])
    return OwnPlace(middle, x[:3], turn, cost)
