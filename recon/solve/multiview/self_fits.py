"""Frames that fit themselves after a turn: which way each photo looks at one.

The members of a box tell no photo of its front from one of its back.  What stands still around it does: the
floor (``recon.solve.evidence.floor``).  So photos are turned, on members that are known, until their floors
agree; where that is worth more than what the members then lose, the members are found anew.  A mirrored photo
of a frame that is nearly its own mirror image is known by its floor, too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.lattice import rotations
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.floor import (
    FloorPicture,
    compared,
    floor_nats,
    floor_picture,
    floor_under,
    has_floor,
    up_axis,
)
from recon.solve.evidence.posed_photo import with_camera
from recon.solve.evidence.scene import Scene
from recon.solve.multiview.hypotheses import RegisteredPhotos
from recon.solve.multiview.mirrored import FLIP
from recon.solve.multiview.registration import cells_of_candidates, moved_lattice, turned_cells
from recon.solve.photo.photo_lattice import PhotoLattice

# Of the holes of a frame that must lie on holes of members along the same axis after a turn.  Rendered frames
# of which a photo came to lie in a wrong turn had 0.85 and more; one turn too many costs time alone.
LEAST_FIT = 0.7
GRID = 4  # places are compared in quarters of a pitch, as sections of 1.5 pitches have them
# Nats of a photo's floor beside the others' under which it is none that they show, and that it must gain in
# a mirror: two mirrored photos had 4 and gained 11 and 14; of 169 others those under 10 gained 4 at most.
UNSHARED, MIRRORED = 10.0, 8.0
SHIFTS = (-1.0, -0.5, 0.0, 0.5, 1.0)  # pitches round the shift that lays middle on middle


@dataclass(frozen=True)
class Turn:
    """A way in which a frame fits itself: X' = turn X + shift, (3, 3) and (3,) pitches."""

    turn: FloatArray
    shift: FloatArray


def turns_of(candidates: Sequence[Candidate], up: FloatArray, turns: IntArray | None = None) -> list[Turn]:
    """The turns after which members lie on members, up stays up; of the rotations none first.

    Parameters
    ----------
    candidates : Sequence[Candidate]
        Members, one at least.
    up : array, (3,)
        Unit, an axis of the frame.
    turns : array, (N, 3, 3), or None
        Those tried: reflections, too; None for the 24 rotations.

    Examples
    --------
    >>> rails = [Candidate.bare(0, [0, y, 0], 9) for y in (0, 6)]
    >>> rails += [Candidate.bare(1, [x, 0, 1], 7) for x in (0, 8)]
    >>> [t.shift.tolist() for t in turns_of(rails, np.eye(3)[2])]
    [[0.0, 0.0, 0.0], [8.0, 6.0, 0.0]]
    """
    cells = cells_of_candidates(candidates)
    known = _coded(cells.place, cells.axis)
    middle = cells.place.min(0) + cells.place.max(0)
    out = [Turn(np.eye(3), np.zeros(3))] if turns is None else []
    for turn in (rotations() if turns is None else turns).astype(float):
        if (turn @ up - up).any() or (turn == np.eye(3)).all():
            continue
        moved = turned_cells(cells, turn)
        shift = 0.5 * (middle - moved.place.min(0) - moved.place.max(0))
        shifts = [np.rint(GRID * (shift + d)) / GRID for d in product(SHIFTS, repeat=3)]
        fits = [np.isin(_coded(moved.place + s, moved.axis), known).mean() for s in shifts]
        best = int(np.argmax(fits))
        if fits[best] >= LEAST_FIT:
            out.append(Turn(turn, shifts[best]))
    return out


def _coded(place: FloatArray, axis: IntArray) -> IntArray:
    """(N,) one number for each place (N, 3) and axis (N,)."""
    q = np.rint(GRID * place).astype(np.int64) + 2**15
    return ((q[:, 0] << 34) | (q[:, 1] << 18) | (q[:, 2] << 2)) + axis


def turned_on_floor(registered: RegisteredPhotos, scene: Scene) -> tuple[RegisteredPhotos, float]:
    """The photos turned so that they agree on the floor, and the nats that this is worth.

    Parameters
    ----------
    registered : RegisteredPhotos
        Those of the scene, in its world.
    scene : Scene
        With the members that they show.

    Returns
    -------
    The photos, with the cameras of the scene, and 0 where the frame fits itself in no other turn or they
    agree best as they are.
    """
    if len(scene.photos) < 2 or not scene.candidates:
        return registered, 0.0
    turns = turns_of(scene.candidates, up_axis(p.camera for p in scene.photos))
    if len(turns) == 1:
        return registered, 0.0
    floors = _Floors(scene, turns)
    numbers = [0]
    for i in range(1, len(scene.photos)):
        numbers.append(max(range(len(turns)), key=lambda k: floors.nats([*numbers, k], i)))
    if not any(numbers):
        return registered, 0.0
    gain = sum(floors.nats(numbers, i) - floors.nats([0] * len(numbers), i) for i in range(1, len(numbers)))
    return _turned(registered, scene, [turns[k] for k in numbers]), gain


def mirrored_on_floor(scene: Scene, shared: FloatArray) -> int | None:
    """Number of a photo whose floor is that of the others in a mirror only; None of none.

    Parameters
    ----------
    scene : Scene
        With three photos or more, so that most tell which are not mirrored.
    shared : array, (V,)
        Nats for each photo's floor being that of the others, as they lie.
    """
    if len(scene.photos) < 3 or not has_floor(scene) or shared.min() >= UNSHARED:
        return None
    up = up_axis(p.camera for p in scene.photos)
    turns, mirrors = turns_of(scene.candidates, up), turns_of(scene.candidates, up, rotations() @ FLIP)
    if not mirrors:
        return None
    floors = _Floors(scene, [*turns, *mirrors])
    best, found = MIRRORED, None
    for i in np.nonzero(shared < UNSHARED)[0].tolist():
        nats = [floors.beside_all(i, k) for k in range(len(turns) + len(mirrors))]
        gain = max(nats[len(turns) :]) - max(nats[: len(turns)])
        if gain > best:
            best, found = gain, i
    return found


class _Floors:
    """The floor as each photo of a scene shows it in each turn; what was compared is remembered."""

    def __init__(self, scene: Scene, turns: Sequence[Turn]) -> None:
        self.scene, self.turns, self.floor = scene, turns, floor_under(scene)
        self.pictures: dict[tuple[int, int], FloorPicture] = {}
        self.known: dict[tuple[int, int, int, int], float] = {}

    def nats(self, numbers: Sequence[int], i: int) -> float:
        """Nats of photo i's floor beside those of the photos before it, each in its turn."""
        return sum(self._pair(i, numbers[i], j, numbers[j]) for j in compared(i))

    def beside_all(self, i: int, k: int) -> float:
        """Nats of photo i's floor in turn k beside those of all others as they lie."""
        return sum(self._pair(i, k, j, 0) for j in range(len(self.scene.photos)) if j != i)

    def _pair(self, i: int, k: int, j: int, m: int) -> float:
        key = i, k, j, m
        if key not in self.known:
            self.known[key] = floor_nats(self._picture(i, k), self._picture(j, m))
        return self.known[key]

    def _picture(self, i: int, k: int) -> FloorPicture:
        if (i, k) not in self.pictures:
            photo, turn = self.scene.photos[i], self.turns[k]
            camera = photo.camera.moved(turn.turn, turn.shift)
            self.pictures[i, k] = floor_picture(self.scene, photo, camera, self.floor)
        return self.pictures[i, k]


def _turned(registered: RegisteredPhotos, scene: Scene, turns: Sequence[Turn]) -> RegisteredPhotos:
    """The scene's photos and their lattices, each in its turn."""
    photos = [with_camera(p, p.camera.moved(t.turn, t.shift)) for p, t in zip(scene.photos, turns)]
    lattices = [moved_lattice(x, t.turn, t.shift) for x, t in zip(_lattices(registered, scene), turns)]
    return RegisteredPhotos(tuple(photos), tuple(lattices), registered.set_aside)


def _lattices(registered: RegisteredPhotos, scene: Scene) -> Iterator[PhotoLattice]:
    """The lattices of the scene's photos, in their order."""
    by_name = {p.name: x for p, x in zip(registered.photos, registered.lattices)}
    return (by_name[p.name] for p in scene.photos)
