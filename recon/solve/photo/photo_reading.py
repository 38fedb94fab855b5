"""What one photo gives when it is read by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import BoolArray
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.photo.photo_lattice import PhotoLattice, best_chances

# Of what the best solution explains, from which another may be the true one: where another was, on two photos
# of frames bolted by hand, it had 0.99.  This project's choice.
RIVAL = 0.9
MOST_RIVALS = 3  # bounds the time
SAME_PLACE = 0.1  # pitches within which a row lies in one place; lattice lines lie a quarter or more apart
SAME_ROWS = 0.9  # of the rows, from which two lattices are one; this project's choice


@dataclass(frozen=True)
class PhotoReading:
    """One photo read by itself.

    Attributes
    ----------
    name : of the photo.
    size : width, height, px.
    openings : (N,), dtype OPENING.
    photo, lattice : the photo with its camera, and its lattice; None when no lattice was found.
    width : estimate and standard error, pitches.
    worth : nats of evidence that its lattice explains.
    reason : why no lattice was found.
    lattice_width : pitches, the width that the lattice was solved with.
    others : further (photo, lattice), should this one not fit the other photos.
    nats : what the members of each solution explain, in their order; empty where they were not compared.
    posed : camera and lattice are in the world of a frame that is known.
    left_out : further openings, on planes of dots or tiles, that the lattice was solved without; or None.
    """

    name: str
    size: tuple[int, int]
    openings: np.ndarray
    photo: PosedPhoto | None
    lattice: PhotoLattice | None
    width: tuple[float, float]
    worth: float
    reason: str = ""
    lattice_width: float = 1.0
    others: tuple[tuple[PosedPhoto, PhotoLattice], ...] = ()
    nats: tuple[float, ...] = ()
    posed: bool = False
    left_out: np.ndarray | None = None

    @property
    def detected(self) -> np.ndarray:
        """All detections, dtype OPENING, best first: those that the lattice was solved without, too."""
        if self.left_out is None:
            return self.openings
        both = np.concatenate([self.openings, self.left_out])
        return both[np.argsort(-both["score"], kind="stable")]

    @property
    def solutions(self) -> list[tuple[PosedPhoto, PhotoLattice]]:
        """All solutions, best first; none where no lattice was found."""
        if self.photo is None or self.lattice is None:
            return []
        return [(self.photo, self.lattice), *self.others]

    @property
    def rivals(self) -> list[tuple[PosedPhoto, PhotoLattice]]:
        """The best solution, and others of other lattices whose members explain nearly as much."""
        if not self.nats:
            return self.solutions[:1]
        out: list[tuple[PosedPhoto, PhotoLattice]] = []
        # Less than nothing is explained where a camera costs more than its members give.
        least = self.nats[0] - (1 - RIVAL) * abs(self.nats[0])
        for solution, nats in zip(self.solutions, self.nats):
            other = not any(_same_places(solution[1], kept[1]) for kept in out)
            if nats >= least and other and len(out) < MOST_RIVALS:
                out.append(solution)
        return out


def _same_places(a: PhotoLattice, b: PhotoLattice) -> bool:
    """Do two lattices of the same rows put most of them in the same places, but for a shift of all?"""
    if len(a.guesses) != len(b.guesses):
        return False
    off = np.array([g[0].first - h[0].first for g, h in zip(a.guesses, b.guesses) if g and h]).reshape(-1, 3)
    return bool(len(off) and (np.abs(off - np.median(off, axis=0)).max(1) < SAME_PLACE).mean() > SAME_ROWS)


def explained_nats(lattice: PhotoLattice, rows: BoolArray | None = None) -> float:
    """Evidence of the rows, nats, each times the chance that its place is right.

    rows : (R,) which of them count; all where it is left out
    """
    nats = best_chances(lattice.guesses) * [r.evidence for r in lattice.placed.rows]
    return float(nats.sum() if rows is None else nats[rows].sum())
