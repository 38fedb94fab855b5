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

PROMISING = 0.5  # of what the best solution explains after the first turn; this project's choice
ROUNDS = 5  # by turns; nothing got better after the fifth on twelve photos
SETTLED = 0.1  # nats by which a turn that changes less is the last; this project's choice
MOST_TRIED = 30  # solutions of a photo: bounds the time
# Of a photo's rows, by evidence, that are sure of their lattice line: photos of ideal frames mostly have 0.78
# and more, frames bolted by hand mostly at most 0.62.
ENOUGH_AGREEMENT = 0.75
# Of their evidence: of whole pictures 13 of 15 true lattices had 0.61 and more, the others 0.50 and 0.59;
# false ones had at most 0.44, of made-up racked frames up to 0.63.
MOST_OF_ROWS = 0.6


def explained_by_members(reading: PhotoReading) -> Explained:
    """Do the rows of a reading's best solution agree on its lattice, and do its members explain most of them?

    Rows may agree on a lattice under a wrong camera, too; then its members are not there.
    """
    if reading.photo is None or reading.lattice is None or reading.lattice.agreement < ENOUGH_AGREEMENT:
        return Explained(False)
    enough = MOST_OF_ROWS * sum(r.evidence for r in reading.lattice.placed.rows)
    first = _first_turn(reading.photo, reading.lattice, reading.lattice_width)
    polished = _all_turns(first, reading.lattice_width, enough)
    return Explained(True) if polished.nats >= enough else Explained(False, polished)


def choose_solution(reading: PhotoReading, first: Polished | None = None) -> PhotoReading:
    """The reading with that solution first whose members, found in this photo alone, explain most.

    Its worth is what they explain.  Solutions that explain less than half of the best after one turn are not
    followed further.  `first`: its first solution after all turns, where they were gone through before.
    """
    if reading.photo is None or reading.lattice is None:
        return reading
    width = reading.lattice_width
    begun = [_first_turn(*s, width) for s in _distinct(reading.solutions)[:MOST_TRIED]]
    likely = PROMISING * max(t.best.nats for t in begun)

    def followed(k: int, turns: _Turns) -> Polished:
        if turns.best.nats < likely:
            return turns.best
        return first if first and k == 0 else _all_turns(turns, width)

    polished = sorted((followed(k, t) for k, t in enumerate(begun)), key=lambda p: -p.nats)
    best, *rest = polished
    return replace(
        reading,
        photo=best.photo,
        lattice=best.lattice,
        others=tuple((p.photo, p.lattice) for p in rest),
        worth=best.nats,
        nats=tuple(p.nats for p in polished),
    )


@dataclass(frozen=True)
class Polished:
    """A solution of one photo adjusted to the members that it predicts, and what these explain, nats."""

    photo: PosedPhoto
    lattice: PhotoLattice
    nats: float


@dataclass(frozen=True)
class Explained:
    """Whether a reading's first solution explains its rows; if not, that solution after all turns."""

    enough: bool
    polished: Polished | None = None


@dataclass(frozen=True)
class _Turns:
    """A solution after some turns: the best so far, and the scene and the lattice of the last turn."""

    best: Polished
    scene: Scene
    lattice: PhotoLattice


def _first_turn(photo: PosedPhoto, lattice: PhotoLattice, width: float) -> _Turns:
    scene = select_members(Scene((photo,), {}, width), candidate_lines([lattice]))
    return _Turns(Polished(photo, lattice, _explained(scene)), scene, lattice)


def _all_turns(turns: _Turns, width: float, enough: float = np.inf) -> Polished:
    """The best of the first turn and those that follow it, in which a solution of one photo is adjusted.

    By turns to the members that it shows and to its rows.  Its nats are the members' evidence, less what the
    camera costs by its prior; where they are `enough`, no further turn is gone through.
    """
    best, scene, lattice = turns.best, turns.scene, turns.lattice
    before = best.nats
    for _ in range(ROUNDS - 1):
        if best.nats >= enough:
            break
        scene = adjust_cameras(scene)
        (photo,) = scene.photos
        lattice = laid_again(lattice, photo.camera, photo.openings, width)
        scene = select_members(scene, candidate_lines([lattice]))
        nats = _explained(scene)
        if nats > best.nats:
            best = Polished(photo, lattice, nats)
        if abs(nats - before) < SETTLED:
            break
        before = nats
    return best


def _explained(scene: Scene) -> float:
    """Nats of the members of a scene of one photo, less what its camera costs by its prior."""
    (photo,) = scene.photos
    cost = 0.5 * float((photo.prior.residuals(photo.camera) ** 2).sum()) if photo.prior else 0.0
    return members_evidence(scene) - cost


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
