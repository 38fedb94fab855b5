"""How well photos in one world agree on what is there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.solve.evidence.along_line import candidate_openings
from recon.solve.evidence.many_lines import along_lines
from recon.solve.evidence.scene import Scene
from recon.solve.photo.photo_lattice import PhotoLattice

CONFIRMED = 8.0  # nats from the other photos for a member to count as shown by them
PLAIN = 6  # openings in plain sight from which a member should be shown; this project's choice


def shared_rows(scene: Scene, lattices: Sequence[PhotoLattice]) -> FloatArray:
    """How well each photo and the others agree on what is there: (V,) 0 to 1.

    The share of the photo's rows, by evidence, that lies on members which the other photos confirm, times the
    share of the members confirmed by the others, and in plain sight here, that this photo does show.  A photo
    of another frame can be laid on this one so that a member or two coincide; then both shares are small.
    """
    shape = (len(scene.photos), len(scene.candidates))
    hits, votes, plain = [], np.zeros(shape), np.zeros(shape)
    behind = [scene.occluders] * shape[1]
    for j, found in enumerate(along_lines(scene.photos, candidate_openings(scene), behind)):
        votes[:, j], plain[:, j] = found.llr.sum((1, 2)), found.visible.sum((1, 2))
        hits.append([h[(h >= 0) & (nats > 0)] for h, nats in zip(found.hit, found.llr)])
    out = np.ones(len(scene.photos))
    for i, lattice in enumerate(lattices):
        confirmed = [j for j in range(shape[1]) if np.delete(votes[:, j], i).clip(0).sum() > CONFIRMED]
        explained = np.concatenate([hits[j][i] for j in confirmed]) if confirmed else np.zeros(0, int)
        there = [j for j in confirmed if plain[i, j] >= PLAIN]
        weight = plain[i, there]
        shown = (weight * (votes[i, there] > 0)).sum() / weight.sum() if there else 0.0
        total, shared = _evidence_of_rows(lattice, explained)
        out[i] = shown * shared / total if total else 0.0
    return out


def _evidence_of_rows(lattice: PhotoLattice, explained: np.ndarray) -> tuple[float, float]:
    """Nats of a photo's sure rows, and of those of them whose openings are among the explained ones."""
    total = shared = 0.0
    for row, guesses in zip(lattice.placed.rows, lattice.guesses):
        if guesses and np.exp(guesses[0].log_p) > 0.5:
            total += row.evidence
            shared += row.evidence * (np.isin(row.index, explained).mean() > 0.4)
    return total, shared
