"""Frames that fit themselves after a turn: which way each photo looks at one.

The members of a box tell no photo of its front from one of its back.  What stands still around it does: the
floor (``recon.solve.evidence.floor``).  So photos are turned, on members that are known, until their floors
agree; where that is worth more than what the members then lose, the members are found anew.  A mirrored photo
of a frame that is nearly its own mirror image is known by its floor, too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.floor import Floors, compared, floor_grey
from recon.solve.evidence.posed_photo import PosedPhoto, with_camera
from recon.solve.multiview.hypotheses import LEAST_EVIDENCE, Posed, RegisteredPhotos, first_evidence
from recon.solve.multiview.mirrored import FLIP
from recon.solve.multiview.registration import cells_of_candidates, moved_lattice, turned_cells
from recon.solve.photo.photo_lattice import PhotoLattice

# Of the holes of a frame that must lie on holes of members along the same axis after a turn.  Rendered frames
# of which a photo came to lie in a wrong turn had 0.85 and more; one turn too many costs time alone.
LEAST_FIT = 0.7
GRID = 4  # places are compared in quarters of a pitch, as sections of 1.5 pitches have them
# Nats from which two photos show one floor: those that lay wrongly on each other had 20 at most, on bricks
# and tiles, right ones mostly 40 and more.
SAME_FLOOR = 25.0
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


class TurnedFloors(Floors):
    """The floor as each photo of a scene shows it as it lies, in each turn and, numbered on, each mirror."""

    @cached_property
    def turns(self) -> list[Turn]:
        """The rotations after which the members lie on members, none first."""
        return turns_of(self.scene.candidates, self.floor.up)

    @cached_property
    def mirrors(self) -> list[Turn]:
        """The reflections after which they do."""
        return turns_of(self.scene.candidates, self.floor.up, rotations() @ FLIP)

    def camera(self, i: int, k: int) -> Camera:
        """The camera of photo i in turn or mirror k."""
        if not k:
            return super().camera(i, k)
        turn = self.turns[k] if k < len(self.turns) else self.mirrors[k - len(self.turns)]
        return super().camera(i, 0).moved(turn.turn, turn.shift)

    def nats(self, numbers: Sequence[int], i: int) -> float:
        """Nats of photo i's floor beside those of the photos before it, each in its turn."""
        return sum(self.pair(i, numbers[i], j, numbers[j]) for j in compared(i))

    def beside_all(self, i: int, k: int) -> float:
        """Nats of photo i's floor in turn or mirror k beside those of all others as they lie."""
        return sum(self.pair(i, k, j, 0) for j in range(len(self.scene.photos)) if j != i)


def turned_on_floor(registered: RegisteredPhotos, floors: TurnedFloors) -> tuple[RegisteredPhotos, float]:
    """The photos turned so that they agree on the floor, and the nats that this is worth.

    Parameters
    ----------
    registered : RegisteredPhotos
        Those of the scene, in its world.
    floors : TurnedFloors
        Of the scene with the members that they show.

    Returns
    -------
    The photos, with the cameras of the scene, and 0 where the frame fits itself in no other turn or they
    agree best as they are.
    """
    if not floors.there or len(floors.turns) == 1:
        return registered, 0.0
    photos, numbers = floors.scene.photos, [0]
    for i in range(1, len(photos)):
        numbers.append(max(range(len(floors.turns)), key=lambda k: floors.nats([*numbers, k], i)))
    if not any(numbers):
        return registered, 0.0
    gain = sum(floors.nats(numbers, i) - floors.nats([0] * len(numbers), i) for i in range(1, len(numbers)))
    return _turned(registered, photos, [floors.turns[k] for k in numbers]), gain


def mirrored_on_floor(floors: TurnedFloors) -> int | None:
    """Number of a photo whose floor is that of the others in a mirror only; None of none.

    Parameters
    ----------
    floors : TurnedFloors
        Of a scene of three photos or more, so that most tell which are not mirrored.
    """
    shared = floors.shared().sum(axis=1)
    if len(floors.scene.photos) < 3 or not floors.there or shared.min() >= UNSHARED or not floors.mirrors:
        return None
    turned = len(floors.turns)
    best, found = MIRRORED, None
    for i in np.nonzero(shared < UNSHARED)[0].tolist():
        nats = [floors.beside_all(i, k) for k in range(turned + len(floors.mirrors))]
        gain = max(nats[turned:]) - max(nats[:turned])
        if gain > best and max(nats[turned:]) > SAME_FLOOR:
            best, found = gain, i
    return found


def mirrored_by_members(registered: RegisteredPhotos, floors: TurnedFloors) -> int | None:
    """Number of a photo in whose mirror all photos together explain far more; None of none.

    Of a frame that is nearly its own mirror image a mirrored photo shows members that are all there, but with
    ends and laps where others show none.

    Parameters
    ----------
    registered : RegisteredPhotos
        Those of the scene, in its world.
    floors : TurnedFloors
        Of a scene of three photos or more.  Where each shows the floor as another does, none is mirrored.
    """
    photos, width = floors.scene.photos, floors.scene.width
    if len(photos) < 3 or not floors.there or not floors.mirrors:
        return None
    unvouched = np.nonzero(floors.shared().max(axis=1) < SAME_FLOOR)[0].tolist()
    if not unvouched:
        return None
    greys = {name: floor_grey(picture) for name, picture in floors.scene.pictures.items()}
    posed = list(zip(photos, registered.lattices))
    now = first_evidence(posed, width, greys)

    def explained(i: int, turn: Turn) -> float:
        """Nats of all photos with photo i in a turn or mirror."""
        return first_evidence([*posed[:i], _in_turn(*posed[i], turn), *posed[i + 1 :]], width, greys)

    best, found = LEAST_EVIDENCE, None
    for i in unvouched:
        gain = max(explained(i, mirror) for mirror in floors.mirrors) - now
        if gain > best and gain - LEAST_EVIDENCE > max(
            (explained(i, t) - now for t in floors.turns[1:]), default=0
        ):
            best, found = gain, i
    return found


def _turned(
    registered: RegisteredPhotos, photos: Sequence[PosedPhoto], turns: Sequence[Turn]
) -> RegisteredPhotos:
    """The photos as a scene has them, and their lattices, each in its turn."""
    posed = [_in_turn(p, x, t) for p, x, t in zip(photos, registered.lattices, turns)]
    return RegisteredPhotos(tuple(p for p, _ in posed), tuple(x for _, x in posed), registered.set_aside)


def _in_turn(photo: PosedPhoto, lattice: PhotoLattice, turn: Turn) -> Posed:
    """A photo and its lattice in a turn or mirror."""
    there = with_camera(photo, photo.camera.moved(turn.turn, turn.shift))
    return there, moved_lattice(lattice, turn.turn, turn.shift)
