"""Of the solutions of one photo by itself the one whose members explain most of it.

Rows agree on a lattice also under a wrong camera, where only few of them are sure of their line; the members
that such a lattice predicts are then not there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene
from recon.solve.members.lines import candidate_lines
from recon.solve.members.selection import members_evidence, select_members
from recon.solve.multiview.cameras import adjust_cameras
from recon.solve.photo.photo_lattice import PhotoLattice, laid_again
from recon.solve.photo.photo_reading import PhotoReading

ROUNDS = 5  # by turns; nothing got better after the fifth on twelve photos
MOST_TRIED = 30  # solutions of a photo: bounds the time
MOST_OF_ROWS = 0.6  # of their evidence


def explained_by_members(reading: PhotoReading) -> bool:
    """Do the members of a reading's best solution explain most of the rows that lie on its lattice?

    Rows may agree on a lattice under a wrong camera, too; then its members are not there.
    """
    if reading.photo is None or reading.lattice is None:
        return False
    polished = polish(reading.photo, reading.lattice, reading.lattice_width)
    return polished.nats >= MOST_OF_ROWS * sum(r.evidence for r in reading.lattice.placed.rows)


def choose_solution(reading: PhotoReading) -> PhotoReading:
    """The reading with that solution first whose members, found in this photo alone, explain most.

    Its worth is what they explain.
    """
    if reading.photo is None or reading.lattice is None:
        return reading
    solutions = _distinct(reading.solutions)[:MOST_TRIED]
    polished = sorted((polish(*s, reading.lattice_width) for s in solutions), key=lambda p: -p.nats)
    best, *rest = polished
    others = tuple((p.photo, p.lattice) for p in rest)
    return replace(
        reading,
        photo=best.photo,
        lattice=best.lattice,
        others=others,
        worth=best.nats,
        nats=tuple(p.nats for p in polished),
    )


@dataclass(frozen=True)
class Polished:
    """A solution of one photo adjusted to the members that it predicts, and what these explain, nats."""

    photo: PosedPhoto
    lattice: PhotoLattice
    nats: float


def polish(photo: PosedPhoto, lattice: PhotoLattice, width: float) -> Polished:
    """A solution of one photo, adjusted by turns to the members that it shows and to its rows.

    Parameters
    ----------
    photo : PosedPhoto
    lattice : PhotoLattice
    width : float
        Of the members, pitches.

    Returns
    -------
    The best of all turns.  Its nats are the members' evidence, less what the camera costs by its prior.
    """
    best = Polished(photo, lattice, -np.inf)
    scene = Scene((photo,), {}, width)
    for _ in range(ROUNDS):
        scene = select_members(scene, candidate_lines([lattice]))
        (photo,) = scene.photos
        cost = 0.5 * float((photo.prior.residuals(photo.camera) ** 2).sum()) if photo.prior else 0.0
        nats = members_evidence(scene) - cost
        if nats > best.nats:
            best = Polished(photo, lattice, nats)
        scene = adjust_cameras(scene)
        lattice = laid_again(lattice, scene.photos[0].camera, photo.openings, width)
    return best


def _distinct(solutions: list[tuple[PosedPhoto, PhotoLattice]]) -> list[tuple[PosedPhoto, PhotoLattice]]:
    """The solutions less those that come to the same camera and the same lattice lines."""
    out: list[tuple[PosedPhoto, PhotoLattice]] = []
    for photo, lattice in solutions:
        if not any(_same(photo, lattice, *s) for s in out):
            out.append((photo, lattice))
    return out


def _same(a: PosedPhoto, la: PhotoLattice, b: PosedPhoto, lb: PhotoLattice) -> bool:
    return (
        abs(np.log(a.camera.f / b.camera.f)) < 0.01
        and bool(np.abs(a.camera.R - b.camera.R).max() < 0.01)
        and len(la.guesses) == len(lb.guesses)
        and abs(la.agreement - lb.agreement) < 0.02
    )
